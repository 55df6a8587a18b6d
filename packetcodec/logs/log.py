r"""A recorded log of any format that we read, recognised by what is in it.

Owns one rule: the formats, and the order in which they are looked for. NMEA 0183 comes last, since receivers print
anything between their sentences.

>>> log = read_log([b"t_s,lat,lon\n0,46.5,9.9\n"], name="herd.csv")
>>> log.format, log.sentences, log.fixes[0].latitude
('csv', 1, 46.5)
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain, pairwise
from math import inf
from typing import TYPE_CHECKING, Final

from packetcodec.errors import LogFault
from packetcodec.logs import csv_log, gpx, nmea
from packetcodec.logs.format import Findings, LogFormat
from packetcodec.logs.time_format import TimeFormat

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from packetcodec.logs.fix import Fix, Refusal

FORMATS: Final[dict[str, LogFormat]] = {entry.name: entry for entry in (gpx.FORMAT, csv_log.FORMAT, nmea.FORMAT)}
#: Most fixes of a log: eleven days at one a second, 300 to 500 MB.
MAX_FIXES: Final = 1_000_000
# Enough for a header row, or for the beginning of an XML document.
_HEAD: Final = 4096


@dataclass(frozen=True, slots=True)
class RecordedLog:
    """What was in a log.

    Attributes:
        name: as the caller calls it.
        format: one of `FORMATS`.
        fixes: in the order of the log, those of a table or a GPX file by time; at least one.
        sentences: well-formed sentences (NMEA 0183), track points (GPX) or rows (CSV) seen, used or not.
        refused: what could not be used: reason, count, first place, first text.
        size: bytes read.
        columns: of a table: each column's name as it stands there, and what it means.
        moved: rows or track points whose time is before that of one above them; they were put in order.
        same_time: rows or track points that have the time of another one before them.

    >>> log = read_log([b'''time,lat,lon
    ... 0,46.5,9.8
    ... 30,46.501,9.8
    ... 60,-,-
    ... '''])
    >>> isinstance(log, RecordedLog), log.format, len(log.fixes), [refusal.reason for refusal in log.refused]
    (True, 'csv', 2, ['not a number'])
    """

    name: str
    format: str
    fixes: tuple[Fix, ...]
    sentences: int
    refused: tuple[Refusal, ...]
    size: int
    columns: tuple[tuple[str, str], ...] = ()
    moved: int = 0
    same_time: int = 0


def read_log(
    chunks: Iterable[bytes],
    *,
    format: str | None = None,  # noqa: A002 - the plain word, as in the result and on the command line
    name: str = "log",
    columns: Mapping[str, str] | None = None,
    time_format: TimeFormat | str | None = None,
    progress: Callable[[int], None] | None = None,
) -> RecordedLog:
    """Read a whole log from chunks of bytes (of any size).

    Args:
        chunks: the bytes, such as an open binary file's blocks.
        format: one of `FORMATS`, or None to tell it from the content.
        name: what messages call the log.
        columns: of a table: meanings of `COLUMNS`, or other names, to the headings of the columns that have them; the log
            is then taken for a table.
        time_format: of a table: what its times look like, by the directives of `datetime.strptime`; a date in a column of
            its own stands before the time, with a space between them.
        progress: called after each chunk with the number of bytes read so far.

    Raises:
        LogFault: there is nothing usable in it, or more than `MAX_FIXES`; one line says what was looked for and how much
            was read.
        PacketcodecError: the format of times cannot be.
    """
    if format is not None and format not in FORMATS:
        raise LogFault(f"{name}: format '{format}' is none of {', '.join(FORMATS)}")
    if columns and format not in {None, csv_log.FORMAT.name}:
        raise LogFault(f"{name}: format '{format}' has no columns to be named")
    times = TimeFormat(time_format) if isinstance(time_format, str) else time_format
    findings = Findings(name, requested=columns or {}, time_format=times)
    source = _counted(chunks, findings, progress)
    head = b""
    for chunk in source:
        head += chunk
        if len(head) >= _HEAD:
            break
    if not head:
        raise LogFault(f"{name}: is empty")
    entry = FORMATS[format or (csv_log.FORMAT.name if columns else recognise(head))]
    if times is not None and entry is not csv_log.FORMAT:
        raise LogFault(f"{name}: format '{entry.name}' has times of its own; only those of a table may be of another form")
    fixes, moved = _collected(entry.fixes(chain((head,), source), findings), name)
    refused = findings.refusals.listed()
    if not fixes:
        nothing = findings.nothing or f"none of {findings.records} {entry.records} can be used"
        if format is None and not findings.records and not refused and entry is nmea.FORMAT:
            nothing += f"; no GPX either, and no table of positions{csv_log.columns_found(head)}"
        raise LogFault(f"{name}: {nothing}{_most_frequent(refused)}")
    if entry.by_time:
        fixes.sort(key=lambda fix: fix.time)
    return RecordedLog(
        name, entry.name, tuple(fixes), findings.records, refused, findings.size, findings.columns,
        *((moved, sum(one.time == other.time for one, other in pairwise(fixes))) if entry.by_time else ()),
    )  # fmt: skip


def recognise(head: bytes) -> str:
    """The format of a log, one of `FORMATS`, from its first few thousand bytes.

    >>> recognise(b"time,lat,lon"), recognise(b"$GPGGA,"), "gpx" in FORMATS
    ('csv', 'nmea', True)
    """
    return next(entry.name for entry in FORMATS.values() if entry.recognises(head[:_HEAD]))


def _collected(found: Iterable[Fix], name: str) -> tuple[list[Fix], int]:
    """The fixes, and how many stand behind a later one."""
    fixes: list[Fix] = []
    moved, latest = 0, -inf
    for fix in found:
        if len(fixes) == MAX_FIXES:
            raise LogFault(f"{name}: holds more than {MAX_FIXES:,} fixes, the most that are read; cut it into parts")
        fixes.append(fix)
        moved += fix.time < latest
        latest = max(latest, fix.time)
    return fixes, moved


def _counted(chunks: Iterable[bytes], findings: Findings, progress: Callable[[int], None] | None) -> Iterator[bytes]:
    for chunk in chunks:
        findings.size += len(chunk)
        yield chunk
        if progress is not None:
            progress(findings.size)


def _most_frequent(refused: tuple[Refusal, ...]) -> str:
    """The most frequent refusal, as the end of a message."""
    if not refused:
        return ""
    worst = max(refused, key=lambda refusal: refusal.count)
    return f"; {worst.count} refused, {worst.reason}, first at {worst.first_place}: {worst.first_text}"
