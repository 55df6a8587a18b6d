r"""What a page is made of, and how any text becomes harmless HTML and SVG.

Owns one rule: a text is escaped as it is written, by the template engine; data for scripts hold no sign that could end them.

>>> TEMPLATES.text("<b>« text »</b>", text='</b><script>alert("x")</script>')
'<b>&lt;/b&gt;&lt;script&gt;alert(&quot;x&quot;)&lt;/script&gt;</b>'
>>> print(script_data({"a": "</script>"}))
{"a":"\u003c/script>"}
"""

from __future__ import annotations

import base64
import html
import json
import zlib
from dataclasses import dataclass
from typing import Any, ClassVar

from packetcodec.emit.render import Templates, printable, verbatim

TEMPLATES = Templates("page", home=".", escape=lambda text: html.escape(printable(text)))


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph; `caution` sets it apart, `copied` keeps it as it stands, to be copied."""

    kind: ClassVar[str] = "words"
    text: str
    caution: bool = False
    copied: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table: the first `left` columns are words, the others numbers."""

    kind: ClassVar[str] = "table"
    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: int = 1


@dataclass(frozen=True, slots=True)
class Figure:
    """A picture: `svg` as it stands, or a chart as Vega-Lite JSON.

    Attributes:
        name: what it is called, on the command line too; unique within a page.
        title: in words.
        note: below it.
        svg: an SVG document, or "".
        chart: a Vega-Lite specification, or None.
        pans: whether it is a map, with buttons to zoom, and keeps its proportions.
    """

    kind: ClassVar[str] = "figure"
    name: str
    title: str
    note: str = ""
    svg: str = ""
    chart: dict[str, Any] | None = None
    pans: bool = False

    @property
    def drawn(self) -> str:
        """The SVG as a template writes it."""
        return verbatim(self.svg)  # our own template's, escaped there


@dataclass(frozen=True, slots=True)
class Pair:
    """A figure with what explains it beside it, where there is room."""

    kind: ClassVar[str] = "pair"
    figure: Figure
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class Folded:
    """Parts, or a text in Markdown, that unfold when they are asked for."""

    kind: ClassVar[str] = "folded"
    title: str
    parts: tuple[Part, ...] = ()
    markdown: str = ""


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading within a section."""

    kind: ClassVar[str] = "heading"
    text: str


Part = Words | Table | Figure | Pair | Folded | Heading


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a page with a title, which its contents list."""

    title: str
    parts: tuple[Part, ...]


def script_data(data: object) -> str:
    """JSON that stands in a script element: markup to write as it is."""
    text = json.dumps(data, ensure_ascii=True, allow_nan=False, separators=(",", ":")).replace("<", "\\u003c")
    return verbatim(text)


def packed(text: str) -> str:
    """A text to download, as a script unpacks it: deflated, in base 64."""
    return base64.b64encode(zlib.compress(text.encode(), 9)).decode()
