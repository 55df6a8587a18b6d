"""Charts and map: they show the numbers of the reports, north and east to one scale, and lose no extreme."""

from __future__ import annotations

import json
import warnings
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
import vl_convert
from hypothesis import given
from hypothesis import strategies as st

from packetcodec.bench.geodesic import distance
from packetcodec.bench.outcome import Outcome, along_time, histogram
from packetcodec.logs import Fix
from packetcodec.page.track_map import MAX_LINE, MAX_POINTS, Track, outermost, track_geojson, track_map

if TYPE_CHECKING:
    from collections.abc import Iterator


def rows_of(chart: Any) -> Iterator[dict[str, Any]]:
    """Every row of data in a specification."""
    if isinstance(chart, dict):
        for rows in chart.get("datasets", {}).values():
            yield from rows


def numbers(value: Any) -> set[float]:
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return set()
    if isinstance(value, int | float):
        return {float(value)}
    return set().union(*map(numbers, value.values() if isinstance(value, dict) else value), set())


@pytest.mark.slow
@pytest.mark.parametrize(
    ("command", "names"),
    [
        (("airtime",), {"airtime-position", "airtime-track", "airtime-status"}),
        (("budget", "--battery", "2600", "--trackers", "12"), {"share", "load", "channel", "battery"}),
    ],
)
def test_every_number_of_a_chart_is_in_the_report_for_programs(pages: Any, cli: Any, command: Any, names: set[str]) -> None:
    status, out, _ = cli(*command, "--json")
    assert status == 0
    known = numbers(json.loads(out))
    shown = {figure.name: figure for figure in pages.plan().figures}
    assert names <= set(shown)
    for name in names:
        drawn = {number for row in rows_of(shown[name].chart) if isinstance(row, dict) for number in numbers(row)}
        assert len(drawn) > 10
        assert drawn - {1.0} <= known, name


@pytest.mark.slow
def test_every_number_of_a_replays_charts_is_in_its_report(pages: Any, cli: Any) -> None:
    status, out, _ = cli("replay", "--loss", "40%", "--burst", "3", "--json")
    assert status == 0
    report = json.loads(out)
    shown = {figure.name: figure for figure in pages.replay().figures}
    for name, key in (("errors", "error_histogram"), ("errors-trail", "trail_error_histogram")):
        assert [row for row in rows_of(shown[name].chart) if "count" in row][: len(report[key])] == report[key]
        of = "position_error" if name == "errors" else "trail_error"
        assert sum(row["count"] for row in report[key]) == report[of]["count"]
    trails = report["link"]["trails"]
    drawn = [(row["trail"], row["how"], row["points"]) for row in rows_of(shown["arrivals"].chart)]
    assert drawn == [
        (f"{found['trail']} points" if found["trail"] else "none", how, found[how.replace(" ", "_")])
        for found in trails
        for how in ("direct", "by trail", "missing")
    ]
    for found in trails:
        assert sum(stretch["missing"] for stretch in found["along_time"]) == found["missing"]
        assert sum(stretch["points"] for stretch in found["along_time"]) == found["points"]


@pytest.mark.slow
def test_every_chart_is_vega_lite_without_a_complaint(pages: Any, capfd: Any) -> None:
    figures = [*pages.plan().figures, *pages.replay().figures]
    assert len({figure.name for figure in figures}) >= 12
    for figure in figures:
        if figure.chart is not None:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                made = vl_convert.vegalite_to_vega(figure.chart)
            assert made["marks"], figure.name
    assert "WARN" not in capfd.readouterr().err


@pytest.mark.slow
def test_the_marks_of_the_map_are_the_points_that_were_sent(pages: Any) -> None:
    whole = pages.replay()
    figure = next(figure for figure in whole.figures if figure.name == "map")
    found = whole.report["replay"]["link"]["trails"]
    rows = [row for row in rows_of(figure.chart) if "how" in row]
    for report in found:
        trail = f"{report['trail']} points" if report["trail"] else "none"
        for how in ("direct", "by trail", "missing"):
            mine = [row for row in rows if (row["trail"], row["how"]) == (trail, how)]
            assert len(mine) == report[how.replace(" ", "_")]
            assert all(("error" in row) == (how != "missing") for row in mine)
    bound = whole.report["replay"]["trail_bound_m"]
    assert 0 < max(row["error"] for row in rows if "error" in row) <= bound


LINE = tuple(Fix(float(second), 46.5 + second * 1e-6, 9.9 + second * 3e-6) for second in range(20_000))


def outcomes(fixes: tuple[Fix, ...]) -> tuple[Outcome, ...]:
    return tuple(Outcome(fix.time, fix.latitude or 0, fix.longitude or 0, "direct", 1.0, 7) for fix in fixes)


@pytest.mark.parametrize("latitude", [0.0, 46.5, -70.0, 89.9])
def test_north_and_east_have_the_same_scale(latitude: float) -> None:
    fixes = (Fix(0.0, latitude, 9.9), Fix(1.0, latitude + 0.01, 9.92))
    chart = track_map(Track(fixes, {"none": outcomes(fixes)})).chart or {}
    encoding = chart["layer"][0]["encoding"]
    (west, east), (south, north) = (encoding[axis]["scale"]["domain"] for axis in "xy")
    middle = (south + north) / 2
    across = distance(middle, (west + east) / 2 - 0.005, middle, (west + east) / 2 + 0.005) * (east - west) / 0.01
    along = distance(middle - 0.005, 0.0, middle + 0.005, 0.0) * (north - south) / 0.01
    assert across / chart["width"] == pytest.approx(along / chart["height"], rel=0.008)
    assert (west < 9.9, east > 9.92) == (True, True)
    assert south < latitude < latitude + 0.01 < north


@pytest.mark.slow
def test_a_long_track_is_thinned_and_the_map_says_so() -> None:
    track = Track(LINE, {"none": outcomes(LINE)})
    figure = track_map(track)
    rows = list(rows_of(figure.chart))
    points, line = [row for row in rows if "how" in row], [row for row in rows if "place" in row]
    assert MAX_POINTS // 4 < len(points) <= MAX_POINTS
    assert MAX_LINE // 4 < len(line) <= MAX_LINE
    assert f"{len(line):,} of its 20,000 positions and {len(points):,} of 20,000 points" in figure.note
    features = json.loads(track_geojson(track))["features"]
    assert len(features) == 20_001


def test_several_trackers_are_told_apart_by_colour() -> None:
    one, two = outcomes(LINE[:9]), outcomes(LINE[9:20])
    both = (*one, *(replace(item, tracker=12) for item in two))
    for found, colour, domain in ((one, "how", ["direct", "by trail", "missing"]), (both, "tracker", [7, 12])):
        encoding = (track_map(Track(LINE[:20], {"none": found})).chart or {})["layer"][1]["encoding"]
        assert (encoding["color"]["field"], encoding["color"]["scale"]["domain"]) == (colour, domain)
        assert len(set(encoding["color"]["scale"]["range"])) >= len(domain)
        assert encoding["shape"]["field"] == "how"


def test_a_track_across_180_degrees_stays_together() -> None:
    fixes = tuple(Fix(float(number), -17.0, (179.99 + number * 0.001 + 180) % 360 - 180) for number in range(20))
    track = Track(fixes, {"none": outcomes(fixes)})
    easts = [row["lon"] for row in rows_of(track_map(track).chart) if "lon" in row]
    assert max(easts) - min(easts) < 0.02
    line = json.loads(track_geojson(track))["features"][0]["geometry"]
    assert line["type"] == "MultiLineString"
    assert len(line["coordinates"]) == 2


@given(st.lists(st.tuples(*[st.integers(-50, 50).map(float)] * 2), min_size=1, max_size=300), st.integers(6, 60))
def test_thinning_keeps_the_ends_and_every_extreme(points: list[tuple[float, float]], most: int) -> None:
    kept = outermost(points, most, (0, 1))
    assert kept == sorted(set(kept))
    assert len(kept) <= max(most, 6)
    assert kept[0] == 0
    assert kept[-1] == len(points) - 1
    for axis in (0, 1):
        values = [point[axis] for point in points]
        assert {min(values), max(values)} <= {points[place][axis] for place in kept}


@given(st.lists(st.floats(0, 1000), min_size=1), st.none() | st.floats(0.01, 100))
def test_a_histogram_counts_every_error_once(errors: list[float], promise: float | None) -> None:
    steps = histogram(errors, promise)
    assert sum(step.count for step in steps) == len(errors)
    assert steps[-1].at_most == 1
    width = steps[0].to_m
    if promise is not None and max(errors) <= 4 * promise:
        assert width == pytest.approx(promise / 25)
    assert max(errors) <= steps[-1].to_m * (1 + 1e-6) + 1e-8


def test_stretches_of_time_hold_each_point_once() -> None:
    found = along_time(outcomes(LINE))
    assert len(found) <= 60
    assert sum(stretch.points for stretch in found) == 20_000
    assert all(stretch.direct == stretch.points for stretch in found)
    assert along_time(()) == ()
