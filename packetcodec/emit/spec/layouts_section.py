"""The layouts of a plan as its specification tells them: what is drawn, what each field means, how precise it is.

Owns no rule: all of it follows from the plan.

>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> print(Drawn(plan, plan.layout("status")).notes[3][2])
a number in °C; asked for resolution 0.5 °C
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from packetcodec.emit.spec.examples_section import Shown, shown_examples
from packetcodec.emit.spec.text import Piece, diagram, exact, keys
from packetcodec.schema import Form, Role
from packetcodec.wire import bounds, max_error, metres_bound, promised

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.wire import FieldPlan, LayoutPlan, Plan


@dataclass(frozen=True)
class Drawn:
    """A layout as a template shows it."""

    plan: Plan
    layout: LayoutPlan

    @property
    def number(self) -> int:
        """Its place among the layouts, from 1."""
        return self.plan.layouts.index(self.layout) + 1

    @property
    def like(self) -> Drawn | None:
        """The first layout before this one with the very same fields, which need not be told again."""
        first = next(layout for layout in self.plan.layouts if layout.fields == self.layout.fields)
        return None if first is self.layout else Drawn(self.plan, first)

    @property
    def named(self) -> list[tuple[str, FieldPlan]]:
        """The fields and the letters that stand for them."""
        return list(zip(keys(len(self.layout.fields)), self.layout.fields, strict=True))

    @property
    def pieces(self) -> list[Piece]:
        """Everything that stands in a packet, in order; of a trail, whose length varies, the first bits."""
        pieces = [Piece("v", "version", self.plan.version_bits), Piece("i", "layout id", self.plan.layout_bits)]
        pieces += [Piece(key, field.name, field.bits) for key, field in self.named]
        if self.layout.trail:
            pieces.append(Piece("T", "trail", -self.layout.bits % 8 or 8))
        else:
            low_first = self.plan.crc is not None and self.plan.crc.reflected
            pieces.append(Piece("0", "padding", self.layout.padding))
            pieces.append(Piece("x", "check", self.layout.check_bytes * 8, low_first=low_first))
        return [piece for piece in pieces if piece.width]

    @property
    def diagram(self) -> str:
        """The pieces, drawn."""
        return diagram(self.pieces)

    @property
    def notes(self) -> list[tuple[str, str, str]]:
        """Letter, name and remark of each field."""
        return [(key, field.name, "; ".join(_notes(field))) for key, field in self.named]

    @property
    def examples(self) -> list[Shown]:
        """The worked examples."""
        return shown_examples(self.plan, self.layout)


def span(first: int, width: int) -> str:
    """The bits of a piece in words."""
    return str(first) if width == 1 else f"{first}..{first + width - 1}"


def field_range(field: FieldPlan) -> str:
    """The range of a field's value in words."""
    return {Form.CHOICE: "its names", Form.FLAG: "no, yes"}.get(field.kind.form) or bounds(field)


def largest_error(field: FieldPlan) -> str:
    """How far a field's value may be from what was measured, in words."""
    error = max_error(field)
    if not error:
        return "none"
    metres = metres_bound(field) if field.unit.symbol != "m" else None
    words = f"{exact(error)} {field.unit.symbol}".rstrip()
    return words if metres is None else f"{words} ({promised(metres, 3)} m)"


def _notes(field: FieldPlan) -> Iterator[str]:
    yield field.kind.doc if not field.kind.own_unit else "a number in " + (field.unit.symbol or "no unit")
    if field.field.doc:
        yield field.field.doc.strip()
    if low := field.low_bits:
        yield f"the low {low.bits} of the {field.field.grid.bits} bits of its code are sent (section 2.10)"
    if not field.kind.counting and field.field.requested != "default":
        yield f"asked for {field.field.requested}"
    if field.kind.form is Form.TIME:
        unix = "Unix time (seconds since 1970-01-01T00:00:00Z)"
        if field.modulus:
            yield f"the value is the {unix} modulo {field.modulus}"
        else:
            first, last = (_moment(field.origin + base) for base in (field.low, field.high))
            yield f"the value is a {unix}; this field holds {first} to {last}"
    if field.kind.role is Role.EAST:
        whole = "+180 and -180 degrees are one place (section 2.5)"
        yield whole if field.modulus else "this range does not go all the way round: it has two ends"


def _moment(seconds: int) -> str:
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
