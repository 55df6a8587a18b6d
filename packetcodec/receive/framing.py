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
>>> frames = CobsFrames()
>>> frames.feed(b"noise\x00\x02\x11\x02\x07\x00"), frames.noise
([b'\x11\x00\x07'], 1)
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Protocol

from cobs import cobs

from packetcodec.errors import PacketcodecError

if TYPE_CHECKING:
    from collections.abc import Iterator

#: A packet has at most 255 bytes: three characters each, and room for what the module prints around them.
_LONGEST_LINE = 4096
_LONGEST_FRAME = 1024
_WORD = r"[0-9A-Za-z.]"
_RUNS = (
    re.compile(rf"(?<!{_WORD})(?:0[xX])?((?:[0-9A-Fa-f]{{2}}){{2,}})(?!{_WORD})"),
    re.compile(rf"(?<!{_WORD})([0-9A-Fa-f]{{2}}(?:[ :-][0-9A-Fa-f]{{2}})+)(?!{_WORD})"),
)
#: Colours and the like, as ECMA-48 has them: logs of development boards are full of them.
_CONTROL = re.compile(r"\x1b\[[0-9;?]*[@-~]")
_BETWEEN = re.compile(r"0[xX]|[\s:,;-]+")


class Framing(Protocol):
    """What both kinds do.

    Attributes:
        noise: lines or frames that hold no packet.
        dropped: bytes left out because no separator came in time.
        unfinished: bytes at the end of what was fed that no separator has followed yet: a reader that is stopped begins
            again with these. While `packets` runs they are counted from behind the packet last given.
    """

    noise: int
    dropped: int
    unfinished: int

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

    Without a pattern a packet is the longest run of hex digits, two bytes at least: a word of whole bytes (`11072aff`, also
    behind `0x`), or pairs with a space, colon or hyphen between them (`11 07 2a ff`).
    """

    _separator = re.compile(rb"[\r\n]")
    _longest = _LONGEST_LINE

    def __init__(self, pattern: str | None = None) -> None:
        """Begin at the beginning of a line.

        Args:
            pattern: regular expression with one group, which holds the hex digits; the rest of the line is looked past.

        Raises:
            PacketcodecError: it is none, or has not just one group.
        """
        super().__init__()
        self._pattern = None
        if pattern is not None:
            try:
                self._pattern = re.compile(pattern)
            except (re.error, RecursionError, OverflowError) as fault:
                raise PacketcodecError(f"pattern {pattern!r}: {fault}") from None
            if self._pattern.groups != 1:
                raise PacketcodecError(
                    f"pattern {pattern!r}: has {self._pattern.groups} groups; it must have one, which holds the hex digits"
                )

    def close(self) -> list[bytes]:
        """The packet of a last line without an end."""
        found = self._piece(self._rest)
        self._rest, self._dropping, self.unfinished = b"", False, 0
        return [found] if found else []

    def _packet(self, piece: bytes) -> bytes:
        line = _CONTROL.sub(" ", piece.decode("latin-1"))
        if self._pattern is not None:
            match = self._pattern.search(line)
            digits = match[1] or "" if match else ""
        else:
            runs = [match[1] for run in _RUNS for match in run.finditer(line)]
            digits = max(runs, key=lambda run: len(_BETWEEN.sub("", run)), default="")
        try:
            return bytes.fromhex(_BETWEEN.sub("", digits))
        except ValueError:
            return b""


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
