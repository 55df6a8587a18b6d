"""The encoder and decoder of a plan as one ES module, for browsers, Node.js and embedded engines.

Owns one rule: names of the schema stand in the module as strings, as keys of objects and before `_values` in the name of
a type, never as identifiers of its own, so no name of a field or layout can clash with anything.

>>> from packetcodec.wire import compile_plan
>>> from packetcodec.schema import Schema
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "latitude" }, { kind = "longitude" }]
... '''))
>>> module = write_javascript(plan)["pasture.mjs"]
>>> print(module.splitlines()[1])
 * pasture, version 1: an encoder and a decoder of its packets. Fingerprint ...
"""

from __future__ import annotations

import json
import textwrap
from typing import TYPE_CHECKING, Any

from packetcodec.emit.render import Templates
from packetcodec.errors import FAULTS
from packetcodec.schema import Form, Role
from packetcodec.vectors.examples import Example
from packetcodec.wire import FieldPlan, LayoutPlan, Plan, bounds, decimal
from packetcodec.wire.trail import cells
from packetcodec.wire.trail import coding as trail
from packetcodec.wire.trail import numbers as rice

if TYPE_CHECKING:
    from collections.abc import Mapping

    from packetcodec.crc import Crc
    from packetcodec.schema import Trail

_LINE = 116
_TEMPLATES = Templates("js", escape=str)


def write_javascript(plan: Plan) -> dict[str, str]:
    """The ES module of a plan: file name to text.

    Args:
        plan: from `packetcodec.wire.compile_plan`.
    """
    text = _TEMPLATES.render(
        "module.mjs.j2",
        plan=plan,
        doc=textwrap.wrap(_remark(plan.doc), _LINE, break_on_hyphens=False),
        example=_example(plan),
        faults=" |\n *   ".join(" | ".join(map(json.dumps, part)) for part in (FAULTS[:4], FAULTS[4:])),
        layouts=[_layout(layout) for layout in plan.layouts],
        trails=any(layout.trail for layout in plan.layouts),
        check=_check(plan, plan.crc) if plan.crc else None,
        check_bytes=plan.crc.size if plan.crc else 0,
        cells=cells,
        rice=rice,
        coding=trail,
    )
    return {f"{plan.name}.mjs": text}


def write_harness(plan: Plan) -> dict[str, str]:
    """The module and a program that answers the questions of the line protocol by it, in raw codes."""
    return {**write_javascript(plan), "harness.mjs": _TEMPLATES.render("harness.mjs.j2", plan=plan)}


def _remark(words: str) -> str:
    """A remark of the schema's author as running text that cannot end a comment, or open a tag or a link in it."""
    return " ".join(words.split()).replace("*/", "* /").replace("@", "(at)")


def _example(plan: Plan) -> dict[str, Any]:
    layout = plan.layouts[0]
    case = Example.everyday(plan, layout)
    named = zip(layout.fields, case.values, strict=True)
    return {
        "layout": layout.name,
        "given": [(field.name, json.dumps(value)) for field, value in named],
        "hex": case.data.hex(),
    }


def _layout(layout: LayoutPlan) -> dict[str, Any]:
    return {
        "plan": layout,
        "doc": _remark(layout.doc),
        "fields": [_field(field) for field in layout.fields],
        "trail": _trail(layout, layout.trail) if layout.trail else "null",
    }


def _field(field: FieldPlan) -> dict[str, str]:
    numeric = "whole" if field.kind.counting else "number"
    type_ = field.kind.form.value if field.kind.form in {Form.FLAG, Form.CHOICE} else numeric
    row: dict[str, object] = {
        "name": field.name, "type": type_, "bits": field.bits, "low": field.low, "high": field.high, "step": field.step,
        "last": field.max_code, "absent": field.absent_code, "circle": field.modulus or 0, "scale": field.scale,
        "origin": field.origin, "beyond": field.policy, "unit": field.unit.symbol, "choices": list(field.choices),
    }  # fmt: skip
    given = {key: value for key, value in row.items() if value != _USUAL.get(key)}
    types = {Form.FLAG: "boolean", Form.CHOICE: " | ".join(map(json.dumps, field.choices))}
    return {
        "name": field.name,
        "type": types.get(field.kind.form, "number") + " | null" * (field.absent_code is not None),
        "words": _words(field),
        "row": _object(given, 6, "...FIELD"),
    }


#: What a field's row leaves out; the template's FIELD.
_USUAL = {
    "type": "number", "low": 0, "step": 1, "absent": None, "circle": 0, "scale": 1, "origin": 0, "beyond": "clip",
    "unit": "", "choices": [],
}  # fmt: skip


def _object(row: Mapping[str, object], indent: int, *before: str) -> str:
    """An object as JavaScript writes it, on one line if it fits, else on several that are indented by two more."""
    items = [*before, *(f"{key}: {json.dumps(value, ensure_ascii=False)}" for key, value in row.items())]
    if sum(map(len, items)) + 2 * len(items) + indent < _LINE:
        return f"{{ {', '.join(items)} }}"
    lines = [""]
    for item in items:
        if len(lines[-1]) + len(item) + indent + 4 > _LINE:
            lines.append("")
        lines[-1] += f"{item}, "
    margin = " " * indent
    return "{\n" + "".join(f"{margin}  {line.rstrip()}\n" for line in lines) + margin + "}"


def _words(field: FieldPlan) -> str:
    """Meaning, range, step and bits of a field, on one line."""
    if field.kind.form is Form.FLAG:
        said = "yes or no"
    elif field.kind.form is Form.CHOICE:
        said = "one of these names"
    else:
        said = bounds(field)
        if field.step > 1:
            said += f" in steps of {decimal(field, field.step)}"
        if field.kind.form is Form.TIME:
            said += ", Unix time" if not field.modulus else ", Unix time modulo the period"
        said += {"wrap": "; beyond: wrapped", "clip": "; beyond: clipped", "refuse": ""}[field.policy]
    doc = f"; {_remark(field.field.doc)}" if field.field.doc else ""
    return f"{said}; {field.place}{doc}"


def _trail(layout: LayoutPlan, given: Trail) -> str:
    """The trail of a layout as an object, inside the module."""
    names = {field.kind.role: field.name for field in layout.fields}
    head = [names[Role.NORTH], names[Role.EAST], names[Role.HEIGHT] if given.altitude_step else None]
    row = {
        "head": head, "points": given.points, "countBits": given.count_bits, "step": given.step,
        "first": given.initial_scale,
        "change": given.scale_rate, "altitudeStep": given.altitude_step, "altitudeFirst": given.altitude_initial_scale,
        "altitudeChange": given.altitude_scale_rate, "spacing": given.spacing, "spacingField": given.spacing_field or None,
        "gapFirst": given.interval_seed, "shifts": given.coarsenings,
    }  # fmt: skip
    return _object(row, 4)


def _check(plan: Plan, crc: Crc) -> dict[str, Any]:
    def word(number: int) -> str:
        turned = int(f"{number:0{crc.width}b}"[::-1], 2) if crc.reflected else number
        return f"{turned:#0{crc.width // 4 + 2}x}"

    places = range(0, crc.width, 8)
    return {
        "name": _remark(crc.name) or f"a CRC of {crc.width} bits",
        "width": crc.width,
        "reflected": crc.reflected,
        "bound": plan.bound,
        "start": word(plan.seed),
        "polynomial": word(crc.polynomial),
        "xor_out": f"{crc.xor_out:#0{crc.width // 4 + 2}x}" if crc.xor_out else "",
        "places": ", ".join(map(str, places if crc.reflected else reversed(places))),
    }
