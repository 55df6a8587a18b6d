"""A trail in the words and tables of a specification: its constants, and one taken apart bit by bit.

Owns no rule: the bits are those that `packetcodec.wire.trail.coding` writes, watched while it does so.

>>> from packetcodec.wire import compile_plan
>>> from packetcodec.schema import Schema
>>> layout = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "latitude" }, { kind = "longitude" }]
... trail = { points = 3, resolution_m = 2.5, spacing = 10 }
... ''')).layouts[0]
>>> print(trail_parts(layout, layout.trail)["cells"])
| head's latitude in whole degrees | 0   | 10  | 20  | 30  | 40  | 50  | 60  | 70  | 80   | 89    |
|----------------------------------|-----|-----|-----|-----|-----|-----|-----|-----|------|-------|
| east-west cell                   | 223 | 226 | 237 | 257 | 291 | 347 | 446 | 649 | 1272 | 12558 |
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from packetcodec.emit.text import table
from packetcodec.wire import LayoutPlan, Point, promised, trail_bound
from packetcodec.wire.trail.cells import east_step
from packetcodec.wire.trail.coding import Grid
from packetcodec.wire.trail.numbers import Bits, Scale, put

if TYPE_CHECKING:
    from packetcodec.schema import Trail
    from packetcodec.vectors.examples import Example

_HEAD = ("point", "what", "cell", "moved", "error", "guess", "residual", "sum", "count", "order", "bits")
_DEGREES = (*range(0, 90, 10), 89)


def trail_parts(layout: LayoutPlan, trail: Trail) -> dict[str, Any]:
    """What the template says about the trail of a layout."""
    rows: list[tuple[object, ...]] = [
        ("constant", "value", "meaning"),
        ("POINTS", trail.points, "most points"),
        ("COUNT_BITS", trail.count_bits, "width of the number of points, where it is below POINTS"),
        ("STEP", trail.step, "north-south cell, in 1e-7 degree"),
        ("FIRST", trail.initial_scale, "what sum starts from (section 2.12), for the first point"),
        ("CHANGE", trail.scale_rate, "the same from the second point on"),
    ]
    if trail.coarsenings:
        rows.append(("SHIFTS", trail.coarsenings, "most doublings of the grid"))
    if trail.altitude:
        rows.append(("CLIMB", trail.altitude.step, "cell of altitude, in centimetres"))
        rows.append(
            ("CLIMB_FIRST", trail.altitude.initial_scale, "what sum starts from in the group of altitude, first point")
        )
        rows.append(("CLIMB_CHANGE", trail.altitude.scale_rate, "the same from the second point on"))
    if trail.interval_seed:
        rows.append(("GAP", trail.interval_seed, "what sum starts from in the group of seconds, first point"))
    rows.append(("MAX_BYTES", layout.longest, "most bytes of a packet, the check included"))
    bound = trail_bound(layout)
    return {
        "plan": trail,
        "constants": table(rows),
        "cells": table(
            [
                ("head's latitude in whole degrees", *_DEGREES),
                ("east-west cell", *(east_step(trail.step, degrees * 10**7) for degrees in _DEGREES)),
            ]
        ),
        "bound": None if bound is None else promised(bound),
    }


def trail_example(layout: LayoutPlan, case: Example) -> dict[str, Any] | None:
    """The trail of a packet taken apart: its bits, and a row for each number in it; None for a packet without one."""
    trail, head = layout.trail, case.anchor
    if trail is None or head is None:
        return None
    length = (len(case.data) - layout.check_bytes) * 8
    number = int.from_bytes(case.data, "big") >> layout.check_bytes * 8
    bits = f"{number:0{length}b}"[layout.bits :]
    full = len(case.trail) == trail.points
    front = 1 if full else 1 + trail.count_bits
    shift = 0
    while shift < trail.coarsenings and bits[front + shift] == "1":
        shift += 1
    shifted = front + shift + (trail.coarsenings > shift) if trail.coarsenings else front
    rows: list[tuple[object, ...]] = [
        ("point", "what", "cell", "moved", "error", "guess", "residual", "sum", "count", "order")
    ]
    rows = [(*rows[0], "bits")]
    blank = ("",) * 8
    meaning = f"full, so {trail.points} points" if full else f"not full; {len(case.trail)} points"
    rows.append(("", meaning, *blank, bits[0] if full else f"{bits[0]} {bits[1:front]}"))
    if trail.coarsenings:
        rows.append(("", f"shift {shift}", *blank, bits[front:shifted]))
    walked = _walk(trail, head, case.points[: len(case.trail)], shift)
    return {
        "bits": shifted + sum(len(str(row[-1]).replace(" ", "")) for row in walked),
        "points": f"{len(case.trail)} points",
        "rows": table([*rows, *walked]) if walked else "",
        "lines": list(_lines(trail, head, case, shift)) if walked else [],
    }


def _walk(trail: Trail, head: Point, points: tuple[Point, ...], shift: int) -> list[tuple[object, ...]]:
    """One row for each number of the points, as the coder goes."""
    grid = Grid(trail, head, shift)
    names = [("north", "east"), *([("climb",)] if grid.climb else []), *([("seconds",)] if grid.timed else [])]
    rows: list[tuple[object, ...]] = []
    written: list[tuple[int, int, int, int, str]] = []
    scale: Scale

    def residual(value: int | None, order: int, steady: int) -> int:
        assert value is not None  # noqa: S101  # cells are given
        written.append((value, scale.sum, scale.count, order, _shown(value, order, steady)))
        return value

    for number, point in enumerate(points, 1):
        cells = grid.cells(point)
        assert cells is not None  # noqa: S101  # these points were sent
        for group, wanted, axes in zip(grid.groups, cells, names, strict=True):
            errors, before, scale, pick = tuple(group.errors), tuple(group.now), group.scale, group.choice
            group.code(wanted, residual)
            for place, (axis, entry) in enumerate(zip(axes, written, strict=True)):
                moved = wanted[place] - before[place]
                error = "" if place else " ".join(map(str, errors))
                rows.append((number, axis, wanted[place], moved, error, f"{pick}: {moved - entry[0]}", *entry))
            written.clear()
    return rows


def _shown(value: int, order: int, steady: int) -> str:
    """The bits of a number: ones and zero, then the rest."""
    bits = Bits()
    put(bits, value, order, steady)
    word = f"{bits.number:0{bits.length}b}"
    ones = len(word) - len(word.lstrip("1"))
    return f"{word[: ones + 1]} {word[ones + 1 :]}".rstrip()


def _lines(trail: Trail, head: Point, case: Example, shift: int) -> list[str]:
    """Each point in base units: given, its cell, and as it arrives."""
    step = trail.step << shift
    wide = east_step(step, head.latitude)
    words = [f"head: latitude {head.latitude}, longitude {head.longitude}, as they arrive; cells of {step} and {wide}"]
    grid = Grid(trail, head, shift)
    for number, (given, arrived) in enumerate(zip(case.points, case.trail, strict=False), 1):
        (north, east), *_ = grid.cells(given) or [(0, 0)]
        words.append(
            f"point {number}: {given.latitude}, {given.longitude} lies {given.latitude - head.latitude} north and "
            f"{given.longitude - head.longitude} east of the head: cell {north}, {east}; "
            f"arrives as {arrived.latitude}, {arrived.longitude}"
        )
    return words
