r"""A table with a header row (CSV): one position a row.

Owns two rules. Which column names mean something: `COLUMNS`; a column under another name is kept in `Fix.extra` in lower
case. Case and surrounding spaces do not matter; the separator (comma, semicolon or tab) is the one that the header row
uses. An empty cell is a value that is not known. And the order of rows: by their time, whatever the order of the file;
rows of one time stay as they stand.

>>> read_table(b"t_s,lat,lon,battery\n0,46.5,9.9,3.71\n1,96.5,9.9,3.71\n").refusals.listed()[0].first_text
'latitude: 96.5 is outside -90..90 degrees'
"""

from __future__ import annotations

import csv
import re
from datetime import UTC, datetime
from itertools import pairwise
from math import inf
from typing import TYPE_CHECKING, Final, NamedTuple

from packetcodec.errors import LogFault
from packetcodec.logs.fix import METRES_PER_SECOND, Fix, Refusals, Unusable, checked

if TYPE_CHECKING:
    from collections.abc import Mapping

#: What a column may be: meaning, unit or form in words, and the names it goes by. The speeds differ by a factor only.
COLUMNS: Final[tuple[tuple[str, str, tuple[str, ...]], ...]] = (
    (
        "time",
        "Unix seconds, or seconds from any start, or ISO 8601 (UTC if it has no offset)",
        ("time", "t", "t_s", "t_seconds", "seconds", "timestamp", "datetime", "date_time", "utc", "time (utc)", "unix",
         "unix_time", "epoch"),
    ),
    ("latitude", "degrees, north positive", ("latitude", "lat")),
    ("longitude", "degrees, east positive", ("longitude", "lon", "lng", "long")),
    ("altitude", "metres above mean sea level", ("altitude", "altitude_m", "alt", "alt_m", "ele", "elevation")),
    ("speed", "metres a second", ("speed", "speed_m_s", "speed_mps")),
    ("speed_kmh", "kilometres an hour", ("speed_kmh", "speed_kph", "speed_km_h")),
    ("speed_knot", "knots", ("speed_kn", "speed_knot", "speed_knots", "speed_kt")),
    ("course", "degrees clockwise from true north", ("course", "heading", "bearing", "cog")),
    ("satellites", "satellites used", ("satellites", "sats", "sat", "num_sats")),
    ("hdop", "no unit", ("hdop",)),
    ("fix_quality", "0..8 as NMEA 0183 numbers it in GGA", ("fix_quality",)),
    ("battery_volt", "volts", ("battery_v", "batt_v", "vbat", "battery_volt", "battery_volts")),
    ("battery_percent", "percent", ("battery_pct", "batt_pct", "battery_percent", "batt_percent", "soc")),
)  # fmt: skip
_MEANINGS: Final[Mapping[str, str]] = {name: meaning for meaning, _, names in COLUMNS for name in names}
_SPEEDS: Final = {"speed_kmh": METRES_PER_SECOND["km/h"], "speed_knot": METRES_PER_SECOND["knot"]}
_NEEDED: Final = ("time", "latitude", "longitude")
_WHOLE: Final = ("satellites", "fix_quality")


def _split_header(line: str) -> tuple[str, list[str]]:
    """The separator of a header row, and the names in it with what each means."""
    separator = max(",;\t", key=line.count)
    return separator, [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]


def _meaning(name: str) -> str:
    return _MEANINGS.get(name.lower(), name.lower())


def is_header(line: str) -> bool:
    """Whether a line is the header row of a table of positions: one that names a latitude or a longitude."""
    _, names = _split_header(line)
    return bool({"latitude", "longitude"} & set(map(_meaning, names)))


class TableLog(NamedTuple):
    """What a table held.

    Attributes:
        fixes: one per usable row, by time.
        rows: rows seen.
        refusals: rows that could not be used.
        columns: each column's name as it stands in the header row, and what it means (a key of `Fix.extra` for names
            that are not in `COLUMNS`).
        moved: usable rows whose time is before that of a row above them.
    """

    fixes: list[Fix]
    rows: int
    refusals: Refusals
    columns: tuple[tuple[str, str], ...]
    moved: int


def read_table(document: bytes, *, name: str = "table") -> TableLog:
    """Read a whole table.

    Raises:
        LogFault: the text is not UTF-8, or the header row lacks a needed column or names one twice.
    """
    try:
        lines = document.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError as problem:
        raise LogFault(f"{name}: byte {problem.start} is not UTF-8 text") from None
    first = next((index for index, line in enumerate(lines) if line.strip()), len(lines))
    if first == len(lines):
        raise LogFault(f"{name}: no header row in {len(document)} bytes")
    try:
        separator, headings = _split_header(lines[first])
    except csv.Error as problem:
        raise LogFault(f"{name}: line {first + 1}: not a header row ({problem})") from None
    names = [_meaning(heading) for heading in headings]
    for needed in _NEEDED:
        if (count := names.count(needed)) != 1:
            spellings = ", ".join(spelling for spelling, meaning in _MEANINGS.items() if meaning == needed)
            what = f"{count} columns for {needed}, expected 1" if count else f"no column for {needed}"
            raise LogFault(f"{name}: line {first + 1}: {what} (one of {spellings}) in header '{lines[first].strip()[:120]}'")
    fixes: list[Fix] = []
    refusals = Refusals()
    rows = 0
    for line, text in enumerate(lines[first + 1 :], first + 2):
        if not text.strip():
            continue
        rows += 1
        try:
            cells = [cell.strip() for cell in next(csv.reader([text], delimiter=separator))]
            fixes.append(_fix(names, cells))
        except csv.Error as problem:
            refusals.add("not a row", f"line {line}", str(problem))
        except Unusable as problem:
            refusals.add(problem.reason, f"line {line}", str(problem))
    in_order, moved = by_time(fixes)
    return TableLog(in_order, rows, refusals, tuple(zip(headings, names, strict=True)), moved)


def by_time(fixes: list[Fix]) -> tuple[list[Fix], int]:
    """Fixes in the order of their times, and how many stood below one of a later time."""
    moved, latest = 0, -inf
    for fix in fixes:
        moved += fix.time < latest
        latest = max(latest, fix.time)
    return sorted(fixes, key=lambda fix: fix.time), moved


def _fix(names: list[str], cells: list[str]) -> Fix:
    if len(cells) != len(names):
        hint = ""
        if len(cells) > len(names) and any(_COMMA.fullmatch(f"{a},{b}") for a, b in pairwise(cells)):
            hint = "; numbers with a decimal comma need another separator, such as ;"
        raise Unusable("wrong number of cells", f"{len(cells)} cells, the header row has {len(names)}{hint}")
    known: dict[str, float | None] = {}
    extra: dict[str, object] = {}
    for name, cell in zip(names, cells, strict=True):
        if name in _KNOWN:
            known[name] = _number(name, cell) if cell else None
        elif cell:
            extra[name] = _guess(cell)
    time = known["time"]
    if time is None:
        raise Unusable("no time", "the time is empty")
    if (known["latitude"] is None) != (known["longitude"] is None):
        raise Unusable("half a position", "of latitude and longitude one is empty")
    return Fix(
        time=time,
        latitude=known["latitude"],
        longitude=known["longitude"],
        altitude=known.get("altitude"),
        fix_quality=_integer(known.get("fix_quality")),
        satellites=_integer(known.get("satellites")),
        hdop=known.get("hdop"),
        speed=_speed(known),
        course=known.get("course"),
        extra=extra,
    )


#: Meanings that have a place of their own in a `Fix`; the rest goes into `Fix.extra`.
_KNOWN: Final = frozenset(_MEANINGS.values()) - {"battery_volt", "battery_percent"}
#: A number as languages with a decimal comma write it.
_COMMA = re.compile(r"-?[0-9]+,[0-9]+")


def _speed(known: Mapping[str, float | None]) -> float | None:
    """Metres a second from whichever speed a row has."""
    for name, unit in (("speed", 1.0), *_SPEEDS.items()):
        value = known.get(name)
        if value is not None:
            return value * unit
    return None


def _integer(value: float | None) -> int | None:
    return None if value is None else int(value)


def _number(name: str, cell: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        if name == "time":
            return _moment(cell)
        hint = " (decimals stand behind a point here, not a comma)" if _COMMA.fullmatch(cell) else ""
        raise Unusable("not a number", f"{name}: '{cell}' is not a number{hint}") from None
    checked("speed" if name in _SPEEDS else name, value)
    if name in _WHOLE and value != int(value):
        raise Unusable("not a whole number", f"{name}: {value:g} is not a whole number")
    return value


def _moment(cell: str) -> float:
    try:
        moment = datetime.fromisoformat(cell)
    except ValueError:
        raise Unusable("not a time", f"time: '{cell}' is neither seconds nor ISO 8601") from None
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()


def _guess(cell: str) -> object:
    """A whole number, a number or the text itself."""
    for kind in (int, float):
        try:
            return kind(cell)
        except ValueError:
            continue
    return cell
