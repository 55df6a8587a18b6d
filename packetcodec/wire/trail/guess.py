"""What is guessed of a displacement: the axes of a trail that share one scale and one choice of guess.

Owns one rule, the choice. A group knows three guesses for a displacement: 0 (stays), the last one (goes on), the last one
and half its change from the one before (turns or speeds up); where the tracker is said to wander, in place of the last the
mean of the last two. It takes the guess that has been wrong by least so far, older
errors counting less, of equal ones the last; what remains is coded. Nothing is sent to say which.

>>> group = Group((1000, 1000), initial_scale=16, scale_rate=3)
>>> rests = []
>>> for cell in ((15, 4), (31, 8), (47, 12)):
...     group.code(cell, lambda rest, order, steady: rests.append(rest) or rest)
>>> rests, group.choice
([15, 4, 1, 0, 0, 0], 1)
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.wire.trail.numbers import STEADY, BadTrailFault, Scale

if TYPE_CHECKING:
    from collections.abc import Sequence

    from packetcodec.wire.trail.numbers import Coder

#: The guess that runs ahead starts this many cells behind the others.
HANDICAP = 2


class Group:
    """Axes that share one scale and one choice of guess.

    Attributes:
        limits: farthest cell of each axis.
        now: the cells of the last point.
        errors: how wrong each guess has been so far, in cells.
        scale: how large residuals have been so far.
    """

    __slots__ = ("before", "bend", "errors", "fresh", "last", "limits", "now", "rising", "scale", "scale_rate")

    def __init__(
        self, limits: Sequence[int], initial_scale: int, scale_rate: int, *, wandering: bool = False, rising: bool = False
    ) -> None:
        self.limits = limits
        self.bend = -1 if wandering else 1  # halves of its last change that a move is expected to change again
        self.scale_rate = scale_rate
        self.rising = rising  # the axis never goes back: seconds between points
        self.scale = Scale(initial_scale)
        self.fresh = True
        self.errors = [0, 0, 0]
        self.now = [0] * len(limits)
        self.last = [0] * len(limits)
        self.before = [0] * len(limits)

    @property
    def choice(self) -> int:
        """The guess for the next point: 0, 1 or 2."""
        stays, goes_on, turns = self.errors
        if turns <= goes_on:
            return 2 if turns <= stays else 0
        return 1 if goes_on <= stays else 0

    def holds(self, cells: Sequence[int]) -> bool:
        """Whether the cells of a point lie within the limits, and do not go back where the axis never does."""
        for cell, limit in zip(cells, self.limits, strict=True):
            if not -limit <= cell <= limit:
                return False
        return not (self.rising and cells[0] < self.now[0])

    def code(self, cells: Sequence[int] | None, coder: Coder) -> None:
        """Code the cells of one point, or read them for None.

        Raises:
            BadTrailFault: what is read lies beyond the limits, or goes back where the axis never does.
        """
        choice, now, scale = self.choice, self.now, self.scale
        steady = 1 if self.fresh else STEADY
        stays, goes_on, turns = self.errors
        stays, goes_on, turns = stays - (stays >> 3), goes_on - (goes_on >> 3), turns - (turns >> 3)
        moves, before, bend = [], self.before, self.bend
        for axis, last in enumerate(self.last):
            here = now[axis]
            ahead = last + (bend * (last - before[axis]) + 1 >> 1)
            guess = ahead if choice == 2 else last if choice else 0
            rest = scale.code(None if cells is None else cells[axis] - here - guess, coder, steady)
            moved = guess + rest
            now[axis] = here = here + moved
            if moved < 0 and self.rising:
                raise BadTrailFault("its time runs back")
            if abs(here) > self.limits[axis]:
                raise BadTrailFault("a point in it is too far away")
            stays += abs(moved)
            goes_on += abs(moved - last)
            turns += abs(moved - ahead)
            moves.append(moved)
        self.errors = [stays, goes_on, turns]
        self.before, self.last = moves if self.fresh else self.last, moves
        if self.fresh:
            self.fresh, self.scale, self.errors = False, Scale(self.scale_rate), [0, 0, HANDICAP]
