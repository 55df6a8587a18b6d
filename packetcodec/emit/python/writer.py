r"""The encoder and decoder of a plan as one plain Python module, and its types beside it.

Owns one rule: a value is called after its field, with the base unit behind it, as in C; a clash gets a low line. Names of
the schema stand in the module as strings alone, so no name can clash with anything of Python.

>>> from packetcodec.starter import example_plan
>>> files = write_python(example_plan())
>>> list(files)
['pasture_packets.py', 'pasture_packets.pyi']
>>> print(literal('say "moo" \\'))
"say \"moo\" \\"
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from packetcodec.emit.render import Templates, printable, verbatim
from packetcodec.errors import FAULTS
from packetcodec.schema import PLACE, Form
from packetcodec.vectors.examples import Example
from packetcodec.wire import bounds, decimal
from packetcodec.wire.trail import cells, coding, guess, numbers

if TYPE_CHECKING:
    from packetcodec.wire import FieldPlan, LayoutPlan, Plan

#: Environment variable that names the file micropython.mjs of npm's @micropython/micropython-webassembly-pyscript.
MICROPYTHON = "MICROPYTHON_MJS"
_FLAGS = (False, True)


def safe_text(words: str) -> str:
    r"""A text that ends no string and no comment, and is no remark to a checker, wherever it stands in Python.

    >>> print(safe_text('\"\"\" \\ # type: ignore'))
    ''' / (type: ignore
    """
    return printable(words).replace("\\", "/").replace('"', "'").replace("# ", "(").replace("#", "(")


def literal(value: object) -> str:
    """A text, number, truth value, None or tuple of them as Python writes it."""
    if isinstance(value, tuple):
        return verbatim(f"({', '.join(map(literal, value))}{',' * (len(value) == 1)})")  # made safe here, as below
    if isinstance(value, str):
        return verbatim('"' + value.encode("unicode_escape").decode("ascii").replace('"', '\\"') + '"')
    return verbatim(repr(value))


@dataclass(frozen=True)
class PythonLayout:
    """A layout as the module sees it: the keys of its values, and rows of numbers."""

    plan: LayoutPlan

    @cached_property
    def keys(self) -> tuple[str, ...]:
        """The keys of its values, in wire order."""
        keys: list[str] = []
        for field in self.plan.fields:
            key = f"{field.name}_{field.unit.suffix}" if field.unit.suffix else field.name
            while key in keys:
                key += "_"
            keys.append(key)
        return tuple(keys)

    @property
    def items(self) -> list[tuple[str, FieldPlan]]:
        """The keys with their fields."""
        return list(zip(self.keys, self.plan.fields, strict=True))

    @property
    def rows(self) -> list[tuple[object, ...]]:
        """Of each field what the module codes it by; a time with an epoch is Unix time there."""
        return [
            (
                key, field.bits, field.low + field.origin, field.max_input + field.origin, field.step, field.max_code,
                field.absent_code, field.modulus, field.policy == "refuse", names_of(field),
            )
            for key, field in self.items
        ]  # fmt: skip

    @property
    def trail(self) -> tuple[object, ...]:
        """What the module reads and writes its trail by; nothing without one."""
        trail = self.plan.trail
        if trail is None:
            return ()
        north, east, height = self.plan.anchor_places
        climb = trail.altitude and (height, trail.altitude.step, trail.altitude.initial_scale, trail.altitude.scale_rate)
        named = {field.name: (place, field.scale) for place, field in enumerate(self.plan.fields)}
        return (
            trail.points, trail.count_bits, trail.coarsenings,
            (north, east, trail.step, trail.initial_scale, trail.scale_rate, -1 if trail.wandering else 1), climb,
            (trail.interval_seed, trail.spacing_seconds, *named.get(trail.spacing_field or "", (None, None))),
        )  # fmt: skip

    @property
    def low(self) -> tuple[tuple[object, ...], ...]:
        """Of the fields that are sent by their low bits: place, modulus, bits of what is not sent, absent."""
        return tuple((place, low.modulus, low.high_bits, low.absent) for place, _, low in self.plan.low_fields)

    def value(self, field: FieldPlan, base: int | None) -> object:
        """A value as the module gives it, for a number of base units."""
        names = names_of(field)
        return None if base is None else names[base] if names else base + field.origin


def names_of(field: FieldPlan) -> tuple[object, ...]:
    """The values of a field that are no numbers, in the order of their codes."""
    return _FLAGS if field.kind.form is Form.FLAG else field.choices


def _keys_of(layouts: list[PythonLayout], name: str) -> tuple[tuple[str, int], ...]:
    """The keys of a value that is sent by its low bits, in all layouts, and what base 0 is as a Unix time."""
    items = [item for layout in layouts for item in layout.items]
    return tuple((key, field.origin) for key, field in items if field.name == name and field.low_bits)


def _has_degrees(plan: Plan) -> bool:
    """Whether a position is sent, so that a helper reads what receivers print."""
    return any(field.kind.role in PLACE for layout in plan.layouts for field in layout.fields)


def _type(field: FieldPlan) -> str:
    names = names_of(field)
    name = "int" if not names else "bool" if names == _FLAGS else f"Literal[{', '.join(map(literal, names))}]"
    return verbatim(name if field.absent_code is None else f"Optional[{name}]")


def _remark(field: FieldPlan) -> str:
    """Unit, range and step of a value in words."""
    if names_of(field):
        return field.field.doc
    said = "Unix time, " if field.origin else f"{field.unit.base}, " * bool(field.unit.base)
    said += f"{field.low + field.origin}..{field.max_input + field.origin}"
    said += f" ({bounds(field)})" * (field.scale > 1)
    if field.step > 1:
        said += f", step {field.step}" + f" ({decimal(field, field.step)} {field.unit.symbol}".rstrip() + ")"
    said += {"clip": "; beyond: clipped", "wrap": "; beyond: wrapped", "refuse": ""}[field.policy]
    return f"{said}; {field.field.doc}" if field.field.doc else said


_TEMPLATES = Templates("python", escape=safe_text, literal=literal, type_of=_type, remark=_remark)
_CODING = {"cells": cells, "coding": coding, "guess": guess, "numbers": numbers}


def write_python(plan: Plan) -> dict[str, str]:
    """The module of a plan and its types: file name to text.

    Args:
        plan: from `packetcodec.wire.compile_plan`.
    """
    file, layouts = f"{plan.name}_packets", [PythonLayout(layout) for layout in plan.layouts]
    example, first = Example.everyday(plan, plan.layouts[0]), layouts[0]
    values = [(key, first.value(field, base)) for (key, field), base in zip(first.items, example.bases, strict=True)]
    references = dict.fromkeys(layout.keys[place] for layout in layouts for place, *_ in layout.plan.low_fields)
    names = {
        "plan": plan, "file": file, "layouts": layouts, "example": example, "example_values": values, "faults": FAULTS,
        "example_known": [values[place] for place, *_ in example.layout.low_fields],
        "with_trail": plan.has_trail or plan.has_low_bits, "references": list(references),
        "has_degrees": _has_degrees(plan), "trailed": [layout.name for layout in plan.layouts if layout.trail], **_CODING,
    }  # fmt: skip
    return {f"{file}.{ending}": _TEMPLATES.render(f"module.{ending}.j2", **names) for ending in ("py", "pyi")}


def write_harness(plan: Plan) -> dict[str, str]:
    """The module, and programs that answer the questions of the line protocol by it: for CPython, and around MicroPython."""
    layouts = [PythonLayout(layout) for layout in plan.layouts]
    names = {
        "plan": plan,
        "file": f"{plan.name}_packets",
        "layouts": layouts,
        "names_of": names_of,
        "variable": MICROPYTHON,
        "far": coding.MAX_POINT_ALTITUDE,
        "references": tuple(_keys_of(layouts, name) for name in plan.references),
    }
    names["has_degrees"] = _has_degrees(plan)
    programs = {name: _TEMPLATES.render(f"{name}.j2", **names) for name in ("harness.py", "harness.mjs")}
    return {**write_python(plan), **programs}
