"""Trails put together bit by bit: what no encoder has to write, and every decoder reads or refuses.

Owns one rule: how a trail is made whose first point stands at any cell at all, and where the ends of the grid are worth
such a point.

>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> one_point(Example.everyday(plan, plan.layout("track")), (3, -2)).length
13
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.vectors.examples import Example
from packetcodec.wire.trail.cells import HALF_CIRCLE, POLE, east_step, reach
from packetcodec.wire.trail.coding import front
from packetcodec.wire.trail.numbers import Bits, Scale

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.wire import LayoutPlan, Plan

POLEWARDS = (89.5, 85.0, 81.0, 75.0, 60.0, 46.5)  # the cells get wider towards a pole


def goes_round(example: Example) -> bool:
    """Whether the last cell of the grid reaches half way round, or beyond it."""
    trail, anchor = example.layout.trail, example.anchor
    wide = east_step(trail.step, anchor.latitude) if trail and anchor else 0
    return bool(wide) and reach(wide) * wide > HALF_CIRCLE


def one_point(example: Example, cell: tuple[int, int], climb: int = 0, age: int = 0, *, count: int = 1) -> Bits:
    """A trail of the schema's own grid whose first point stands at any cell at all; `count` is what its front says."""
    trail, anchor = example.grid
    bits = front(trail, count, 0)
    groups: list[tuple[tuple[int, ...], int]] = [(cell, trail.initial_scale)]
    if trail.altitude and anchor.altitude is not None:
        groups.append(((climb,), trail.altitude.initial_scale))
    if trail.interval_seed:
        groups.append(((age,), trail.interval_seed))
    for cells, start in groups:
        scale = Scale(start)
        for residual in cells:
            scale.code(residual, bits.code, 1)
    return bits


def at_the_poles(everyday: Example) -> Iterator[tuple[Example, int, int]]:
    """The packet near each pole: 1 for north and -1 for south, and the cells to the last one that is half beyond it."""
    for latitude, sign in ((89.9995, 1), (-89.9995, -1)):
        there, trail = everyday.at(latitude, None), everyday.layout.trail
        if there and there.anchor and trail:
            yield there, sign, (POLE - abs(there.anchor.latitude) + trail.step // 2) // trail.step


def polewards(everyday: Example) -> Iterator[tuple[Example, int]]:
    """The packet where cells are so wide that the grid ends half way round, and its last cells to the east and west."""
    places = (everyday.at(latitude, None) for latitude in POLEWARDS)
    there, trail = next((place for place in places if place and goes_round(place)), None), everyday.layout.trail
    if there and there.anchor and trail:
        far = reach(east_step(trail.step, there.anchor.latitude))
        yield from ((there, far), (there, -far))


def by_hand(plan: Plan, layout: LayoutPlan) -> Iterator[tuple[str, Example, Bits]]:
    """Packets that no encoder has to make, and every decoder reads."""
    everyday, trail = Example.everyday(plan, layout), layout.trail
    if trail is None:
        return
    for there, sign, cells in at_the_poles(everyday):
        yield "trail: a cell half beyond a pole", there, one_point(there, (sign * cells, 0))
    for there, far in polewards(everyday):
        yield "trail: the last cell of the grid, past half way round", there, one_point(there, (0, far))
    for shift in range(1, trail.coarsenings + 1):
        yield f"trail: no point, and the shift {shift}", everyday, front(trail, 0, shift)
