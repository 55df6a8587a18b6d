"""Fields that are sent by the low bits of their code: how many bits, for the interval in which a receiver knows the value.

Owns one rule: how many low bits an interval takes (DEVELOPERS.md, rule 11). With M the modulus, every code within
(M - 1) // 2 of the receiver's reference is found again. Two values at most `within` apart have codes at most W apart, and
the fewest bits with 2 W + 1 <= M are taken.

>>> from packetcodec.schema import Schema
>>> text = '''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [
...   { kind = "latitude", resolution_m = 2.5, within_m = 20000 },
...   { kind = "longitude", resolution_m = 2.5, within_m = 20000, max_latitude = 70 },
... ]
... '''
>>> [(field.low_bits.bits, field.grid.bits) for field in Schema.parse(text).layouts[0].fields if field.low_bits]
[(14, 23), (16, 24)]
"""

from __future__ import annotations

import math
from decimal import Decimal
from itertools import count
from typing import TYPE_CHECKING

from packetcodec.frozen import Frozen, kept
from packetcodec.schema.kinds import Form, Role

if TYPE_CHECKING:
    from packetcodec.schema.grid import Grid
    from packetcodec.schema.kinds import Kind, Unit
    from packetcodec.schema.table import Table

#: Semi-axes of the WGS 84 ellipsoid in metres, and 1 - f. Source: its defining parameters, a and 1/f = 298.257 223 563.
_A = 6_378_137.0
_SHAPE = 1 - 1 / 298.257_223_563
_B = _A * _SHAPE

_KEYS = ("low_bits", "within", "within_m")
#: Bits of the narrowest check that may decide whether a reference was right.
MIN_CHECK_BITS = 16


class LowBits(Frozen):
    """How a field is sent by its low bits.

    Attributes:
        bits: what is sent, k.
        modulus: 2^k, or 2^k - 1 where all bits one say that the value is absent.
        high_bits: width of what is not sent, but enters the check.
        absent: the remainder that says absent, or None.
        two_ways: whether two codes can be within reach of a reference: next to the seam of a circle whose number of codes is
            no multiple of the modulus.
        max_latitude: the latitude up to which a longitude's interval in metres holds; 0 where the schema names none.
        requested: the request as the schema words it, for reports.

    >>> low = LowBits(bits=14, modulus=16383, high_bits=9, absent=16383)
    >>> low.reach
    8191
    """

    bits: int
    modulus: int
    high_bits: int
    absent: int | None = None
    two_ways: bool = False
    max_latitude: float = 0
    requested: str = ""

    @kept
    def reach(self) -> int:
        """How far, in codes, a reference may be off, either way."""
        return (self.modulus - 1) // 2


def read_low_bits(table: Table, kind: Kind, unit: Unit, grid: Grid, span: int, *, cyclic: bool) -> LowBits | None:
    """How the field of a table is sent by its low bits; None if it is not, or after a fault (noted in its faults)."""
    given = [key for key in _KEYS if key in table.data]
    if "max_latitude" in table.data and "within_m" not in given:
        table.note("needs a within_m beside it", "max_latitude")
    if not given:
        return None
    if len(given) > 1:
        table.note(f"{given[0]} and {given[1]} both given: one follows from the other", given[1])
    if kind.form is Form.TIME and cyclic:
        table.note("only for a time with an epoch: a period says the low bits alone already", given[0])
    elif kind.cyclic and not cyclic:
        table.note("only on the whole circle: leave out minimum and maximum, which save nothing here", given[0])
    optional = grid.absent_code is not None
    bits = table.integer("low_bits")
    if bits is None and (apart := _apart(table, kind, unit)) is not None:
        codes = -(-apart // grid.step) + (cyclic and span % grid.step > 0)
        bits = next(width for width in count(2) if 2 * codes + 1 <= (1 << width) - optional)
    if bits is None:
        return None
    modulus = (1 << bits) - optional
    if modulus > grid.max_code:
        table.note(f"takes {bits} low bits, and all of the field fits {grid.bits}: leave it out", given[0])
        return None
    absent = (1 << bits) - 1 if optional else None
    two_ways = cyclic and (grid.max_code + 1) % modulus > 0
    high_bits, limit = (grid.max_code // modulus).bit_length(), float(table.data.get("max_latitude", 0))
    return LowBits(bits, modulus, high_bits, absent, two_ways, limit, _requested(table, unit))


def _apart(table: Table, kind: Kind, unit: Unit) -> int | None:
    """Most whole base units between the value and its reference, both rounded to one; None after a fault."""
    if "within" in table.data:
        value = table.number("within")
        if value is not None and value <= 0:
            table.note(f"{value} is not above 0", "within")
            value = None
        return None if value is None else math.floor(value * unit.scale) + (not kind.counting)
    metres = table.number("within_m")
    limit = _max_latitude(table) if kind.role is Role.EAST else Decimal(0)
    if metres is None or limit is None:
        return None
    angle = _north(float(metres)) if kind.role is Role.NORTH else _east(float(metres), float(limit))
    return math.floor(math.degrees(angle) * unit.scale) + 1


def _max_latitude(table: Table) -> Decimal | None:
    if "max_latitude" not in table.data:
        table.note("needs a max_latitude beside it: the nearer to a pole, the more degrees of longitude it is", "within_m")
    return table.number("max_latitude")


def _north(metres: float) -> float:
    """Most radians of latitude between two places so far apart: on the meridian at the equator, where it is bent most."""
    return metres / (_B * _SHAPE)


def _east(metres: float, latitude: float) -> float:
    """Most radians of longitude between two places so far apart, neither of them farther from the equator than that.

    In reduced latitude u the metric of the ellipsoid is nowhere below that of a sphere of its smaller radius, on which
    sin^2(way / 2) = sin^2(difference of u / 2) + cos(u) cos(u') sin^2(difference of longitude / 2).
    """
    reduced = math.atan(_SHAPE * math.tan(math.radians(latitude)))
    half = math.sin(metres / (2 * _B)) / math.cos(reduced)
    return 2 * math.asin(half) if half < 1 else math.pi


def metres_north(angle: float) -> float:
    """Metres within which two places surely lie so few radians of latitude apart."""
    return angle * _B * _SHAPE


def metres_east(angle: float, latitude: float) -> float:
    """Metres within which two places surely lie so few radians of longitude apart, neither nearer to a pole than that."""
    reduced = math.atan(_SHAPE * math.tan(math.radians(latitude)))
    return 2 * _B * math.asin(min(1.0, math.sin(min(angle, math.pi) / 2) * math.cos(reduced)))


def _requested(table: Table, unit: Unit) -> str:
    if "low_bits" in table.data:
        return f"{table.data['low_bits']} low bits"
    if "within" in table.data:
        return f"within {table.data['within']} {unit.symbol}".rstrip()
    limit = f" up to {table.data['max_latitude']} degrees of latitude" if "max_latitude" in table.data else ""
    return f"within {table.data['within_m']} m{limit}"
