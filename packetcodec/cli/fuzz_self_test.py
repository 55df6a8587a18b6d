"""The self-test of `fuzz`: how many changes of generated code are found, and the line of each that is not."""

from __future__ import annotations

import click

from packetcodec.cli.streams import say, verdict
from packetcodec.cli.tables.sheet import console, progress, put_json, table
from packetcodec.emit import HARNESSES
from packetcodec.errors import PacketcodecError
from packetcodec.fuzz.self_test import PYTHON, Tally, self_test
from packetcodec.fuzz.trials import Trial
from packetcodec.schema import Schema

#: What is changed where no target is named, and at most how many of its changes are tried (None: all).
_SUBJECTS = {PYTHON: None, "c": 200}


def measure(schema: Schema, target: str, sample: int | None, seed: int, *, as_json: bool) -> int:
    """Run the self-test and print it; 1 if a change that makes a difference was not found."""
    subjects: dict[str, int | None] = {target: None} if target != "python" else _SUBJECTS
    if not subjects.keys() <= HARNESSES.keys():
        raise click.UsageError(f"--self-test changes code that this program writes: --target {' or '.join(HARNESSES)}")
    tallies: dict[str, Tally] = {}
    for name, most in subjects.items():
        count = min(sample or most, most) if most else sample
        try:
            tallies[name] = _changed(schema, name, count, seed)
        except PacketcodecError as fault:
            if name == target or not tallies:
                raise click.UsageError(f"--target: {fault}") from None
            say(f"without a sample of the C: {fault}")
    status = verdict(1 if any(tally.survived for tally in tallies.values()) else 0)
    if as_json:
        put_json({"seed": seed, "targets": [_row_of(name, tally) for name, tally in tallies.items()]})
    else:
        for name, tally in tallies.items():
            _print(name, tally, seed)
    return status


def _changed(schema: Schema, name: str, sample: int | None, seed: int) -> Tally:
    with progress(f"Changing {name}", None) as tell:
        return self_test(
            schema, name, sample=sample, seed=seed, progress=lambda tally, total: tell(len(tally.trials), total=total)
        )


def _row_of(name: str, tally: Tally) -> dict[str, object]:
    counts = {key: getattr(tally, key) for key in ("killed", "survived", "equivalent", "invalid", "unreached", "reach")}
    return {"target": name, **counts, "mutants": [trial.row() for trial in tally.trials]}


def _print(name: str, tally: Tally, seed: int) -> None:
    out = console()
    counted = tally.killed + tally.survived
    out.put(f"{name}, seed {seed}: {len(tally.trials):,} changes, one at a time, {tally.invalid:,} of which do not compile.")
    out.put(f"{tally.killed:,} of {counted:,} that make a difference were found ({100 * tally.reach:.2f} %).")
    out.put(f"{tally.equivalent:,} make none, by the same machine code or by a differential run.")
    if tally.unreached:
        lines = sorted({trial.mutant.line for trial in tally.trials if trial.outcome == "unreached"})
        out.put(f"{tally.unreached:,} stand in lines that no question runs: {', '.join(map(str, lines))}.")
    slow = max((trial for trial in tally.trials if trial.outcome == "killed"), key=lambda one: one.seconds, default=None)
    if slow:
        out.put(f"The slowest was found after {slow.seconds:.2f} s and {slow.inputs:,} inputs.")
    for outcome, title in (("survived", "Not found"), ("equivalent", "Without a difference")):
        rows = [_row(trial) for trial in tally.trials if trial.outcome == outcome]
        if rows:
            out.print(table(title, ("line", "was", "instead", "why"), rows, left=4))


def _row(trial: Trial) -> tuple[str, ...]:
    was, now = (" ".join(text.split())[:40] or "(nothing)" for text in (trial.mutant.was, trial.mutant.now))
    return str(trial.mutant.line), was, now, trial.why
