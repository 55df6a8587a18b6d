r"""NMEA 0183 as receivers print it: bytes in, fixes out, whatever stands between the sentences.

Owns two rules. A sentence is a "$" or "!", printable text, "*" and the right checksum: the checksum is mandatory (read in
gpsd 3.22, www/NMEA.adoc), and a line without one is refused, for one flipped digit is a position in another country. And one
epoch is one fix: the sentences of one time of day (GGA, GNS, RMC, GLL, whatever the talker) are merged, with the VTG and GSA
that come between them. Where they differ, GGA decides, then GNS, RMC, GLL.

Time: a date counts when it comes with a position (RMC, or ZDA), since a receiver without one may print its
factory date. Fixes before the first date are held back and dated from it; between dates, a time of day that
jumps back by more than half a day is on the next day. A log without any date counts seconds from its first
midnight. Sentences without a time of day, as in a cold start, are counted as such: nobody knows when they
were.

>>> reader = NmeaReader()
>>> reader.feed(b"noise$GNGGA,120000.00,4630.0000,N,00954.0000,E,1,09,0.9,2104.0,M,48.0,M,,*43\r\n")
[]
>>> [(fix.latitude, fix.longitude, fix.altitude) for fix in reader.close()]
[(46.5, 9.9, 2104.0)]
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import reduce
from operator import xor
from typing import TYPE_CHECKING, Final

from packetcodec.logs.fix import Fix, Refusal, Refusals
from packetcodec.logs.format import Findings, LogFormat
from packetcodec.logs.sentence import Sentence
from packetcodec.logs.values import RecordFault
from packetcodec.spelling import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

# The standard allows 82 characters; receivers print longer ones, but never this long.
_MAX_LENGTH: Final = 1000
_SENTENCE = re.compile(rb"[$!]([A-Z][A-Z0-9]{3,9},[\x20-\x23\x25-\x29\x2b-\x7e]{0,%d})(\*[0-9A-Fa-f]{2})?" % _MAX_LENGTH)
# The beginning of what may become a sentence with the next bytes.
_BEGINNING = re.compile(rb"[$!][A-Z]?[A-Z0-9]{0,9}\Z")
# Some receivers print the time of one epoch with one decimal in GGA and three in RMC (eXplorist 210 in the
# regression logs of gpsd 3.22).
_SAME_EPOCH: Final = 0.01
_HALF_DAY: Final = 43_200
_DAY: Final = 86_400


@dataclass(slots=True)
class _Epoch:
    """What the sentences of one time of day have said so far; `rank` is that of the one that gave position and quality."""

    second: float
    day: int | None = None
    latitude: float | None = None
    longitude: float | None = None
    altitude: float | None = None
    quality: int | None = None
    rank: int = 0
    satellites: int | None = None
    hdop: float | None = None
    speed: float | None = None
    course: float | None = None

    def place(self, rank: int, position: tuple[float, float] | None, quality: int | None) -> bool:
        """Keep position and quality, unless a sentence of higher rank has given them; say whether they were kept."""
        if rank < self.rank:
            return False
        self.rank = rank
        self.latitude, self.longitude = position or (None, None)
        self.quality = 0 if position is None else quality
        return True

    def fix(self, day: int) -> Fix:
        """What is known, as of a day since 1970, or since the log began."""
        time = day * _DAY + self.second
        if self.latitude is None:
            # A height, a speed or a dilution of no position is a leftover or a filler (99.9), no measurement.
            return Fix(time=time, fix_quality=self.quality, satellites=self.satellites)
        return Fix(
            time, self.latitude, self.longitude, self.altitude, self.quality, self.satellites, self.hdop, self.speed,
            self.course,
        )  # fmt: skip


class NmeaReader:
    """Finds the sentences in a stream of bytes and makes fixes of them; does no input or output itself.

    Attributes:
        sentences: well-formed sentences so far, of any type.
        size: bytes fed so far.
        lines: line ends fed so far.
    """

    __slots__ = (
        "_day", "_epoch", "_held", "_lines_before", "_previous", "_refusals", "_rest", "_stated", "lines",
        "sentences", "size",
    )  # fmt: skip

    def __init__(self, refusals: Refusals | None = None) -> None:
        self.sentences = 0
        self.size = 0
        self.lines = 0
        self._rest = b""
        self._lines_before = 0  # line ends before the rest
        self._refusals = Refusals() if refusals is None else refusals
        self._epoch: _Epoch | None = None
        self._previous = 0.0  # second of the last epoch
        self._day = 0  # of the last epoch: since 1970 once a date is known, else since the log began
        self._held: list[tuple[_Epoch, int]] | None = []  # epochs before the first date; None once it is known
        self._stated: tuple[float, int] | None = None  # second and day of a ZDA that no epoch has used yet

    @property
    def refused(self) -> tuple[Refusal, ...]:
        """What was refused so far: reason, count, first place and text."""
        return self._refusals.listed()

    def feed(self, data: bytes) -> list[Fix]:
        """Take the next bytes of the stream; return the fixes that they complete.

        An epoch is complete when the next one begins. No fix is given out before the first date is known.
        """
        return self._scan(data, last=False)

    def close(self) -> list[Fix]:
        """Say that the stream has ended; return the remaining fixes."""
        fixes = self._scan(b"", last=True)
        if self._epoch is not None:
            self._finish(self._epoch, fixes)
            self._epoch = None
        if self._held:
            fixes += [epoch.fix(day) for epoch, day in self._held]
        self._held = None
        return fixes

    def _scan(self, data: bytes, *, last: bool) -> list[Fix]:
        self.size += len(data)
        self.lines += data.count(b"\n")
        buffer = self._rest + data
        length = len(buffer)
        keep = length
        fixes: list[Fix] = []
        for match in _SENTENCE.finditer(buffer):
            body, checksum = match.groups()
            end = match.end()
            if checksum is None:
                if not last and (end == length or (length - end < 3 and buffer[end] == 42)):
                    keep = match.start()
                    break
                self._refuse_unchecked(buffer, match.start(), end)
                continue
            stated = int(checksum[1:], 16)
            if (found := reduce(xor, body)) != stated:
                self._refuse("bad checksum", buffer, match.start(), end, f"adds up to {found:02X}")
                continue
            self.sentences += 1
            head, *fields = body.decode("ascii").split(",")
            if len(head) != 5 or head[0] == "P" or (take := _TAKERS.get(head[2:])) is None:
                continue
            try:
                take(self, Sentence(head[2:], fields), fixes)
            except RecordFault as problem:
                self._refuse(problem.reason, buffer, match.start(), end, str(problem))
        else:
            if not last and (beginning := _BEGINNING.search(buffer, max(0, length - 11))):
                keep = beginning.start()
        self._lines_before += buffer.count(b"\n", 0, keep)
        self._rest = buffer[keep:]
        return fixes

    def _refuse_unchecked(self, buffer: bytes, start: int, end: int) -> None:
        if end - start > _MAX_LENGTH:
            self._refuse("too long", buffer, start, end, f"more than {_MAX_LENGTH} characters")
        elif end == len(buffer) or buffer[end] in b"\r\n":
            self._refuse("no checksum", buffer, start, end, "ends without a checksum")
        else:
            self._refuse("cut short", buffer, start, end, f"breaks off after {end - start} characters")

    def _refuse(self, reason: str, buffer: bytes, start: int, end: int, remark: str) -> None:
        if reason in self._refusals:
            self._refusals.add(reason)
            return
        line = 1 + self._lines_before + buffer.count(b"\n", 0, start)
        offset = self.size - len(buffer) + start
        self._refusals.add(reason, f"line {line} (byte {offset})", f"{buffer[start:end].decode('ascii')}: {remark}")

    # What each type of sentence says. A sentence is read whole before anything of it is kept.

    def _positioned(self, sentence: Sentence, fixes: list[Fix]) -> None:
        epoch = self._epoch_at(sentence, fixes)
        quality = sentence.quality()
        position = sentence.position() if quality != 0 else None
        details = sentence.details()
        placed = epoch.place(_RANKS[sentence.kind], position, quality)
        if placed or sentence.kind == "RMC":
            for name, value in details.items():
                setattr(epoch, name, value)

    def _vtg(self, sentence: Sentence, _fixes: list[Fix]) -> None:
        epoch = self._epoch
        # Before version 2.3 there were no unit letters, and every field stood elsewhere.
        if epoch is None or sentence.text("cogtUnit") != "T":
            return
        speed, course = sentence.speed("sogn"), sentence.decimal("cogt", "course")
        epoch.speed = speed if epoch.speed is None else epoch.speed
        epoch.course = course if epoch.course is None else epoch.course

    def _gsa(self, sentence: Sentence, _fixes: list[Fix]) -> None:
        if self._epoch is not None and self._epoch.hdop is None:
            self._epoch.hdop = sentence.decimal("HDOP", "hdop")

    def _zda(self, sentence: Sentence, _fixes: list[Fix]) -> None:
        second, day = sentence.second(), sentence.date_of_zda()
        if second is not None and day is not None:
            self._stated = (second, day)

    def _epoch_at(self, sentence: Sentence, fixes: list[Fix]) -> _Epoch:
        """The epoch that a sentence with a time of day belongs to; the one before it is complete if it is new."""
        second = sentence.second()
        if second is None:
            raise RecordFault("no time of day", "the time of day is empty")
        epoch = self._epoch
        if epoch is None or abs(epoch.second - second) > _SAME_EPOCH:
            if epoch is not None:
                self._finish(epoch, fixes)
            self._epoch = epoch = _Epoch(second)
        return epoch

    def _finish(self, epoch: _Epoch, fixes: list[Fix]) -> None:
        """Date an epoch that is complete, and give out its fix as soon as a date is known."""
        if epoch.second < self._previous - _HALF_DAY:
            self._day += 1
        self._previous = epoch.second
        if not epoch.rank:
            return  # its only sentences were refused
        if epoch.latitude is not None:
            if epoch.day is None and self._stated is not None:
                second, day = self._stated
                epoch.day = day + round((second - epoch.second) / _DAY)
                self._stated = None
            if epoch.day is not None:
                if self._held is not None:
                    fixes += [held.fix(day + epoch.day - self._day) for held, day in self._held]
                    self._held = None
                self._day = epoch.day
        if self._held is None:
            fixes.append(epoch.fix(self._day))
        else:
            self._held.append((epoch, self._day))


#: Whose position counts where the sentences of an epoch differ.
_RANKS: Final = {"GGA": 4, "GNS": 3, "RMC": 2, "GLL": 1}
_TAKERS: dict[str, Callable[[NmeaReader, Sentence, list[Fix]], None]] = {
    **dict.fromkeys(_RANKS, NmeaReader._positioned),  # noqa: SLF001 - the table of the class's own methods
    "VTG": NmeaReader._vtg,  # noqa: SLF001
    "GSA": NmeaReader._gsa,  # noqa: SLF001
    "ZDA": NmeaReader._zda,  # noqa: SLF001
}


def _fixes(chunks: Iterator[bytes], findings: Findings) -> Iterator[Fix]:
    reader = NmeaReader(findings.refusals)
    for chunk in chunks:
        yield from reader.feed(chunk)
        findings.records = reader.sentences
    yield from reader.close()
    findings.records = reader.sentences
    seen = f"{counted(reader.size, 'byte')}, {counted(reader.lines, 'line')}"
    if reader.sentences:
        findings.nothing = (
            f"none of {reader.sentences} NMEA 0183 sentences tells a time and a position (GGA, GNS, RMC or GLL) in {seen}"
        )
    else:
        findings.nothing = f"no NMEA 0183 sentence ('$' ... '*' and its checksum) in {seen}"


#: Receivers print anything between their sentences: whatever is no other format is searched for them.
FORMAT: Final = LogFormat(name="nmea", records="sentences", recognises=lambda _: True, fixes=_fixes, by_time=False)
