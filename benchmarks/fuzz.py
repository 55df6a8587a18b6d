"""How many inputs the harness tries in a second of one processor: its own time and that of the program under test.

The starter schema, and one most of whose layouts have trails, which are the dearest to make and to answer: emitted C
(a compiler is needed) and our own codec.

    python benchmarks/fuzz.py [SECONDS OF EACH RUN]
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parent.parent))  # for tests.support.proving_ground, where this runs as a script

from packetcodec import Schema
from packetcodec.fuzz import compiled_target, python_target, run
from packetcodec.starter import schema_text
from tests.support.proving_ground import GROUND

#: Groups of questions are larger for faster targets, as the command `fuzz` asks them.
TARGETS = {"c": 4, "python": 1}


def rate(name: str, schema: Schema, seconds: float) -> float:
    """Inputs in a second of processor time."""
    target = compiled_target(name, schema) if name == "c" else python_target(schema)
    before = sum(os.times()[:4])
    report = run(target, schema, seconds=seconds, scale=TARGETS[name])
    target.close()
    if not report.clean:
        raise SystemExit(f"{name}: {report.findings[0].mark}")
    return report.inputs / (sum(os.times()[:4]) - before)


def main() -> None:
    """Print a row for each schema."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    print(f"{'inputs in a second of one processor':36}" + "".join(f"{name:>10}" for name in TARGETS))
    for words, text in (("starter schema", schema_text()), ("schema of trails", GROUND)):
        rates = [rate(name, Schema.parse(text), seconds) for name in TARGETS]
        print(f"{words:36}" + "".join(f"{found:>10,.0f}" for found in rates))


if __name__ == "__main__":
    main()
