"""How good is the harness on this schema? Generated code is made wrong in one place after the other, and the harness asked.

Owns one rule: what counts. A mutant that does not compile is not counted. One that the harness finds is killed. Of one that
it does not find, a differential run decides: the mutant and the code as it was answer the same questions, of other seeds and
far more of them than a run asks. If they never differ, or a compiler makes the same machine code of both, the mutant is
equivalent; else it survived. A line of a Python module that no question runs is not looked at, and said: other tests do.

>>> Tally(killed=199, survived=1, equivalent=20).reach
0.995
"""

from __future__ import annotations

import multiprocessing
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from random import Random
from typing import TYPE_CHECKING

from packetcodec.emit import HARNESSES
from packetcodec.fuzz.python_trials import PythonTrials
from packetcodec.fuzz.targets import plan_of
from packetcodec.fuzz.trials import Trial, Trials

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from packetcodec.fuzz.mutants import Mutant
    from packetcodec.fuzz.targets import Source

#: The harness of the plain Python module; mutants of it run in processes of our own.
PYTHON = "python-module"


@dataclass(slots=True)
class Tally:
    """How many mutants came to what; `trials` holds them all."""

    killed: int = 0
    survived: int = 0
    equivalent: int = 0
    invalid: int = 0
    unreached: int = 0
    trials: list[Trial] = field(default_factory=list)

    @property
    def reach(self) -> float:
        """The part of the mutants that are not equivalent which was found."""
        return self.killed / max(1, self.killed + self.survived)

    def add(self, trial: Trial) -> None:
        """Count a trial."""
        setattr(self, trial.outcome, getattr(self, trial.outcome) + 1)
        self.trials.append(trial)


def self_test(
    source: Source,
    target: str = PYTHON,
    *,
    sample: int | None = None,
    seed: int = 0,
    seconds: float = 5.0,
    differential: int = 40_000,
    jobs: int = 2,
    progress: Callable[[Tally, int], None] | None = None,
) -> Tally:
    """Make the generated code wrong, one place at a time, and look for it.

    Args:
        source: a Schema, a Codec or a Plan: whose code.
        target: of `packetcodec.emit.HARNESSES`.
        sample: so many mutants, drawn by the seed; default: all.
        seed: of the questions and of the sample.
        seconds: how long each is looked for.
        differential: questions of a differential run.
        jobs: mutants that are looked at side by side.
        progress: called with the tally so far and the number of all.

    Raises:
        PacketcodecError: the tools are missing, or the code is wrong as it is.
    """
    make = PythonTrials if target == PYTHON else Trials
    trials = make(HARNESSES[target], plan_of(source), seed=seed, seconds=seconds, differential=differential)
    todo = list(trials.mutants())
    if sample is not None and sample < len(todo):
        todo = sorted(Random(seed).sample(todo, sample), key=lambda mutant: mutant.start)  # noqa: S311  # no secret
    tally = Tally()
    with _side_by_side(trials, jobs) as outcomes:
        for trial in outcomes(todo):
            tally.add(trial)
            if progress:
                progress(tally, len(todo))
    return tally


@contextmanager
def _side_by_side(trials: Trials, jobs: int) -> Iterator[Callable[[Sequence[Mutant]], Iterable[Trial]]]:
    """A way to look at several mutants at a time: processes for what runs in our own, else threads."""
    if isinstance(trials, PythonTrials) and "fork" in multiprocessing.get_all_start_methods():
        _ADOPTED.append(trials)
        try:
            with multiprocessing.get_context("fork").Pool(jobs) as pool:
                yield lambda todo: pool.imap(_adopted_trial, todo, chunksize=4)
        finally:
            _ADOPTED.pop()
    else:
        with ThreadPoolExecutor(1 if isinstance(trials, PythonTrials) else jobs) as threads:
            yield lambda todo: threads.map(trials.trial, todo)


#: What the processes inherit when they begin.
_ADOPTED: list[Trials] = []


def _adopted_trial(mutant: Mutant) -> Trial:
    return _ADOPTED[-1].trial(mutant)
