"""Two versions of a schema side by side: what changes the wire, what does not, and what a receiver of both will do.

Owns one rule: a difference changes the wire when a decoder made from one plan reads other raw codes, or gives them
another meaning in numbers, than a decoder made from the other (`packetcodec.wire.fingerprint` says which these are).

>>> from packetcodec.wire.plan import compile_plan
>>> from packetcodec.schema import Schema
>>> text = '''
... name = "pasture"
... version = {version}
... [[layouts]]
... name = "gate"
... id = 1
... fields = [{{ kind = "battery", resolution = {step} }}]
... '''
>>> old, new = (compile_plan(Schema.parse(text.format(version=v, step=s))) for v, s in ((1, 0.02), (2, 0.05)))
>>> [(difference.place, difference.what, difference.wire) for difference in compare(old, new).differences]
[('schema', 'version 1 -> 2', True), ('layout "gate", battery', 'width 8 -> 7 bits', True), ...]
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.frozen import Frozen, replace
from packetcodec.spelling import counted
from packetcodec.wire.fingerprint import wire_of, wire_of_trail
from packetcodec.wire.quantize import bounds, decimal

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.wire.field_plan import FieldPlan
    from packetcodec.wire.plan import LayoutPlan, Plan


class Difference(Frozen):
    """One difference: where, what, whether it changes the wire, and whether a code means another one of the same names."""

    place: str
    what: str
    wire: bool
    meaning: bool = False


class Comparison(Frozen):
    """Two plans side by side.

    Attributes:
        differences: all of them, in the order of the schema.
        receivers: what follows for receivers, a sentence each.
        warnings: what to beware of, a sentence each.
        unversioned: whether packets of one may be misread by a receiver of the other, because the version does not tell
            them apart: it was not raised, or the header has other widths.
    """

    differences: tuple[Difference, ...]
    receivers: tuple[str, ...]
    warnings: tuple[str, ...] = ()
    unversioned: bool = False

    @property
    def wire(self) -> bool:
        """Whether anything beside the version number changes the wire."""
        return any(item.wire for item in self.differences if not item.what.startswith("version "))

    @property
    def meaning(self) -> bool:
        """Whether a code means another one of the same names."""
        return any(item.meaning for item in self.differences)


def compare(old: Plan, new: Plan) -> Comparison:
    """Compare two plans, `old` being the one already in the field."""
    differences = tuple(_differences(old, new))
    seen = Comparison(differences, ())
    units = (item for item in differences if item.what.startswith("unit ") and not item.wire)
    another = "if that is another unit, and not another name of the same, raise the version"
    warnings = tuple(f"{item.place}: {item.what}: {another}" for item in units if old.version == new.version)
    if new.version < old.version:
        words = (
            f"the version goes down, {old.version} -> {new.version}: is the old schema the second one? A version that "
            "was in the field before has another meaning there."
        )
        warnings = (words,)
    differs = (seen.wire or seen.meaning) and not _only_added(old, new)
    changed = differs if old.version == new.version else new.version < old.version
    unversioned = changed or not _same_header(old, new)
    return Comparison(differences, tuple(_receivers(old, new, seen)), warnings, unversioned)


def _same_header(old: Plan, new: Plan) -> bool:
    return (old.version_bits, old.layout_bits) == (new.version_bits, new.layout_bits)


def _only_added(old: Plan, new: Plan) -> bool:
    """Whether every packet of the old plan is one of the new, with the same check: layouts were added, if anything."""
    added = {layout.id for layout in new.layouts} - {layout.id for layout in old.layouts}
    kept = tuple(layout for layout in new.layouts if layout.id not in added)
    alike = Comparison(tuple(_differences(old, replace(new, layouts=kept))), ())
    return not alike.wire and not alike.meaning and not (added and new.bound)


def _differences(old: Plan, new: Plan) -> Iterator[Difference]:
    if old.name != new.name:
        yield Difference("schema", f'name "{old.name}" -> "{new.name}"', wire=False)
    if old.version != new.version:
        yield Difference("schema", f"version {old.version} -> {new.version}", wire=True)
    if old.doc != new.doc:
        yield Difference("schema", "remark changed", wire=False)
    for what in ("version", "layout"):
        before, after = getattr(old, f"{what}_bits"), getattr(new, f"{what}_bits")
        if before != after:
            yield Difference("header", f"width of the {what} {before} -> {counted(after, 'bit')}", wire=True)
    if describe_check(old) != describe_check(new):
        yield Difference("check", f"{describe_check(old)} -> {describe_check(new)}", wire=True)
    after = {layout.id: layout for layout in new.layouts}
    before = {layout.id: layout for layout in old.layouts}
    for ident in sorted(before.keys() | after.keys()):
        if ident not in after:
            yield Difference(f'layout "{before[ident].name}"', f"id {ident} is gone", wire=True)
        elif ident not in before:
            yield Difference(f'layout "{after[ident].name}"', f"id {ident} is new", wire=True)
        else:
            yield from _layouts(before[ident], after[ident])


def _layouts(old: LayoutPlan, new: LayoutPlan) -> Iterator[Difference]:
    place = f'layout "{new.name}"'
    if old.name != new.name:
        yield Difference(place, f'id {new.id} was called "{old.name}"', wire=False)
    if old.sizes() != new.sizes():
        yield Difference(place, f"size {_size(old)} -> {_size(new)} bytes", wire=True)
    if old.doc != new.doc:
        yield Difference(place, "remark changed", wire=False)
    renamed = _renamed(old, new)
    before = {renamed.get(field.name, field.name): field for field in old.fields}
    after = {field.name: field for field in new.fields}
    for name, field in before.items():
        if name not in after:
            yield Difference(f"{place}, {name}", f"gone ({counted(field.bits, 'bit')})", wire=True)
    for name, field in after.items():
        if name not in before:
            yield Difference(f"{place}, {name}", f"new ({counted(field.bits, 'bit')})", wire=True)
        else:
            for what, wire in _fields(before[name], field):
                yield Difference(f"{place}, {name}", what, wire)
            if before[name].choices != field.choices:
                yield _names(f"{place}, {name}", before[name].choices, field.choices)
    yield from _trails(f"{place}, trail", old, new)


def _size(layout: LayoutPlan) -> str:
    return " to ".join(map(str, dict.fromkeys(layout.sizes())))


def _names(place: str, old: tuple[str, ...], new: tuple[str, ...]) -> Difference:
    same = len(old) == len(new)
    moved = any(name in new and new.index(name) != code for code, name in enumerate(old))
    what = f"names {', '.join(old)} -> {', '.join(new)}" + " (codes now mean other names)" * same
    return Difference(place, what, wire=not same, meaning=moved)


def _trails(place: str, old: LayoutPlan, new: LayoutPlan) -> Iterator[Difference]:
    if old.trail is None or new.trail is None:
        if old.trail is not new.trail:
            yield Difference(place, "new" if old.trail is None else "gone", wire=True)
        return
    before, after = wire_of_trail(old.trail, old), wire_of_trail(new.trail, new)
    for words in before | after:
        old_number, new_number = before.get(words, 0), after.get(words, 0)
        if old_number != new_number:
            yield Difference(place, f"{words} {old_number or 'none'} -> {new_number or 'none'}", wire=True)
    if old.trail.doc != new.trail.doc:
        yield Difference(place, "remark changed", wire=False)


def _wire(field: FieldPlan) -> tuple[int, dict[str, str | int]]:
    return field.offset, wire_of(field)


def _renamed(old: LayoutPlan, new: LayoutPlan) -> dict[str, str]:
    """Old name to new name where the same bits of the same meaning carry another name."""
    names = {field.name for field in new.fields}
    still = {field.name for field in old.fields}
    return {
        before.name: after.name
        for before in old.fields
        for after in new.fields
        if before.name not in names and after.name not in still and _wire(before) == _wire(after)
    }


def _fields(old: FieldPlan, new: FieldPlan) -> Iterator[tuple[str, bool]]:
    if old.name != new.name:
        yield f'was called "{old.name}"', False
    if old.kind != new.kind:
        yield f"kind {old.kind} -> {new.kind}", True
    if old.offset != new.offset:
        yield f"moved from bit {old.offset} to bit {new.offset}", True
    if old.bits != new.bits:
        yield f"width {old.bits} -> {counted(new.bits, 'bit')}", True
    yield from _low_bits(old, new)
    if old.unit.name != new.unit.name:
        yield f"unit {old.unit.name or 'none'} -> {new.unit.name or 'none'}", not new.kind.own_unit
    finer, ranges = old.step * new.scale != new.step * old.scale, (bounds(old), bounds(new))
    if finer:
        yield f"step {decimal(old, old.step)} -> {decimal(new, new.step)} {new.unit.symbol}".rstrip(), True
    differ = (old.low, old.high, old.scale, old.origin) != (new.low, new.high, new.scale, new.origin)
    if differ and (ranges[0] != ranges[1] or not finer):
        yield f"range {ranges[0]} -> {ranges[1]}", True
    if old.absent_code != new.absent_code:
        words = ["cannot be absent" if code is None else f"absent is {code}" for code in (old.absent_code, new.absent_code)]
        yield f"{words[0]} -> {words[1]}", True
    if old.policy != new.policy:
        yield f"policy {old.policy} -> {new.policy}", False
    if old.field.doc != new.field.doc:
        yield "remark changed", False


def _low_bits(old: FieldPlan, new: FieldPlan) -> Iterator[tuple[str, bool]]:
    if (old.low_bits is None) != (new.low_bits is None):
        yield "the whole code is sent -> its low bits" if new.low_bits else "the low bits are sent -> the whole code", True
    elif old.low_bits and old.field.grid.bits != new.field.grid.bits:
        yield f"width of the whole code {old.field.grid.bits} -> {counted(new.field.grid.bits, 'bit')}", True


def describe_check(plan: Plan) -> str:
    """The check in a few words."""
    if plan.crc is None:
        return "no check"
    name = plan.crc.name or f"CRC-{plan.crc.width} with polynomial {plan.crc.polynomial:#x}"
    return f"{name}, bound to the schema" if plan.bound else name


def _receivers(old: Plan, new: Plan, seen: Comparison) -> Iterator[str]:
    if not seen.differences:
        yield "The two are the same."
    elif not _same_header(old, new):
        yield "The header differs: no receiver can serve both, because it cannot tell them apart."
    elif old.version != new.version:
        yield "A receiver made from both decodes each packet by the version in its header."
        yield f"A receiver that knows only version {old.version} answers unknown_version to version {new.version}."
    elif not seen.wire and seen.meaning:
        yield "The bytes are the same, but codes mean other names: RAISE THE VERSION. No receiver can tell which are meant."
    elif not seen.wire:
        yield "The wire is the same: trackers and receivers may be updated in any order, the version may stay."
    elif _only_added(old, new):
        yield "Layouts are added and nothing else changes the wire: the version may stay. Update the receivers first."
        yield "A new receiver reads every old packet; an old receiver answers unknown_layout to the new layouts."
    else:
        yield f"Both are version {new.version} though the wire differs: RAISE THE VERSION. A receiver cannot hold both."
        for before in old.layouts:
            after = next((layout for layout in new.layouts if layout.id == before.id), None)
            yield f'An old "{before.name}" packet at a new receiver: {_misread(before, after, new)}.'


def _misread(before: LayoutPlan, after: LayoutPlan | None, new: Plan) -> str:
    if after is None:
        return "unknown_layout"
    if before.longest < after.size or after.longest < before.size:
        return "too_short" if before.size < after.size else "too_long"
    if new.bound:
        return "bad_check, because the check is bound to the schema"
    if tuple(map(_wire, before.fields)) == tuple(map(_wire, after.fields)) and not any(_trails("", before, after)):
        return "read as before, unless the check differs"
    return "may be decoded to wrong values (bind_schema = true would detect it)"
