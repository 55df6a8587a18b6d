"""The trail of a packet taken apart bit by bit.

Owns no rule: the bits are those that `packetcodec.wire.trail.coding` writes, watched while it does so.

>>> from packetcodec.starter import example_plan
>>> from packetcodec.vectors.valid import worked_examples
>>> plan = example_plan()
>>> apart = TrailApart(worked_examples(plan, plan.layout("track"))[0])
>>> apart.front, [(step.axis, step.residual, step.bits) for step in apart.steps][:2]
('0 0011', [('north', 5, '10 0010'), ('east', 3, '0 110')])
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from packetcodec.vectors.trails import coarsening, farther
from packetcodec.wire.trail.cells import east_step
from packetcodec.wire.trail.coding import Grid, front, prefixes
from packetcodec.wire.trail.numbers import Bits, put

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.schema import Trail
    from packetcodec.vectors.examples import Example
    from packetcodec.wire import Point
    from packetcodec.wire.trail.guess import Group


_POINTS = 12  # of a trail that are shown


class Step(NamedTuple):
    """One number of a trail: the point and axis it belongs to, and how it comes about.

    `total` and `counted` are what the specification calls sum and count.
    """

    point: int
    axis: str
    cell: int
    change: int
    errors: str
    pick: int
    guess: int
    residual: int
    total: int
    counted: int
    order: int
    bits: str


@dataclass(frozen=True)
class TrailApart:
    """The trail of an example."""

    example: Example

    @property
    def coarsening(self) -> int:
        """How often the grid was doubled."""
        return coarsening(self.example)

    @property
    def cell_sizes(self) -> tuple[int, int]:
        """North-south and east-west cell in 1e-7 degree."""
        trail, anchor = self.example.grid
        step = trail.step << self.coarsening
        return step, east_step(step, anchor.latitude)

    @property
    def front(self) -> str:
        """The bits before the points: those of their number, those of the coarsening."""
        trail = self.example.layout.trail
        assert trail is not None  # noqa: S101  # the example has one
        bits = front(trail, len(self.example.trail), self.coarsening)
        word = f"{bits.number:0{bits.length}b}"
        first = 1 if word[0] == "1" else 1 + trail.count_bits
        return " ".join(part for part in (word[0], word[1:first], word[first:]) if part)

    @property
    def place_rows(self) -> list[tuple[object, ...]]:
        """Each point in base units as it is given and as it arrives."""
        trail, _ = self.example.grid
        rows: list[tuple[object, ...]] = [("point", "given", "arrives")]
        for number, (given, came) in enumerate(zip(self.example.points, self.example.trail, strict=False), 1):
            rows.append((number, place_words(given, trail), place_words(came, trail)))
        return rows if len(rows) <= _POINTS + 1 else [*rows[: _POINTS + 1], ("...", "", "")]

    @property
    def number_rows(self) -> list[tuple[object, ...]]:
        """The front and each number, with a head."""
        head = ("point", "axis", "cell", "change", "errors", "guess", "residual", "sum", "count", "order", "bits")
        rows: list[tuple[object, ...]] = [head, ("front", *("",) * 9, self.front)]
        for step in self.steps:
            guess = f"{step.pick}:{step.guess}"
            if step.point <= _POINTS:
                rows.append((*step[:5], guess, step.residual, step.total, step.counted, step.order, step.bits))
        return rows if self.steps[-1].point <= _POINTS else [*rows, ("...", *("",) * 10)]

    @property
    def bits(self) -> str:
        """All bits of the trail."""
        return (self.front + "".join(step.bits for step in self.steps)).replace(" ", "")

    @cached_property
    def steps(self) -> list[Step]:
        """One step for each number of the points, as the coder goes."""
        return list(self._steps())

    def _steps(self) -> Iterator[Step]:
        trail, anchor = self.example.grid
        grid = Grid(trail, anchor, self.coarsening)
        names = [("north", "east"), *([("altitude",)] if grid.climb else []), *([("age",)] if grid.timed else [])]
        for number, point in enumerate(self.example.points[: len(self.example.trail)], 1):
            for group, wanted, axes in zip(grid.groups, grid.cells(point) or (), names, strict=True):
                errors, before, pick = tuple(group.errors), tuple(group.now), group.choice
                for place, entry in enumerate(_watched(group, wanted)):
                    change = wanted[place] - before[place]
                    shown = "-" if place else ",".join(map(str, errors))
                    yield Step(number, axes[place], wanted[place], change, shown, pick, change - entry[0], *entry)


def _watched(group: Group, wanted: tuple[int, ...]) -> list[tuple[int, int, int, int, str]]:
    """Code one group of a point: residual, sum and count before it, order and bits of each number."""
    written: list[tuple[int, int, int, int, str]] = []
    scale = group.scale

    def residual(value: int | None, order: int, steady: int) -> int:
        written.append((value or 0, scale.sum, scale.count, order, _shown(value or 0, order, steady)))
        return value or 0

    group.code(wanted, residual)
    return written


def place_words(point: Point, trail: Trail) -> str:
    """A point in base units: what its trail carries of it."""
    parts: list[int | None] = [point.latitude, point.longitude]
    parts += [point.altitude] if trail.altitude else []
    parts += [point.age] if trail.interval_seed and point.age is not None else []
    return ", ".join("none" if part is None else str(part) for part in parts)


@dataclass(frozen=True)
class Cut:
    """A trail that is too long for its packet.

    Attributes:
        factor: how much farther its points are than those of the full trail.
        needed: bits of front and points for 0, 1, ... of them, on the last grid that was tried.
        room: bits that there are.
        sent: points that fit.
    """

    factor: int
    needed: list[int]
    room: int
    sent: int


def cut_trail(full: Example) -> Cut | None:
    """The full trail with its points farther and farther from the anchor, until not all of it fits."""
    trail, anchor = full.grid
    layout = full.layout
    room = 8 * (layout.longest - layout.check_bytes) - layout.bits
    for factor in (2, 5, 10, 20, 50, 100, 200, 500, 1000):
        longer = farther(full, factor)
        if len(longer.trail) < trail.points:
            shift = coarsening(longer)
            written = list(prefixes(trail, anchor, longer.points, shift))
            needed = [front(trail, number, shift).length + bits.length for number, bits in enumerate(written)]
            return Cut(factor, needed, room, len(longer.trail))
    return None


def _shown(value: int, order: int, steady: int) -> str:
    """The bits of a number: ones and zero, then the rest."""
    bits = Bits()
    put(bits, value, order, steady)
    word = f"{bits.number:0{bits.length}b}"
    ones = len(word) - len(word.lstrip("1"))
    return f"{word[: ones + 1]} {word[ones + 1 :]}".rstrip()
