"""The points of a trail as users give and get them, and in base units.

>>> from packetcodec.schema import Trail
>>> to_point(Trail(points=10, step=223, initial_scale=16, scale_rate=3), {"latitude": 46.5, "longitude": 9.9}, 1)
Point(latitude=465000000, longitude=99000000, altitude=None, age=None)
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from packetcodec.codec.packet import TrailPoint
from packetcodec.schema import DEGREE, METRE
from packetcodec.wire import LayoutPlan, OutOfRangeFault, Point
from packetcodec.wire.packing import ages_of
from packetcodec.wire.quantize import quoted, to_number
from packetcodec.wire.trail.coding import MAX_POINT_ALTITUDE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from packetcodec.schema import Trail

#: Base units in one degree, one metre, one second, and the bounds of each in base units.
_AXES = {
    "latitude": (float(DEGREE), 900_000_000, "degrees"),
    "longitude": (float(DEGREE), 1_800_000_000, "degrees"),
    "altitude": (float(METRE), MAX_POINT_ALTITUDE, "m"),
    "age": (1.0, 2**31 - 1, "s"),
}


def to_point(trail: Trail, given: Any, number: int) -> Point:
    """A point in base units.

    Args:
        trail: of the layout.
        given: a `TrailPoint`, a tuple of the same order, or a mapping with the same names.
        number: its place in the trail, from 1, for messages.

    Raises:
        OutOfRangeFault: a value is missing, no finite number, or out of range.
    """
    try:
        place = TrailPoint(**given) if isinstance(given, Mapping) else TrailPoint(*given)
    except TypeError:
        wanted = ", ".join(TrailPoint._fields)
        raise OutOfRangeFault(f"point {number}: {quoted(given)} is no position ({wanted})") from None
    latitude, longitude, altitude, age = (_base(name, value, number) for name, value in place._asdict().items())
    if latitude is None or longitude is None:
        raise OutOfRangeFault(f"point {number}: latitude and longitude are needed")
    return Point(latitude, longitude, altitude if trail.altitude else None, age if trail.interval_seed else None)


def _base(name: str, value: Any, number: int) -> int | None:
    if value is None:
        return None
    scale, most, unit = _AXES[name]
    least = 0 if name == "age" else -most
    try:
        scaled = to_number(value) * scale
    except OutOfRangeFault as fault:
        raise OutOfRangeFault(f"point {number}: {name}: {fault}") from None
    except OverflowError:  # a whole number beyond every float
        scaled = math.inf
    if not least <= scaled <= most:
        raise OutOfRangeFault(
            f"point {number}: {name}: {quoted(value)} is outside {least / scale:g}..{most / scale:g} {unit}"
        )
    return round(scaled)


def from_points(layout: LayoutPlan, codes: Sequence[int], points: Sequence[Point]) -> tuple[TrailPoint, ...]:
    """The points of a packet as users get them."""
    if not points or layout.trail is None:
        return ()
    return tuple(
        TrailPoint(
            point.latitude / DEGREE,
            point.longitude / DEGREE,
            None if point.altitude is None else point.altitude / METRE,
            age,
        )
        for point, age in zip(points, ages_of(layout, codes, points), strict=True)
    )
