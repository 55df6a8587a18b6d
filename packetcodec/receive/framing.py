r"""Packets out of what a serial line or a log holds: lines of hex amid other words, or COBS frames amid noise.

Owns one rule: what separates packets. Text has one packet a line, COBS frames stand between zero bytes. So what is spoiled
reaches to the next separator and no farther. Both kinds take bytes as they come, cut anywhere, and count what they leave
out; whether a packet is good is not theirs to say.

COBS is Consistent Overhead Byte Stuffing (S. Cheshire and M. Baker, IEEE/ACM Transactions on Networking 7, 1999): the zero
byte never occurs within a frame. Let the sender put one before a frame too, not only behind it: then noise that came
before costs nothing.

>>> lines = HexLines()
>>> lines.feed(b"radio ready\r\nreceived 4 bytes: 11 07 2A FF rssi -97\r\npacket 11072b")
[b'\x11\x07*\xff']
>>> (lines.noise, lines.feed(b"00\n"))
(1, [b'\x11\x07+\x00'])
>>> HexLines(r"data=(\S+)").feed(b"id=1234567890 data=1107\n")
[b'\x11\x07']
>>> lines.feed(b"11072a04 rssi -97 snr 8.5\n"), lines.reception
([b'\x11\x07*\x04'], Reception(time=None, rssi=-97.0, snr=8.5))
>>> frames = CobsFrames()
>>> frames.feed(b"noise\x00\x02\x11\x02\x07\x00"), frames.noise
([b'\x11\x00\x07'], 1)
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Protocol

from cobs import cobs

from packetcodec.logs.heard import LineReader, Reception

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from packetcodec.logs.time_format import TimeFormat

#: A packet has at most 255 bytes: three characters each, and room for what the module prints around them.
_LONGEST_LINE = 4096
_LONGEST_FRAME = 1024


class Framing(Protocol):
    """What both kinds do.

    Attributes:
        noise: lines or frames that hold no packet.
        dropped: bytes left out because no separator came in time.
        unfinished: bytes at the end of what was fed that no separator has followed yet: a reader that is stopped begins
            again with these. While `packets` runs they are counted from behind the packet last given.
        reception: how the packet last given was heard, as far as its line says.
    """

    noise: int
    dropped: int
    unfinished: int
    reception: Reception

    def packets(self, data: bytes) -> Iterator[bytes]:
        """The packets that these bytes complete, one by one."""
        ...

    def feed(self, data: bytes) -> list[bytes]:
        """All of them at once."""
        ...

    def close(self) -> list[bytes]:
        """The packet that the end of the input completes, if there is one."""
        ...

    def reset(self) -> None:
        """Forget a part of a packet: the line was interrupted, and its rest will not come."""
        ...


class _Pieces:
    """Bytes cut at separators of one byte, with a longest piece; what a piece holds is for others to say."""

    _separator: re.Pattern[bytes]
    _longest: int

    def __init__(self) -> None:
        self.noise = 0
        self.dropped = 0
        self.unfinished = 0
        self.reception = Reception()
        self._rest = b""
        self._dropping = False

    def packets(self, data: bytes) -> Iterator[bytes]:
        """The packets that these bytes complete, one by one."""
        *whole, rest = self._separator.split(data)
        left = len(data)
        for piece in whole:
            left -= len(piece) + 1
            found = self._piece(self._rest + piece)
            self._rest, self._dropping, self.unfinished = b"", False, left
            if found:
                yield found
        self._rest += rest
        self.unfinished = self.unfinished if whole else self.unfinished + len(rest)
        if self._dropping or len(self._rest) > self._longest:
            self.dropped += len(self._rest)
            self._rest, self._dropping = b"", True

    def feed(self, data: bytes) -> list[bytes]:
        """The packets that these bytes complete."""
        return list(self.packets(data))

    def reset(self) -> None:
        """Forget an unfinished packet."""
        self.dropped += len(self._rest)
        self._rest, self._dropping, self.unfinished = b"", False, 0

    def _piece(self, piece: bytes) -> bytes:
        """The packet of a piece; b"" for none."""
        if self._dropping or len(piece) > self._longest:
            self.dropped += len(piece)
            return b""
        found = self._packet(piece)
        self.noise += not found and bool(piece.strip())
        return found

    def _packet(self, piece: bytes) -> bytes:
        raise NotImplementedError


class HexLines(_Pieces):
    """One packet per line of hex, inside whatever else stands in the line.

    What of a line is the packet is said by `packetcodec.logs.heard`.
    """

    _separator = re.compile(rb"[\r\n]")
    _longest = _LONGEST_LINE

    def __init__(
        self,
        pattern: str | None = None,
        time_format: TimeFormat | None = None,
        accepts: Callable[[bytes], bool] | None = None,
    ) -> None:
        """Begin at the beginning of a line; the arguments are those of `packetcodec.logs.heard.LineReader`."""
        super().__init__()
        self._reader = LineReader(pattern, time_format, accepts)

    def close(self) -> list[bytes]:
        """The packet of a last line without an end."""
        found = self._piece(self._rest)
        self._rest, self._dropping, self.unfinished = b"", False, 0
        return [found] if found else []

    def _packet(self, piece: bytes) -> bytes:
        data, self.reception = self._reader.read(piece.decode("utf-8", "replace")) or (b"", Reception())
        return data


class CobsFrames(_Pieces):
    """COBS frames between zero bytes."""

    _separator = re.compile(rb"\x00")
    _longest = _LONGEST_FRAME

    def close(self) -> list[bytes]:
        """Nothing: a frame without its end is none."""
        self.reset()
        return []

    def _packet(self, piece: bytes) -> bytes:
        try:
            return bytes(cobs.decode(piece))
        except cobs.DecodeError:
            return b""
