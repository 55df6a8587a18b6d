r"""A table with a header row (CSV): one position a row.

Owns the list of column names that mean something; a column under another name is kept in `Fix.extra`. Case
and surrounding spaces do not matter; the separator (comma, semicolon or tab) is the one that the header row
uses. An empty cell is a value that is not known. Times are Unix seconds, or seconds from any start, or ISO
8601 (UTC if no zone is given); speeds are metres a second.

>>> read_table(b"t_s,lat,lon,battery\n0,46.5,9.9,3.71\n1,96.5,9.9,3.71\n")[2].listed()[0].first_text
'latitude: 96.5 is outside -90..90 degrees'
"""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from packetcodec.errors import LogFault
from packetcodec.tracks.fix import Fix, Refusals, Unusable, checked

if TYPE_CHECKING:
    from collections.abc import Mapping

_MEANINGS: Final[Mapping[str, str]] = {
    "t": "time",
    "t_s": "time",
    "t_seconds": "time",
    "time": "time",
    "timestamp": "time",
    "lat": "latitude",
    "latitude": "latitude",
    "lon": "longitude",
    "lng": "longitude",
    "longitude": "longitude",
    "alt": "altitude",
    "alt_m": "altitude",
    "altitude": "altitude",
    "ele": "altitude",
    "elevation": "altitude",
    "speed": "speed",
    "course": "course",
    "hdop": "hdop",
    "satellites": "satellites",
    "fix_quality": "fix_quality",
}
_NEEDED: Final = ("time", "latitude", "longitude")
_WHOLE: Final = ("satellites", "fix_quality")


def _split_header(line: str) -> tuple[str, list[str]]:
    """The separator of a header row, and the names in it with what each means."""
    separator = max(",;\t", key=line.count)
    names = [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]
    return separator, [_MEANINGS.get(name.lower(), name) for name in names]


def is_header(line: str) -> bool:
    """Whether a line is the header row of a table of positions."""
    _, names = _split_header(line)
    return all(needed in names for needed in _NEEDED)


def read_table(document: bytes, *, name: str = "table") -> tuple[list[Fix], int, Refusals]:
    """Fixes, number of rows seen, and what was refused.

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
        separator, names = _split_header(lines[first])
    except csv.Error as problem:
        raise LogFault(f"{name}: line {first + 1}: not a header row ({problem})") from None
    for needed in _NEEDED:
        if (count := names.count(needed)) != 1:
            spellings = ", ".join(spelling for spelling, meaning in _MEANINGS.items() if meaning == needed)
            raise LogFault(
                f"{name}: line {first + 1}: {count} columns for {needed}, expected 1 (one of {spellings}) "
                f"in header '{lines[first].strip()[:120]}'"
            )
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
    return fixes, rows, refusals


def _fix(names: list[str], cells: list[str]) -> Fix:
    if len(cells) != len(names):
        raise Unusable("wrong number of cells", f"{len(cells)} cells, the header row has {len(names)}")
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
        speed=known.get("speed"),
        course=known.get("course"),
        extra=extra,
    )


_KNOWN: Final = frozenset(_MEANINGS.values())


def _integer(value: float | None) -> int | None:
    return None if value is None else int(value)


def _number(name: str, cell: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        if name == "time":
            return _moment(cell)
        raise Unusable("not a number", f"{name}: '{cell}' is not a number") from None
    checked(name, value)
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
