"""How large the page of a day's track is, and how soon it opens: 86,400 fixes of an invented walk, one a second.

    python benchmarks/page.py              # a packet every 30 s
    python benchmarks/page.py 2s

Size and times are measured, none is estimated: `packetcodec replay --page` writes the page, headless Chromium opens it
(Node.js, chromium, and the npm packages that `tests/page` needs).
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from math import cos, pi, radians, sin
from pathlib import Path
from random import Random

ROOT = Path(__file__).parent.parent
FIXES = 86_400


def day() -> str:
    """A table of a day: a walk that turns slowly, at most a metre or so a second."""
    chance = Random(20260715)  # noqa: S311  # no secret: the same day each time
    north, east, way = 46.5, 9.9, 0.0
    rows = ["time,latitude,longitude,altitude,satellites"]
    for second in range(FIXES):
        way += chance.gauss(0, 0.15)
        stride = max(0.0, sin(2 * pi * second / 7200)) * 1.2 / 111_320
        north += stride * cos(way)
        east += stride * sin(way) / cos(radians(46.5))
        rows.append(f"{1_784_000_000 + second},{north:.7f},{east:.7f},{2090 + 40 * sin(second / 9000):.1f},11")
    return "\n".join(rows) + "\n"


def run(*command: str) -> str:
    """What a program prints."""
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)  # noqa: S603  # ours
    return done.stdout.decode()


def main() -> None:
    """Write the page, open it, print size and times."""
    every = sys.argv[1] if len(sys.argv) > 1 else "30s"
    with tempfile.TemporaryDirectory() as folder:
        log, page = Path(folder, "day.csv"), Path(folder, "page.html")
        log.write_text(day(), encoding="utf-8")
        begun = time.perf_counter()
        run(sys.executable, "-m", "packetcodec", "replay", str(log), "--every", every, "--loss", "40%", "--page", str(page))
        print(f"{FIXES:,} fixes, a packet every {every}")
        print(f"written in {time.perf_counter() - begun:.1f} s, {page.stat().st_size / 1e6:.2f} MB")
        told = json.loads(run("node", str(ROOT / "tests" / "page" / "browser.mjs"), str(ROOT / ".cache"), str(page)))
        print(f"opened in {told['loadMs'] / 1000:.2f} s, all charts drawn {told['drawnMs'] / 1000:.2f} s after the start")


if __name__ == "__main__":
    main()
