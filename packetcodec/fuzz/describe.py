"""A report and its findings in words, for a terminal, a log of CI, or a failed test.

Owns one rule: what a finding says. What was asked, what was expected and by which rule, what came back, how often, and how
to see it again.

>>> from packetcodec.fuzz.report import Report
>>> print(describe_report(Report("python", "pasture", 1, "0123456789abcdef", seed=0, seconds=2.0)))
python: 0 inputs in 2.0 s (0 a second), seed 0, schema pasture version 1 (0123456789abcdef)
Nothing found.
"""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.fuzz.finding import Finding
    from packetcodec.fuzz.report import Report

#: Questions of a sequence, and lines of stderr or of a traceback, that are shown: the last ones.
_SHOWN, _REMARKS = 6, 8


def describe_report(report: Report, command: str = "") -> str:
    """A report without its tables of counts; `command` is what plays again the question behind it."""
    lines = [describe_run(report)]
    for number, finding in enumerate(report.findings, 1):
        lines += ["", f"Finding {number}: {finding.mark}", *describe_finding(finding, command)]
    count = len(report.findings)
    lines.append("Nothing found." if report.clean else f"\n{count} finding{'s' * (count > 1)}.")
    return "\n".join(lines)


def describe_run(report: Report) -> str:
    """What was run, in a line."""
    rate = report.inputs / max(report.seconds, 1e-9)
    return (
        f"{report.target}: {report.inputs:,} inputs in {report.seconds:.1f} s ({rate:,.0f} a second), seed {report.seed}, "
        f"schema {report.schema} version {report.version} ({report.fingerprint})"
    )


def describe_finding(finding: Finding, command: str = "") -> Iterator[str]:
    """A finding, line by line; `command` is what plays again the question behind it."""
    pairs = list(zip(finding.question.split("\n"), finding.expected.split("\n"), strict=True))
    if len(pairs) > _SHOWN:
        yield f"  asked     {len(pairs) - _SHOWN:,} questions before these"
    for question, expected in pairs[-_SHOWN:]:
        yield f"  asked     {question}"
        yield f"  expected  {expected}"
    for got in finding.got.split("\n"):
        yield f"  got       {got or '(an empty line)'}"
    if not finding.count:
        yield "  as it should be"
        return
    yield f"  rule      {finding.rule}"
    times = f"{finding.count:,} time{'s' * (finding.count > 1)}"
    yield f"  seen      {times}; first after {finding.inputs:,} inputs and {finding.seconds:.2f} s ({finding.kind})"
    if finding.last != finding.first.rpartition("\n")[2]:
        yield f"  first     {finding.first.splitlines()[-1]}"
    if not finding.alone:
        yield "  note      it was not shown again: it takes something that is not known here, or the time was up"
    for number, line in enumerate(finding.remarks.splitlines()[-_REMARKS:]):
        yield f"  {'said' if not number else '':8}  {line}"
    if command:
        yield f"  again     {describe_again(finding, command)}"


def describe_again(finding: Finding, command: str) -> str:
    """The command that plays a finding again; a long sequence of questions is played from its file in the folder."""
    text = finding.question
    if text.count("\n") >= _SHOWN:
        what = finding.file or "FILE"
    elif text.startswith("decode ") and "\n" not in text and text.count(" ") == 1:
        what = text.removeprefix("decode ")
    else:
        what = shlex.quote(text.replace("\n", "\\n"))
    return f"{command} {what}{f' --times {finding.times}' if finding.times > 1 else ''}"
