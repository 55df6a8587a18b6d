"""The map: the recorded track, and each position that was sent, by how it arrived. No tiles: it needs no network.

Owns one rule: north and east have the same scale. A degree of longitude is as wide as it is at the middle of the map.

Of more points than can be told apart, the outermost are drawn (`outermost`), which the map says; the file to
download has all of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians
from typing import TYPE_CHECKING, Any

import altair as alt

from packetcodec.bench.outcome import MISSING
from packetcodec.page.charts import ARRIVALS, HOWS, data, finished
from packetcodec.page.markup import Figure
from packetcodec.page.palette import ORDER
from packetcodec.receive.outputs.geojson import HEAD, TAIL, cut, feature
from packetcodec.receive.outputs.track_format import utc
from packetcodec.schema import METRES_PER_DEGREE_NORTH

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from packetcodec.bench.outcome import Outcome
    from packetcodec.logs import Fix

#: Most points drawn of the recorded track, and of what arrived for one length of trail.
MAX_LINE, MAX_POINTS = 3000, 2400
_WIDTH, _HEIGHT = 640, 520
#: Degrees that a map shows at least, and its margin, as a share.
_LEAST, _MARGIN = 0.0002, 1.12

_BAR = [
    {"name": "metres_per_pixel", "expr": "(domain('x')[1] - domain('x')[0]) * {east} / width"},
    {"name": "decade", "expr": "pow(10, floor(log(metres_per_pixel * 140) / LN10))"},
    {
        "name": "bar",
        "expr": "(metres_per_pixel * 140 / decade >= 5 ? 5 : metres_per_pixel * 140 / decade >= 2 ? 2 : 1) * decade",
    },
]


@dataclass(frozen=True, slots=True)
class Track:
    """What a map shows.

    Attributes:
        recorded: all fixes of the log.
        outcomes: what became of the positions sent, for each length of trail, named in words.
    """

    recorded: tuple[Fix, ...]
    outcomes: dict[str, tuple[Outcome, ...]]


def track_map(track: Track) -> Figure:
    """The map as a figure; a list to choose from where there are several lengths of trail."""
    line = [(fix.longitude or 0.0, fix.latitude or 0.0) for fix in track.recorded if fix.has_position]
    seam = line[0][0]
    line = [(_beside(seam, east), north) for east, north in line]
    kept = outermost(line, MAX_LINE, (0, 1))
    rows = list(_rows(track, seam))
    sent = sum(map(len, track.outcomes.values()))
    note = "The line is the recorded track. "
    if len(kept) < len(line) or len(rows) < sent:
        note += (
            f"Drawn: {len(kept):,} of its {len(line):,} positions and {len(rows):,} of {sent:,} points; of each stretch the "
            "outermost, and those with the largest errors. The file to download holds all of them."
        )
    else:
        note += f"All {len(line):,} positions of it and all {sent:,} points are drawn."
    drawn = [{"lon": line[place][0], "lat": line[place][1], "place": place} for place in kept]
    chart = _chart(drawn, rows, list(track.outcomes))
    return Figure("map", "Recorded, and what arrived", note, chart=chart, pans=True)


def outermost(points: Sequence[Sequence[float]], most: int, axes: Sequence[int]) -> list[int]:
    """Places of at most `most` points that keep the least and the largest value of each axis in each stretch.

    All of them where there are no more; at least the ends, and two for each axis.

    >>> outermost([(0.0,), (5.0,), (1.0,), (9.0,), (2.0,), (2.1,), (2.2,), (2.0,)], 5, (0,))
    [0, 3, 7]
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


def _beside(seam: float, longitude: float) -> float:
    """The longitude on the same side of 180 degrees as the first one."""
    return longitude - round((longitude - seam) / 360) * 360


def _rows(track: Track, seam: float) -> Iterator[dict[str, Any]]:
    """The points that are drawn."""
    for trail, outcomes in track.outcomes.items():
        for how in HOWS:
            mine = [item for item in outcomes if item.how == how]
            places = [(_beside(seam, item.longitude), item.latitude, item.error or 0.0) for item in mine]
            for place in outermost(places, MAX_POINTS * len(mine) // max(1, len(outcomes)), (0, 1, 2)):
                item = mine[place]
                row = {
                    "trail": trail,
                    "how": how,
                    "lon": round(places[place][0], 7),
                    "lat": item.latitude,
                    "time": utc(item.time),
                }
                if item.error is not None:
                    row["error"] = round(item.error, 3)
                if item.tracker is not None:
                    row["tracker"] = item.tracker
                yield row


def _chart(line: list[dict[str, Any]], rows: list[dict[str, Any]], trails: list[str]) -> dict[str, Any]:
    x, y, east = _frame([(row["lon"], row["lat"]) for row in (*line, *rows)])
    path = alt.Chart(data(line)).mark_line(
        clip=True, stroke="currentColor", strokeWidth=1.4, opacity=0.45, strokeJoin="round"
    )
    layers = [path.encode(x=x, y=y, order="place:Q").add_params(alt.selection_interval(name="grid", bind="scales"))]
    points = alt.Chart(data(rows), name="points")
    if len(trails) > 1:
        chosen = alt.param(name="trail", value=trails[-1], bind=alt.binding_select(options=trails, name="trail of "))
        points = points.add_params(chosen).transform_filter("datum.trail === trail")
    layers.append(_points(points, rows).encode(x=x, y=y))
    made = finished(alt.layer(*layers), width=_WIDTH, height=_HEIGHT, fit=False)
    made["params"] = made.get("params", []) + [
        {**param, "expr": param["expr"].replace("{east}", f"{east:.3f}")} for param in _BAR
    ]
    made["layer"] += _scale_bar()
    return made


def _frame(places: Sequence[tuple[float, float]]) -> tuple[Any, Any, float]:
    """Both axes, so that a metre is as long on either, and the metres of a degree of longitude there."""
    (west, east), (south, north) = ((min(axis), max(axis)) for axis in zip(*places, strict=True))
    middle = ((west + east) / 2, (south + north) / 2)
    narrow = max(0.0001, cos(radians(middle[1])))
    tall = max(north - south, (east - west) * narrow * _HEIGHT / _WIDTH, _LEAST) * _MARGIN / 2
    wide = tall * _WIDTH / _HEIGHT / narrow
    axes = []
    for kind, field, title, at, half in (
        (alt.X, "lon", "longitude", middle[0], wide), (alt.Y, "lat", "latitude", middle[1], tall),
    ):  # fmt: skip
        scale = alt.Scale(domain=[round(at - half, 9), round(at + half, 9)], nice=False, zero=False)
        room: dict[str, Any] = {"minExtent": 62, "maxExtent": 62} if field == "lat" else {}
        axis = alt.Axis(labelExpr="datum.label + '°'", tickCount=5, **room)
        axes.append(kind(f"{field}:Q", title=title, scale=scale, axis=axis))
    return axes[0], axes[1], METRES_PER_DEGREE_NORTH * narrow


def _points(points: Any, rows: list[dict[str, Any]]) -> Any:
    """Marks for the points: colour tells how they arrived, or, with several trackers, whose they are."""
    names = list(HOWS)
    trackers = sorted({row["tracker"] for row in rows if "tracker" in row})
    shape = alt.Shape(
        "how:N", sort=names, scale=alt.Scale(domain=names, range=[shape for _, _, shape in ARRIVALS]),
        legend=alt.Legend(title=None),
    )  # fmt: skip
    if len(trackers) > 1:
        shades = {"range": list(ORDER)} if len(trackers) <= len(ORDER) else {"scheme": "viridis"}
        colour = alt.Color("tracker:N", scale=alt.Scale(domain=trackers, **shades), legend=alt.Legend(title="tracker"))
    else:
        scale = alt.Scale(domain=names, range=[shade for _, shade, _ in ARRIVALS])
        colour = alt.Color("how:N", sort=names, scale=scale, legend=alt.Legend())
    tooltip = [
        alt.Tooltip("time:N"), alt.Tooltip("how:N", title="arrived"), alt.Tooltip("error:Q", title="error, m", format=".2f"),
        alt.Tooltip("lat:Q", title="latitude", format=".6f"), alt.Tooltip("lon:Q", title="longitude", format=".6f"),
        *([alt.Tooltip("tracker:N")] if trackers else []),
    ]  # fmt: skip
    marks = points.mark_point(clip=True, size=46, strokeWidth=1.6, filled=False, opacity=0.95)
    return marks.encode(color=colour, shape=shape, tooltip=tooltip)


def _scale_bar() -> list[dict[str, Any]]:
    """A bar of a round length at the bottom left, which follows the zoom."""

    def at(**places: str) -> dict[str, Any]:
        return {name: {"value": {"expr": words}} for name, words in places.items()}

    one: dict[str, Any] = {"data": {"values": [{}]}}
    ruler = {"mark": {"type": "rule", "strokeWidth": 3, "stroke": "currentColor"}}
    words = {"expr": "bar >= 1000 ? bar / 1000 + ' km' : bar + ' m'"}
    return [
        {**one, **ruler, "encoding": at(x="12", x2="12 + bar / metres_per_pixel", y="height - 12")},
        {**one, "mark": {"type": "text", "align": "left", "text": words}, "encoding": at(x="12", y="height - 22")},
    ]


def track_geojson(track: Track) -> str:
    """The recorded track as a line, and each point that was sent, for the longest trail: GeoJSON (RFC 7946).

    A missing point stands where the receiver was. `error_m` is how far the told place is from there.
    """
    line = [[fix.longitude or 0.0, fix.latitude or 0.0] for fix in track.recorded if fix.has_position]
    features = [feature("MultiLineString", list(cut(line)), {"name": "recorded"})]
    trail, outcomes = list(track.outcomes.items())[-1]
    for item in outcomes:
        properties: dict[str, Any] = {"time": utc(item.time) or None, "arrived": item.how, "trail": trail}
        if item.how != MISSING:
            properties |= {"error_m": round(item.error or 0.0, 3), "tracker": item.tracker}
        features.append(feature("Point", [item.longitude, item.latitude], properties))
    return HEAD + ",\n".join(features) + TAIL
