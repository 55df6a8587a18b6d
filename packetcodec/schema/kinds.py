"""The kinds of field: what each measures, in which integer unit, between which bounds.

Owns one rule: everything that is particular to a kind stands in one row of `KINDS`. Reading, planning, coding and
the written specification look here and nowhere else, so a new kind is a new row.

>>> KINDS["altitude"].units["m"].scale          # base units (centimetres) in one metre
100
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

#: Longest arc of one degree on the WGS 84 ellipsoid, in metres: a meridian at the pole, a parallel at the equator.
#: Source: WGS 84 defining parameters (a = 6 378 137 m, 1/f = 298.257 223 563), pi/180 * a/(1-f) and pi/180 * a.
METRES_PER_DEGREE = MappingProxyType({"latitude": 111_693.979_8, "longitude": 111_319.490_8})

POLICIES = ("clip", "refuse", "wrap")
U32 = 2**32 - 1


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit people use, and the integer base unit behind it.

    Attributes:
        symbol: as printed behind a value.
        scale: base units in one unit, a power of ten.
        base: the base unit in words.
        floor, ceiling: hard bounds of minimum and maximum, in base units.
        low, high: the range of a field that gives none, in base units.
        step: the step of a field that gives neither bits nor resolution, in base units.
    """

    symbol: str
    scale: int
    base: str
    floor: int
    ceiling: int
    low: int
    high: int
    step: int = 1


@dataclass(frozen=True, slots=True)
class Kind:
    """What a field measures.

    Attributes:
        name: as a schema writes it.
        doc: one line for the specification.
        policy: what happens to a value beyond the range, unless the schema says otherwise.
        units: unit name to `Unit`; the first one is the default. Empty for `number`, whose unit the schema gives.
        keys: the schema keys a field of this kind may carry beside kind, name, optional and doc.
        counting: whole numbers with step 1; bits give the range instead of the step.
        circle: the whole range closes on itself: beyond its end stands its beginning.
    """

    name: str
    doc: str
    policy: str
    units: Mapping[str, Unit]
    keys: frozenset[str]
    counting: bool = False
    circle: bool = False


def _kind(
    name: str,
    doc: str,
    policy: str,
    keys: str,
    *units: tuple[str, Unit],
    counting: bool = False,
    circle: bool = False,
) -> Kind:
    return Kind(name, doc, policy, MappingProxyType(dict(units)), frozenset(keys.split()), counting, circle)


_MEASURE = "bits resolution minimum maximum policy"
_COUNT = "bits maximum policy"


def _speed(symbol: str, most: int, high: int) -> Unit:
    return Unit(symbol, 100, f"0.01 {symbol}", 0, most * 100, 0, high * 100, 10)


_ROWS = (
    _kind(
        "latitude",
        "latitude, north positive, WGS 84",
        "refuse",
        f"{_MEASURE} resolution_m",
        (
            "degree",
            Unit("°", 10**7, "1e-7 degree", -900_000_000, 900_000_000, -900_000_000, 900_000_000, 100),
        ),
    ),
    _kind(
        "longitude",
        "longitude, east positive, WGS 84",
        "refuse",
        f"{_MEASURE} resolution_m",
        (
            "degree",
            Unit("°", 10**7, "1e-7 degree", -(18 * 10**8), 18 * 10**8, -(18 * 10**8), 18 * 10**8, 100),
        ),
        circle=True,
    ),
    _kind(
        "altitude",
        "altitude above mean sea level",
        "clip",
        _MEASURE,
        ("m", Unit("m", 100, "centimetre", -1_200_000, 10_000_000, -50_000, 900_000, 100)),
    ),
    _kind(
        "battery",
        "battery: voltage, or charge in percent",
        "clip",
        f"{_MEASURE} unit",
        ("volt", Unit("V", 1000, "millivolt", 0, 1_000_000, 0, 5000, 20)),
        ("percent", Unit("%", 1, "percent", 0, 100, 0, 100)),
    ),
    _kind(
        "fix_quality",
        "fix quality as numbered in the NMEA 0183 GGA sentence",
        "refuse",
        _COUNT,
        ("", Unit("", 1, "number of the GGA sentence", 0, 8, 0, 8)),
        counting=True,
    ),
    _kind(
        "satellites",
        "satellites used for the fix",
        "clip",
        _COUNT,
        ("", Unit("", 1, "satellite", 0, 255, 0, 63)),
        counting=True,
    ),
    _kind(
        "hdop",
        "horizontal dilution of precision",
        "clip",
        _MEASURE,
        ("", Unit("", 100, "0.01", 0, 10_000, 0, 2500, 10)),
    ),
    _kind(
        "speed",
        "speed over ground",
        "clip",
        f"{_MEASURE} unit",
        ("m/s", _speed("m/s", 10_000, 50)),
        ("km/h", _speed("km/h", 36_000, 200)),
        ("knot", _speed("kn", 20_000, 100)),
    ),
    _kind(
        "course",
        "course over ground, clockwise from true north",
        "wrap",
        "bits resolution policy",
        ("degree", Unit("°", 100, "0.01 degree", 0, 36_000, 0, 36_000, 100)),
        circle=True,
    ),
    _kind(
        "time",
        "time in whole seconds (UTC, leap seconds not counted)",
        "refuse",
        "bits resolution epoch period policy",
        ("s", Unit("s", 1, "second", 0, U32, 0, U32)),
    ),
    _kind(
        "identifier",
        "which device sends",
        "refuse",
        _COUNT,
        ("", Unit("", 1, "number", 0, U32, 0, 255)),
        counting=True,
    ),
    _kind(
        "counter",
        "counts packets and starts again at zero after its last code",
        "wrap",
        _COUNT,
        ("", Unit("", 1, "count", 0, U32, 0, 255)),
        counting=True,
        circle=True,
    ),
    _kind("flag", "yes or no", "refuse", "", ("", Unit("", 1, "0 no, 1 yes", 0, 1, 0, 1)), counting=True),
    _kind(
        "choice",
        "one of several named values",
        "refuse",
        "bits choices",
        ("", Unit("", 1, "number of the name in the list", 0, U32, 0, 1)),
        counting=True,
    ),
    _kind("number", "a number with a unit, range and step of the schema's own", "clip", f"{_MEASURE} unit"),
)

#: Kind name to `Kind`, in the order of the documentation.
KINDS: Mapping[str, Kind] = MappingProxyType({row.name: row for row in _ROWS})
