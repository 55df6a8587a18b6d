"""What the columns of a table mean, by their headings.

Owns one rule: which heading means something. `COLUMNS` has the names; case and surrounding spaces do not matter, and a space
is as good as an underscore. A unit may stand behind the name in brackets and is converted; in a unit that is not known
nothing is read, the column is kept under its whole heading in lower case, as those under other names are. A caller may say
which column has a meaning. Where there is a date beside it, the time is a time of day, unless it is called seconds.

>>> [use.meaning for use in uses(["Date", "Time", "Lat [deg]", "lon", "Speed (km/h)", "Alt (ft)", "Alt (rods)"])]
['date', 'time', 'latitude', 'longitude', 'speed_kmh', 'altitude', 'alt (rods)']
>>> [use.meaning for use in uses(["t_s", "Y [deg]", "X [deg]"], {"latitude": "Y [deg]", "lon": "X [deg]"})]
['time', 'latitude', 'longitude']
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final, NamedTuple

from packetcodec.logs.values import shown

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


class Column(NamedTuple):
    """What a column may be: its meaning, unit or form in words, and the names it goes by."""

    meaning: str
    words: str
    names: tuple[str, ...]


class Use(NamedTuple):
    """What a column is read as: its meaning, and how many of the meaning's units one of its own is."""

    meaning: str
    factor: float = 1.0


#: Names of a time that is a number, whatever stands beside it.
_SECONDS: Final = ("t", "t_s", "t_seconds", "seconds", "unix", "unix_time", "epoch")
#: The columns of a table that are used, by the names that they are known by; a table has the first three.
COLUMNS: Final = (
    Column(
        "time",
        "Unix seconds, or seconds from any start, or ISO 8601 (UTC if it has no offset); with a date: 12:00:00 or 120000",
        ("time", *_SECONDS, "timestamp", "datetime", "date_time", "utc", "utc_time", "time_utc"),
    ),
    Column("latitude", "degrees, north positive", ("latitude", "lat")),
    Column("longitude", "degrees, east positive", ("longitude", "lon", "lng", "long")),
    Column("date", "2026-07-01, 2026/07/01, 20260701 or 01.07.2026 (UTC)", ("date", "utc_date", "date_utc", "gps_date")),
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
)
#: Each name of a column to its meaning.
MEANINGS: Final[Mapping[str, str]] = {name: column.meaning for column in COLUMNS for name in column.names}
_DEGREES: Final = ("deg", "degree", "degrees", "decimal degrees", "°")
_NO_UNIT: Final = ("-", "#", "1")


def _units(meaning: str, *units: str, factor: float = 1.0) -> dict[str, Use]:
    return dict.fromkeys(units, Use(meaning, factor))


#: What may stand in brackets behind a name of a meaning. The foot is 0.3048 m by definition.
_UNITS: Final[Mapping[str, Mapping[str, Use]]] = {
    "time": _units("time", "utc", "gmt", "s", "sec", "seconds", "unix") | _units("time", "ms", factor=0.001),
    "date": _units("date", "utc", "gmt"),
    "latitude": _units("latitude", *_DEGREES),
    "longitude": _units("longitude", *_DEGREES),
    "altitude": _units("altitude", "m", "metres", "meters") | _units("altitude", "ft", "feet", factor=0.3048),
    "speed": _units("speed", "m/s", "mps") | _units("speed_kmh", "km/h", "kmh", "kph")
    | _units("speed_knot", "kn", "kt", "kts", "knot", "knots"),
    "course": _units("course", *_DEGREES),
    "satellites": _units("satellites", *_NO_UNIT),
    "hdop": _units("hdop", *_NO_UNIT),
    "fix_quality": _units("fix_quality", *_NO_UNIT),
    "battery": _units("battery_volt", "v", "volt", "volts") | _units("battery_percent", "%", "percent"),
}  # fmt: skip
_NAMES: Final = dict(MEANINGS) | dict.fromkeys(("battery", "batt", "vbat"), "battery")
_BRACKETS: Final = re.compile(r"(.*?)[\s_]*[\[(]\s*([^\[\]()]*?)\s*[\])]")


def _parts(heading: str) -> tuple[str, str | None]:
    """The name in a heading as names are written in `COLUMNS`, and the unit in its brackets, None without any."""
    found = _BRACKETS.fullmatch(heading.lower())
    name, unit = found.groups() if found else (heading.lower(), None)
    return name.replace(" ", "_"), unit


def use(heading: str) -> Use:
    """What a column of this heading is read as.

    >>> use("Altitude [ft]"), use("Battery (%)"), use("Mood")
    (Use(meaning='altitude', factor=0.3048), Use(meaning='battery_percent', factor=1.0), Use(meaning='mood', factor=1.0))
    """
    name, unit = _parts(heading)
    if unit is None:
        return Use(MEANINGS.get(name, heading.lower()))
    return _UNITS.get(_NAMES.get(name, ""), {}).get(unit, Use(heading.lower()))


def uses(headings: Sequence[str], requested: Mapping[str, str] | None = None) -> list[Use]:
    """What the columns of a table are read as; of those that are asked for, meaning (or any name of it) to heading.

    Raises:
        ValueError: a heading that is asked for is not there once; the message says what is there.
    """
    found = [use(heading) for heading in headings]
    for name, heading in (requested or {}).items():
        places = [place for place, each in enumerate(headings) if each.lower() == heading.strip().lower()]
        if len(places) != 1:
            count = "no column is" if not places else f"{len(places)} columns are"
            raise ValueError(f"{count} named '{shown(heading)}', to be read as {shown(name)}; {listed(headings)}")
        meaning = MEANINGS.get(name.lower(), name.lower())
        found = [_set_aside(each) if had.meaning == meaning else had for each, had in zip(headings, found, strict=True)]
        _, unit = _parts(heading)
        found[places[0]] = _UNITS.get(meaning, {}).get(unit or "", Use(meaning))
    if any(had.meaning == "time" and _is_seconds(each) for each, had in zip(headings, found, strict=True)):
        found = [_set_aside(each) if had.meaning == "date" else had for each, had in zip(headings, found, strict=True)]
    return found


def _set_aside(heading: str) -> Use:
    """What a column is read as whose meaning another one has, or which has none here."""
    name = heading.lower()
    return Use(f"{name} as it stands" if name in MEANINGS.values() else name)


def _is_seconds(heading: str) -> bool:
    name, unit = _parts(heading)
    return name in _SECONDS or unit in {"s", "sec", "seconds", "unix", "ms"}


def unusable(column: Column, headings: Sequence[str]) -> str:
    """That a heading names this column in a unit that is not known, as the end of a message; "" where none does."""
    for heading in headings:
        name, unit = _parts(heading)
        if name in column.names and unit is not None and unit not in (known := _UNITS.get(column.meaning, {})):
            return f"; the unit of '{shown(heading)}' is not known: {', '.join(known)} are"
    return ""


def listed(headings: Sequence[str], row: str = "the header row") -> str:
    """What a header row names, in words."""
    return f"{row} names " + ", ".join(f"'{shown(heading)}'" for heading in headings[:20])
