r"""A recorded log of any format that we read, recognised by what is in it.

Owns one rule: how a format is told. XML is GPX; a first line that names a latitude or a longitude is a
table; anything else is a stream in which NMEA 0183 sentences are looked for, since receivers put anything
between them.

>>> log = read_log([b"t_s,lat,lon\n0,46.5,9.9\n"], name="herd.csv")
>>> log.format, log.sentences, log.fixes[0].latitude
('csv', 1, 46.5)
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from packetcodec.errors import LogFault
from packetcodec.logs.csv_log import by_time, is_header, read_table
from packetcodec.logs.gpx import read_gpx
from packetcodec.logs.nmea import NmeaReader

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from packetcodec.logs.fix import Fix, Refusal, Refusals

FORMATS: Final = ("nmea", "gpx", "csv")
# Enough for a header row, or for the beginning of an XML document.
_HEAD: Final = 4096
_XML = re.compile(rb"(?:\xef\xbb\xbf)?\s*<(?:\?xml|!--|!DOCTYPE|gpx|[A-Za-z0-9_]+:gpx)")


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
    """

    name: str
    format: str
    fixes: tuple[Fix, ...]
    sentences: int
    refused: tuple[Refusal, ...]
    size: int
    columns: tuple[tuple[str, str], ...] = ()
    moved: int = 0


def read_log(
    chunks: Iterable[bytes],
    *,
    format: str | None = None,  # noqa: A002 - the plain word, as in the result and on the command line
    name: str = "log",
    progress: Callable[[int], None] | None = None,
) -> RecordedLog:
    """Read a whole log from chunks of bytes (of any size).

    Args:
        chunks: the bytes, such as an open binary file's blocks.
        format: one of `FORMATS`, or None to tell it from the content.
        name: what messages call the log.
        progress: called after each chunk with the number of bytes read so far.

    Raises:
        LogFault: there is nothing usable in it; one line says what was looked for and how much was read.
    """
    if format is not None and format not in FORMATS:
        raise LogFault(f"{name}: format '{format}' is none of {', '.join(FORMATS)}")
    source = _counted(chunks, progress)
    head = b""
    for chunk in source:
        head += chunk
        if len(head) >= _HEAD:
            break
    format = format or recognise(head)  # noqa: A001
    if not head:
        raise LogFault(f"{name}: is empty")
    if format == "nmea":
        return _read_nmea(head, source, name)
    document = b"".join((head, *source))
    if format == "gpx":
        fixes, seen, found = read_gpx(document, name=name)
        _demand(fixes, found, f"{name}: none of {seen} track points can be used")
        in_order, moved = by_time(fixes)
        return RecordedLog(name, format, tuple(in_order), seen, found.listed(), len(document), moved=moved)
    table = read_table(document, name=name)
    nothing = f"none of {table.rows} rows can be used" if table.rows else "has a header row and no other"
    _demand(table.fixes, table.refusals, f"{name}: {nothing}")
    return RecordedLog(
        name, format, tuple(table.fixes), table.rows, table.refusals.listed(), len(document), table.columns, table.moved
    )


def _demand(fixes: list[Fix], found: Refusals, message: str) -> None:
    if not fixes:
        raise LogFault(message + _first(found.listed()))


def recognise(head: bytes) -> str:
    """The format of a log, one of `FORMATS`, from its first few thousand bytes."""
    if _XML.match(head):
        return "gpx"
    lines = head[:_HEAD].decode("utf-8-sig", "replace").lstrip().splitlines()
    return "csv" if lines and is_header(lines[0]) else "nmea"


def _read_nmea(head: bytes, source: Iterator[bytes], name: str) -> RecordedLog:
    reader = NmeaReader()
    fixes = reader.feed(head)
    for chunk in source:
        fixes += reader.feed(chunk)
    fixes += reader.close()
    if not fixes:
        seen = f"{reader.size} bytes, {reader.lines} lines"
        if reader.sentences:
            raise LogFault(
                f"{name}: none of {reader.sentences} NMEA 0183 sentences tells a time and a position "
                f"(GGA, GNS, RMC or GLL) in {seen}{_first(reader.refused)}"
            )
        raise LogFault(
            f"{name}: no NMEA 0183 sentence ('$' ... '*' and its checksum), no GPX and no table of positions "
            f"in {seen}{_first(reader.refused)}"
        )
    return RecordedLog(name, "nmea", tuple(fixes), reader.sentences, reader.refused, reader.size)


def _counted(chunks: Iterable[bytes], progress: Callable[[int], None] | None) -> Iterator[bytes]:
    size = 0
    for chunk in chunks:
        size += len(chunk)
        yield chunk
        if progress is not None:
            progress(size)


def _first(refused: tuple[Refusal, ...]) -> str:
    """The most frequent refusal, as the end of a message."""
    if not refused:
        return ""
    worst = max(refused, key=lambda refusal: refusal.count)
    return f"; {worst.count} refused, {worst.reason}, first at {worst.first_place}: {worst.first_text}"
