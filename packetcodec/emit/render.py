"""Text from the templates of this folder, with the marks that none of the emitted languages use.

Owns one rule: in a template a value stands between « and », so that braces, brackets and signs of C and
JavaScript stay as they are; a name that is not given is a fault, never an empty text.

>>> _ENVIRONMENT.from_string("uint8_t data[« bytes »] = { 0 };").render(bytes=14)
'uint8_t data[14] = { 0 };'
"""

from __future__ import annotations

from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from packetcodec.emit.text import one_line

_ENVIRONMENT = Environment(
    loader=PackageLoader("packetcodec", "emit"), undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    keep_trailing_newline=True, autoescape=False,  # noqa: S701  # code and plain text, no HTML
    variable_start_string="«", variable_end_string="»",
)  # fmt: skip
_ENVIRONMENT.filters["one_line"] = one_line


def render(template: str, **names: Any) -> str:
    """The text of a template, a file below `packetcodec/emit`, such as `c/templates/packet.h.j2`, with these names."""
    return _ENVIRONMENT.get_template(template).render(**names)
