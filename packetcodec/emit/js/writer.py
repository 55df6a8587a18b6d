r"""The encoder and decoder of a plan as one ES module, for browsers, Node.js and embedded engines.

Owns one rule: names of the schema stand in the module as strings, as keys of objects and before `_values` in the name of
a type, never as identifiers of its own, so no name of a field or layout can clash with anything.

>>> from packetcodec.starter import example_plan
>>> module = write_javascript(example_plan())["pasture.mjs"]
>>> print(module.splitlines()[1])
 * pasture, version 1: an encoder and a decoder of its packets. Fingerprint 7985ffc5412132c8.
>>> print(literal("°C */ </script>"))
"°C *\/ <\/script>"
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from packetcodec.emit.render import Templates, printable, verbatim
from packetcodec.errors import FAULTS
from packetcodec.schema import Form, Role
from packetcodec.vectors.examples import Example
from packetcodec.wire import bounds, decimal, one_header
from packetcodec.wire.trail import cells, coding, guess, numbers

if TYPE_CHECKING:
    from packetcodec.wire import Plan


def safe_text(words: str) -> str:
    r"""A text that ends no comment and no string, opens no tag, and is no link or type in JSDoc, wherever it stands.

    >>> print(safe_text('*/ {@link x} `${y}` "z" </script>'))
    * / ((at)link x) '$(y)' 'z' < /script>
    """
    text = printable(words)
    for sign, instead in _INSTEAD.items():
        text = text.replace(sign, instead)
    return " " * text.startswith(("/", "!", ">")) + text + " " * text.endswith("*")


_INSTEAD = {
    "\\": "/", "*/": "* /", "@": "(at)", "{": "(", "}": ")", '"': "'", "`": "'", "</": "< /", "<!": "< !", "-->": "-- >",
}  # fmt: skip


def literal(value: object) -> str:
    """A text, number, list or null as JavaScript writes it, in code or in a comment."""
    text = json.dumps(value, ensure_ascii=False).replace("*/", "*\\/").replace("</", "<\\/").replace("<!", "<\\u0021")
    signs = (sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in text)
    return verbatim("".join(signs))  # made safe here


_TEMPLATES = Templates("js", escape=safe_text, literal=literal)
_NAMES = {
    "Form": Form, "Role": Role, "bounds": bounds, "decimal": decimal, "faults": FAULTS,
    "cells": cells, "coding": coding, "guess": guess, "numbers": numbers,
}  # fmt: skip
#: What stands behind the schema's name in the name of a file, and its template.
_FILES = {
    ".mjs": "module.mjs.j2", ".d.mts": "types.d.mts.j2",
    "_receiver.mjs": "receiver.mjs.j2", "_receiver.d.mts": "receiver.d.mts.j2",
}  # fmt: skip


def write_javascript(plan: Plan, *older: Plan, formatter: bool = False) -> dict[str, str]:
    """The ES module of a plan, a receiver of its packets and the types of both, or one script: file name to text.

    Args:
        plan: from `packetcodec.wire.compile_plan`; `encode` follows it.
        older: more versions of the schema, which are decoded too.
        formatter: the script, for a LoRaWAN network server.

    Raises:
        PacketcodecError: a version twice, or another header.
    """
    plans = one_header((plan, *older))
    low = [field.name for item in plans for layout in item.layouts for _, field, _ in layout.low_fields]
    names = {**_NAMES, "plans": plans, "with_low": bool(low), "low_names": list(dict.fromkeys(low))}
    if formatter:
        return {f"{plan.name}.formatter.js": _TEMPLATES.render("formatter.js.j2", **names)}
    example = Example.everyday(plan, plan.layouts[0])
    return {
        f"{plan.name}{ending}": _TEMPLATES.render(template, plan=plan, example=example, **names)
        for ending, template in _FILES.items()
    }


def write_harness(plan: Plan) -> dict[str, str]:
    """The module and a program that answers the questions of the line protocol by it, in raw codes."""
    return {**write_javascript(plan), "harness.mjs": _TEMPLATES.render("harness.mjs.j2", plan=plan)}
