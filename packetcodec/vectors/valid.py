"""What a specification shows and its vectors hold: good packets, values to encode, and values that are refused.

Owns one rule: which inputs are worth showing. They follow from the plan by fixed rules (borders of ranges and codes,
absent), so the same plan always gives the same cases. What each input leads to is not decided here: it is computed by
`packetcodec.wire`. Bad packets stand in `packetcodec.vectors.malformed`.

>>> from packetcodec.wire import compile_plan
>>> from packetcodec.schema import Schema
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... check = { crc = "none" }
... [[layouts]]
... name = "gate"
... id = 2
... fields = [{ kind = "flag", name = "open" }]
... '''))
>>> [case.data.hex() for case in examples(plan, plan.layouts[0])]
['1280']
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from packetcodec.schema import KINDS
from packetcodec.vectors.examples import Decoding, Encoding, encoding, scene, value_of
from packetcodec.vectors.malformed_trails import refused_points
from packetcodec.vectors.trails import trail_decodings, trail_encodings, walk
from packetcodec.wire import FieldPlan, LayoutPlan, OutOfRangeFault, Plan, Value, pack, to_base, to_raw, to_value

if TYPE_CHECKING:
    from collections.abc import Iterator


@dataclass(frozen=True, slots=True)
class Refusal:
    """Values by name that no encoder sends, with points for the trail; and the field that is at fault, or "trail"."""

    note: str
    layout: LayoutPlan
    values: dict[str, Value]
    field: str
    trail: tuple[dict[str, Value], ...] = ()


def examples(plan: Plan, layout: LayoutPlan) -> tuple[Encoding, ...]:
    """The worked examples of a layout: an everyday packet, one with all absent that may be, one at the borders."""
    everyday = [scene(field) for field in layout.fields]
    found = [encoding(plan, layout, "everyday values", everyday, walk(plan, layout, everyday))]
    if any(field.absent_code is not None for field in layout.fields):
        both = zip(layout.fields, everyday, strict=True)
        values = [value if field.absent_code is None else None for field, value in both]
        found.append(encoding(plan, layout, "everything absent that may be", values))
    top = [value_of(field, field.max_input) for field in layout.fields]
    if top != everyday:
        found.append(encoding(plan, layout, "every field at the end of its range", top))
    return tuple(found)


def decodings(plan: Plan) -> Iterator[Decoding]:
    """Good packets: for each layout and field the first and last codes, each single bit, and absent."""
    for layout in plan.layouts:
        seen: set[tuple[int, ...]] = set()
        everyday = encoding(plan, layout, "", map(scene, layout.fields)).raws
        cases = [("everyday values", everyday)]
        cases.append(("every field at its first code", (0,) * len(everyday)))
        cases.append(("every field at its last code", tuple(field.max_code for field in layout.fields)))
        if any(field.absent_code is not None for field in layout.fields):
            codes = zip(layout.fields, everyday, strict=True)
            absent = tuple(raw if field.absent_code is None else field.absent_code for field, raw in codes)
            cases.append(("everything absent that may be", absent))
        for index, field in enumerate(layout.fields):
            for note, code in _codes(field):
                cases.append((f"{field.name}: {note}", (*everyday[:index], code, *everyday[index + 1 :])))
        for note, raws in cases:
            if raws not in seen:
                seen.add(raws)
                values = tuple(map(to_value, layout.fields, raws))
                yield Decoding(note, layout, raws, values, pack(plan, layout, raws))
        yield from trail_decodings(plan, layout)


def _codes(field: FieldPlan) -> Iterator[tuple[str, int]]:
    yield "first code", 0
    yield "second code", 1
    yield "last code but one", field.max_code - 1
    yield "last code", field.max_code
    if field.absent_code is not None:
        yield "absent", field.absent_code
    for bit in range(1, field.bits):
        if 1 << bit <= field.max_code:
            yield f"bit {bit} of the code alone", 1 << bit


def encodings(plan: Plan) -> Iterator[Encoding]:
    """Values to encode: the examples, then for each field the borders of its range and of its codes."""
    for layout in plan.layouts:
        yield from examples(plan, layout)
        yield from trail_encodings(plan, layout)
        everyday = tuple(map(scene, layout.fields))
        if any(field.absent_code is not None for field in layout.fields):
            both = zip(layout.fields, everyday, strict=True)
            rest = [value if field.absent_code is None else None for field, value in both]
            note = "optional fields left out instead of null"
            yield replace(encoding(plan, layout, note, rest), left_out=True)
        for index, field in enumerate(layout.fields):
            seen: set[tuple[type, Value]] = set()
            for note, value in _inputs(field):
                if (type(value), value) not in seen:
                    seen.add((type(value), value))
                    values = (*everyday[:index], value, *everyday[index + 1 :])
                    yield encoding(plan, layout, f"{field.name}: {note}", values)


def _inputs(field: FieldPlan) -> Iterator[tuple[str, Value]]:
    if field.absent_code is not None:
        yield "absent", None
    if field.kind == "choice":
        yield "first name", field.choices[0]
        yield "last name", field.choices[-1]
        return
    if field.kind == "flag":
        yield from (("no", False), ("yes", True), ("no as a number", 0), ("yes as a number", 1))
        yield from (("no as a number with a point", 0.0), ("yes as a number with a point", 1.0))
        return
    bases = [*_borders(field), *_beyond(field)]
    for note, base in bases:
        yield note, value_of(field, base)
    if KINDS[field.kind].counting:
        yield "a whole number written with a point", float(value_of(field, field.low + 1) or 0)
        if field.policy == "wrap" and field.modulus:
            yield "beyond 32 bits: wrapped", 2**32 + 5 * field.modulus + 1
    if field.kind == "time":
        for part in (0.4, 0.5, 0.6, 1.5):
            yield "a fraction of a second: rounded", field.origin + field.low + 1 + part
    if field.scale == 1:
        return
    whole = field.low // field.scale + 1
    if whole * field.scale <= field.high:
        yield "a whole number of units", whole
    yield from _ties(field)


def _borders(field: FieldPlan) -> Iterator[tuple[str, int]]:
    half, end = field.step // 2, field.low + field.max_code * field.step
    yield "lower end of the range", field.low
    for code in (1, field.max_code // 2, field.max_code):
        first = field.low + code * field.step - half
        yield f"the least that rounds up to code {code}", first
        if first > field.low:
            yield f"the most that rounds down to code {code - 1}", first - 1
    if field.modulus:
        past = end + field.step - half
        if past < field.high:
            yield "the most that stays at the last code", past - 1
            yield "the least that rounds up past the last code", past
        yield "just below the end of the circle", field.high - 1
        if field.max_input == field.high or field.policy == "wrap":
            yield "end of the circle, the same place as its beginning", field.high
    else:
        yield "upper end of the range", field.high


def _beyond(field: FieldPlan) -> Iterator[tuple[str, int]]:
    if field.policy == "refuse":
        return
    word = "clipped" if field.policy == "clip" else "wrapped"
    yield f"just below the range: {word}", field.low - 1
    yield f"just above the range: {word}", field.high + 1
    yield f"far below the range: {word}", max(field.low - 1000 * field.scale - (field.modulus or 0), -(2**31))
    far = field.high + 1000 * field.scale + (field.modulus or 0)
    yield f"far above the range: {word}", far if field.high > 2**31 - 1 else min(far, 2**31 - 1)


def _ties(field: FieldPlan) -> Iterator[tuple[str, Value]]:
    """Values half way between two base units, next to a border of codes, where the rounding shows."""
    if KINDS[field.kind].counting:
        return
    wanted = {0, 1}
    for code in range(1, min(field.max_code, 200)):
        first = field.low + code * field.step - field.step // 2
        value = (first - 0.5) / field.scale
        if value * field.scale == first - 0.5 and first % 2 in wanted:
            wanted.discard(first % 2)
            way = "up" if first % 2 == 0 else "down"
            yield f"half way between two base units, {way} to the even one", value


def refusals(plan: Plan) -> Iterator[Refusal]:
    """Values that are refused: missing, beyond the range, not a number, not whole, no such name."""
    for layout in plan.layouts:
        everyday = {field.name: scene(field) for field in layout.fields}
        for field in layout.fields:
            for note, value in _refused(field):
                try:
                    to_raw(field, to_base(field, value))
                except OutOfRangeFault:
                    yield Refusal(f"{field.name}: {note}", layout, {**everyday, field.name: value}, field.name)
            if field.absent_code is None:
                rest = {name: value for name, value in everyday.items() if name != field.name}
                yield Refusal(f"{field.name}: missing", layout, rest, field.name)
                null: dict[str, Value] = {**everyday, field.name: None}
                yield Refusal(f"{field.name}: null, and not optional", layout, null, field.name)
        yield from _unknown(layout, everyday)
        yield from _wrong_points(layout)


def _wrong_points(layout: LayoutPlan) -> Iterator[Refusal]:
    """Points that are refused, and one of them behind a field that is refused before it."""
    names = [field.name for field in layout.fields]
    for note, values, trail in refused_points(layout):
        given = dict(zip(names, values, strict=True))
        yield Refusal(f"trail: {note}", layout, given, "trail", tuple(trail))
    needed = next((field.name for field in layout.fields if field.absent_code is None), None)
    if needed is not None:
        yield Refusal(f"trail: {note}, and no {needed}", layout, given | {needed: None}, needed, tuple(trail))


def _unknown(layout: LayoutPlan, everyday: dict[str, Value]) -> Iterator[Refusal]:
    extra = next(name for name in ("extra", "no_such_field", "another") if name not in everyday)
    yield Refusal(f"{extra}: no such field", layout, {**everyday, extra: 1}, extra)
    for field in layout.fields:
        if field.kind != "choice":
            wrong: dict[str, Value] = {**everyday, field.name: "one", extra: 1}
            yield Refusal(f"{extra}: no such field, and {field.name} a text", layout, wrong, extra)
            break


def _refused(field: FieldPlan) -> Iterator[tuple[str, Value]]:
    if field.kind == "choice":
        yield "no such name", next(name for name in ("unknown", "no_name", "x") if name not in field.choices)
        yield "a number, not a name", 0
        yield "yes, not a name", True
        return
    if field.kind == "flag":
        yield "neither 0 nor 1", 2
        yield "below 0", -1
    else:
        yield "just below the range", value_of(field, field.low - 1)
        yield "just above the range", value_of(field, field.max_input + 1)
        yield "yes or no, not a number", True
    if KINDS[field.kind].counting:
        yield "not a whole number", 0.5
    elif field.scale > 1:
        yield "so large that the product is infinite", 1e308
        yield "so far below zero that the product is infinite", -1e308
    yield "a text, not a number", "one"
