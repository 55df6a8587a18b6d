"""Fewer points to draw than there are, without losing what stands out.

Owns one rule: of each stretch of points the outermost ones stay, the first and the last of all too.

>>> outermost([(0.0,), (5.0,), (1.0,), (9.0,), (2.0,), (2.1,), (2.2,), (2.0,)], 5, (0,))
[0, 3, 7]
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


def outermost(points: Sequence[Sequence[float]], most: int, axes: Sequence[int]) -> list[int]:
    """Places of at most `most` points that keep the least and the largest value of each axis in each stretch.

    All of them where there are no more; at least the ends, and two for each axis.
    """
    if len(points) <= most:
        return list(range(len(points)))
    stretches = max(1, (most - 2) // (2 * len(axes)))
    kept = {0, len(points) - 1}
    for number in range(stretches):
        stretch = range(number * len(points) // stretches, (number + 1) * len(points) // stretches)
        for axis in axes:
            kept.add(min(stretch, key=lambda place: points[place][axis]))
            kept.add(max(stretch, key=lambda place: points[place][axis]))
    return sorted(kept)
