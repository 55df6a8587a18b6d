"""The test vectors of a plan as JSON, for decoders and encoders in any language.

Owns one rule: the form of the file (told in the specification, section 9.3). Physical values are JSON numbers that
read back to the very same double; one vector stands on one line.

>>> from packetcodec.starter import example_plan
>>> vectors = json.loads(write_vectors(example_plan())["pasture-v1.vectors.json"])
>>> vectors["bad"][1]
{'note': "position: nothing behind the header's bytes", 'hex': '11', 'status': 'too_short', 'field': None, 'offset': 8}
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from packetcodec.codec.points import from_points
from packetcodec.vectors.malformed import malformed
from packetcodec.vectors.valid import decodings, encodings, refusals
from packetcodec.wire.quantize import from_base

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from packetcodec.vectors.references import Known
    from packetcodec.wire import LayoutPlan, Plan, Point

Row = dict[str, Any]


def write_vectors(plan: Plan) -> dict[str, str]:
    """The test vectors of a plan: file name to text.

    Args:
        plan: from `packetcodec.wire.compile_plan`.
    """
    head = {"schema": plan.name, "version": plan.version, "fingerprint": plan.fingerprint}
    lists = {"good": _good(plan), "encode": _encode(plan), "refused": _refused(plan), "bad": _bad(plan)}
    parts = [f"{json.dumps(key)}: {json.dumps(value)}" for key, value in head.items()]
    for key, rows in lists.items():
        lines = ",\n".join(json.dumps(row, ensure_ascii=False, allow_nan=False) for row in rows)
        parts.append(f"{json.dumps(key)}: [\n{lines}\n]")
    return {f"{plan.name}-v{plan.version}.vectors.json": "{\n" + ",\n".join(parts) + "\n}\n"}


def _by_name(layout: LayoutPlan, items: Iterable[Any]) -> Row:
    return {field.name: item for field, item in zip(layout.fields, items, strict=True)}


def _good(plan: Plan) -> list[Row]:
    rows = []
    for found in decodings(plan):
        layout = found.layout
        row: Row = {"note": found.note, "layout": layout.name, "hex": found.data.hex()}
        row |= {"raw": _by_name(layout, found.codes), "values": _by_name(layout, found.values)}
        if layout.trail:
            for name, physical in (("trail", True), ("trail_base", False)):
                row[name] = _points(layout, found.codes, found.trail, physical=physical, aged=True)
        row |= _reference(plan, found.references)
        rows.append(row if found.again else row | {"decode_only": True})
    return rows


def _encode(plan: Plan) -> list[Row]:
    rows = []
    for example in encodings(plan):
        layout = example.layout
        given = _by_name(layout, example.values)
        if example.left_out:
            given = {name: value for name, value in given.items() if value is not None}
        row: Row = {"note": example.note, "layout": layout.name, "input": given}
        row |= {"base": _by_name(layout, example.bases), "raw": _by_name(layout, example.codes)}
        if layout.trail:
            for name, physical in (("input_trail", True), ("base_trail", False)):
                row[name] = _points(layout, example.codes, example.points, physical=physical, aged=False)
            row["points_sent"] = len(example.trail)
        rows.append(row | {"hex": example.data.hex()})
    return rows


def _points(layout: LayoutPlan, codes: Sequence[int], points: Sequence[Point], *, physical: bool, aged: bool) -> list[Row]:
    """Points by the names of their parts; altitude only where the trail has it, age there or where `aged` asks for it."""
    rows = []
    for base, given in zip(points, from_points(layout, codes, points), strict=True):
        row = given._asdict() if physical else base._asdict() | {"age": given.age}
        if not (layout.trail and layout.trail.altitude):
            del row["altitude"]
        if not (aged or (layout.trail and layout.trail.interval_seed)):
            del row["age"]
        rows.append(row)
    return rows


def _refused(plan: Plan) -> list[Row]:
    rows = []
    for refusal in refusals(plan):
        row: Row = {"note": refusal.note, "layout": refusal.layout.name, "input": refusal.values}
        row |= {"input_trail": refusal.trail} if refusal.trail else {}
        row |= {"base": refusal.bases} if refusal.bases else {}
        rows.append(row | {"field": refusal.field})
    return rows


def _bad(plan: Plan) -> list[Row]:
    return [
        {"note": bad.note, "hex": bad.data.hex(), "status": bad.status, "field": bad.field, "offset": bad.offset}
        | _reference(plan, bad.references)
        for bad in malformed(plan)
    ]


def _reference(plan: Plan, references: Known | None) -> Row:
    """What is known beforehand, in the fields' units and in base units; nothing for a plan that needs no such thing."""
    if not plan.has_low_bits:
        return {}
    fields = {field.name: field for layout in plan.layouts for _, field, _ in layout.low_fields}
    known = references or {}
    return {"reference": {name: from_base(fields[name], base) for name, base in known.items()}, "reference_base": known}
