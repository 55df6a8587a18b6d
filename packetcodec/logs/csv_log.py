r"""A table with a header row (CSV): one position a row.

Owns two rules. Which column names mean something: `COLUMNS`; a column under another name is kept in `Fix.extra` in lower
case. Case and surrounding spaces do not matter; the separator (comma, semicolon or tab) is the one that the header row
uses. An empty cell is a value that is not known. And that a row is a line: one of more than 64 KiB is refused, and the next
one is read.

>>> from packetcodec.logs.format import Findings
>>> found = Findings("herd.csv")
>>> list(FORMAT.fixes(iter([b"t_s,lat,lon,battery\n0,46.5,9.9,3.71\n1,96.5,9.9,3.71\n"]), found))[0].extra
{'battery': 3.71}
>>> found.refusals.listed()[0].first_text
'latitude: 96.5 is outside -90..90 degrees'
"""

from __future__ import annotations

import csv
from itertools import chain, pairwise
from sys import intern
from typing import TYPE_CHECKING, Final, NamedTuple

from packetcodec.errors import LogFault
from packetcodec.logs.fix import Fix
from packetcodec.logs.format import Findings, LogFormat
from packetcodec.logs.values import DECIMAL_COMMA, METRES_PER_SECOND, RecordFault, integer, moment, number, shown

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence


class Column(NamedTuple):
    """What a column may be: its meaning, unit or form in words, and the names it goes by."""

    meaning: str
    words: str
    names: tuple[str, ...]


#: The columns of a table that are used, by the names that they are known by.
COLUMNS: Final = (
    Column(
        "time",
        "Unix seconds, or seconds from any start, or ISO 8601 (UTC if it has no offset)",
        ("time", "t", "t_s", "t_seconds", "seconds", "timestamp", "datetime", "date_time", "utc", "time (utc)", "unix",
         "unix_time", "epoch"),
    ),
    Column("latitude", "degrees, north positive", ("latitude", "lat")),
    Column("longitude", "degrees, east positive", ("longitude", "lon", "lng", "long")),
    Column("altitude", "metres above mean sea level", ("altitude", "altitude_m", "alt", "alt_m", "ele", "elevation")),
    Column("speed", "metres a second", ("speed", "speed_m_s", "speed_mps")),
    Column("speed_kmh", "kilometres an hour", ("speed_kmh", "speed_kph", "speed_km_h")),
    Column("speed_knot", "knots", ("speed_kn", "speed_knot", "speed_knots", "speed_kt")),
    Column("course", "degrees clockwise from true north", ("course", "heading", "bearing", "cog")),
    Column("satellites", "satellites used", ("satellites", "sats", "sat", "num_sats")),
    Column("hdop", "no unit", ("hdop",)),
    Column("fix_quality", "0..8 as NMEA 0183 numbers it in GGA", ("fix_quality",)),
    Column("battery_volt", "volts", ("battery_v", "batt_v", "vbat", "battery_volt", "battery_volts")),
    Column("battery_percent", "percent", ("battery_pct", "batt_pct", "battery_percent", "batt_percent", "soc")),
)  # fmt: skip
_MEANINGS: Final[Mapping[str, str]] = {name: column.meaning for column in COLUMNS for name in column.names}
#: The columns of a speed, and their units.
_SPEEDS: Final = {"speed": "m/s", "speed_kmh": "km/h", "speed_knot": "knot"}
_WHOLE: Final = ("satellites", "fix_quality")
#: Meanings that have a place of their own in a `Fix`; the rest goes into `Fix.extra`.
_KNOWN: Final = frozenset(_MEANINGS.values()) - {"battery_volt", "battery_percent"}
_MAX_LINE: Final = 1 << 16


def _split_header(line: str) -> tuple[str, list[str]]:
    """The separator of a header row, and the names in it."""
    separator = max(",;\t", key=line.count)
    return separator, [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]


def _meaning(name: str) -> str:
    return _MEANINGS.get(name.lower(), name.lower())


def _recognises(head: bytes) -> bool:
    """Whether the first line is the header row of a table of positions: one that names a latitude or a longitude."""
    lines = head.decode("utf-8-sig", "replace").lstrip().splitlines()
    return bool(lines) and bool({"latitude", "longitude"} & set(map(_meaning, _split_header(lines[0])[1])))


def columns_found(head: bytes) -> str:
    r"""What a first line that looks like a header row names, and what was looked for; "" for any other line.

    >>> columns_found(b"breite,laenge\n46.5,9.9\n")
    ": its first line names 'breite', 'laenge', none of them known for a latitude (latitude, lat) or a longitude ..."
    """
    line = next(iter(head.decode("utf-8-sig", "replace").lstrip().splitlines()), "")
    if len(line) > _MAX_LINE or not line.replace("\t", "").isprintable():
        return ""
    names = _split_header(line)[1]
    known = " or ".join(f"a {column.meaning} ({', '.join(column.names)})" for column in COLUMNS[1:3])
    return f": its first line names {_listed(names)}, none of them known for {known}" if len(names) > 1 else ""


def _listed(headings: Sequence[str]) -> str:
    return ", ".join(f"'{shown(heading)}'" for heading in headings[:20])


def _lines(chunks: Iterator[bytes]) -> Iterator[bytes | None]:
    """The lines of a text, whatever ends them; None for one that is too long."""
    rest, held, too_long = b"", b"", False
    for chunk in chain(chunks, (b"\n",)):
        data, held = held + chunk, b""
        if data.endswith(b"\r"):
            data, held = data[:-1], b"\r"  # its line feed may come with the next chunk
        *lines, rest = (rest + data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")).split(b"\n")
        for line in lines:
            yield None if too_long or len(line) > _MAX_LINE else line
            too_long = False
        if len(rest) > _MAX_LINE:
            rest, too_long = b"", True


def _rows(chunks: Iterator[bytes], name: str) -> Iterator[tuple[int, str | None]]:
    """The lines that are not blank, with their numbers; None for one that is too long.

    Raises:
        LogFault: one is not UTF-8.
    """
    for count, line in enumerate(_lines(chunks), 1):
        try:
            text = None if line is None else line.decode("utf-8-sig" if count == 1 else "utf-8")
        except UnicodeDecodeError:
            raise LogFault(f"{name}: line {count} is not UTF-8 text") from None
        if text is None or text.strip():
            yield count, text


def _header(rows: Iterator[tuple[int, str | None]], findings: Findings) -> tuple[str, list[str]]:
    """The separator, and what each column means.

    Raises:
        LogFault: there is no header row, or it lacks a needed column or names one twice.
    """
    line, text = next(rows, (0, ""))
    if not line:
        raise LogFault(f"{findings.name}: no header row in {findings.size} bytes")
    place = f"{findings.name}: line {line}"
    if text is None:
        raise LogFault(f"{place}: not a header row (more than {_MAX_LINE} bytes)")
    try:
        separator, headings = _split_header(text)
    except csv.Error as problem:
        raise LogFault(f"{place}: not a header row ({problem})") from None
    meanings = [_meaning(heading) for heading in headings]
    for column in COLUMNS[:3]:
        if (count := meanings.count(column.meaning)) != 1:
            what = f"{count} columns are named as a {column.meaning}, expected 1" if count else (
                f"no column is named as a {column.meaning}; names known for it: {', '.join(column.names)}"
            )  # fmt: skip
            raise LogFault(f"{place}: {what}; the header row names {_listed(headings)}")
    findings.columns = tuple((shown(heading), meaning) for heading, meaning in zip(headings, meanings, strict=True))
    return separator, meanings


def _fixes(chunks: Iterator[bytes], findings: Findings) -> Iterator[Fix]:
    rows = _rows(chunks, findings.name)
    separator, meanings = _header(rows, findings)
    for line, text in rows:
        findings.records += 1
        try:
            if text is None:
                raise RecordFault("too long", f"a row of more than {_MAX_LINE} bytes")  # noqa: TRY301
            yield _fix(meanings, [cell.strip() for cell in next(csv.reader([text], delimiter=separator))])
        except csv.Error as problem:
            findings.refusals.add("not a row", f"line {line}", str(problem))
        except RecordFault as problem:
            findings.refusals.add(problem.reason, f"line {line}", str(problem))
    if not findings.records:
        findings.nothing = "has a header row and no other"


def _fix(meanings: Sequence[str], cells: Sequence[str]) -> Fix:
    if len(cells) != len(meanings):
        hint = ""
        if len(cells) > len(meanings) and any(DECIMAL_COMMA.fullmatch(f"{a},{b}") for a, b in pairwise(cells)):
            hint = "; numbers with a decimal comma need another separator, such as ;"
        raise RecordFault("wrong number of cells", f"{len(cells)} cells, the header row has {len(meanings)}{hint}")
    known: dict[str, float] = {}
    extra: dict[str, object] = {}
    for meaning, cell in zip(meanings, cells, strict=True):
        if cell and meaning in _KNOWN:
            known[meaning] = _number(meaning, cell)
        elif cell:
            extra[meaning] = _guess(cell)
    if "time" not in known:
        raise RecordFault("no time", "the time is empty")
    if ("latitude" in known) != ("longitude" in known):
        raise RecordFault("half a position", "of latitude and longitude one is empty")
    speeds = (known[name] * METRES_PER_SECOND[unit] for name, unit in _SPEEDS.items() if name in known)
    return Fix(
        time=known["time"],
        latitude=known.get("latitude"),
        longitude=known.get("longitude"),
        altitude=known.get("altitude"),
        fix_quality=int(known["fix_quality"]) if "fix_quality" in known else None,
        satellites=int(known["satellites"]) if "satellites" in known else None,
        hdop=known.get("hdop"),
        speed=next(speeds, None),
        course=known.get("course"),
        **({"extra": extra} if extra else {}),
    )


def _number(meaning: str, cell: str) -> float:
    if meaning in _WHOLE:
        return integer(meaning, cell)
    if meaning == "time" and not _is_number(cell) and not DECIMAL_COMMA.fullmatch(cell):
        return moment(cell)
    return number("speed" if meaning in _SPEEDS else meaning, cell)


def _is_number(cell: str) -> bool:
    return isinstance(_guess(cell), float | int)


def _guess(cell: str) -> float | str:
    """A whole number, a number or the text itself."""
    for kind in (int, float):
        try:
            return kind(cell)
        except ValueError:
            continue
    return intern(cell)  # a text that stands in every row takes its memory once


FORMAT: Final = LogFormat(name="csv", records="rows", recognises=_recognises, fixes=_fixes, by_time=True)
