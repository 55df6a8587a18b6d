"""What became of each position that was sent over a link, and what that comes to along the way.

Owns one rule: the error of a position is the geodesic from where the receiver was to the place that was told.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

from packetcodec.bench.geodesic import distance

if TYPE_CHECKING:
    from collections.abc import Sequence

    from packetcodec.logs.fix import Fix
    from packetcodec.receive.events import Position

#: How a position arrived.
DIRECT, BY_TRAIL, MISSING = "direct", "by trail", "missing"
#: Steps of a histogram from 0 to the promise, and stretches of time.
_STEPS, _STRETCHES = 25, 60


@dataclass(frozen=True, slots=True)
class Outcome:
    """One position that was sent.

    Attributes:
        time: of the fix, in Unix seconds.
        latitude, longitude: what was told, in degrees; of a missing one, where the receiver was.
        how: "direct", "by trail" or "missing".
        error: metres, or None of a missing one.
        tracker: who told it, or None.
    """

    time: float
    latitude: float
    longitude: float
    how: str
    error: float | None
    tracker: int | None


def outcome_of(fix: Fix, told: Position | None) -> Outcome:
    """The outcome of a fix that has a position, and of what told it, or None."""
    here = fix.latitude or 0.0, fix.longitude or 0.0
    if told is None:
        return Outcome(fix.time, *here, MISSING, None, None)
    error = distance(*here, told.latitude, told.longitude)
    return Outcome(fix.time, told.latitude, told.longitude, DIRECT if told.direct else BY_TRAIL, error, told.tracker)


@dataclass(frozen=True, slots=True)
class Step:
    """A step of a histogram: errors above `from_m` (of the first, from 0) up to `to_m`, and the share of all up to there."""

    from_m: float
    to_m: float
    count: int
    at_most: float


def histogram(errors: Sequence[float], promise: float | None) -> tuple[Step, ...]:
    """The errors in steps of equal width; empty without errors.

    25 steps are the promise (without one, the largest error), unless that makes more than 100 in all.

    >>> histogram([0.5, 1.0, 2.4], 2.5)[-1]
    Step(from_m=2.3, to_m=2.4, count=1, at_most=1.0)
    """
    if not errors:
        return ()
    width = max((promise or max(errors)) / _STEPS, max(errors) / (4 * _STEPS), 1e-6)
    counts = [0] * max(1, ceil(round(max(errors) / width, 9)))
    for error in errors:
        counts[min(len(counts), max(1, ceil(round(error / width, 9)))) - 1] += 1
    steps, total = [], 0
    for number, count in enumerate(counts):
        total += count
        steps.append(Step(round(number * width, 9), round((number + 1) * width, 9), count, total / len(errors)))
    return tuple(steps)


@dataclass(frozen=True, slots=True)
class Stretch:
    """The positions sent in a stretch of time, in seconds from the first one, by how they arrived."""

    from_s: float
    to_s: float
    points: int
    direct: int
    by_trail: int
    missing: int


def along_time(outcomes: Sequence[Outcome]) -> tuple[Stretch, ...]:
    """The positions in stretches of equal length; none where there are none."""
    if not outcomes:
        return ()
    start = min(item.time for item in outcomes)
    width = max(1.0, ceil((max(item.time for item in outcomes) - start + 1) / _STRETCHES))
    found: dict[int, list[str]] = {}
    for item in outcomes:
        found.setdefault(int((item.time - start) // width), []).append(item.how)
    return tuple(
        Stretch(place * width, (place + 1) * width, len(hows), *map(hows.count, (DIRECT, BY_TRAIL, MISSING)))
        for place, hows in sorted(found.items())
    )
