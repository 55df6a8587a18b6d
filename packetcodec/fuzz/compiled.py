"""What this project emits, built and started as a target, by the harness of its back end.

Owns one rule: emitted code lives in a directory of its own for as long as the target does.

>>> import shutil
>>> from packetcodec.starter import example_plan
>>> if shutil.which("node"):
...     target = compiled_target("js", example_plan())
...     assert target.ask(["decode 11072abad13d02afae8bcf480f2c"]).lines[0].startswith("ok 1 7 42")
...     target.close()
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from packetcodec.emit import HARNESSES, Harness
from packetcodec.errors import PacketcodecError
from packetcodec.fuzz.program import Program
from packetcodec.fuzz.targets import plan_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from packetcodec.fuzz.targets import Source


def compiled_target(name: str, source: Source, *, timeout: float = 2.0) -> Program:
    """The emitted code of a plan as a target.

    Args:
        name: of `packetcodec.emit.HARNESSES`.
        source: a Schema, a Codec or a Plan: whose code.
        timeout: as of `Program`.

    Raises:
        PacketcodecError: no such name, no compiler or interpreter, or the code does not compile.
    """
    if name not in HARNESSES:
        raise PacketcodecError(f"{name} is none of {', '.join(HARNESSES)}")
    harness = HARNESSES[name]
    return build(harness, harness.write(plan_of(source)), tool=harness.tool(), timeout=timeout)


def build(harness: Harness, files: Mapping[str, str], *, tool: str, timeout: float = 2.0) -> Program:
    """The program that these files make with a harness.

    Args:
        harness: how they are built and run.
        files: what `harness.write` gave.
        tool: the path of the compiler or interpreter.
        timeout: as of `Program`.

    Raises:
        PacketcodecError: the code does not compile, or the program does not start.
    """
    directory = tempfile.TemporaryDirectory(prefix="packetcodec-")
    home = Path(directory.name)
    try:
        for file, text in files.items():
            (home / file).write_text(text, encoding="utf-8")
        if harness.build:
            _make(harness.command(harness.build, tool=tool, home=home), home)
        command = harness.command(harness.run, tool=tool, home=home)
        return Program(command, name=harness.name, timeout=timeout, home=directory, weighed=harness.weighed)
    except PacketcodecError:
        directory.cleanup()
        raise


def _make(command: Sequence[str], home: Path) -> None:
    done = subprocess.run(  # noqa: S603  # a compiler on files that we wrote
        command, cwd=home, capture_output=True, text=True, check=False
    )
    if done.returncode:
        said = done.stderr.strip().splitlines() or ["no message"]
        first = next((line for line in said if "error" in line), said[0])
        raise PacketcodecError(f"{command[0]}: the emitted code does not compile: {first}")
