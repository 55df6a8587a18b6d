"""What is known of a back end: its name, what it writes, and how the harness asks the code that it wrote.

Owns one rule: help texts, errors, the conformance suite and the harness take a back end from its entry, and know nothing
else of it.

>>> from pathlib import Path
>>> harness = Harness("echo", "base", lambda plan: {"echo.mjs": ""}, tools=("node",), run=("{tool}", "{home}/echo.mjs"))
>>> harness.command(harness.run, tool="/usr/bin/node", home=Path("/home/echo"))
['/usr/bin/node', '/home/echo/echo.mjs']
"""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from packetcodec.errors import PacketcodecError
from packetcodec.frozen import replace

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from packetcodec.wire import Plan


@dataclass(frozen=True, slots=True)
class Harness:
    """How emitted code is asked: a program around it that speaks the line protocol, and how it is built and run.

    In the commands "{tool}" is the tool found, "{home}" the folder of the files; an argument with a star is all files
    there that it matches.

    Attributes:
        name: of the target that is asked.
        unit: what it speaks of: raw codes ("ok") or base units ("base").
        write: a plan to the emitted files and the program: file name to text.
        tools: programs of which any one will do, the first that is installed is taken.
        run: the command that speaks.
        build: the command that builds it, run in the folder; empty if nothing is to be built.
        variable: environment variable that names a tool before all others, or "".
        weighed: whether its memory is worth a look: sanitizers and collectors keep what was freed for a while.
    """

    name: str
    unit: Literal["ok", "base"]
    write: Callable[[Plan], dict[str, str]]
    tools: tuple[str, ...]
    run: tuple[str, ...]
    build: tuple[str, ...] = ()
    variable: str = ""
    weighed: bool = False

    def tool(self) -> str:
        """The path of the tool.

        Raises:
            PacketcodecError: none of them is installed.
        """
        names = [name for name in (os.environ.get(self.variable, ""), *self.tools) if name]
        for name in names:
            if found := shutil.which(name):
                return found
        raise PacketcodecError(f"{self.name}: needs {' or '.join(names)}, which is not installed here")

    def command(self, parts: Sequence[str], *, tool: str, home: Path) -> list[str]:
        """A command with its tool, its folder and its files filled in."""
        found: list[str] = []
        for part in parts:
            if "*" in part:
                found += sorted(path.name for path in home.glob(part))
            else:
                found.append(part.replace("{tool}", tool).replace("{home}", str(home)))
        return found


@dataclass(frozen=True, slots=True)
class BackEnd:
    """A language that encoder and decoder of a plan are written in.

    Attributes:
        name: as the user calls it.
        language: what it writes, as a noun.
        purpose: for whom, and what it needs.
        write: a plan to `{file name: text}`; it takes `only` as a keyword if `parts` are given, each of `flags` and `texts`.
        harnesses: the ways to ask it.
        parts: what can be written alone, by `only`.
        flags: other forms of what is written, and what each is.
        texts: what the user may say in words, and what each is; `write` takes them by these names.
        many: whether it takes further plans, versions that are written or decoded too.

    >>> from packetcodec.emit import BACK_ENDS
    >>> type(BACK_ENDS["c"]).__name__, BACK_ENDS["c"].language
    ('BackEnd', 'C99')
    """

    name: str
    language: str
    purpose: str
    write: Callable[..., dict[str, str]]
    harnesses: tuple[Harness, ...]
    parts: tuple[str, ...] = ()
    flags: Mapping[str, str] = field(default_factory=dict)
    texts: Mapping[str, str] = field(default_factory=dict)
    many: bool = False


def with_layouts(plan: Plan, names: Sequence[str]) -> Plan:
    """The plan for a device that knows only these layouts: to it, packets of the others are of an unknown layout.

    Raises:
        PacketcodecError: a name that is no layout of the plan.
    """
    known = [layout.name for layout in plan.layouts]
    for name in names:
        if name not in known:
            raise PacketcodecError(f"{name} is not a layout of {plan.name}: one of {', '.join(known)}")
    return replace(plan, layouts=tuple(layout for layout in plan.layouts if layout.name in names))
