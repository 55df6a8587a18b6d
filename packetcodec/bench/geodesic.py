"""Metres between two positions, and what a set of such errors comes to.

Owns one rule: a distance is the length of the shortest path on the WGS 84 ellipsoid (C. F. F. Karney,
"Algorithms for geodesics", Journal of Geodesy 87, 2013), computed by geographiclib. No other formula for a
distance stands here.

>>> round(distance(46.5, 9.9, 46.5, 9.90001), 3)   # one step of the fifth decimal of longitude
0.768
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING

from geographiclib.geodesic import Geodesic

if TYPE_CHECKING:
    from collections.abc import Iterable

_WGS84 = Geodesic.WGS84


@dataclass(frozen=True, slots=True)
class ErrorSummary:
    """Position errors in metres.

    Attributes:
        maximum: the largest.
        percent_95: the smallest error that at least 95 % of them do not exceed (nearest rank).
        rms: the root of the mean square.
        count: how many there were, 1 or more.
    """

    maximum: float
    percent_95: float
    rms: float
    count: int


def distance(latitude_1: float, longitude_1: float, latitude_2: float, longitude_2: float) -> float:
    """Geodesic distance in metres on WGS 84; degrees in, latitudes -90..90, any longitudes."""
    metres = _WGS84.Inverse(latitude_1, longitude_1, latitude_2, longitude_2, Geodesic.DISTANCE)["s12"]
    return float(metres)


def summary(errors: Iterable[float]) -> ErrorSummary | None:
    """Maximum, 95 % and root mean square of errors in metres (0 or more each); None if there are none.

    >>> summary([0.5, 1.0, 1.5, 4.0])
    ErrorSummary(maximum=4.0, percent_95=4.0, rms=2.207940216581962, count=4)
    """
    ordered = sorted(errors)
    count = len(ordered)
    if not count:
        return None
    return ErrorSummary(
        maximum=ordered[-1],
        percent_95=ordered[(95 * count + 99) // 100 - 1],
        rms=sqrt(sum(error * error for error in ordered) / count),
        count=count,
    )
