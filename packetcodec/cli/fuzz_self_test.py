"""The self-test of `fuzz`: how many changes of generated code are found, and the line of each that is not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click
from rich.progress import Progress

from packetcodec.cli.streams import verdict
from packetcodec.cli.tables.sheet import console, put_json, table
from packetcodec.emit import HARNESSES
from packetcodec.errors import PacketcodecError
from packetcodec.fuzz.self_test import Tally, Trial, self_test

if TYPE_CHECKING:
    from packetcodec.schema import Schema


def measure(schema: Schema, target: str, sample: int | None, seed: int, *, as_json: bool) -> int:
    """Run the self-test and print it; 1 if a change that makes a difference was not found."""
    name = "js" if target == "python" else target
    if name not in HARNESSES:
        raise click.UsageError(f"--self-test changes code that this program writes: --target {' or '.join(HARNESSES)}")
    screen = console(err=True)
    with Progress(console=screen, transient=True, disable=not screen.is_terminal) as bar:
        task = bar.add_task("Changing the code", total=None)

        def tell(tally: Tally, total: int) -> None:
            bar.update(task, completed=len(tally.trials), total=total)

        try:
            tally = self_test(schema, name, sample=sample, seed=seed, progress=tell)
        except PacketcodecError as fault:
            raise click.UsageError(f"--target: {fault}") from None
    status = verdict(1 if tally.survived else 0)
    if as_json:
        counts = {key: getattr(tally, key) for key in ("killed", "survived", "equivalent", "invalid", "reach")}
        put_json({"target": name, **counts, "mutants": [trial.row() for trial in tally.trials]})
    else:
        _print(name, tally)
    return status


def _print(name: str, tally: Tally) -> None:
    out = console()
    counted = tally.killed + tally.survived
    out.put(f"{name}: {len(tally.trials):,} changes, one at a time, of which {tally.invalid:,} do not compile.")
    out.put(f"{tally.killed:,} of {counted:,} that make a difference were found ({100 * tally.reach:.2f} %).")
    out.put(f"{tally.equivalent:,} make none, by the same machine code or by a differential run.")
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
