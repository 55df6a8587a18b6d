"""How short can a trail get? The code length of an ideal coder, to measure a real one by.

Owns one rule, the ideal coder. It rounds a window (a head and its earlier points) to square cells of the mean earth, and
codes the displacement from point to point by arithmetic coding with a model that no tracker could afford:

* the first displacement by a Laplace law over the whole numbers, of one scale;
* each later one by a Bayes mixture of nine Laplace laws: three guesses (weight 0, 1/2 and 1 on the displacement before,
  halves rounded up) times three multipliers (1/2, 1 and 2) of a scale that follows the running mean of the magnitudes
  that the guess has left so far, 0.3 cells at least. The weights of the mixture follow what each would have charged;
* both starting scales are those that serve all windows of a track best, and nothing is charged for saying them.

So a real coder, which knows one track in advance no better than another, does well to come near it. All windows of a
track are coded at once.

>>> still = np.zeros((1, 11, 2))
>>> round(float(ideal_bits(cells(still, 2.5), start=1, first=4)[0]), 1)
13.3
"""

from __future__ import annotations

import math
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Track = Sequence[tuple[float, float, float]]
    Floats = NDArray[np.float64]

#: Mean radius of the earth in metres (IUGG: mean of the three semi-axes; from memory).
EARTH_RADIUS = 6_371_008.8
_E7_PER_METRE = 1e7 * 180 / (math.pi * EARTH_RADIUS)

_GUESSES = (0.0, 0.5, 1.0)
_MULTIPLIERS = (0.5, 1.0, 2.0)
_LEAST_SCALE = 0.3
_FLOOR = 1e-7  # of a chance in the mixture, so that no jump costs more than 24 bits and what it shifts
_STARTS = (1, 2, 4, 8)
_FIRSTS = (4, 8, 16, 32, 64)
_STALE = 5.0  # seconds that a position may be old, for intervals below that


def windows(track: Track, *, interval: float, points: int, most: int = 300) -> NDArray[np.int64]:
    """Windows of a track without a hole, evenly spread.

    Args:
        track: (seconds, latitude, longitude), degrees; what is not later than all before it is left out.
        interval: seconds from point to point.
        points: earlier points behind each head.
        most: about how many windows at most.

    Returns:
        Shape (windows, points + 1, 2): latitude and longitude in 1e-7 degree, the head first.
    """
    table = np.array(sorted(track, key=lambda row: row[0]), dtype=np.float64).reshape(-1, 3)
    if len(table) > 1:
        table = table[np.concatenate([[True], np.diff(table[:, 0]) > 0])]
    if len(table) < 2:
        return np.empty((0, points + 1, 2), np.int64)
    times = table[:, 0] - table[0, 0]
    ticks = np.arange(0, times[-1], interval)
    index = np.searchsorted(times, ticks, side="right") - 1
    fresh = ticks - times[index] <= max(interval, _STALE)
    places = np.rint(table[index, 1:] * 1e7).astype(np.int64)
    heads = range(points + 1, len(places), max(1, len(places) // most))
    found = [places[head - points : head + 1][::-1] for head in heads if fresh[head - points : head + 1].all()]
    return np.array(found, np.int64).reshape(-1, points + 1, 2)


def cells(some: NDArray[np.generic], resolution: float) -> NDArray[np.int64]:
    """Windows in whole cells of `resolution` metres, square at the latitude of each head."""
    step = resolution * _E7_PER_METRE
    squeeze = np.maximum(np.cos(np.radians(some[:, 0, 0].astype(np.float64) / 1e7)), 1e-3)
    size = np.stack([np.full(len(some), step), step / squeeze], axis=1)
    found: NDArray[np.int64] = np.rint(some / size[:, None, :]).astype(np.int64)
    return found


def _chance(rest: Floats, scale: Floats | float) -> Floats:
    """Of a whole number under a Laplace law of that scale: its share of a density centred on 0."""
    size = np.abs(rest)
    edge = np.exp(-np.abs(size - 0.5) / scale)
    return np.where(size == 0, 1 - edge, (edge - np.exp(-(size + 0.5) / scale)) / 2)


def ideal_bits(grid: NDArray[np.int64], *, start: float, first: float) -> Floats:
    """Bits that the ideal coder takes for each window of cells, given its two starting scales."""
    moves = np.diff(grid, axis=1).astype(np.float64)
    bits: Floats = -np.log2(np.maximum(_chance(moves[:, 0], first), 1e-12)).sum(axis=1)
    weights = np.full((len(grid), len(_GUESSES), len(_MULTIPLIERS)), 1 / 9)
    seen = np.full((len(grid), len(_GUESSES)), 2.0 * start)
    count = 2.0
    for point, axis in product(range(1, moves.shape[1]), (0, 1)):
        before = moves[:, point - 1, axis, None] * np.array(_GUESSES)
        rest = moves[:, point, axis, None] - np.floor(before + 0.5)
        scales = np.maximum(_LEAST_SCALE, (seen / count)[:, :, None] * np.array(_MULTIPLIERS))
        charged = weights * (0.999 * _chance(rest[:, :, None], scales) + _FLOOR)
        total = charged.sum(axis=(1, 2))
        bits -= np.log2(total)
        weights = charged / total[:, None, None]
        seen += np.abs(rest)
        count += 1
    return bits


def mean_ideal_bits(some: NDArray[np.int64], resolution: float) -> float:
    """Mean over windows (at least one), with the two starting scales that serve them best."""
    grid = cells(some, resolution)
    return min(float(ideal_bits(grid, start=start, first=first).mean()) for start, first in product(_STARTS, _FIRSTS))
