"""The kinds of field: what each measures, in which integer unit, between which bounds.

Owns one rule: everything that is particular to a kind stands in its row of `KINDS`. Nothing else in this project compares a
kind with a name: it asks for the form of its values, the role it plays in a packet, or its unit.

>>> KINDS["altitude"].units["m"].scale          # base units (centimetres) in one metre
100
>>> KINDS["course"].form, KINDS["course"].cyclic
(<Form.MEASURE: 'measure'>, True)
"""

from __future__ import annotations

from enum import Enum
from types import MappingProxyType
from typing import TYPE_CHECKING

from packetcodec.frozen import Frozen

if TYPE_CHECKING:
    from collections.abc import Mapping

METRES_PER_DEGREE_NORTH = 111_693.979_8
"""Longest arc of one degree of latitude on the WGS 84 ellipsoid, in metres, at the pole: pi/180 * a/(1-f).

Source: WGS 84 defining parameters (a = 6 378 137 m, 1/f = 298.257 223 563).
"""

METRES_PER_DEGREE_EAST = 111_319.490_8
"""Longest arc of one degree of longitude, in metres, at the equator: pi/180 * a."""

#: Base units of a latitude or longitude in one degree.
DEGREE = 10**7
#: Base units of an altitude in one metre.
METRE = 100
#: The highest altitude of any field, in base units.
MAX_ALTITUDE = 100_000 * METRE

#: How much wider than high a cell of a trail can be on the ground: its integer cosine is at most 0.18 % too wide, and a
#: parallel is up to 0.34 % longer against a meridian than on a sphere (WGS 84 flattening 1/298.257 223 563).
WIDEST_CELL = 1.0018 * 1.0034

POLICIES = ("clip", "refuse", "wrap")
U32 = 2**32 - 1


class Form(Enum):
    """What sort of value a kind has."""

    MEASURE = "measure"  # a quantity on a scale, sent in steps
    COUNT = "count"  # whole numbers from 0; bits give the range instead of the step
    TIME = "time"  # seconds since an epoch, or modulo a period
    FLAG = "flag"  # no or yes
    CHOICE = "choice"  # one of several names


class Role(Enum):
    """What a field does in a packet beside being sent: an axis of its position, who sends it, or its number.

    >>> KINDS["longitude"].role is Role.EAST
    True
    """

    NORTH = "latitude"
    EAST = "longitude"
    HEIGHT = "altitude"
    SENDER = "identifier"
    SEQUENCE = "counter"


#: The roles that together are a place on the ground.
PLACE = frozenset({Role.NORTH, Role.EAST})


class Unit(Frozen):
    """A unit people use, and the integer base unit behind it.

    Attributes:
        name: as a schema writes it, "" for none; of a `number`, the schema's own.
        symbol: as printed behind a value.
        scale: base units in one unit, a power of ten.
        base: the base unit in words.
        floor, ceiling: hard bounds of minimum and maximum, in base units.
        low, high: the range of a field that gives none, in base units.
        step: the step of a field that gives neither bits nor resolution, in base units.
        suffix: what stands behind the name of a field in C, for its base unit.
        everyday: a value in the invented scene of examples; None for the middle of the range. A time counts from its epoch.
        si: this unit in the one that logs have (metres per second).
        metres: metres on the ground in one unit, at most; None where it is no length.

    >>> volts = KINDS["battery"].units["volt"]
    >>> isinstance(volts, Unit), volts.scale, volts.base
    (True, 1000, 'millivolt')
    """

    name: str
    symbol: str
    scale: int
    base: str
    floor: int
    ceiling: int
    low: int
    high: int
    step: int = 1
    suffix: str = ""
    everyday: float | None = None
    si: float = 1.0
    metres: float | None = None


class Kind(Frozen):
    """What a field measures. Each is there once: two of them are equal when they are the same.

    Attributes:
        name: as a schema writes it.
        doc: one line for the specification.
        form: the sort of its values.
        policy: what happens to a value beyond the range, unless the schema says otherwise.
        units: unit name to `Unit`; the first one is the default. Empty for `number`, whose unit the schema gives.
        keys: the schema keys a field of this kind may carry beside kind, name, optional and doc.
        role: what it does in a packet, or None.
        cyclic: the whole range closes on itself, so that its length is the modulus.
        source: the attribute of a fix in a log that holds it, or "".
        stand_in: the code sent in a trial where no log holds a value; None for the middle one.

    >>> course = KINDS["course"]
    >>> isinstance(course, Kind), course.form.name, course.policy, course.counting
    (True, 'MEASURE', 'wrap', False)
    """

    name: str
    doc: str
    form: Form
    policy: str
    units: Mapping[str, Unit]
    keys: frozenset[str]
    role: Role | None = None
    cyclic: bool = False
    source: str = ""
    stand_in: int | None = None

    def __str__(self) -> str:
        return self.name

    def __eq__(self, other: object) -> bool:
        return self is other

    def __hash__(self) -> int:
        return id(self)

    def __reduce__(self) -> tuple[object, tuple[str]]:
        return _named, (self.name,)

    @property
    def counting(self) -> bool:
        """Whether its values are whole numbers with step 1, or stand for some."""
        return self.form in {Form.COUNT, Form.FLAG, Form.CHOICE}

    @property
    def own_unit(self) -> bool:
        """Whether the schema gives the unit, as free text."""
        return not self.units


def _named(name: str) -> Kind:
    return KINDS[name]


def _unit(
    symbol: str, scale: int, base: str, hard: tuple[int, int], usual: tuple[int, int], step: int = 1, *,
    name: str = "", suffix: str = "", everyday: float | None = None, si: float = 1.0, metres: float | None = None,
) -> Unit:  # fmt: skip
    """A unit with its bounds and its usual range in units, its step in base units."""
    floor, ceiling, low, high = (bound * scale for bound in (*hard, *usual))
    return Unit(name, symbol, scale, base, floor, ceiling, low, high, step, suffix, everyday, si, metres)


def _kind(
    name: str, form: Form, policy: str, keys: str, doc: str, *units: Unit,
    role: Role | None = None, cyclic: bool = False, source: str = "", stand_in: int | None = None,
) -> Kind:  # fmt: skip
    named = MappingProxyType({unit.name: unit for unit in units})
    return Kind(name, doc, form, policy, named, frozenset(keys.split()), role, cyclic, source, stand_in)


_MEASURE = "bits resolution max_error minimum maximum policy"
_METRES = "resolution_m max_error_m low_bits within_m"
_COUNT = "bits maximum policy"

_ROWS = (
    _kind(
        "latitude", Form.MEASURE, "refuse", f"{_MEASURE} {_METRES}", "latitude, north positive, WGS 84",
        _unit("°", DEGREE, "1e-7 degree", (-90, 90), (-90, 90), 100, name="degree", suffix="e7", everyday=46.51234,
              metres=METRES_PER_DEGREE_NORTH),
        role=Role.NORTH, source="latitude",
    ),
    _kind(
        "longitude", Form.MEASURE, "refuse", f"{_MEASURE} {_METRES} max_latitude", "longitude, east positive, WGS 84",
        _unit("°", DEGREE, "1e-7 degree", (-180, 180), (-180, 180), 100, name="degree", suffix="e7", everyday=9.87654,
              metres=METRES_PER_DEGREE_EAST),
        role=Role.EAST, cyclic=True, source="longitude",
    ),
    _kind(
        "altitude", Form.MEASURE, "clip", f"{_MEASURE} low_bits within", "altitude above mean sea level",
        _unit("m", METRE, "centimetre", (-12_000, MAX_ALTITUDE // METRE), (-500, 9000), 100, name="m", suffix="cm",
              everyday=2104.0, metres=1.0),
        role=Role.HEIGHT, source="altitude",
    ),
    _kind(
        "battery", Form.MEASURE, "clip", f"{_MEASURE} unit", "battery: voltage, or charge in percent",
        _unit("V", 1000, "millivolt", (0, 1000), (0, 5), 20, name="volt", suffix="mv", everyday=3.71),
        _unit("%", 1, "percent", (0, 100), (0, 100), name="percent", suffix="percent", everyday=71),
    ),
    _kind(
        "fix_quality", Form.COUNT, "refuse", _COUNT, "fix quality as numbered in the NMEA 0183 GGA sentence",
        _unit("", 1, "number of the GGA sentence", (0, 8), (0, 8), everyday=1),
        source="quality",
    ),
    _kind(
        "satellites", Form.COUNT, "clip", _COUNT, "satellites used for the fix",
        _unit("", 1, "satellite", (0, 255), (0, 63), everyday=9),
        source="satellites",
    ),
    _kind(
        "hdop", Form.MEASURE, "clip", _MEASURE, "horizontal dilution of precision",
        _unit("", 100, "0.01", (0, 100), (0, 25), 10, suffix="e2", everyday=0.9),
        source="hdop",
    ),
    _kind(
        "speed", Form.MEASURE, "clip", f"{_MEASURE} unit", "speed over ground",
        _unit("m/s", 100, "0.01 m/s", (0, 10_000), (0, 50), 10, name="m/s", suffix="cm_s", everyday=1.2),
        _unit("km/h", 100, "0.01 km/h", (0, 36_000), (0, 200), 10, name="km/h", suffix="e2", everyday=4.3, si=1 / 3.6),
        _unit("kn", 100, "0.01 kn", (0, 20_000), (0, 100), 10, name="knot", suffix="e2", everyday=2.3, si=1852 / 3600),
        source="speed",
    ),
    _kind(
        "course", Form.MEASURE, "wrap", "bits resolution max_error policy", "course over ground, clockwise from true north",
        _unit("°", 100, "0.01 degree", (0, 360), (0, 360), 100, name="degree", suffix="e2", everyday=215.5),
        cyclic=True, source="course",
    ),
    _kind(
        "time", Form.TIME, "refuse", "bits resolution epoch period policy low_bits within",
        "time in whole seconds (UTC, leap seconds not counted)",
        _unit("s", 1, "second", (0, U32), (0, U32), name="s", suffix="s", everyday=15_667_960),  # half a year and some hours
        source="time",
    ),
    _kind(
        "identifier", Form.COUNT, "refuse", _COUNT, "which device sends",
        _unit("", 1, "number", (0, U32), (0, 255), everyday=7),
        role=Role.SENDER, stand_in=1,
    ),
    _kind(
        "counter", Form.COUNT, "wrap", f"{_COUNT} low_bits within",
        "counts packets and starts again at zero after its last code",
        _unit("", 1, "count", (0, U32), (0, 255), everyday=42),
        role=Role.SEQUENCE, cyclic=True,
    ),
    _kind(
        "flag", Form.FLAG, "refuse", "", "yes or no",
        _unit("", 1, "0 no, 1 yes", (0, 1), (0, 1), everyday=1),
        stand_in=0,
    ),
    _kind(
        "choice", Form.CHOICE, "refuse", "bits choices", "one of several named values",
        _unit("", 1, "number of the name in the list", (0, U32), (0, 1)),
        stand_in=0,
    ),
    _kind(
        "number", Form.MEASURE, "clip", f"{_MEASURE} unit low_bits within",
        "a number with a unit, range and step of the schema's own",
    ),
)  # fmt: skip

#: Kind name to `Kind`, in the order of the documentation.
KINDS: Mapping[str, Kind] = MappingProxyType({row.name: row for row in _ROWS})
