"""Charts of the reports, in Vega-Lite: axes, scales and legends are drawn by it.

Owns one rule: a chart shows numbers of a report for programs (`--json`) and computes none of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import altair as alt

from packetcodec.page.palette import BLUE, GREEN, ORDER, PURPLE, VERMILION

if TYPE_CHECKING:
    from collections.abc import Sequence

Row = dict[str, Any]

#: How a position arrived: name, colour, shape.
ARRIVALS = (("direct", BLUE, "circle"), ("by trail", GREEN, "diamond"), ("missing", VERMILION, "cross"))

HOWS = tuple(name for name, _, _ in ARRIVALS)

_INK = "currentColor"
_CONFIG: dict[str, Any] = {
    "aria": False, "background": None, "font": "system-ui, 'DejaVu Sans', sans-serif",
    "view": {"stroke": None},
    "axis": {
        "labelColor": _INK, "titleColor": _INK, "titleFontWeight": 500, "labelFontSize": 12, "titleFontSize": 12,
        "gridColor": _INK, "gridOpacity": 0.13, "domainColor": _INK, "domainOpacity": 0.4, "tickColor": _INK,
        "tickOpacity": 0.4, "titlePadding": 8, "labelOverlap": True,
    },
    "legend": {
        "labelColor": _INK, "titleColor": _INK, "labelFontSize": 12, "orient": "top", "title": None, "symbolSize": 90,
    },
    "text": {"fill": _INK, "fontSize": 12},
}  # fmt: skip


def finished(chart: Any, *, width: int = 640, height: int = 300, fit: bool = True) -> dict[str, Any]:
    """The specification of a chart with the looks of the page; sizes in pixels."""
    made: dict[str, Any] = chart.properties(width=width, height=height).to_dict(validate=False)
    made["config"] = _CONFIG
    if fit:
        made["autosize"] = {"type": "fit", "contains": "padding"}
    return made


def data(rows: Sequence[Row]) -> Any:
    """Rows as they stand in a specification."""
    return alt.InlineData(values=list(rows))


def _modems(rows: Sequence[Row], *, legend: bool = False) -> Any:
    """The colours of modems, in their order; a legend where the lines do not carry their names."""
    names = list(dict.fromkeys(row["modem"] for row in rows))
    shades = {"range": list(ORDER)} if len(names) <= len(ORDER) else {"scheme": "viridis"}
    return alt.Color("modem:N", scale=alt.Scale(domain=names, **shades), sort=names, legend=alt.Legend() if legend else None)


def _named_ends(rows: Sequence[Row], x: Any, y: Any) -> Any:
    """The name of each line behind its end."""
    ends = list({row["modem"]: row for row in rows}.values())
    return alt.Chart(data(ends)).mark_text(align="left", dx=6).encode(x=x, y=y, text="modem:N")


#: 1, 2, 5, 10 .. in a wide range: where a logarithmic axis has its ticks.
_ROUND = tuple(digit * 10.0**power for power in range(-6, 8) for digit in (1, 2, 5))


def _log(
    axis: Any, field: str, title: str, rows: Sequence[Row], *, room: float = 1, ticks: Sequence[float] = _ROUND, **more: Any
) -> Any:
    """A logarithmic axis from the least to the largest value, widened by a factor, with ticks at round numbers only."""
    values = [row[field] for row in rows if row[field]]
    low, high = min(values) / room, max(values) * room
    shown = [tick for tick in ticks if low <= tick <= high]
    scale = alt.Scale(type="log", domain=[low, high], nice=False)
    return axis(f"{field}:Q", title=title, scale=scale, axis=alt.Axis(values=shown, **more))


def staircase(rows: Sequence[Row], sizes: Sequence[int]) -> dict[str, Any]:
    """Airtime against bytes, stepped, for each modem; the packet's sizes stand on it.

    Args:
        rows: first bytes of each step (`bytes`), `airtime_ms`, and `modem`, as `airtime --json` has them.
        sizes: bytes of the packets shown.
    """
    last = max(row["bytes"] for row in rows)
    x = alt.X("bytes:Q", title="payload, bytes", scale=alt.Scale(domain=[0, last], nice=False), axis=alt.Axis(grid=False))
    y = _log(alt.Y, "airtime_ms", "airtime, ms", rows, room=1.25, format=",.0f")
    tooltip = [
        alt.Tooltip("modem:N"), alt.Tooltip("bytes:Q", title="bytes"),
        alt.Tooltip("airtime_ms:Q", title="airtime, ms", format=",.1f"),
    ]  # fmt: skip
    line = alt.Chart(data(rows)).mark_line(interpolate="step-after", strokeWidth=2).encode(x=x, y=y, color=_modems(rows))
    here = [
        {
            **max((row for row in rows if row["modem"] == modem and row["bytes"] <= size), key=lambda row: row["bytes"]),
            "bytes": size,
        }
        for modem in dict.fromkeys(row["modem"] for row in rows)
        for size in sizes
    ]
    rule = alt.Chart(data([{"bytes": size} for size in sizes])).mark_rule(strokeDash=[3, 3], stroke=_INK, opacity=0.55)
    dots = alt.Chart(data(here)).mark_point(filled=True, size=70, opacity=1, stroke="white", strokeWidth=1)
    names = [{"bytes": size, "words": f"{size} bytes" if size == max(sizes) else str(size)} for size in sizes]
    words = alt.Chart(data(names)).mark_text(align="left", dx=4, dy=8, y=0)
    layers = (
        rule.encode(x=x), line, dots.encode(x=x, y=y, color=_modems(rows), tooltip=tooltip), _named_ends(rows, x, y),
        words.encode(x=x, text="words:N"),
    )  # fmt: skip
    return finished(alt.layer(*layers), height=340)


_CLOCK = (
    "datum.value < 60 ? datum.value + ' s' : datum.value < 3600 ? datum.value / 60 + ' min' : "
    "datum.value < 86400 ? datum.value / 3600 + ' h' : datum.value / 86400 + ' d'"
)


def _every(rows: Sequence[Row]) -> Any:
    ticks = (1, 2, 5, 10, 20, 60, 300, 1200, 3600, 21_600, 86_400, 604_800)
    return _log(alt.X, "every_s", "interval between packets", rows, ticks=ticks, labelExpr=_CLOCK, grid=False)


_TENTHS = tuple(10.0**power for power in range(-6, 8))


def shares(rows: Sequence[Row]) -> dict[str, Any]:
    """Share of the limit against the interval, for each modem; rows of `by_interval` in `budget --json`."""
    shown = [row for row in rows if row["share"] is not None]
    x, y = _every(shown), _log(alt.Y, "share", "share of the limit", shown, room=1.2, ticks=_TENTHS, format="~p")
    line = alt.Chart(data(shown)).mark_line(strokeWidth=2, point={"size": 36, "filled": True}).encode(
        x=x, y=y, color=_modems(shown), tooltip=[
            alt.Tooltip("modem:N"), alt.Tooltip("every_s:Q", title="every, s"),
            alt.Tooltip("share:Q", title="share of the limit", format=".2%"),
        ],
    )  # fmt: skip
    limit = alt.Chart(data([{"share": 1}]))
    rule = limit.mark_rule(stroke=VERMILION, strokeWidth=2).encode(y=y)
    words = limit.mark_text(align="right", dx=-4, dy=-8, text="the limit").encode(x=alt.value("width"), y=y)
    return finished(alt.layer(rule, words, line, _named_ends(shown, x, y)))


def crowd(rows: Sequence[Row], field: str, title: str) -> dict[str, Any]:
    """`channel_load`, or `loss` to others, against the number of trackers; rows of `by_trackers` in `budget --json`."""
    x = _log(alt.X, "trackers", "trackers on the channel", rows, grid=False)
    y = alt.Y(f"{field}:Q", title=title, axis=alt.Axis(format="~p", tickCount=6))
    line = alt.Chart(data(rows)).mark_line(strokeWidth=2, point={"size": 36, "filled": True}).encode(
        x=x, y=y, color=_modems(rows), tooltip=[
            alt.Tooltip("modem:N"), alt.Tooltip("trackers:Q"), alt.Tooltip("layout:N"),
            alt.Tooltip("channel_load:Q", title="channel load", format=".2%"),
            alt.Tooltip("loss:Q", title="lost", format=".2%"),
        ],
    )  # fmt: skip
    return finished(alt.layer(line, _named_ends(rows, x, y)))


def days(rows: Sequence[Row]) -> dict[str, Any]:
    """Days of the battery, or else charge a day, against the interval; rows of `by_interval` in `budget --json`."""
    field, title = ("days", "days") if rows[0]["days"] is not None else ("mah_per_day", "mAh a day")
    x, y = _every(rows), _log(alt.Y, field, title, rows, room=1.1, format="~r")
    names = list(dict.fromkeys(row["modem"] for row in rows))
    line = alt.Chart(data(rows)).mark_line(strokeWidth=1.5).encode(x=x, y=y, color=_modems(rows, legend=True))
    dots = alt.Chart(data(rows)).mark_point(size=44, filled=True, opacity=1).encode(
        x=x, y=y, color=_modems(rows, legend=True),
        shape=alt.Shape("modem:N", sort=names, scale=alt.Scale(domain=names)), tooltip=[
            alt.Tooltip("modem:N"), alt.Tooltip("every_s:Q", title="every, s"),
            alt.Tooltip("mah_per_day:Q", title="mAh a day", format=".2f"), alt.Tooltip("days:Q", format=".0f"),
        ],
    )  # fmt: skip
    return finished(alt.layer(line, dots))


def errors(rows: Sequence[Row], bound: float | None) -> dict[str, Any]:
    """How large the position errors are, and which share is no larger; `error_histogram` of `replay --json`.

    Args:
        rows: `from_m`, `to_m`, `count`, `at_most` (share of all up to `to_m`).
        bound: what is promised, in metres, or None.
    """
    top = max(row["to_m"] for row in rows)
    domain = [0, max(top, (bound or 0) * 1.04)]
    x = alt.X("from_m:Q", bin="binned", title="position error, m", scale=alt.Scale(domain=domain, nice=False))
    tooltip = [
        alt.Tooltip("from_m:Q", title="from, m", format=".2f"), alt.Tooltip("to_m:Q", title="to, m", format=".2f"),
        alt.Tooltip("count:Q", title="positions"), alt.Tooltip("at_most:Q", title="no larger", format=".1%"),
    ]  # fmt: skip
    bars = alt.Chart(data(rows)).mark_bar(color=BLUE, opacity=0.8).encode(
        x=x, x2="to_m:Q", y=alt.Y("count:Q", title="positions"), tooltip=tooltip,
    )  # fmt: skip
    line = alt.Chart(data([{"to_m": 0, "at_most": 0}, *rows])).mark_line(color=PURPLE, strokeWidth=2.5).encode(
        x="to_m:Q", y=alt.Y("at_most:Q", title="share no larger", axis=alt.Axis(format="~p", orient="right", grid=False)),
    )  # fmt: skip
    layers = [bars, line]
    if bound is not None:
        promise = alt.Chart(data([{"to_m": bound}])).mark_rule(stroke=VERMILION, strokeWidth=2)
        layers.append(promise.encode(x="to_m:Q", tooltip=alt.Tooltip("to_m:Q", title="promised, m")))
    return finished(alt.layer(*layers).resolve_scale(y="independent"), height=280)


def arrivals(rows: Sequence[Row]) -> dict[str, Any]:
    """Points by how they arrived, for each length of trail: `trail` in words, `how`, `points`, `share`."""
    lengths = list(dict.fromkeys(row["trail"] for row in rows))
    base = alt.Chart(data(rows)).encode(
        x=alt.X("share:Q", stack="zero", title="points", axis=alt.Axis(format="~p"), scale=alt.Scale(domain=[0, 1])),
        y=alt.Y("trail:N", sort=lengths, title="trail of"),
        color=alt.Color("how:N", sort=list(HOWS), scale=_how("color"), legend=alt.Legend()),
        order=alt.Order("place:Q"),
        tooltip=[
            alt.Tooltip("trail:N"),
            alt.Tooltip("how:N"),
            alt.Tooltip("points:Q"),
            alt.Tooltip("share:Q", format=".1%"),
        ],
    )
    return finished(base.mark_bar(height={"band": 0.7}), height=70 + 46 * len(lengths))


def _how(sort: str) -> Any:
    values = [shape if sort == "shape" else colour for _, colour, shape in ARRIVALS]
    return alt.Scale(domain=list(HOWS), range=values)


def losses(rows: Sequence[Row]) -> dict[str, Any]:
    """Points missing along time, a strip for each length of trail: `trail`, `from_min`, `to_min`, `points`, `missing`."""
    lengths = list(dict.fromkeys(row["trail"] for row in rows))
    chart = alt.Chart(data(rows)).mark_bar(color=VERMILION, height={"band": 0.8}, stroke=_INK, strokeOpacity=0.12).encode(
        x=alt.X("from_min:Q", bin="binned", title="minutes into the log", axis=alt.Axis(grid=False)), x2="to_min:Q",
        y=alt.Y("trail:N", sort=lengths, title="trail of"),
        fillOpacity=alt.FillOpacity("part:Q", title="missing", legend=alt.Legend(format="~p"), scale=alt.Scale(
            domain=[0, 1], range=[0.02, 1])),
        tooltip=[
            alt.Tooltip("trail:N"), alt.Tooltip("from_min:Q", title="from, min", format=".1f"), alt.Tooltip("points:Q"),
            alt.Tooltip("direct:Q"), alt.Tooltip("by_trail:Q", title="by trail"), alt.Tooltip("missing:Q"),
        ],
    )  # fmt: skip
    return finished(chart, height=84 + 40 * len(lengths))
