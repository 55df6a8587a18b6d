"""What a specification shows and its vectors hold: good packets, values to encode, and values that are refused.

Owns one rule: in which packets the borders of a field are tried: everyday ones in which this field alone differs.

>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> [example.data.hex() for example in worked_examples(plan, plan.layout("status"))][:2]
['13072a4c8915ecff034079b9', '13072afffffdecff0340eb7e']
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from packetcodec.vectors.borders import field_codes, field_values, refused_values
from packetcodec.vectors.examples import Decoding, Example, base_of, decoding, tried_fields
from packetcodec.vectors.malformed_trails import refused_points
from packetcodec.vectors.references import borders, resolves, usual, wrong
from packetcodec.vectors.trails import trail_decodings, trail_encodings, walk
from packetcodec.wire import OutOfRangeFault, pack
from packetcodec.wire.quantize import from_base

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.wire import LayoutPlan, Plan, Value


class Refusal(NamedTuple):
    """Values by name that no encoder sends, with points for the trail; and the field that is at fault, or "trail"."""

    note: str
    layout: LayoutPlan
    values: dict[str, Value]
    field: str
    trail: tuple[dict[str, Value], ...] = ()

    @property
    def bases(self) -> dict[str, int | None] | None:
        """The values in base units, None for absent; None where one has none, or a point is at fault."""
        if self.trail or self.values.keys() - {field.name for field in self.layout.fields}:
            return None
        try:
            return {field.name: base_of(field, self.values.get(field.name)) for field in self.layout.fields}
        except OutOfRangeFault:
            return None


def worked_examples(plan: Plan, layout: LayoutPlan) -> tuple[Example, ...]:
    """The worked examples of a layout: an everyday packet, one with all absent that may be, one at the borders."""
    everyday = Example.everyday(plan, layout)
    found = [everyday.but(everyday.note, walk(everyday))]
    if lost := everyday.without():
        found.append(lost.but("everything absent that may be"))
    top = tuple(from_base(field, field.max_input) for field in layout.fields)
    if top != everyday.values:
        found.append(Example(plan, layout, top, note="every field at the end of its range"))
    return tuple(found)


def decodings(plan: Plan) -> Iterator[Decoding]:
    """Good packets: for each layout and field the first and last codes, each single bit, and absent; then trails."""
    for layout in plan.layouts:
        everyday = Example.everyday(plan, layout)
        found = [
            ("everyday values", everyday.codes),
            ("every field at its first code", (0,) * len(everyday.codes)),
            ("every field at its last code", tuple(field.max_code for field in layout.fields)),
        ]
        if lost := everyday.without():
            found.append(("everything absent that may be", lost.codes))
        tried = tried_fields(plan, layout)
        for place, field in enumerate(tried):
            found += [(f"{field.name}: {note}", everyday.coded(place, code)) for note, code in field_codes(field)]
        first = {codes: note for note, codes in reversed(found)}
        for codes in dict.fromkeys(codes for _, codes in found):
            yield decoding(plan, layout, first[codes], pack(plan, layout, codes), usual(layout, codes))
        for note, codes, known in (*borders(layout, everyday.codes), *wrong(layout, everyday.codes)):
            data = pack(plan, layout, codes)
            if resolves(plan, data, known) == codes:
                yield decoding(plan, layout, note, data, known)
        if tried:
            yield from trail_decodings(plan, layout)


def encodings(plan: Plan) -> Iterator[Example]:
    """Values to encode: the worked examples, trails, then for each field the borders of its range and of its codes."""
    for layout in plan.layouts:
        yield from worked_examples(plan, layout)
        tried = tried_fields(plan, layout)
        if tried:
            yield from trail_encodings(plan, layout)
        everyday = Example.everyday(plan, layout)
        if lost := everyday.without():
            yield replace(lost, note="optional fields left out instead of null", left_out=True)
        for place, field in enumerate(tried):
            seen: set[tuple[type, Value]] = set()
            for note, value in field_values(field):
                if (type(value), value) not in seen:
                    seen.add((type(value), value))
                    yield everyday.given(place, value).but(f"{field.name}: {note}")


def refusals(plan: Plan) -> Iterator[Refusal]:
    """Values that are refused: missing, beyond the range, not a number, not whole, no such name."""
    for layout in plan.layouts:
        values = Example.everyday(plan, layout).values
        everyday = dict(zip((field.name for field in layout.fields), values, strict=True))
        for field in tried_fields(plan, layout):
            name = field.name
            for note, value in refused_values(field):
                yield Refusal(f"{name}: {note}", layout, everyday | {name: value}, name)
            if field.absent_code is None:
                rest = {other: value for other, value in everyday.items() if other != name}
                yield Refusal(f"{name}: missing", layout, rest, name)
                yield Refusal(f"{name}: null, and not optional", layout, everyday | {name: None}, name)
        yield from _unknown(layout, everyday)
        yield from _wrong_points(plan, layout)


def _wrong_points(plan: Plan, layout: LayoutPlan) -> Iterator[Refusal]:
    """Points that are refused, and one of them behind a field that is refused before it."""
    for note, example, points in refused_points(plan, layout):
        given = dict(zip((field.name for field in layout.fields), example.values, strict=True))
        yield Refusal(f"trail: {note}", layout, given, "trail", tuple(points))
    needed = next((field.name for field in layout.fields if field.absent_code is None), None)
    if needed is not None:
        yield Refusal(f"trail: {note}, and no {needed}", layout, given | {needed: None}, needed, tuple(points))


def _unknown(layout: LayoutPlan, everyday: dict[str, Value]) -> Iterator[Refusal]:
    extra = next(name for name in ("extra", "no_such_field", "another") if name not in everyday)
    yield Refusal(f"{extra}: no such field", layout, everyday | {extra: 1}, extra)
    number = next((field.name for field in layout.fields if not field.choices), None)
    if number is not None:
        wrong = everyday | {number: "one", extra: 1}
        yield Refusal(f"{extra}: no such field, and {number} a text", layout, wrong, extra)
