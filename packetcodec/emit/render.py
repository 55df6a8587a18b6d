r"""Text from templates, with whatever a schema says made harmless by the template engine itself.

Owns one rule: a schema is data. Every text that a template writes passes the one escaping function of its language, so
none can end a comment, a string or a table cell; what is already text of the language is marked by `verbatim`. In a
template a value stands between « and », so that braces, brackets and signs of C, JavaScript and Markdown stay as they
are; a name that is not given is a fault, never an empty text, and so is anything but a text or a whole number.

>>> templates = Templates("c", escape=lambda text: printable(text).replace("*/", "* /"))
>>> templates.text("/* « doc » */ uint8_t data[« size »];", doc="Seen\nfrom */ the hut", size=14)
'/* Seen from * / the hut */ uint8_t data[14];'
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined, Undefined, pass_context
from markupsafe import Markup

from packetcodec.errors import PacketcodecError

if TYPE_CHECKING:
    from collections.abc import Callable

    from jinja2.runtime import Context

#: Marks what is text of the output language already.
verbatim = Markup


class Templates:
    """The templates of one back end.

    Args:
        folder: the back end's folder in `packetcodec/emit`; its templates are in `templates/`.
        home: the folder in `packetcodec` that holds it.
        escape: any text to one that is harmless wherever a template may put it.
        filters: more names that its templates know, each a function.
    """

    def __init__(
        self, folder: str, *, escape: Callable[[str], str], home: str = "emit", **filters: Callable[..., Any]
    ) -> None:
        self._escape = escape
        self._environment = Environment(
            loader=PackageLoader("packetcodec", f"{home}/{folder}/templates"), undefined=StrictUndefined, trim_blocks=True,
            lstrip_blocks=True, keep_trailing_newline=True, autoescape=True, finalize=self._finalize,
            variable_start_string="«", variable_end_string="»",
        )  # fmt: skip
        self._environment.filters.update(filters, lines=lines, code=verbatim)

    def render(self, template: str, **names: Any) -> str:
        """The text of a template file with these names."""
        return str(self._environment.get_template(template).render(**names))

    def text(self, template: str, **names: Any) -> str:
        """As `render`, the template itself given."""
        return str(self._environment.from_string(template).render(**names))

    @pass_context
    def _finalize(self, _: Context, value: object) -> object:
        """What a template writes, before it is written. It takes the context so that constants pass here too."""
        if isinstance(value, Markup | Undefined):
            return value
        if isinstance(value, bool) or not isinstance(value, str | int):
            raise PacketcodecError(f"a template writes texts and whole numbers, not {type(value).__name__}")
        return Markup(self._escape(str(value)))  # noqa: S704  # what is escaped is verbatim from here on


def printable(text: str) -> str:
    """A text without line ends, control and formatting characters: a space stands for each."""
    return "".join(sign if sign.isprintable() else " " for sign in text)


def lines(text: str, width: int) -> list[str]:
    """A text in lines of at most so many characters, runs of white space made one space."""
    return textwrap.wrap(" ".join(printable(text).split()), width, break_on_hyphens=False)
