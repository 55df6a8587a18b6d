"""Distances against published figures, and what a set of errors comes to."""

from __future__ import annotations

import pytest

from packetcodec.bench import ErrorSummary, distance, summary


@pytest.mark.parametrize(
    ("from_", "to", "metres", "tolerance"),
    [
        # WGS 84: a degree on the equator is pi * 6378137 / 180 metres (its defining semi-major axis).
        ((0, 0), (0, 1), 111319.49079327358, 1e-6),
        # WGS 84: the meridian from equator to pole is 10001965.729 m (from memory; in many handbooks).
        ((0, 0), (90, 0), 10001965.729, 1e-3),
        # Wellington to Salamanca: an example in the documentation of geographiclib (from memory).
        ((-41.32, 174.81), (40.96, -5.50), 19959679.267, 1e-3),
        # Flinders Peak to Buninyong on GRS 80 (from memory of the technical manual of the Geocentric Datum of
        # Australia); WGS 84 differs from GRS 80 by 0.1 mm in the minor axis.
        ((-37.95103341666667, 144.42486788888888), (-37.65282113888889, 143.92649552777777), 54972.271, 2e-3),
        # Across the antimeridian as anywhere else, and no distance at all.
        ((0, 179.5), (0, -179.5), 111319.49079327358, 1e-6),
        ((46.5, 180), (46.5, -180), 0, 1e-9),
    ],
)
def test_distances_agree_with_published_figures(
    from_: tuple[float, float], to: tuple[float, float], metres: float, tolerance: float
) -> None:
    assert distance(*from_, *to) == pytest.approx(metres, abs=tolerance)


def test_a_summary_is_maximum_nearest_rank_and_root_mean_square() -> None:
    assert summary(range(100, 0, -1)) == ErrorSummary(100, 95, pytest.approx(58.16786054171153), 100)
    assert summary([3.0, 4.0]) == ErrorSummary(4.0, 4.0, pytest.approx(12.5**0.5), 2)
    # The smallest error that 95 % do not exceed: of 20 errors the 19th.
    assert summary([1.0] * 19 + [9.0]) == ErrorSummary(9.0, 1.0, pytest.approx(5.0**0.5), 20)


def test_nothing_compared_gives_no_summary() -> None:
    assert summary([]) is None
