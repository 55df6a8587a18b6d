"""The line of decimal text that a packet replaces: the same values, separated by commas.

Owns one rule: as many decimals as it takes to be at least as fine as the field's step, and no more, so that text and
packet are compared at the same fineness. A value that is absent is an empty column.

>>> from packetcodec.wire.plan import compile_plan
>>> from packetcodec.schema import Schema
>>> layout = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "identifier" }, { kind = "latitude", resolution_m = 2.5 }, { kind = "battery", optional = true }]
... ''')).layouts[0]
>>> text_line(layout, {"identifier": 7, "latitude": 46.5123456, "battery": None})
'7,46.51235,'
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.schema import DEGREE, METRE

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from packetcodec.wire.field_plan import FieldPlan
    from packetcodec.wire.plan import LayoutPlan
    from packetcodec.wire.quantize import Value


def decimals(field: FieldPlan) -> int:
    """Decimals of a value in text: the fewest whose last digit is no coarser than the field's step.

    >>> from packetcodec.starter import example_plan
    >>> battery = example_plan().layouts[0].fields[5]
    >>> decimals(battery)
    2
    """
    return _digits(field.step, field.scale)


def _digits(step: int, scale: int) -> int:
    digits = 0
    while 10**digits * step < scale:
        digits += 1
    return digits


def text_line(layout: LayoutPlan, values: Mapping[str, Value], trail: Iterable[Sequence[float | None]] = ()) -> str:
    """The values of a layout as a line of text, in field order, without line end.

    The points of a trail follow, each behind a semicolon: latitude, longitude, and altitude where the trail has it.
    """
    line = ",".join(_column(field, values.get(field.name)) for field in layout.fields)
    plan = layout.trail
    if plan is None:
        return line
    places = _digits(plan.step, DEGREE)
    for latitude, longitude, altitude, _ in trail:
        line += f";{latitude:.{places}f},{longitude:.{places}f}"
        if plan.altitude and altitude is not None:
            line += f",{altitude:.{_digits(plan.altitude.step, METRE)}f}"
    return line


def _column(field: FieldPlan, value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, bool | str):
        return str(int(value)) if isinstance(value, bool) else value
    return f"{value:.{decimals(field)}f}"
