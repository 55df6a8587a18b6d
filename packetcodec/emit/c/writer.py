"""The encoder and decoder of a plan as C99: one header and one source, for firmware and for everything else.

Owns one rule: what a device does not need is left out when the code is written, never by a macro that would change a
struct on one side of it: layouts that it does not know, the half that it does not do, the rules that no field follows.

>>> from packetcodec.starter import example_plan
>>> header = write_c(example_plan(), only="encode")["pasture_packets.h"]
>>> "pasture_encode_position(" in header, "pasture_decode(" in header
(True, False)
"""

from __future__ import annotations

import re
import textwrap
from typing import TYPE_CHECKING

from packetcodec.emit.c.cost import costs
from packetcodec.emit.c.names import c_plan
from packetcodec.emit.c.self_test import BAD, ENCODE, REFUSED, vector_rows
from packetcodec.emit.render import Templates, printable
from packetcodec.errors import STATUSES, PacketcodecError
from packetcodec.wire.trail.cells import MAX_CELLS
from packetcodec.wire.trail.coding import MAX_CLIMB

if TYPE_CHECKING:
    from packetcodec.wire import Plan


def safe_text(words: str) -> str:
    r"""A text that ends no comment and no string, joins no lines and begins no trigraph, wherever it stands in C.

    >>> print(safe_text('Up*/ and on \\ to the "hut" ??/'))
    Up* / and on / to the 'hut' ? ?/
    """
    text = printable(words).replace("\\", "/").replace('"', "'").replace("*/", "* /").replace("/*", "/ *")
    text = re.sub(r"\?(?=\?)", "? ", text)
    return " " * text.startswith(("/", "*", "?")) + text + " " * text.endswith("*")


_COLUMNS = 120
_BREAKS = re.compile(r"(?:, |&& |\|\| |\? |= |\] |\w (?=\w+ = )|^.*?\()(?=[^ ])")


def _narrow(text: str) -> str:
    """The text with lines that long names have made too long in several: at a blank in comments, behind a sign in code."""
    done = []
    for line in text.split("\n"):
        rest, blank = line, line[: len(line) - len(line.lstrip())]
        remark, macro = line.lstrip().startswith(("*", "/*")), line.startswith("#")
        while len(rest) > _COLUMNS:
            ends = [found.end() for found in (re.compile(" ") if remark or macro else _BREAKS).finditer(rest)]
            cut = max((end for end in ends if len(blank) + 8 < end < _COLUMNS), default=len(rest))
            done.append(rest[:cut].rstrip() + " \\" * macro)
            rest = blank + (" * " if remark else "    ") + rest[cut:]
        done.append(rest)
    return "\n".join(done)


_TEMPLATES = Templates("c", escape=safe_text)


def write_c(*plans: Plan, prefix: str | None = None, only: str = "", self_test: bool = False) -> dict[str, str]:
    """The header and the source of each plan: file name to text.

    Args:
        plans: from `packetcodec.wire.compile_plan`. Of several, files and names begin with the schema's name and version, so
            that a receiver can be built from all of them.
        prefix: what they begin with instead, for one plan.
        only: "encode" or "decode" for a device that does not do the other.
        self_test: also a source that tries the test vectors on the device.
    """
    texts: dict[str, str] = {}
    for plan in plans:
        start = prefix or (f"{plan.name}_v{plan.version}" if len(plans) > 1 else plan.name)
        files = _written(plan, start, only, self_test=self_test)
        if texts.keys() & files.keys():
            raise PacketcodecError(f"C would be written twice as {min(files)}: give each version of {plan.name} once")
        texts |= files
    return texts


def _written(plan: Plan, prefix: str, only: str, *, self_test: bool) -> dict[str, str]:
    c = c_plan(plan, prefix, encodes=only != "decode", decodes=only != "encode")
    taken = [(layout, costs(c, layout)) for layout in c.layouts]
    numbers = {"costs": taken, "self_test": self_test, "statuses": STATUSES, "max_cells": MAX_CELLS, "max_climb": MAX_CLIMB}
    header, source = (_TEMPLATES.render(f"packets.{ending}.j2", c=c, **numbers) for ending in ("h", "c"))
    # In the source's templates $ begins the names that are its own; no free text of a schema stands in it.
    texts = {f"{c.file}.h": header, f"{c.file}.c": source.replace("$", c.prefix)}
    if self_test:
        rows = vector_rows(c)
        kinds = {"bad": BAD, "encode": ENCODE, "refused": REFUSED}
        lines = textwrap.wrap(", ".join(f"0x{byte:02x}U" for row in rows for byte in row) + ",", _COLUMNS - 4)
        texts[f"{c.prefix}_self_test.c"] = _TEMPLATES.render(
            "self_test.c.j2", c=c, count=len(rows), lines=lines, **kinds
        ).replace("$", c.prefix)
    return {name: _narrow(text) for name, text in texts.items()}


def write_harness(plan: Plan) -> dict[str, str]:
    """The files of `write_c` and a program that answers the questions of the line protocol by them, in base units."""
    return {**write_c(plan), "harness.c": _TEMPLATES.render("harness.c.j2", c=c_plan(plan), statuses=STATUSES)}
