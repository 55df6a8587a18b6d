"""Vega-Lite for a page and for pictures, by vl-convert: the library as a script to put in, charts as SVG and PNG."""

from __future__ import annotations

import json
from functools import cache
from typing import TYPE_CHECKING, Any

import vl_convert

if TYPE_CHECKING:
    from packetcodec.page.markup import Figure

#: What `currentColor` is in a picture that stands alone.
_INK, _PAPER = "#333c46", "#ffffff"


@cache
def library() -> str:
    """The script that draws charts (Vega, Vega-Lite, Vega-Embed) and sets `vegaEmbed`; making it takes seconds."""
    return vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;")


def svg_picture(figure: Figure) -> str:
    """A figure as an SVG document."""
    return figure.svg or vl_convert.vegalite_to_svg(_alone(figure.chart or {}))


def png_picture(figure: Figure) -> bytes:
    """A figure as a PNG image, two pixels to each of its own."""
    if figure.svg:
        return vl_convert.svg_to_png(figure.svg, scale=2)
    return vl_convert.vegalite_to_png(_alone(figure.chart or {}), scale=2)


def _alone(chart: dict[str, Any]) -> dict[str, Any]:
    """A chart with colours of its own, on white."""
    text = json.dumps(chart).replace('"currentColor"', json.dumps(_INK))
    alone: dict[str, Any] = json.loads(text)
    alone["config"] = {**alone["config"], "background": _PAPER, "padding": 12}
    return alone
