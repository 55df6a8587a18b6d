"""The command `fuzz`: ask a decoder until it answers wrongly, and tell with how small a packet it does."""

from __future__ import annotations

import shlex
import time
from collections.abc import Callable
from pathlib import Path

import click

from packetcodec.cli.files import load_schema
from packetcodec.cli.fuzz_self_test import measure
from packetcodec.cli.options.usage import Real
from packetcodec.cli.streams import say, verdict
from packetcodec.cli.tables.sheet import console, progress, put_json, table
from packetcodec.codec import Codec
from packetcodec.emit import HARNESSES
from packetcodec.errors import PacketcodecError
from packetcodec.fuzz.codec_target import python_target, reference_target, reference_values
from packetcodec.fuzz.columns_target import ColumnsTarget
from packetcodec.fuzz.compiled import compiled_target
from packetcodec.fuzz.corpus import DEFAULT, Corpus, corpus_of, questions_of
from packetcodec.fuzz.describe import describe_again, describe_finding, describe_run
from packetcodec.fuzz.finding import Finding
from packetcodec.fuzz.invariants import broken_by
from packetcodec.fuzz.program import Program
from packetcodec.fuzz.protocol import QuestionFault, read_question
from packetcodec.fuzz.report import Report
from packetcodec.fuzz.run import INTERRUPTED, play, run
from packetcodec.fuzz.targets import Target
from packetcodec.schema import Schema
from packetcodec.spelling import counted
from packetcodec.wire import Plan, compile_plan

#: Targets in Python, by name.
_OWN: dict[str, Callable[[Schema], Target]] = {
    "python": python_target, "reference": reference_target, "arrays": ColumnsTarget,
}  # fmt: skip


@click.command(short_help="Find out where a decoder or an encoder is wrong.")
@click.argument("schema", type=click.Path(dir_okay=False), required=False)
@click.option(
    "--target", "target_name", default="python", show_default=True, metavar="NAME|COMMAND",
    help=f"{', '.join([*_OWN, *HARNESSES])}, or the command of any program that speaks the line protocol.",
)  # fmt: skip
@click.option("--seconds", type=Real(min=0.1), default=10.0, show_default=True, help="How long to ask.")
@click.option("--inputs", type=click.IntRange(min=1), help="End after so many questions, though there is time left.")
@click.option("--seed", type=int, default=0, show_default=True, help="The same seed asks the same questions.")
@click.option("--timeout", type=Real(min=0.05), default=2.0, show_default=True, help="Seconds to wait for an answer.")
@click.option(
    "--folder", type=click.Path(file_okay=False),
    help=f"Write findings and a corpus here, and replay them first.  [default: {DEFAULT}/NAME-vVERSION]",
)  # fmt: skip
@click.option("--no-folder", is_flag=True, help="Write no folder, replay nothing.")
@click.option("--play", "question", metavar="HEX|QUESTION|FILE", help="Ask again: a packet, a question, or a file of them.")
@click.option("--times", type=click.IntRange(min=1), default=1, show_default=True, help="With --play: ask so many times.")
@click.option(
    "--self-test", "testing", is_flag=True,
    help="Ask how good this is: change generated code in one place after the other, and look for it. Without --target "
    "that is all of the plain Python module, and a sample of the C.",
)  # fmt: skip
@click.option("--sample", type=click.IntRange(min=1), help="With --self-test: so many of the changes, drawn by the seed.")
@click.option("--json", "as_json", is_flag=True, help="A report for programs.")
def fuzz(
    schema: str | None, *, target_name: str, seconds: float, inputs: int | None, seed: int, timeout: float,
    folder: str | None, no_folder: bool, question: str | None, times: int, testing: bool, sample: int | None, as_json: bool,
) -> int:  # fmt: skip
    """Find out where a decoder, or an encoder, of SCHEMA (default: the starter schema) is wrong.

    Each finding comes with the smallest packet that shows it, what the specification asks for, and the command that plays
    it again. They are kept in a folder of the working directory, which is named at the end, and replayed first next time.
    Exit status 1 when something was found. Ctrl-C ends the search early: what was found by then is printed and kept as it
    stands, and the exit status is 1 with findings, 130 without.
    """
    read = load_schema(schema)
    if testing:
        return measure(read, target_name, sample, seed, as_json=as_json)
    plan = compile_plan(read)
    again = f"packetcodec fuzz{f' {shlex.quote(schema)}' if schema else ''} --target {shlex.quote(target_name)} --play"
    target = _target(target_name, read, timeout)
    try:
        if question is not None:
            return _play(target, plan, question, times, as_json=as_json)
        kept = None if no_folder else Corpus(Path(folder or f"{DEFAULT}/{plan.name}-v{plan.version}"))
        start = time.monotonic()
        with progress("Asking", seconds) as bar:

            def tell(now: Report) -> None:
                words = f"Asking: {counted(now.inputs, 'input')}, {counted(len(now.findings), 'finding')}"
                bar(time.monotonic() - start, description=words)

            report = run(
                target, plan, seconds=seconds, max_inputs=inputs, seed=seed, first=kept.questions(plan) if kept else (),
                scale=1 if target_name in {"python", "reference"} else 4, progress=tell,
                also=_invariants(read) if target_name == "python" else None, keep_interrupted=True,
            )  # fmt: skip
    finally:
        target.close()
    if kept:
        _keep(kept, report, plan, seed)
    return _told(report, again, as_json=as_json)


def _told(report: Report, again: str, *, as_json: bool) -> int:
    """Print a report; the exit status."""
    status = verdict(130 if report.clean and report.stopped == INTERRUPTED else int(not report.clean))
    if as_json:
        put_json({**report.row(), "play": [describe_again(finding, again) for finding in report.findings]})
    else:
        _print(report, again)
    return status


def _keep(kept: Corpus, report: Report, plan: Plan, seed: int) -> None:
    """Put what was found, and once the corpus, into the folder."""
    kept.add_findings(report.findings)
    if not kept.corpus.is_dir():
        kept.add_corpus(corpus_of(plan, seed))
    say(f"findings and the corpus are in {kept.path}")


def _target(name: str, schema: Schema, timeout: float) -> Target:
    try:
        if name in _OWN:
            return _OWN[name](schema)
        if name in HARNESSES:
            return compiled_target(name, compile_plan(schema), timeout=timeout)
        return Program(shlex.split(name), name=name, timeout=timeout)
    except (PacketcodecError, ValueError) as fault:  # a quotation mark that is not closed
        raise click.UsageError(f"--target: {fault}") from None


def _invariants(schema: Schema) -> Callable[[str], str]:
    """What is always true of our own codec, asked with a question of the line protocol."""
    codec = Codec(schema)

    def broken(question: str) -> str:
        asked = read_question(codec.plan, question.partition("\n")[0])
        return broken_by(codec, asked.data, reference_values(codec.plan, asked.references))

    return broken


def _play(target: Target, plan: Plan, text: str, times: int, *, as_json: bool) -> int:
    try:
        question = questions_of(plan, text)
    except QuestionFault as fault:
        raise click.UsageError(f"--play: {fault}") from None
    finding = play(target, plan, question, times=times)
    status = verdict(1 if finding.count else 0)
    if as_json:
        put_json(finding.row())
    else:
        _print_finding(finding)
    return status


def _print(report: Report, again: str) -> None:
    out = console()
    out.put(describe_run(report))
    out.print(table("Tried", ("kind of input", "inputs"), ((kind, f"{count:,}") for kind, count in report.counts.items())))
    expected = ((name, f"{count:,}") for name, count in sorted(report.statuses.items(), key=lambda item: -item[1]))
    out.print(table("Expected answers", ("answer", "inputs"), expected))
    for kind, (reached, passed) in report.chance.items():
        out.put(f"{kind}: {reached:,} reached the check, {passed:,} passed it.")
    if report.skipped:
        out.put(f"Not asked, since the target answered ?: {', '.join(report.skipped)}")
    if report.stopped:
        out.put(f"Stopped before the time was up: {report.stopped}")
    if report.falls:
        out.put(f"The target fell {counted(report.falls, 'time')}.")
    for number, finding in enumerate(report.findings, 1):
        out.put()
        out.put(f"Finding {number}: {finding.mark}", style="bold")
        _print_finding(finding, again)
    out.put()
    out.put("Nothing found." if report.clean else f"{counted(len(report.findings), 'finding')}.")


def _print_finding(finding: Finding, command: str = "") -> None:
    out = console()
    for line in describe_finding(finding, command):
        out.put(line)
