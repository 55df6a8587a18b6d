"""What a position field promises on the ground, in metres.

Owns two rules: a promise is rounded up, here and nowhere else, so that reports, JSON and specification say the same. And the
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
>>> position_bound(layout)
1.77
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from packetcodec.schema import DEGREE, METRES_PER_DEGREE_NORTH, WIDEST_CELL, Role
from packetcodec.wire.quantize import worst_error

if TYPE_CHECKING:
    from packetcodec.wire.plan import FieldPlan, LayoutPlan


def metres_bound(field: FieldPlan) -> float | None:
    """The worst error of a latitude, longitude or altitude in metres, rounded up to a millimetre; None for other kinds."""
    metres = _metres(field)
    return None if metres is None else _up(metres, 1000)


def position_bound(layout: LayoutPlan) -> float | None:
    """The worst horizontal error of a layout's position in metres, rounded up to a centimetre.

    None where it has no latitude and longitude.
    """
    north, east = layout.role(Role.NORTH), layout.role(Role.EAST)
    if north is None or east is None:
        return None
    return _up(math.hypot(_metres(north) or 0, _metres(east) or 0), 100)


def _metres(field: FieldPlan) -> float | None:
    metres = field.unit.metres
    return None if metres is None else float(worst_error(field)) * metres


def _up(metres: float, parts: int) -> float:
    """Metres rounded up to so many parts of one: whoever shows the promise shows this, and no less."""
    return math.ceil(metres * parts) / parts


def trail_bound(layout: LayoutPlan) -> float | None:
    """The worst horizontal error of a point of a trail in metres, rounded up to a centimetre; None without a trail.

    That on the grid of the schema: half a cell each way, at the latitude of the anchor, and a base unit for rounding on the
    way in and out.
    """
    if layout.trail is None:
        return None
    half = (layout.trail.step / 2 + 1) * METRES_PER_DEGREE_NORTH / DEGREE
    return _up(half * math.hypot(1, WIDEST_CELL), 100)
