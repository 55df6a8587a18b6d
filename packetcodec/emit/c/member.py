"""A field as C sees it: a member of its layout's struct, and a row of numbers in the table that it is coded by.

Owns two rules. A member is named after its field, with the base unit behind it: latitude_e7 is in 1e-7 degree,
altitude_cm in centimetres, battery_mv in millivolts; it is an int32_t where negative numbers mean something or could come
about, a uint32_t for numbers that count and for ranges beyond. And one routine codes all fields from a few numbers each,
which is smaller than code for each field (`benchmarks/firmware.py` measures it).

>>> from packetcodec.starter import example_plan
>>> latitude = example_plan().layouts[0].fields[2]
>>> member = Member(latitude, "latitude" + ending(latitude), "has_latitude", (), "", 1)
>>> member.type, member.name, member.flags
('int32_t', 'latitude_e7', ('optional', 'anchor * 1U'))
>>> member.remark
'1e-7 degree, -900000000..900000000 (-90..90 degrees), step 223 (0.0000223 °)'
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.wire import bounds, decimal

if TYPE_CHECKING:
    from packetcodec.schema import LowBits
    from packetcodec.wire import FieldPlan

_U32 = 2**32
_MAX_SIGNED = 2**31 - 1


def ending(field: FieldPlan) -> str:
    """What stands behind the name of a field: its base unit."""
    return f"_{field.unit.suffix}" if field.unit.suffix else ""


@dataclass(frozen=True, slots=True)
class Member:
    """A field as a member of its layout's struct.

    Attributes:
        field: of the plan.
        name: of the member.
        has: of the member that says whether the value is known; "" for a field that is not optional.
        choices: one macro to a choice.
        epoch: macro of a time's epoch, or "".
        anchor: axis of a trail that counts from it, from 1; 0 for none.
    """

    field: FieldPlan
    name: str
    has: str
    choices: tuple[str, ...]
    epoch: str
    anchor: int

    @property
    def signed(self) -> bool:
        """Whether the member is an int32_t."""
        field = self.field
        return field.high <= _MAX_SIGNED and (field.low < 0 or not field.kind.counting or self.clips)

    @property
    def type(self) -> str:
        """Of the member."""
        return "int32_t" if self.signed else "uint32_t"

    @property
    def clips(self) -> bool:
        """Whether a value beyond the range becomes its nearest end."""
        return self.field.policy == "clip"

    @property
    def masks(self) -> bool:
        """Whether it wraps on a circle of 2^n that begins at 0."""
        return self.field.policy == "wrap" and self.field.low == 0 and (self.field.modulus or 0).bit_count() == 1

    @property
    def wraps(self) -> bool:
        """Whether it wraps on any other circle."""
        return self.field.policy == "wrap" and not self.masks

    @property
    def low(self) -> int:
        """Lower end of the range, modulo 2^32."""
        return self.field.low % _U32

    @property
    def span(self) -> int:
        """From `low` to the last base value that may be given; where it wraps, the circumference less one."""
        wraps = self.field.policy == "wrap" and self.field.modulus
        return wraps - 1 if wraps else self.field.max_input - self.field.low

    @property
    def turn(self) -> int:
        """The offset behind which a value on a circle rounds to code 0 again."""
        field = self.field
        if field.modulus is None:
            return _U32 - 1
        return min((field.max_code + 1) * field.step - field.step // 2, field.modulus) - 1

    @property
    def low_bits(self) -> LowBits | None:
        """How it is sent by the low bits of its code."""
        return self.field.low_bits

    @property
    def wide(self) -> bool:
        """Whether 32 bits do not hold the weight of its first bit."""
        return not self.low_bits and self.field.step << self.field.bits - 1 >= _U32

    @property
    def flags(self) -> tuple[str, ...]:
        """The rules that it follows, as the source names them."""
        follows = {
            "optional": self.has, "clip": self.clips, "wrap": self.wraps, "masked": self.masks, "plain": not self.signed,
            "circle": self.low_bits and self.field.modulus, f"anchor * {self.anchor}U": self.anchor,
        }  # fmt: skip
        return tuple(name for name, holds in follows.items() if holds)

    @property
    def row(self) -> tuple[object, ...]:
        """All that its row of the table says: members with the same row are coded alike."""
        low = (self.field.name, self.low_bits.modulus) if self.low_bits else None
        return self.field.bits, self.flags, self.low, self.span, self.field.step, self.turn, self.field.max_code, low

    @property
    def remark(self) -> str:
        """Unit, range and step of a member in words."""
        field = self.field
        if field.choices:
            return f"one of the names above, 0..{field.max_input}"
        said = f"{field.unit.base}, " * bool(field.unit.base) + f"{field.low}..{field.max_input}"
        if field.origin:
            said += f" since Unix time {field.origin}"
        if field.scale > 1:
            said += f" ({bounds(field)})"
        if field.step > 1:
            said += f", step {field.step}"
            if field.scale > 1:
                said += f" ({decimal(field, field.step)} {field.unit.symbol}".rstrip() + ")"
        return said + {"clip": "; beyond: clipped", "wrap": "; beyond: wrapped", "refuse": ""}[field.policy]
