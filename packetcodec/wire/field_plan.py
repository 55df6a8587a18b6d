"""One field on the wire: what the schema says of it, and where it stands.

>>> from packetcodec.starter import example_plan
>>> battery = example_plan().layout("position").fields[5]
>>> battery.place, battery.max_code, battery.max_error
('bits 83..89', 100, 10)
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.frozen import Frozen, kept

if TYPE_CHECKING:
    from packetcodec.schema import Field, Kind, LowBits, Unit


class FieldPlan(Frozen):
    """One field on the wire: what the schema says of it, and where it stands.

    Attributes:
        field: of the schema; what is asked most of it, and of its grid, has a name here too.
        offset: first bit, counted from the packet's first bit.

    >>> from packetcodec.starter import example_plan
    >>> layout = example_plan().layout("position")
    >>> altitude = layout.fields[4]
    >>> isinstance(altitude, FieldPlan), altitude.place, altitude.max_code, altitude.absent_code
    (True, 'bits 71..82', 4077, 4095)
    """

    field: Field
    offset: int

    @kept
    def name(self) -> str:
        """Its name, unique within the layout."""
        return self.field.name

    @kept
    def kind(self) -> Kind:
        """What it measures."""
        return self.field.kind

    @kept
    def unit(self) -> Unit:
        """The unit of its values."""
        return self.field.unit

    @kept
    def scale(self) -> int:
        """Base units in one unit, a power of ten."""
        return self.field.unit.scale

    @kept
    def policy(self) -> str:
        """What becomes of a value beyond the range: "clip", "refuse" or "wrap"."""
        return self.field.policy

    @kept
    def origin(self) -> int:
        """What base 0 is as a Unix time, for a time with an epoch; else 0."""
        return self.field.origin

    @kept
    def choices(self) -> tuple[str, ...]:
        """The names of a choice, in order of their codes."""
        return self.field.choices

    @kept
    def low(self) -> int:
        """Lower end of the range in base units."""
        return self.field.low

    @kept
    def high(self) -> int:
        """Upper end of the range in base units."""
        return self.field.high

    @kept
    def modulus(self) -> int | None:
        """Circumference in base units, or None for a field on a line."""
        return self.field.modulus

    @kept
    def bits(self) -> int:
        """Width in a packet."""
        return self.field.sent_bits

    @kept
    def low_bits(self) -> LowBits | None:
        """How it is sent by the low bits of its code, or None where the whole code is sent."""
        return self.field.low_bits

    @kept
    def step(self) -> int:
        """Base units per raw count."""
        return self.field.grid.step

    @kept
    def max_code(self) -> int:
        """Last raw code in use."""
        return self.field.grid.max_code

    @kept
    def absent_code(self) -> int | None:
        """Raw code of a value that is not known, or None where the field is not optional."""
        return self.field.grid.absent_code

    @kept
    def max_error(self) -> int:
        """Largest distance between a value within the range and what arrives, in base units."""
        return self.step // 2

    @kept
    def max_input(self) -> int:
        """The last base value that may be given: `high`, except on a circle of whole numbers, where it is one before."""
        return self.high - (self.modulus is not None and self.scale == 1)

    @kept
    def uses_every_code(self) -> bool:
        """Whether every code of the width is in use, so that no raw code is out of range."""
        return self.low_bits is not None or self.max_code + 1 + (self.absent_code is not None) == 1 << self.bits

    @kept
    def place(self) -> str:
        """The field's bits in words."""
        return f"bit {self.offset}" if self.bits == 1 else f"bits {self.offset}..{self.offset + self.bits - 1}"
