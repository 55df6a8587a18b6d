"""The trail of a layout, read from its table into a `Trail`.

Owns one rule: how speed, spacing and resolution become the two starting values of the trail's coding. They are what is
expected of a tracker that moves at `speed`: FIRST = speed * spacing / resolution cells from the head to the first point,
CHANGE = FIRST / 5 cells that a guess leaves of a later one (both rounded, at least 1; found on recorded tracks). Packets
of another motion are a little longer, never wrong.

>>> from packetcodec.schema import Schema
>>> trail = Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "latitude" }, { kind = "longitude" }]
... trail = { points = 10, resolution_m = 2.5, spacing = 10 }
... ''').layouts[0].trail
>>> (trail.step, trail.initial_scale, trail.scale_rate, trail.packet_bytes)
(223, 16, 3, 42)
"""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING

from packetcodec.schema.kinds import DEGREE, METRE, METRES_PER_DEGREE_NORTH, Role
from packetcodec.schema.model import MAX_BYTES, Field, Trail
from packetcodec.schema.places import show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from packetcodec.schema.table import Table

#: Bounds in metres: the base unit, and the largest step whose east-west cell fits 32 bits (1.18 km), rounded down.
_FINEST, _COARSEST = Decimal("0.02"), Decimal(1000)
_MAX_SHIFTS = 7
_MAX_STEP = 106_000

CODED = "coded"


def read_trail(table: Table, fields: Sequence[Field]) -> Trail | None:
    """The trail of a table, or None when something in it is wrong (noted in the table's faults)."""
    before = len(table.faults.problems)
    table.reject_unknown()
    points = table.integer("points", 1, 63, 10)
    resolution = _decimal(table, "resolution_m", _FINEST, _COARSEST, "m")
    if "resolution_m" not in table.data:
        table.note("resolution_m is missing")
    spacing, spacing_field = _spacing(table, fields)
    usual = table.integer("usual_spacing", 1, 86_400, 30)
    if spacing and "usual_spacing" in table.data:
        table.note("only where the spacing is a field or coded", "usual_spacing")
    speed = _decimal(table, "speed", Decimal("0.01"), Decimal(1000), "m/s") or Decimal(4)
    climb = _decimal(table, "altitude_resolution", Decimal("0.01"), Decimal(1000), "m")
    _demand_fields(table, fields, climb=climb is not None)
    limit = table.integer("packet_bytes", 1, MAX_BYTES)
    too_long = table.text("too_long")
    first = table.integer("initial_scale", 1, 4096)
    change = table.integer("scale_rate", 1, 4096)
    altitude_first = table.integer("altitude_initial_scale", 1, 4096, 1)
    altitude_change = table.integer("altitude_scale_rate", 1, 4096, 1)
    if len(table.faults.problems) > before or resolution is None:
        return None
    step = int(resolution * DEGREE / Decimal(str(METRES_PER_DEGREE_NORTH)))
    first = first or max(1, _round(speed * (spacing or usual or 1) / resolution))
    first = min(first, 4096)
    shifts = 0
    while too_long == "coarsen" and shifts < _MAX_SHIFTS and step << shifts + 1 <= _MAX_STEP:
        shifts += 1
    return Trail(
        points=points or 10, step=step, initial_scale=first, scale_rate=change or max(1, _round(Decimal(first) / 5)),
        altitude_step=int(climb * METRE) if climb else 0, altitude_initial_scale=altitude_first or 1,
        altitude_scale_rate=altitude_change or 1, spacing=spacing, spacing_field=spacing_field,
        interval_seed=0 if spacing or spacing_field else usual or 30, coarsenings=shifts, packet_bytes=limit or 0,
        requested=f"resolution {resolution} m", doc=table.text("doc"),
    )  # fmt: skip


def _round(value: Decimal) -> int:
    return int(value.quantize(Decimal(1), rounding=ROUND_HALF_UP))


def _decimal(table: Table, key: str, least: Decimal, most: Decimal, unit: str) -> Decimal | None:
    value = table.number(key) if key in table.data else None
    if value is not None and not least <= value <= most:
        table.note(f"{value} is outside {least}..{most} {unit}", key)
        return None
    return value


def _spacing(table: Table, fields: Sequence[Field]) -> tuple[int, str]:
    """Seconds from point to point, or the name of the field that holds them; (0, "") where the trail codes them."""
    value = table.data.get("spacing")
    if value is None or value == CODED:  # a missing key is noted with the others
        return 0, ""
    if isinstance(value, str):
        names = [field.name for field in fields if field.kind.own_unit and field.scale == 1 and field.low >= 0]
        if value not in names:
            known = f": one of {', '.join(names)}" if names else "; this layout has none"
            table.note(f"{show(value)} is not a field of kind number in whole, non-negative seconds{known}", "spacing")
        return 0, value
    return table.integer("spacing", 1, 86_400) or 0, ""


def _demand_fields(table: Table, fields: Sequence[Field], *, climb: bool) -> None:
    roles = [field.kind.role for field in fields]
    for role in (Role.NORTH, Role.EAST, *([Role.HEIGHT] if climb else [])):
        if roles.count(role) != 1:
            table.note(f"needs one field of kind {role.value} to hang on, the layout has {roles.count(role)}")
