"""How long does `import packetcodec` take, beyond the bare interpreter?

    python benchmarks/start_up.py [--quick] [--json]

Fresh processes take turns, one bare and one that imports. What counts is the processor's time that each one used, and of
that the least of all rounds: another program on the machine only adds to it. Exit status 1 if the import takes too long, or
loads one of the heavy libraries, which belong to single modules that a user imports when needed.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
from pathlib import Path
from resource import RUSAGE_CHILDREN, getrusage
from tempfile import TemporaryDirectory

MAX_MS = 60.0
HEAVY = ("numpy", "construct", "hypothesis", "rich", "click", "jinja2", "gpxpy", "pynmeagps", "geographiclib")
ROOT = Path(__file__).parent.parent
CACHE = TemporaryDirectory()
# Byte code is kept, as it is for an installed package, whatever the environment says: in a folder of our own.
ENVIRONMENT = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
ENVIRONMENT["PYTHONPYCACHEPREFIX"] = CACHE.name


def run(code: str) -> tuple[float, str]:
    """Milliseconds of the processor that a fresh interpreter takes for `code`, and what it printed."""
    before = getrusage(RUSAGE_CHILDREN)
    done = subprocess.run(  # noqa: S603  # our own interpreter
        [sys.executable, "-c", code], cwd=ROOT, env=ENVIRONMENT, check=True, capture_output=True, text=True
    )
    after = getrusage(RUSAGE_CHILDREN)
    return (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime) * 1000, done.stdout


def loaded() -> list[str]:
    """The heavy libraries that the import loads."""
    code = f"import sys, packetcodec; print(*[name for name in {HEAVY!r} if name in sys.modules])"
    return run(code)[1].split()


def measure(rounds: int) -> tuple[float, float]:
    """Milliseconds of the bare interpreter, and what the import adds to it."""
    bare, whole = [], []
    for _ in range(rounds):
        bare.append(run("pass")[0])
        whole.append(run("import packetcodec")[0])
    return min(bare), min(whole) - min(bare)


def main() -> int:
    """Print the figure."""
    parser = argparse.ArgumentParser(description="Measures the time that importing packetcodec takes.")
    parser.add_argument("--quick", action="store_true", help="a second or two, for a first impression")
    parser.add_argument("--json", action="store_true", help="figures for programs")
    options = parser.parse_args()
    heavy = loaded()  # also writes the byte code, so that no round pays for it
    rounds = 7 if options.quick else 31
    bare, extra = measure(rounds)
    for _ in range(7):  # a busy machine is no excess: look again before saying so
        if extra > MAX_MS:
            bare, extra = min((bare, extra), measure(rounds), key=lambda pair: pair[1])
    reached = extra <= MAX_MS
    if options.json:
        document = {
            "python": platform.python_version(),
            "bare_ms": round(bare, 1),
            "import_ms": round(extra, 1),
            "max_ms": MAX_MS,
            "reached": reached,
            "heavy_loaded": heavy,
        }
        print(json.dumps(document, indent=2))
    else:
        print(f"Python {platform.python_version()}: bare interpreter {bare:.1f} ms of the processor, least of {rounds} runs")
        verdict = "reached" if reached else "missed"
        print(f"reach: `import packetcodec` at most {MAX_MS:g} ms above it: measured {extra:.1f} ({verdict})")
        print(f"heavy libraries loaded: {', '.join(heavy) or 'none'} (of {', '.join(HEAVY)})")
    if heavy:
        print(f"import packetcodec loads {', '.join(heavy)}: it must not", file=sys.stderr)
    return 0 if reached and not heavy else 1


if __name__ == "__main__":
    sys.exit(main())
