"""How long does `import packetcodec` take, beyond the bare interpreter?

    python benchmarks/start_up.py [--quick] [--json]

Fresh processes take turns, one bare and one that imports; the median of the differences is printed. Exit status 1 if
it takes too long in three series one after another, or loads one of the heavy libraries, which belong to single modules
that a user imports when needed.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter

MAX_MS = 80.0
HEAVY = ("numpy", "construct", "hypothesis", "rich", "click", "jinja2", "gpxpy", "pynmeagps", "geographiclib")
ROOT = Path(__file__).parent.parent
CACHE = TemporaryDirectory()
# Byte code is kept, as it is for an installed package, whatever the environment says: in a folder of our own.
ENVIRONMENT = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
ENVIRONMENT["PYTHONPYCACHEPREFIX"] = CACHE.name


def run(code: str) -> tuple[float, str]:
    """Milliseconds that a fresh interpreter takes for `code`, and what it printed."""
    start = perf_counter()
    done = subprocess.run(  # noqa: S603  # our own interpreter
        [sys.executable, "-c", code], cwd=ROOT, env=ENVIRONMENT, check=True, capture_output=True, text=True
    )
    return (perf_counter() - start) * 1000, done.stdout


def loaded() -> list[str]:
    """The heavy libraries that the import loads."""
    code = f"import sys, packetcodec; print(*[name for name in {HEAVY!r} if name in sys.modules])"
    return run(code)[1].split()


def series(rounds: int) -> tuple[list[float], float]:
    """Milliseconds of the bare interpreter in each round, and the median of what the import adds to it."""
    bare, whole = [], []
    for _ in range(rounds):
        bare.append(run("pass")[0])
        whole.append(run("import packetcodec")[0])
    return bare, median(more - less for more, less in zip(whole, bare, strict=True))


def main() -> int:
    """Print the figure."""
    parser = argparse.ArgumentParser(description="Measures the time that importing packetcodec takes.")
    parser.add_argument("--quick", action="store_true", help="a second or two, for a first impression")
    parser.add_argument("--json", action="store_true", help="figures for programs")
    options = parser.parse_args()
    heavy = loaded()  # also writes the byte code, so that no round pays for it
    bare, extra = series(7 if options.quick else 31)
    for _ in range(2):  # a busy moment of the machine slows everything for a while: a true excess is there each time
        if extra <= MAX_MS:
            break
        print(f"{extra:.1f} ms (bare interpreter {median(bare):.1f} ms): measured again", file=sys.stderr)
        bare, extra = series(7 if options.quick else 31)
    if options.json:
        document = {
            "python": platform.python_version(),
            "bare_ms": round(median(bare), 1),
            "import_ms": round(extra, 1),
            "most_ms": MAX_MS,
            "reached": extra <= MAX_MS,
            "heavy_loaded": heavy,
        }
        print(json.dumps(document, indent=2))
    else:
        print(f"Python {platform.python_version()}: bare interpreter {median(bare):.1f} ms, median of {len(bare)} runs")
        verdict = "reached" if extra <= MAX_MS else "missed"
        print(f"reach: `import packetcodec` at most {MAX_MS:g} ms above it: measured {extra:.1f} ({verdict})")
        print(f"heavy libraries loaded: {', '.join(heavy) or 'none'} (of {', '.join(HEAVY)})")
    if heavy:
        print(f"import packetcodec loads {', '.join(heavy)}: it must not", file=sys.stderr)
    return 1 if heavy or extra > MAX_MS else 0


if __name__ == "__main__":
    sys.exit(main())
