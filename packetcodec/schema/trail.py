"""The trail of a layout, read from its table into a `Trail`.

Owns one rule: how speed, spacing and resolution become the two starting values of the trail's coding. They follow from what
is expected of a tracker that moves at `speed`, x = speed * spacing / resolution cells from point to point: x for the first
point and a fifth of it for what a guess leaves of a later one; in a trail that is `wandering`, x / 2 and the square root of
x (all rounded, at least 1; found on recorded tracks). Packets of another motion are a little longer, never wrong.

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
from typing import TYPE_CHECKING, Any

from packetcodec.schema.kinds import DEGREE, KINDS, METRE, METRES_PER_DEGREE_NORTH, WIDEST_CELL, Role
from packetcodec.schema.model import (
    AltitudeSteps,
    CodedSpacing,
    ConstantSpacing,
    Field,
    FieldSpacing,
    Spacing,
    Trail,
)
from packetcodec.schema.places import show

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from packetcodec.schema.table import Table

_SCALES = ("initial_scale", "scale_rate", "altitude_initial_scale", "altitude_scale_rate")
_MAX_SCALE = 4096
_MAX_COARSENINGS = 7
#: Largest north-south cell in 1e-7 degree (1.18 km): beyond it the east-west cell next to a pole leaves 32 bits.
MAX_STEP = 106_000

#: Largest age of a point in seconds: what a signed number of 32 bits holds.
MAX_AGE = 2**31 - 1

CODED = "coded"


def read_trail(table: Table, fields: Sequence[Field], unread: Sequence[Mapping[str, Any]] = ()) -> Trail | None:
    """The trail of a table, or None when something in it is wrong (noted in the table's faults).

    A field that is at fault itself, one of the tables `unread`, is not called missing here.
    """
    before = len(table.faults.problems)
    table.reject_unknown()
    points = table.integer("points")
    step, resolution = _step(table)
    usual = table.integer("usual_spacing") or 1
    spacing = _spacing(table, fields, unread, usual, points or 1)
    if isinstance(spacing, ConstantSpacing):
        if "usual_spacing" in table.data:
            table.note("only where the spacing is a field or coded", "usual_spacing")
        usual = spacing.seconds
    speed = table.number("speed")
    climb = table.number("altitude_resolution")
    _demand_fields(table, fields, unread, climb=climb is not None)
    limit = table.integer("packet_bytes")
    too_long = table.text("too_long")
    wandering = table.boolean("wandering")
    scales = {key: table.integer(key) for key in _SCALES}
    if len(table.faults.problems) > before or points is None or speed is None:
        return None
    cells = speed * usual / resolution
    first = scales["initial_scale"] or _scale(cells / 2 if wandering else cells)
    coarsenings = 0
    while too_long == "coarsen" and coarsenings < _MAX_COARSENINGS and step << coarsenings + 1 <= MAX_STEP:
        coarsenings += 1
    height = (scales["altitude_initial_scale"] or 1, scales["altitude_scale_rate"] or 1)
    return Trail(
        points=points, step=step, initial_scale=first,
        scale_rate=scales["scale_rate"] or _scale(cells.sqrt() if wandering else Decimal(first) / 5), wandering=wandering,
        spacing=spacing, altitude=AltitudeSteps(int(climb * METRE), *height) if climb else None, coarsenings=coarsenings,
        packet_bytes=limit or 0,
        requested=_requested(table), doc=table.text("doc"),
    )  # fmt: skip


def _step(table: Table) -> tuple[int, Decimal]:
    """The north-south step in base units, and the resolution in metres that the starting values follow from."""
    resolution, error = table.number("resolution_m"), table.number("max_error_m")
    if not {"resolution_m", "max_error_m"} & table.data.keys():
        table.note("needs a resolution_m or a max_error_m")
    if {"resolution_m", "max_error_m"} <= table.data.keys():
        table.note("resolution_m and max_error_m both given: one follows from the other", "max_error_m")
    metres_per_base_unit = Decimal(str(METRES_PER_DEGREE_NORTH)) / DEGREE
    if resolution is not None:
        return int(resolution / metres_per_base_unit), resolution
    # Half a step each way, the east-west one up to so much longer, and a base unit for rounding on the way in and out.
    diagonal = (1 + Decimal(str(WIDEST_CELL)) ** 2).sqrt()
    step = int(2 * ((error or 1) / diagonal / metres_per_base_unit - 1))
    return step, step * metres_per_base_unit


def _requested(table: Table) -> str:
    key = "resolution" if "resolution_m" in table.data else "max_error"
    return f"{key} {table.data[f'{key}_m']} m"


def _scale(cells: Decimal) -> int:
    """A starting value, rounded and within its bounds."""
    return min(max(1, int(cells.quantize(Decimal(1), rounding=ROUND_HALF_UP))), _MAX_SCALE)


def _spacing(table: Table, fields: Sequence[Field], unread: Sequence[Mapping[str, Any]], usual: int, points: int) -> Spacing:
    """What tells the seconds from point to point."""
    value = table.data.get("spacing")
    if value is None or value == CODED:  # a missing key is noted with the others
        return CodedSpacing(usual)
    if isinstance(value, str):
        known_fields = {field.name: field for field in fields if field.whole_seconds}
        field = known_fields.get(value)
        if field is None:
            known = f": one of {', '.join(known_fields)}" if known_fields else "; this layout has none"
            if not any(row.get("name", row.get("kind")) in (None, value) for row in unread):
                table.note(f"{show(value)} is not a field of kind number in whole, non-negative seconds{known}", "spacing")
        elif field.high // field.scale > MAX_AGE // points:
            limit = f"a maximum of {MAX_AGE // points} s leaves the age of point {points} below 2^31 s"
            table.note(f"{value} goes up to {field.high // field.scale} s: {limit}", "spacing")
        return FieldSpacing(value)
    return ConstantSpacing(table.integer("spacing") or 1)


def _demand_fields(table: Table, fields: Sequence[Field], unread: Sequence[Mapping[str, Any]], *, climb: bool) -> None:
    roles = [field.kind.role for field in fields]
    kinds = [row.get("kind") for row in unread]
    unknown = any(kind not in list(KINDS) for kind in kinds)
    for role in (Role.NORTH, Role.EAST, *([Role.HEIGHT] if climb else [])):
        excused = not roles.count(role) and (unknown or role.value in kinds)
        if roles.count(role) != 1 and not excused:
            table.note(f"needs one field of kind {role.value}, the layout has {roles.count(role)}")
