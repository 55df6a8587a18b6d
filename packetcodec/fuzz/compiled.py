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

import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from packetcodec.emit.c.harness import harness_c
from packetcodec.emit.c.writer import write_c
from packetcodec.emit.js.harness import harness_js
from packetcodec.emit.js.writer import write_javascript
from packetcodec.errors import PacketcodecError
from packetcodec.fuzz.program import Program

if TYPE_CHECKING:
    from collections.abc import Sequence

    from packetcodec.fuzz.targets import Replies
    from packetcodec.wire import Plan

BACK_ENDS = ("c", "c-sanitized", "js")
_SPEAKER, _MAIN = "speaker.mjs", "speaker_main.c"
_SANITIZED = ("-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=undefined")


class CompiledTarget:
    """A program in a directory of its own, which goes when the target is closed."""

    def __init__(
        self,
        name: str,
        files: dict[str, str],
        build: Sequence[Sequence[str]],
        command: Sequence[str],
        timeout: float,
    ) -> None:
        self.name = name
        self._home = tempfile.TemporaryDirectory(prefix="packetcodec-")
        home = Path(self._home.name)
        for file, text in files.items():
            (home / file).write_text(text, encoding="utf-8")
        try:
            for step in build:
                _make(step, home)
            self._program = Program([part.replace("{home}", str(home)) for part in command], name=name, timeout=timeout)
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
        name: c, c-sanitized (AddressSanitizer and UndefinedBehaviorSanitizer) or js.
        plan: whose code.
        timeout: as of `Program`.

    Raises:
        PacketcodecError: there is no compiler or no Node.js, or the code does not compile.
    """
    if name in {"c", "c-sanitized"}:
        cc = compiler()
        files = {**write_c(plan), _MAIN: harness_c(plan)}
        flags = ("-std=c99", "-D_POSIX_C_SOURCE=200809L", *(_SANITIZED if name == "c-sanitized" else ("-O2",)))
        sources = [file for file in files if file.endswith(".c")]
        return CompiledTarget(name, files, [(cc, *flags, *sources, "-o", "speaker")], ("{home}/speaker",), timeout)
    if name == "js":
        node = _tool("js", "node")
        files = {**write_javascript(plan), _SPEAKER: harness_js(plan)}
        return CompiledTarget(name, files, (), (node, f"{{home}}/{_SPEAKER}"), timeout)
    raise PacketcodecError(f"{name} is none of {', '.join(BACK_ENDS)}")


def _tool(target: str, *names: str) -> str:
    for name in names:
        if name and (found := shutil.which(name)):
            return found
    raise PacketcodecError(f"{target}: needs {' or '.join(filter(None, names))}, which is not installed here")


def compiler() -> str:
    """The C compiler: what CC names, else gcc, clang or cc.

    Raises:
        PacketcodecError: there is none.
    """
    return _tool("c", os.environ.get("CC", ""), "gcc", "clang", "cc")


def _make(command: Sequence[str], home: Path) -> None:
    done = subprocess.run(  # noqa: S603  # a compiler on files that we wrote
        command, cwd=home, capture_output=True, text=True, check=False
    )
    if done.returncode:
        said = done.stderr.strip().splitlines() or ["no message"]
        first = next((line for line in said if "error" in line), said[0])
        raise PacketcodecError(f"{command[0]}: the emitted code does not compile: {first}")
