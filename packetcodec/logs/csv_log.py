r"""A table with a header row (CSV): one position a row.

Owns two rules. How cells are separated: by comma, semicolon or tab, whichever the header row uses; where it is no comma,
decimals may have one. An empty cell is a value that is not known. What a column means is said by its heading
(`packetcodec.logs.columns`); one that means nothing is kept in `Fix.extra`. And that a row is a line: one of more than
64 KiB is refused, and the next one is read.

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
from typing import TYPE_CHECKING, Final

from packetcodec.errors import LogFault
from packetcodec.logs.columns import COLUMNS, Use, listed, unusable, uses
from packetcodec.logs.fix import Fix
from packetcodec.logs.format import Findings, LogFormat
from packetcodec.logs.values import DECIMAL_COMMA, METRES_PER_SECOND, RecordFault, integer, moment, moment_of, number, shown

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence


#: The columns of a speed, and their units.
_SPEEDS: Final = {"speed": "m/s", "speed_kmh": "km/h", "speed_knot": "knot"}
_WHOLE: Final = ("satellites", "fix_quality")
#: Meanings that have a place of their own in a `Fix`; the rest goes into `Fix.extra`.
_KNOWN: Final = frozenset(column.meaning for column in COLUMNS) - {"battery_volt", "battery_percent", "date"}
_MAX_LINE: Final = 1 << 16


def _split_header(line: str) -> tuple[str, list[str]]:
    """The separator of a header row, and the names in it."""
    separator = max(",;\t", key=line.count)
    return separator, [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]


def _recognises(head: bytes) -> bool:
    """Whether the first line is the header row of a table of positions: one that names a latitude or a longitude."""
    lines = head.decode("utf-8-sig", "replace").lstrip().splitlines()
    return bool(lines) and bool({"latitude", "longitude"} & {found.meaning for found in uses(_split_header(lines[0])[1])})


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
    return f": {listed(names, 'its first line')}, none of them known for {known}" if len(names) > 1 else ""


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


def _header(rows: Iterator[tuple[int, str | None]], findings: Findings) -> tuple[str, list[Use]]:
    """The separator, and what each column is read as.

    Raises:
        LogFault: there is no header row, or it lacks a needed column or one that is asked for, or names one twice.
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
    try:
        found = uses(headings, findings.requested)
    except ValueError as problem:
        raise LogFault(f"{place}: {problem}") from None
    meanings = [each.meaning for each in found]
    for column in COLUMNS[:4]:
        if (count := meanings.count(column.meaning)) != 1 and (count or column.meaning != "date"):
            what = f"{count} columns are named as a {column.meaning}, expected 1" if count else (
                f"no column is named as a {column.meaning}; names known for it: {', '.join(column.names)}"
                f"{unusable(column, headings)}"
            )  # fmt: skip
            raise LogFault(f"{place}: {what}; {listed(headings)}")
    findings.columns = tuple((shown(heading), meaning) for heading, meaning in zip(headings, meanings, strict=True))
    return separator, found


def _fixes(chunks: Iterator[bytes], findings: Findings) -> Iterator[Fix]:
    rows = _rows(chunks, findings.name)
    separator, found = _header(rows, findings)
    for line, text in rows:
        findings.records += 1
        try:
            if text is None:
                raise RecordFault("too long", f"a row of more than {_MAX_LINE} bytes")  # noqa: TRY301
            cells = [cell.strip() for cell in next(csv.reader([text], delimiter=separator))]
            if separator != ",":
                cells = [cell.replace(",", ".") if DECIMAL_COMMA.fullmatch(cell) else cell for cell in cells]
            yield _fix(found, cells, findings)
        except csv.Error as problem:
            findings.refusals.add("not a row", f"line {line}", str(problem))
        except RecordFault as problem:
            findings.refusals.add(problem.reason, f"line {line}", str(problem))
    if not findings.records:
        findings.nothing = "has a header row and no other"


def _fix(columns: Sequence[Use], cells: Sequence[str], findings: Findings) -> Fix:
    if len(cells) != len(columns):
        hint = ""
        if len(cells) > len(columns) and any(DECIMAL_COMMA.fullmatch(f"{a},{b}") for a, b in pairwise(cells)):
            hint = "; numbers with a decimal comma need another separator, such as ;"
        raise RecordFault("wrong number of cells", f"{len(cells)} cells, the header row has {len(columns)}{hint}")
    known: dict[str, float] = {}
    extra: dict[str, object] = {}
    date = next((cell for (meaning, _), cell in zip(columns, cells, strict=True) if meaning == "date"), None)
    for (meaning, factor), cell in zip(columns, cells, strict=True):
        if cell and meaning == "time":
            known[meaning] = _moment(date, cell, factor, findings)
        elif cell and meaning in _KNOWN:
            known[meaning] = _number(meaning, cell, factor)
        elif cell and meaning != "date":
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


def _moment(date: str | None, cell: str, factor: float, findings: Findings) -> float:
    """Unix seconds of a time, with the date beside it.

    Raises:
        RecordFault: it is none; the message says in which column, and how to say what it looks like.
    """
    try:
        if findings.time_format is not None:
            return findings.time_format.beside(date, cell)
        return moment_of(date, cell) if date is not None else _number("time", cell, factor)
    except RecordFault as fault:
        names = [f"'{name}'" for name, meaning in findings.columns if meaning in {"date", "time"}]
        hint = (
            "" if findings.time_format or not fault.reason.startswith("not a ") else "; --time-format says what it is like"
        )
        place = f"column{'s' * (len(names) > 1)} {' and '.join(names)}"
        raise RecordFault(fault.reason, f"{place}: {fault}{hint}") from None


def _number(meaning: str, cell: str, factor: float) -> float:
    if meaning in _WHOLE:
        return integer(meaning, cell)
    if meaning == "time" and not _is_number(cell) and not DECIMAL_COMMA.fullmatch(cell):
        return moment(cell)
    return number("speed" if meaning in _SPEEDS else meaning, cell, factor)


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
