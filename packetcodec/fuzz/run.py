"""One run: questions asked of a target until the time is up, answers compared, what is wrong made small and told.

Owns one rule: the time that is given holds for all of a run: for new questions, for the search for smaller ones, and for
what is looked at before the end.

>>> from packetcodec.schema import Schema
>>> from packetcodec.starter import schema_text
>>> from packetcodec.fuzz.codec_target import python_target
>>> schema = Schema.parse(schema_text())
>>> report = run(python_target(schema), schema, seconds=60, max_inputs=300)
>>> report.clean, report.inputs >= 300
(True, True)
"""

from __future__ import annotations

import gc
import itertools
import math
import time
from typing import TYPE_CHECKING

from packetcodec.fuzz.generate import Batch
from packetcodec.fuzz.investigate import at_the_end
from packetcodec.fuzz.judge import Verdict
from packetcodec.fuzz.leaks import LEAK
from packetcodec.fuzz.session import LEAKS, MAX_FINDINGS, Session, describe_slowness, slow_verdict
from packetcodec.fuzz.spec_sections import RULES
from packetcodec.fuzz.targets import plan_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from packetcodec.fuzz.finding import Finding
    from packetcodec.fuzz.report import Report
    from packetcodec.fuzz.targets import Source, Target

#: Why a run that was interrupted ended.
INTERRUPTED = "interrupted"
#: Questions hold no reference cycles: the collector, which takes a tenth of the time, looks for some less often.
_COLLECTED = (20_000, 50, 100)


def run(
    target: Target,
    source: Source,
    *,
    seconds: float = 5.0,
    seed: int = 0,
    first: Iterable[str] = (),
    max_inputs: int | None = None,
    max_findings: int = MAX_FINDINGS,
    scale: int = 1,
    rounds: Iterable[Batch] | None = None,
    also: Callable[[str], str] | None = None,
    progress: Callable[[Report], None] | None = None,
    keep_interrupted: bool = False,
) -> Report:
    """Ask a target for so many seconds and report.

    Args:
        target: what is asked.
        source: what it is asked about: a Schema, a Codec or a Plan.
        seconds: how long the run lasts, all in all.
        seed: the same seed asks the same questions in the same order.
        first: questions asked before all others: those of earlier findings, and a corpus.
        max_inputs: questions after which the run ends though there is time left.
        max_findings: different findings after which it ends.
        scale: how large the groups of questions are; larger ones suit faster targets.
        rounds: the questions, where they are prepared already; default: those of the seed.
        also: what else must hold of some packets: question to what it breaks, or "".
        progress: called now and then with the report so far.
        keep_interrupted: whether a KeyboardInterrupt ends the run early, with a report whose `stopped` is `INTERRUPTED`;
            else it goes to the caller.
    """
    session = Session(target, plan_of(source), seed=seed, until=time.monotonic() + seconds, max_findings=max_findings)
    asked = list(first)
    batches: Iterator[Batch] = session.inputs(scale).rounds() if rounds is None else iter(rounds)
    if asked:
        batches = itertools.chain((Batch("replayed", asked, list(map(session.oracle.answer, asked))),), batches)
    thresholds = gc.get_threshold()
    gc.set_threshold(*_COLLECTED)
    try:
        for batch in batches:
            session.batch(batch, also)
            if progress:
                progress(session.report)
            if session.ends(max_inputs):
                break
    except KeyboardInterrupt:
        if not keep_interrupted:
            raise
        session.report.stopped = INTERRUPTED
    finally:
        gc.set_threshold(*thresholds)
    return session.end()


def play(target: Target, source: Source, question: str, *, times: int = 1) -> Finding:
    """Ask again what a finding says: the finding that it still is; with a count of 0, all is as it should be.

    Args:
        target: what is asked, as it is at its start.
        source: what it is asked about.
        question: one question or several, one to a line; the last one shows the finding.
        times: how often they are asked, to see memory grow.

    >>> from packetcodec import Schema
    >>> from packetcodec.fuzz import reference_target
    >>> from packetcodec.starter import schema_text
    >>> schema = Schema.parse(schema_text())
    >>> play(reference_target(schema), schema, "decode 1107").count
    0
    """
    session = Session(target, plan_of(source), seed=0, until=math.inf)
    look = session.look
    target.restart()
    replies = target.ask(question.split("\n"))
    verdict = look.verdict(question, replies)
    got = replies.trouble or "\n".join(replies.lines[-3 if question.endswith("held") else -1 :])
    if verdict is None and times > 1:
        grown, asked = look.growth([question] * 50, seconds=times / 100)
        verdict = Verdict(LEAKS, RULES["whole"]) if grown >= LEAK else None
        got = f"{grown:.0f} bytes more each time, asked {asked:,} times" if verdict else got
    if verdict is None and any(pair := look.slowness(question.rpartition("\n")[2])):
        verdict, got = slow_verdict(question.rpartition("\n")[2]), describe_slowness(*pair)
    if verdict is None and (mark := at_the_end(target.finish())):
        verdict = Verdict(mark, RULES["whole"])
    as_it_should = Verdict("as it should be", RULES["accepted"])
    finding = session.found.make(verdict or as_it_should, "played", question, session.oracle.answer(question))
    finding.got, finding.remarks, finding.count, finding.times = got, replies.remarks, int(verdict is not None), times
    return finding


__all__ = ["INTERRUPTED", "MAX_FINDINGS", "Batch", "play", "run"]
