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
from typing import Protocol

from cobs import cobs

from packetcodec.errors import PacketcodecError

#: A packet has at most 255 bytes: three characters each, and room for what the module prints around them.
_LONGEST_LINE = 4096
_LONGEST_FRAME = 1024
_WORD = r"[0-9A-Za-z.]"
_RUNS = (
    re.compile(rf"(?<!{_WORD})(?:0[xX])?((?:[0-9A-Fa-f]{{2}}){{2,}})(?!{_WORD})"),
    re.compile(rf"(?<!{_WORD})([0-9A-Fa-f]{{2}}(?:[ :-][0-9A-Fa-f]{{2}})+)(?!{_WORD})"),
)
_LINE_END = re.compile(rb"[\r\n]")
#: Colours and the like, as ECMA-48 has them: logs of development boards are full of them.
_CONTROL = re.compile(r"\x1b\[[0-9;?]*[@-~]")
_BETWEEN = re.compile(r"0[xX]|[\s:,;-]+")


class Framing(Protocol):
    """What both kinds do.

    Attributes:
        noise: lines or frames that hold no packet.
    """

    noise: int

    @property
    def dropped(self) -> int:
        """Bytes left out because no separator came in time."""
        ...

    def feed(self, data: bytes) -> list[bytes]:
        """The packets that these bytes complete."""
        ...

    def close(self) -> list[bytes]:
        """The packet that the end of the input completes, if there is one."""
        ...

    def reset(self) -> None:
        """Forget a part of a packet: the line was interrupted, and its rest will not come."""
        ...


class _Pieces:
    """Bytes cut at separators, with a longest piece."""

    def __init__(self, separator: re.Pattern[bytes], longest: int) -> None:
        self.dropped = 0
        self._separator = separator
        self._longest = longest
        self._rest = b""
        self._dropping = False

    def feed(self, data: bytes) -> list[bytes]:
        *whole, rest = self._separator.split(data)
        found = []
        for piece in whole:
            found += self._piece(self._rest + piece)
            self._rest, self._dropping = b"", False
        self._rest += rest
        if self._dropping or len(self._rest) > self._longest:
            self.dropped += len(self._rest)
            self._rest, self._dropping = b"", True
        return found

    def _piece(self, piece: bytes) -> list[bytes]:
        if self._dropping or len(piece) > self._longest:
            self.dropped += len(piece)
            return []
        return [piece] if piece else []

    def close(self) -> list[bytes]:
        found = self._piece(self._rest)
        self._rest, self._dropping = b"", False
        return found

    def reset(self) -> None:
        self.dropped += len(self._rest)
        self._rest, self._dropping = b"", False


class HexLines:
    """One packet per line of hex, inside whatever else stands in the line.

    Without a pattern a packet is the longest run of hex digits, two bytes at least: a word of whole bytes (`11072aff`, also
    behind `0x`), or pairs with a space, colon or hyphen between them (`11 07 2a ff`).
    """

    def __init__(self, pattern: str | None = None) -> None:
        """Begin at the beginning of a line.

        Args:
            pattern: regular expression with one group, which holds the hex digits; the rest of the line is looked past.

        Raises:
            PacketcodecError: it is none, or has not just one group.
        """
        self.noise = 0
        self._pieces = _Pieces(_LINE_END, _LONGEST_LINE)
        self._pattern = None
        if pattern is not None:
            try:
                self._pattern = re.compile(pattern)
            except re.error as fault:
                raise PacketcodecError(f"pattern {pattern!r}: {fault}") from None
            if self._pattern.groups != 1:
                raise PacketcodecError(f"pattern {pattern!r}: {self._pattern.groups} groups, not the one that holds the hex")

    @property
    def dropped(self) -> int:
        """Bytes left out because a line got too long."""
        return self._pieces.dropped

    def feed(self, data: bytes) -> list[bytes]:
        """The packets of the lines that these bytes complete."""
        return self._packets(self._pieces.feed(data))

    def close(self) -> list[bytes]:
        """The packet of a last line without an end."""
        return self._packets(self._pieces.close())

    def reset(self) -> None:
        """Forget an unfinished line."""
        self._pieces.reset()

    def _packets(self, lines: list[bytes]) -> list[bytes]:
        found = []
        for line in lines:
            packet = self._packet(_CONTROL.sub(" ", line.decode("latin-1")))
            if packet:
                found.append(packet)
            elif line.strip():
                self.noise += 1
        return found

    def _packet(self, line: str) -> bytes:
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


class CobsFrames:
    """COBS frames between zero bytes."""

    def __init__(self) -> None:
        self.noise = 0
        self._pieces = _Pieces(re.compile(rb"\x00"), _LONGEST_FRAME)

    @property
    def dropped(self) -> int:
        """Bytes left out because no zero byte came for too long."""
        return self._pieces.dropped

    def feed(self, data: bytes) -> list[bytes]:
        """The contents of the frames that these bytes complete."""
        return self._packets(self._pieces.feed(data))

    def close(self) -> list[bytes]:
        """Nothing: a frame without its end is none."""
        self._pieces.reset()
        return []

    def reset(self) -> None:
        """Forget an unfinished frame."""
        self._pieces.reset()

    def _packets(self, frames: list[bytes]) -> list[bytes]:
        found = []
        for frame in frames:
            try:
                found.append(cobs.decode(frame))
            except cobs.DecodeError:
                self.noise += 1
        return found
