"""How many inputs the harness tries in a second of one processor: its own time and that of the program under test.

The starter schema, and one most of whose layouts have trails, which are the dearest to make and to answer: emitted C
(a compiler is needed) and our own codec. Other programs on the machine take caches and halves of cores away; the fastest
second of a run shows what one processor can do.

    python benchmarks/fuzz.py [SECONDS OF EACH RUN]
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

sys.path.append(str(Path(__file__).parent.parent))  # for tests.support.proving_ground, where this runs as a script

from packetcodec import Schema
from packetcodec.fuzz import Report, compiled_target, python_target, run
from packetcodec.starter import schema_text
from tests.support.proving_ground import GROUND

if TYPE_CHECKING:
    from collections.abc import Iterator

#: Groups of questions are larger for faster targets, as the command `fuzz` asks them.
TARGETS = {"c": 4, "python": 1}


def rates(name: str, schema: Schema, seconds: float) -> tuple[float, float]:
    """Inputs in a second of processor time: in the mean, and in the fastest second."""
    target, seen = compiled_target(name, schema) if name == "c" else python_target(schema), [(processor_time(), 0)]

    def note(report: Report) -> None:
        seen.append((processor_time(), report.inputs))

    report = run(target, schema, seconds=seconds, scale=TARGETS[name], progress=note)
    target.close()
    if not report.clean:
        raise SystemExit(f"{name}: {report.findings[0].mark}")
    note(report)  # the program's own time counts once it has ended
    child = (seen[-1][0] - seen[-2][0]) / report.inputs
    seconds_each = [(two[0] - one[0] + (two[1] - one[1]) * child, two[1] - one[1]) for one, two in windows(seen[:-1])]
    return report.inputs / (seen[-1][0] - seen[0][0]), max(count / taken for taken, count in seconds_each)


def windows(seen: list[tuple[float, int]]) -> Iterator[tuple[tuple[float, int], tuple[float, int]]]:
    """Where each second begins and ends."""
    end = 0
    for start in seen:
        while end < len(seen) and seen[end][0] - start[0] < 1:
            end += 1
        if end < len(seen):
            yield start, seen[end]


def processor_time() -> float:
    """Of this process, and of those that it has started and that have ended."""
    return sum(os.times()[:4])


def main() -> None:
    """Print a row for each schema."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    columns = [f"{name}, {word}" for name in TARGETS for word in ("mean", "fastest")]
    print(f"{'inputs in a second of one processor':36}" + "".join(f"{name:>17}" for name in columns))
    for words, text in (("starter schema", schema_text()), ("schema of trails", GROUND)):
        found = [rate for name in TARGETS for rate in rates(name, Schema.parse(text), seconds)]
        print(f"{words:36}" + "".join(f"{rate:>17,.0f}" for rate in found))


if __name__ == "__main__":
    main()
