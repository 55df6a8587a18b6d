"""The test vectors of a plan as JSON, for decoders and encoders in any language.

Owns one rule: the form of the file (told in the specification, section 9.3). Physical values are JSON numbers that
read back to the very same double; one vector stands on one line.

>>> from packetcodec.plan import compile_plan
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

from packetcodec.emit import cases
from packetcodec.emit.bad import bad_packets

if TYPE_CHECKING:
    from collections.abc import Iterable

    from packetcodec.plan import LayoutPlan, Plan


def write_vectors(plan: Plan) -> dict[str, str]:
    """The test vectors of a plan: file name to text.

    Args:
        plan: from `packetcodec.plan.compile_plan`.
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
    return [
        {
            "note": case.note, "layout": case.layout.name, "hex": case.data.hex(),
            "raw": _by_name(case.layout, case.raws), "values": _by_name(case.layout, case.values),
        }
        for case in cases.decodings(plan)
    ]  # fmt: skip


def _encode(plan: Plan) -> list[dict[str, Any]]:
    return [
        {
            "note": case.note, "layout": case.layout.name, "input": _by_name(case.layout, case.values),
            "base": _by_name(case.layout, case.bases), "raw": _by_name(case.layout, case.raws), "hex": case.data.hex(),
        }
        for case in cases.encodings(plan)
    ]  # fmt: skip


def _refused(plan: Plan) -> list[dict[str, Any]]:
    return [
        {"note": case.note, "layout": case.layout.name, "input": case.values, "field": case.field}
        for case in cases.refusals(plan)
    ]


def _bad(plan: Plan) -> list[dict[str, Any]]:
    return [
        {"note": case.note, "hex": case.data.hex(), "status": case.status, "field": case.field, "offset": case.offset}
        for case in bad_packets(plan)
    ]
