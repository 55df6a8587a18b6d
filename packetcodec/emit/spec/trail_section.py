"""The trail of a packet taken apart bit by bit.

Owns no rule: the bits are those that `packetcodec.wire.trail.coding` writes, watched while it does so.

>>> from packetcodec.starter import example_plan
>>> from packetcodec.vectors.valid import worked_examples
>>> plan = example_plan()
>>> apart = TrailApart(worked_examples(plan, plan.layout("track"))[0])
>>> [" ".join(map(str, row)) for row in apart.numbers[:2]]
['front          0 0011', '1 north 5 5 0,0,0 2:0 5 6 1 3 10 0010']
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from packetcodec.vectors.trails import coarsening, farther
from packetcodec.wire.trail.cells import east_step
from packetcodec.wire.trail.coding import Grid, front, prefixes
from packetcodec.wire.trail.numbers import Bits

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.schema import Trail
    from packetcodec.vectors.examples import Example
    from packetcodec.wire import Point
    from packetcodec.wire.trail.guess import Group

    Row = tuple[object, ...]

_POINTS = 12  # of a trail that are shown


@dataclass(frozen=True)
class TrailApart:
    """The trail of an example."""

    example: Example

    @cached_property
    def coarsening(self) -> int:
        """How often the grid was doubled."""
        return coarsening(self.example)

    @property
    def cells(self) -> tuple[int, int]:
        """North-south and east-west cell in 1e-7 degree."""
        trail, anchor = self.example.grid
        step = trail.step << self.coarsening
        return step, east_step(step, anchor.latitude)

    @property
    def places(self) -> list[Row]:
        """Number of each point, and its base units as it is given and as it arrives."""
        trail, _ = self.example.grid
        both = zip(self.example.points, self.example.trail, strict=False)
        return [(number, *(place_words(point, trail) for point in pair)) for number, pair in enumerate(both, 1)]

    @cached_property
    def numbers(self) -> list[Row]:
        """A row for the front and one for each number as the coder goes: all that leads to its bits, and these last."""
        return list(self._numbers())

    @property
    def bits(self) -> str:
        """All bits of the trail."""
        return "".join(str(row[-1]) for row in self.numbers).replace(" ", "")

    def _numbers(self) -> Iterator[Row]:
        trail, anchor = self.example.grid
        count = len(self.example.trail)
        first = 1 if count == trail.points else 1 + trail.count_bits
        word = _word(front(trail, count, self.coarsening))
        yield ("front", *("",) * 9, " ".join(filter(None, (word[0], word[1:first], word[first:]))))
        grid = Grid(trail, anchor, self.coarsening)
        names = [("north", "east"), *([("height",)] if grid.climb else []), *([("age",)] if grid.timed else [])]
        for number, point in enumerate(self.example.points[:count], 1):
            for group, wanted, axes in zip(grid.groups, grid.cells(point) or (), names, strict=True):
                errors, before, choice = ",".join(map(str, group.errors)), tuple(group.now), group.choice
                for place, (residual, *rest) in enumerate(_watched(group, wanted)):
                    change = wanted[place] - before[place]
                    guess = f"{choice}:{change - residual}"
                    yield number, axes[place], wanted[place], change, "-" if place else errors, guess, residual, *rest


def shortened(head: Row, rows: list[Row]) -> list[Row]:
    """Rows of a trail with their head, those of its first points."""
    kept = [row for row in rows if not isinstance(row[0], int) or row[0] <= _POINTS]
    return [head, *kept, *([("...", *("",) * (len(head) - 1))] if len(kept) < len(rows) else [])]


def _watched(group: Group, wanted: tuple[int, ...]) -> list[tuple[int, int, int, int, str]]:
    """Code one group of a point: residual, sum and count before it, order and bits of each number."""
    written: list[tuple[int, int, int, int, str]] = []

    def residual(value: int | None, order: int, steady: int) -> int:
        bits = Bits()
        bits.code(value or 0, order, steady)
        word = _word(bits)
        ones = len(word) - len(word.lstrip("1"))
        written.append((value or 0, group.scale.sum, group.scale.count, order, f"{word[: ones + 1]} {word[ones + 1 :]}".rstrip()))
        return value or 0

    group.code(wanted, residual)
    return written


def _word(bits: Bits) -> str:
    return f"{bits.number:0{bits.length}b}"


def place_words(point: Point, trail: Trail) -> str:
    """A point in base units: what its trail carries of it."""
    parts: list[int | None] = [point.latitude, point.longitude]
    parts += [point.altitude] if trail.altitude else []
    parts += [point.age] if trail.interval_seed and point.age is not None else []
    return ", ".join("none" if part is None else str(part) for part in parts)


class Cut(NamedTuple):
    """A trail that is too long for its packet: its points are `factor` times as far away as those of the full trail.

    `needed` are the bits of front and points for 0, 1, ... of them on the last grid tried, `room` those that there are.
    """

    factor: int
    needed: list[int]
    room: int
    sent: int


def cut_trail(full: Example) -> Cut | None:
    """The full trail with its points farther and farther from the anchor, until not all of it fits."""
    trail, anchor = full.grid
    room = 8 * (full.layout.longest - full.layout.check_bytes) - full.layout.bits
    for factor in (2, 5, 10, 20, 50, 100, 200, 500, 1000):
        longer = farther(full, factor)
        if len(longer.trail) < trail.points:
            coarsened = coarsening(longer)
            written = enumerate(prefixes(trail, anchor, longer.points, coarsened))
            needed = [front(trail, number, coarsened).length + bits.length for number, bits in written]
            return Cut(factor, needed, room, len(longer.trail))
    return None
