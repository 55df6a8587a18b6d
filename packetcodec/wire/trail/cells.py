"""The grid of a trail: square cells in metres around the anchor, from integers alone.

Owns one rule: the size of a cell. North-south it is `step` base units (1e-7 degree); east-west it grows with the latitude
of the anchor, as the receiver decodes it, by Bhaskara's rational cosine at whole degrees x, towards the equator, 89 at most:

    east = step * (32400 + x * x) // (32400 - 4 * x * x)

so a cell is never more than 0.2 % wider than square at a whole degree, and it fits 32 bits for every step up to
`MAX_STEP`. A point's cell is its offset from the anchor in cells, rounded to the nearest (halves away from zero), so no
error adds up along a trail: each point is within half a cell of where it was.

>>> east_step(225, 465_000_000)
324
>>> cell_of((465_000_000, 98_000_000), (465_003_400, 98_001_300), 225)
(15, 4)
>>> place_of((465_000_000, 98_000_000), (15, 4), 225)
(465003375, 98001296)
"""

from __future__ import annotations

HALF_CIRCLE = 1_800_000_000
CIRCLE = 2 * HALF_CIRCLE
POLE = 900_000_000

#: Farthest offset of a point from the anchor on each axis, in cells.
MAX_CELLS = (1 << 20) - 1
#: Largest north-south cell, in base units (1.18 km): beyond it the east-west cell leaves 32 bits.
MAX_STEP = (2**32 - 1) // (32_400 + 89 * 89)

#: How much wider an east-west cell is at each whole degree, as a fraction.
STRETCH = tuple((32_400 + whole * whole, 32_400 - 4 * whole * whole) for whole in range(90))

Place = tuple[int, int]


def east_step(step: int, latitude: int) -> int:
    """East-west cell in 1e-7 degree at a anchor's latitude (1e-7 degree)."""
    over, under = STRETCH[min(abs(latitude) // 10_000_000, 89)]
    return step * over // under


def reach(step: int) -> int:
    """Farthest offset of an axis in cells: within `MAX_CELLS`, and at most half way round."""
    return min(MAX_CELLS, (HALF_CIRCLE + step // 2) // step)


def nearest(offset: int, step: int) -> int:
    """Offset / step, rounded to the nearest whole number, halves away from zero."""
    cells = (abs(offset) + step // 2) // step
    return -cells if offset < 0 else cells


def wrapped(longitude: int) -> int:
    """A longitude, or a difference of two, in -180..180 degrees (180 excluded)."""
    return (longitude + HALF_CIRCLE) % CIRCLE - HALF_CIRCLE


def cell_of(anchor: Place, place: Place, step: int, wide: int | None = None) -> Place:
    """The cell of a place (latitude, longitude in 1e-7 degree), longitude taken the short way round.

    `wide` is `east_step` of step and anchor, where a caller has it at hand.
    """
    east = place[1] - anchor[1]
    if east > HALF_CIRCLE:
        east -= CIRCLE
    elif east < -HALF_CIRCLE:
        east += CIRCLE
    return nearest(place[0] - anchor[0], step), nearest(east, wide or east_step(step, anchor[0]))


def place_of(anchor: Place, cell: Place, step: int, wide: int | None = None) -> Place | None:
    """The place of a cell: latitude cut at the poles, longitude in -180..180 degrees (180 excluded); `wide` as above.

    None when the cell lies more than half a step beyond a pole: no encoder sends it.
    """
    latitude = anchor[0] + cell[0] * step
    if 2 * (abs(latitude) - POLE) > step:
        return None
    longitude = wrapped(anchor[1] + cell[1] * (wide or east_step(step, anchor[0])))
    return max(-POLE, min(POLE, latitude)), longitude
