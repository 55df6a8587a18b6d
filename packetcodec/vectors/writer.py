"""The test vectors of a plan as JSON, for decoders and encoders in any language.

Owns one rule: the form of the file (told in the specification, section 9.3). Physical values are JSON numbers that
read back to the very same double; one vector stands on one line.

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
>>> json.loads(write_vectors(plan)["pasture-v1.vectors.json"])["good"][0]
{'note': 'everyday values', 'layout': 'gate', 'hex': '1280', 'raw': {'open': 1}, 'values': {'open': True}}
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from packetcodec.vectors import valid as cases
from packetcodec.vectors.malformed import bad_packets
from packetcodec.vectors.trails import ages

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from packetcodec.schema import Trail
    from packetcodec.wire import LayoutPlan, Plan, Point


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


def _by_name(layout: LayoutPlan, items: Iterable[Any]) -> dict[str, Any]:
    return {field.name: item for field, item in zip(layout.fields, items, strict=True)}


def _good(plan: Plan) -> list[dict[str, Any]]:
    rows = []
    for case in cases.decodings(plan):
        row: dict[str, Any] = {
            "note": case.note, "layout": case.layout.name, "hex": case.data.hex(),
            "raw": _by_name(case.layout, case.raws), "values": _by_name(case.layout, case.values),
        }  # fmt: skip
        if case.layout.trail:
            row |= _arrives(case.layout, case.raws, case.trail)
        if not case.again:
            row["decode_only"] = True
        rows.append(row)
    return rows


def _encode(plan: Plan) -> list[dict[str, Any]]:
    rows = []
    for case in cases.encodings(plan):
        given = _by_name(case.layout, case.values)
        if case.left_out:
            given = {name: value for name, value in given.items() if value is not None}
        row: dict[str, Any] = {"note": case.note, "layout": case.layout.name, "input": given}
        row |= {"base": _by_name(case.layout, case.bases), "raw": _by_name(case.layout, case.raws)}
        if case.layout.trail:
            given_ages = tuple(point.age for point in case.points)
            row["input_trail"] = _points(case.layout.trail, case.points, given_ages, physical=True)
            row["base_trail"] = _points(case.layout.trail, case.points, given_ages, physical=False)
            row["points_sent"] = len(case.trail)
        rows.append(row | {"hex": case.data.hex()})
    return rows


def _arrives(layout: LayoutPlan, raws: Sequence[int], points: Sequence[Point]) -> dict[str, Any]:
    """The points of a packet as a receiver gives them, and in base units."""
    if layout.trail is None:
        return {}
    known = ages(layout, raws, points)
    members = {}
    for name, physical in (("trail", True), ("trail_base", False)):
        members[name] = _points(layout.trail, points, known, physical=physical, aged=True)
    return members


def _points(
    trail: Trail, points: Sequence[Point], known: Sequence[int | None], *, physical: bool, aged: bool = False
) -> list[dict[str, float | None]]:
    """Points by the names of their parts; altitude and age only where the trail has them (an age also where it follows)."""
    rows = []
    for point, age in zip(points, known, strict=True):
        row: dict[str, float | None] = {"latitude": point.latitude, "longitude": point.longitude}
        if physical:
            row = {"latitude": point.latitude / 10**7, "longitude": point.longitude / 10**7}
        if trail.altitude_step:
            row["altitude"] = point.altitude / 100 if physical and point.altitude is not None else point.altitude
        if trail.interval_seed or aged:
            row["age"] = age
        rows.append(row)
    return rows


def _refused(plan: Plan) -> list[dict[str, Any]]:
    rows = []
    for case in cases.refusals(plan):
        row: dict[str, Any] = {"note": case.note, "layout": case.layout.name, "input": case.values}
        row |= {"input_trail": case.trail} if case.trail else {}
        rows.append(row | {"field": case.field})
    return rows


def _bad(plan: Plan) -> list[dict[str, Any]]:
    return [
        {"note": case.note, "hex": case.data.hex(), "status": case.status, "field": case.field, "offset": case.offset}
        for case in bad_packets(plan)
    ]
