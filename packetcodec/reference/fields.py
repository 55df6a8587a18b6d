"""The reference's fields: raw codes of physical values and back, from what a field's author asked for.

Owns no rule: it states those of `packetcodec.schema.grid` and `packetcodec.wire.quantize` a second time, by definition
and with exact fractions, and imports none of them.

>>> from packetcodec.schema import Schema
>>> field = Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 0
... fields = [{ kind = "battery", minimum = 2.5, maximum = 4.5, resolution = 0.02 }]
... ''').layouts[0].fields[0]
>>> coding_of(field).code(3.714), coding_of(field).value(61)
(61, 3.72)
"""

from __future__ import annotations

import math
import operator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import count
from numbers import Integral, Real
from typing import Any

from packetcodec.reference.low_bits import Remainders
from packetcodec.schema import Field, Form


@dataclass(frozen=True, slots=True)
class Coding:
    """A field's codes, derived from what its author asked for."""

    field: Field
    bits: int
    step: int
    max_code: int
    absent_code: int | None
    low: Remainders | None = None

    @property
    def sent_bits(self) -> int:
        """Its width in a packet."""
        return self.field.low_bits.bits if self.field.low_bits else self.bits

    def sent(self, code: int) -> int:
        """What stands in a packet for a code."""
        if self.low is None:
            return code
        return 2**self.sent_bits - 1 if code == self.absent_code else code % self.low.modulus

    def told(self, number: int) -> int:
        """The code of what stands in a packet: of low bits the first code that it may stand for."""
        absent = self.low is not None and self.low.optional and number == 2**self.sent_bits - 1
        return self.absent_code or 0 if absent else number

    def meant(self, number: int, reference: Any) -> list[int]:
        """The codes that a number in a packet may stand for, next to a reference in the field's unit (None: not known)."""
        if self.low is None or self.told(number) == self.absent_code:
            return [self.told(number)]
        if reference is None:
            return []
        field, base = self.field, _base(self.field, reference)
        base = field.low + (base - field.low) % field.modulus if field.modulus else min(max(base, field.low), field.high)
        nearest = math.floor(Fraction(base - field.low, self.step) + Fraction(1, 2))
        return self.low.meant(number, nearest % (self.max_code + 1) if field.modulus else min(nearest, self.max_code))

    def high(self, code: int) -> str:
        """The bits of what is not sent of a code, but checked."""
        if self.low is None:
            return ""
        return f"{0 if code == self.absent_code else code // self.low.modulus:0{self.low.high_width}b}"

    def code(self, value: Any) -> int:
        """The raw code of a physical value, None for absent."""
        if value is None:
            if self.absent_code is None:
                raise ValueError("no value for a field that is not optional")
            return self.absent_code
        field, low, high = self.field, self.field.low, self.field.high
        base = _base(field, value)
        if field.modulus and field.policy == "wrap":
            base -= (base - low) // (high - low) * (high - low)
        elif field.modulus and field.scale > 1 and base == high:
            base = low  # the same place; whole numbers count up to the one before it
        if not low <= base <= high - (field.modulus is not None and field.scale == 1):
            if field.policy == "refuse":
                raise ValueError("outside its range")
            base = low if base < low else high
        # The nearest code, the upper one of two equally near; past the last cell of a circle stands its first.
        nearest = math.floor(Fraction(base - low, self.step) + Fraction(1, 2))
        return 0 if field.modulus and nearest > self.max_code else nearest

    def base(self, code: int) -> Any:
        """The base units of a raw code in use, None for absent."""
        return None if code == self.absent_code else min(self.field.low + code * self.step, self.field.high)

    def value(self, code: int) -> Any:
        """The physical value of a raw code in use."""
        field = self.field
        if code == self.absent_code:
            return None
        if field.kind.form is Form.CHOICE:
            return field.choices[code]
        if field.kind.form is Form.FLAG:
            return code == 1
        base = self.base(code)
        return base + field.origin if field.scale == 1 else float(Fraction(base, field.scale))


def coding_of(field: Field) -> Coding:
    """The codes by their definition: the finest step whose codes fit the bits, the fewest bits that hold the codes."""
    span, absent = field.high - field.low, int(field.optional)

    def last(step: int) -> int:
        cells = Fraction(span, step)
        # On a line the last code is the one of the range's end; for an odd step, half of it is rounded down.
        return math.ceil(cells) - 1 if field.modulus else math.floor(cells + Fraction(step // 2, step))

    step = field.step
    if step is None:
        assert field.bits is not None  # noqa: S101  # a schema gives one of the two
        most = 2**field.bits - 1 - absent
        fits, fails = span, 0
        while fits - fails > 1:
            middle = (fits + fails) // 2
            fits, fails = (middle, fails) if last(middle) <= most else (fits, middle)
        step = fits
    bits = field.bits or next(width for width in count(1) if 2**width > last(step) + absent)
    low = None
    if field.low_bits:
        modulus = 2**field.low_bits.bits - absent
        low = Remainders(last(step) + 1, modulus, circle=field.modulus is not None, optional=field.optional)
    return Coding(field, bits, step, last(step), 2**bits - 1 if field.optional else None, low)


def finite(value: Any) -> float:
    """A number of any type as a float.

    Raises:
        ValueError, OverflowError, TypeError: no number, or no finite one that a float holds.
    """
    if isinstance(value, bool) or not isinstance(value, Real | Decimal):
        raise TypeError("not a number")
    number = float(value)
    if not math.isfinite(number):
        raise ValueError("not a finite number")
    return number


def _base(field: Field, value: Any) -> int:
    """A physical value in base units: integers exactly, all else as a float, `round(value * scale)`."""
    if field.kind.form is Form.CHOICE:
        return field.choices.index(value if isinstance(value, str) else "")
    if str(getattr(value, "dtype", type(value).__name__)) == "bool" and not hasattr(value, "__len__"):
        if field.kind.form is not Form.FLAG:
            raise ValueError("not a number")
        return 1 if value else 0
    if isinstance(value, Integral):
        return operator.index(value) * field.scale - field.origin
    number = finite(value)
    if field.kind.counting:
        if not number.is_integer():
            raise ValueError("not a whole number")
        return int(number)
    scaled = number * float(field.scale)
    if not math.isfinite(scaled):
        raise ValueError("not a finite number")
    return round(scaled) - field.origin
