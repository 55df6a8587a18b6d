"""The page: one HTML file that needs nothing beside it and asks nothing of a network.

Owns one rule: nothing leaves the page. All that it shows, draws with and offers to download is in it, and its own
Content-Security-Policy forbids the browser to load anything.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from markdown_it import MarkdownIt

from packetcodec.emit.render import verbatim
from packetcodec.page.markup import TEMPLATES, Figure, Folded, Pair, Part, Section, packed, script_data
from packetcodec.page.vega import library

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

_MARKDOWN = MarkdownIt("commonmark", {"html": False}).enable("table")


def write_page(
    title: str, lead: Sequence[str], sections: Sequence[Section], *, files: Mapping[str, str], data: object = None
) -> str:
    """The page as HTML.

    Args:
        title: its heading.
        lead: lines below it.
        sections: in order.
        files: to download, name to text.
        data: the reports for programs, which stand in it for whoever reads it by a program.
    """
    figures = figures_of(sections)
    charts = {figure.name: {"spec": figure.chart, "pans": figure.pans} for figure in figures if figure.chart}
    return TEMPLATES.render(
        "page.html.j2", title=title, lead=lead, sections=[(_anchor(section.title), section) for section in sections],
        charts=script_data(charts), report=script_data(data), markdown=_html,
        files=script_data({name: packed(text) for name, text in files.items()}), names=list(files),
        library=verbatim(library().replace("</script", "<\\/script")) if charts else "",
    )  # fmt: skip


def figures_of(sections: Iterable[Section]) -> list[Figure]:
    """All figures of some sections."""
    return [figure for section in sections for figure in _figures(section.parts)]


def _figures(parts: Iterable[Part]) -> Iterator[Figure]:
    for part in parts:
        if isinstance(part, Figure):
            yield part
        elif isinstance(part, Pair):
            yield from (part.figure, *_figures(part.parts))
        elif isinstance(part, Folded):
            yield from _figures(part.parts)


def _anchor(title: str) -> str:
    return re.sub(r"\W+", "-", title.lower()).strip("-")


def _html(text: str) -> str:
    """Markdown of the specification as HTML, its headings three levels lower, its tables in boxes that can scroll."""
    found = _MARKDOWN.render(text)
    found = re.sub(r"<(/?)h([1-3])>", lambda match: f"<{match[1]}h{int(match[2]) + 3}>", found)
    found = found.replace("<table>", '<div class="table" tabindex="0"><table>').replace("</table>", "</table></div>")
    return verbatim(found.replace("<pre>", '<pre tabindex="0">'))
