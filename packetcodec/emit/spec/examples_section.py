"""Worked examples and bad packets as a specification tells them.

Owns one rule: how much of an example is shown. Nothing twice: of an example the fields that differ from one shown before.

>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> first, *_ = shown_examples(plan, plan.layout("position"))
>>> first.rows[4].value, first.sums[3]
('2104.0', 'battery: (3710 - 2500 + 10) / 20 = 61; 2500 + 61 * 20 = 3720')
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from packetcodec.emit.spec.trail_section import Cut, TrailApart, cut_trail
from packetcodec.emit.spec.text import keys
from packetcodec.vectors.malformed import BadPacket, malformed
from packetcodec.vectors.trails import full_trail
from packetcodec.vectors.valid import worked_examples
from packetcodec.wire import from_raw, in_range, to_raw, to_value
from packetcodec.wire.low_bits import remainders
from packetcodec.wire.quantize import from_base

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.vectors.examples import Example
    from packetcodec.wire import FieldPlan, LayoutPlan, Plan, Value

_TELLING = ("bad_trail", "out_of_range", "bad_padding", "bad_check", "too_short", "unknown_version", "unknown_layout")


class Row(NamedTuple):
    """One field of an example, in words: its value, base and base in range, code, bits, and the value that arrives."""

    key: str
    name: str
    value: str
    base: str
    code: int
    bits: str
    arrives: str


@dataclass(frozen=True)
class Shown:
    """A worked example.

    Attributes:
        example: values and points.
        whole: whether header, trail and padding are shown too.
        rows: of its fields that have not been shown with the same code.
        trail: its trail taken apart, or None.
        cut: the same trail, but too long for its packet; or None.
    """

    example: Example
    whole: bool
    rows: tuple[Row, ...]
    trail: TrailApart | None
    cut: Cut | None

    @property
    def padding(self) -> str:
        """The zero bits before the check."""
        example = self.example
        used = example.layout.bits + (len(self.trail.bits) if self.trail else 0)
        return "0" * (8 * len(example.body) - used)

    @property
    def sums(self) -> list[str]:
        """The way of each number to its code and back, for fields with a step above 1."""
        fields = zip(self.example.layout.fields, self.example.bases, self.example.codes, strict=True)
        shown = {row.name for row in self.rows}
        return [words for field, base, code in fields if field.name in shown for words in _sums(field, base, code)]


def shown_examples(plan: Plan, layout: LayoutPlan) -> list[Shown]:
    """The examples of a layout: all of the first layout, of others the everyday one; and a full trail where there is one."""
    first, *others = worked_examples(plan, layout)
    if layout is not plan.layouts[0]:
        others = []
    like = next(other for other in plan.layouts if other.fields == layout.fields)
    known = None if like is layout else worked_examples(plan, like)[0]
    shown = [_shown(known, first, whole=True), *(_shown(first, other) for other in others)]
    if full := full_trail(first):
        shown.append(_shown(first, full, cut_trail(full)))
    return shown


def _shown(known: Example | None, example: Example, cut: Cut | None = None, *, whole: bool = False) -> Shown:
    """An example; of its fields those whose code differs from that of a known one."""
    rows = []
    layout = example.layout
    given = zip(example.values, example.bases, example.codes, remainders(layout, example.codes), strict=True)
    columns = zip(keys(len(layout.fields)), layout.fields, given, strict=True)
    for place, (key, field, (value, base, code, sent)) in enumerate(columns):
        if known is None or known.codes[place] != code:
            number = "none" if base is None else str(base)
            if base is not None and in_range(field, base) != base:
                number += f", in range {in_range(field, base)}"
            arrives = _words(to_value(field, code))
            rows.append(Row(key, field.name, _words(value), number, code, f"{sent:0{field.bits}b}", arrives))
    apart = TrailApart(example) if layout.trail and example.anchor else None
    return Shown(example, whole, tuple(rows), apart, cut)


def _words(value: Value) -> str:
    """A value as a table of examples shows it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "absent" if value is None else str(value)


def _sums(field: FieldPlan, base: int | None, code: int) -> Iterator[str]:
    if base is None or field.step == 1:
        return
    yield _sum(field, in_range(field, base), code)
    past = field.high - 10
    if field.modulus and base == field.high and field.low + field.max_code * field.step + (field.step + 1) // 2 <= past:
        yield f"{_sum(field, past, to_raw(field, past))} (for the value {from_base(field, past)})"


def _sum(field: FieldPlan, base: int, code: int) -> str:
    """The way of a base in range to its raw code, and back."""
    number = (base - field.low + field.step // 2) // field.step
    low = f"- {field.low}" if field.low >= 0 else f"+ {-field.low}"
    past = f", past max_code: {code}" if number != code else ""
    back = f"{field.low} + {code} * {field.step}"
    if field.low + code * field.step > field.high:
        back = f"min({back}, {field.high})"
    there = f"({base} {low} + {field.step // 2}) / {field.step} = {number}{past}"
    return f"{field.name}: {there}; {back} = {from_raw(field, code)}"


def telling_packets(plan: Plan) -> tuple[list[BadPacket], list[BadPacket]]:
    """A few bad packets of each sort, the most telling ones, in decoding order: with one fault, with several."""
    found = list(malformed(plan))
    tables = []
    for pair in (False, True):
        firsts: dict[str, BadPacket] = {}
        for packet in found:
            if packet.pair == pair and packet.data and (packet.status != "bad_trail" or "trail" in packet.note):
                firsts.setdefault(packet.status, packet)
        chosen = [status for status in _TELLING if status in firsts][: 2 if pair else 6]
        tables.append([packet for status, packet in firsts.items() if status in chosen])
    return tables[0], tables[1]
