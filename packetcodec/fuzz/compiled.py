"""What this project emits, built and started as a target: C by the compiler at hand, JavaScript by Node.js.

Owns one rule: how emitted code is made to speak the line protocol. It lives in a directory of its own for as long as the
target does.

>>> import shutil
>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> if shutil.which("node"):
...     target = compiled_target("js", plan)
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

if TYPE_CHECKING:
    from collections.abc import Sequence

    from packetcodec.fuzz.targets import Replies
    from packetcodec.wire import Plan


class CompiledTarget:
    """The harness of a back end in a directory of its own, which goes when the target is closed.

    Args:
        harness: of `packetcodec.emit.HARNESSES`.
        plan: whose code.
        tool: the path of its compiler or interpreter.
        timeout: as of `Program`.

    Raises:
        PacketcodecError: the code does not compile, or the program does not start.
    """

    def __init__(self, harness: Harness, plan: Plan, tool: str, timeout: float) -> None:
        self.name = harness.name
        self._home = tempfile.TemporaryDirectory(prefix="packetcodec-")
        home = Path(self._home.name)
        for file, text in harness.write(plan).items():
            (home / file).write_text(text, encoding="utf-8")
        try:
            if harness.build:
                _make(harness.command(harness.build, tool=tool, home=home), home)
            command = harness.command(harness.run, tool=tool, home=home)
            self._program = Program(command, name=harness.name, timeout=timeout)
        except PacketcodecError:
            self._home.cleanup()
            raise

    @property
    def starts(self) -> int:
        """How often the program had to be started."""
        return self._program.starts

    def ask(self, lines: Sequence[str]) -> Replies:
        """As `Program.ask`."""
        return self._program.ask(lines)

    def memory(self) -> int:
        """Not told: sanitizers and collectors keep what was freed for a while."""
        return 0

    def close(self) -> None:
        """End the program and remove its directory."""
        self._program.close()
        self._home.cleanup()


def compiled_target(name: str, plan: Plan, *, timeout: float = 2.0) -> CompiledTarget:
    """The emitted code of a plan as a target.

    Args:
        name: of `packetcodec.emit.HARNESSES`.
        plan: whose code.
        timeout: as of `Program`.

    Raises:
        PacketcodecError: no such name, no compiler or interpreter, or the code does not compile.
    """
    if name not in HARNESSES:
        raise PacketcodecError(f"{name} is none of {', '.join(HARNESSES)}")
    harness = HARNESSES[name]
    return CompiledTarget(harness, plan, harness.tool(), timeout)


def _make(command: Sequence[str], home: Path) -> None:
    done = subprocess.run(  # noqa: S603  # a compiler on files that we wrote
        command, cwd=home, capture_output=True, text=True, check=False
    )
    if done.returncode:
        said = done.stderr.strip().splitlines() or ["no message"]
        first = next((line for line in said if "error" in line), said[0])
        raise PacketcodecError(f"{command[0]}: the emitted code does not compile: {first}")
