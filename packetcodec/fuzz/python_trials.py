"""What comes of a mutant of the plain Python module: run in our own process, which starts none for each of thousands.

Owns one rule: a statement that no question runs is no subject of the harness; the lines of those are known by a tracer.
"""

from __future__ import annotations

import itertools
import sys
import time
import warnings
from types import FrameType, ModuleType
from typing import TYPE_CHECKING, Any

from packetcodec.errors import PacketcodecError
from packetcodec.fuzz.python_mutants import python_mutants, unreached_lines
from packetcodec.fuzz.targets import FunctionTarget
from packetcodec.fuzz.trials import Trials

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from packetcodec.fuzz.mutants import Mutant

#: Questions of which the lines they run are looked at.
_TRACED = 6_000
_HARNESS = "harness.py"


def loaded(name: str, files: Mapping[str, str]) -> FunctionTarget:
    """A plain Python module under its harness, as `Harness.write` gives both, in our own process.

    Raises:
        SyntaxError: the module does not compile.
        PacketcodecError: it cannot be loaded.
    """
    file = next(file for file in files if file.endswith(".py") and file != _HARNESS)
    stem = file.removesuffix(".py")
    module, before = ModuleType(stem), sys.modules.get(stem)
    asking: dict[str, Any] = {"__name__": "harness"}
    with warnings.catch_warnings(action="ignore"):  # of a number compared by `is`
        code = compile(files[file], file, "exec")
    sys.modules[stem] = module
    try:
        exec(code, module.__dict__)  # noqa: S102  # what we wrote, a token of it changed
        exec(compile(files[_HARNESS], _HARNESS, "exec"), asking)  # noqa: S102  # the same
    except (Exception, SystemExit) as fault:  # noqa: BLE001  # whatever a mutant raises
        raise PacketcodecError(f"it cannot be loaded: {fault!r}") from None
    finally:
        sys.modules.pop(stem)
        if before is not None:
            sys.modules[stem] = before
    return FunctionTarget(name, asking["answer"], timeout=1.0)


class PythonTrials(Trials):
    """As `Trials`, of the plain Python module."""

    endings = (".py",)
    #: Processor time: another program on the machine takes none of a mutant's seconds.
    clock = staticmethod(time.process_time)

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self._unreached = unreached_lines(self.source, self._traced())

    def mutants(self) -> Iterator[Mutant]:
        """All mutants of the module."""
        return python_mutants(self.source)

    def reached(self, mutant: Mutant) -> bool:
        """Whether a question runs the statement of a mutant."""
        return mutant.line not in self._unreached

    def target(self, source: str) -> FunctionTarget:
        """The module with another source under its harness.

        Raises:
            SyntaxError: it does not compile.
            PacketcodecError: it cannot be loaded.
        """
        return loaded(self.harness.name, {**self.files, self.name: source})

    def _traced(self) -> set[int]:
        """The lines at which a tracer meets statements while questions are asked."""
        seen: set[int] = set()

        def trace(frame: FrameType, _event: str, _argument: Any) -> Any:
            if frame.f_code.co_filename != self.name:
                return None
            seen.add(frame.f_lineno)
            return trace

        target, before = self.target(self.source), sys.gettrace()
        lines = itertools.islice((line for _, some, _ in self.batches for line in some), _TRACED)
        sys.settrace(trace)
        try:
            for line in lines:
                target.ask([line])
        finally:
            sys.settrace(before)
        return seen
