"""What a position field promises on the ground, in metres.

Owns two rules: a promise is shown rounded up, so that it holds as shown (`promised`). And the
bound of a position is the hypotenuse of its latitude's and its longitude's bounds, each at the place
on the WGS 84 ellipsoid where a degree is longest (`Unit.metres`), so it holds everywhere.

>>> from packetcodec.wire.plan import compile_plan
>>> from packetcodec.schema import Schema
>>> layout = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "latitude", resolution_m = 2.5 }, { kind = "longitude", resolution_m = 2.5 }]
... ''')).layouts[0]
>>> promised(position_bound(layout))
'1.77'
"""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, Decimal
from typing import TYPE_CHECKING

from packetcodec.schema import DEGREE, METRES_PER_DEGREE_NORTH, WIDEST_CELL, Role
from packetcodec.wire.quantize import max_error

if TYPE_CHECKING:
    from packetcodec.wire.field_plan import FieldPlan
    from packetcodec.wire.plan import LayoutPlan


def promised(metres: float, digits: int = 2) -> str:
    """A bound in metres as it is shown: rounded up, to a centimetre unless more digits are asked for."""
    return f"{Decimal(repr(metres)).quantize(Decimal(1).scaleb(-digits), ROUND_CEILING):f}"


def metres_bound(field: FieldPlan) -> float | None:
    """The worst error of a latitude, longitude or altitude in metres, exact; None for other kinds.

    >>> from packetcodec.starter import example_plan
    >>> layout = example_plan().layout("position")
    >>> [round(metres_bound(field) or 0, 2) for field in layout.fields[2:5]]
    [1.25, 1.25, 1.17]
    """
    metres = field.unit.metres
    return None if metres is None else float(max_error(field)) * metres


def position_bound(layout: LayoutPlan) -> float | None:
    """The worst horizontal error of a layout's position in metres, exact; None where it has no latitude and longitude."""
    north, east = layout.role(Role.NORTH), layout.role(Role.EAST)
    if north is None or east is None:
        return None
    return math.hypot(metres_bound(north) or 0, metres_bound(east) or 0)


def trail_bound(layout: LayoutPlan) -> float | None:
    """The worst horizontal error of a point of a trail in metres, exact; None without a trail.

    That on the grid of the schema: half a cell each way, at the latitude of the anchor, and a base unit for rounding on the
    way in and out.

    >>> from packetcodec.starter import example_plan
    >>> layout = example_plan().layout("track")
    >>> round(trail_bound(layout) or 0, 2)
    1.78
    """
    if layout.trail is None:
        return None
    half = (layout.trail.step / 2 + 1) * METRES_PER_DEGREE_NORTH / DEGREE
    return half * math.hypot(1, WIDEST_CELL)
