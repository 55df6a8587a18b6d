"""What a trail takes of the ideal coder's bits where its schema says nothing but a speed: the right one, or the default.

    python benchmarks/trail_speeds.py [--quick] [LOG ...]

Recorded tracks as in `benchmarks/trails.py`, or those of logs that `packetcodec replay` reads; one schema with `wandering`
and one without. The right speed is the mean of a track's windows, rounded to 0.1 m/s; walkers are slower than 2.3 m/s. The
rule of `wandering` was found on the rides, hikes and soundings printed here. Needs the extras `test` and `bench`.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from statistics import fmean
from typing import TYPE_CHECKING

import numpy as np
import pytest
from trails import INTERVALS, POINTS, RESOLUTION, bits_of, default_trail, points_of, tracks
from yardstick import cells, mean_ideal_bits, windows

from packetcodec.logs import read_log

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

DEFAULT_SPEED, WALKING, MIN_WINDOWS = 4.0, 2.3, 3
COLUMNS = ("right", "right, wandering", "4 m/s", "4 m/s, wandering")

Row = tuple[str, float, tuple[float, ...]]


def from_logs(paths: Sequence[str]) -> Iterator[tuple[str, str, list[tuple[float, float, float]]]]:
    """Group, name and (seconds, latitude, longitude) of each log."""
    for path in paths:
        fixes = read_log([Path(path).read_bytes()], name=path).fixes
        known = [(fix.time, fix.latitude, fix.longitude) for fix in fixes]
        yield "logs", Path(path).name, [(t, n, e) for t, n, e in known if t is not None and n is not None and e is not None]


def rows(interval: int, paths: Sequence[str], *, quick: bool) -> Iterator[tuple[str, Row]]:
    """Group, and name, speed and ratios of each track that has a few windows."""
    for group, name, track in from_logs(paths) if paths else tracks():
        some = windows(track, interval=interval, points=POINTS)[:: 8 if quick else 1]
        if len(some) < MIN_WINDOWS:
            continue
        moves = np.diff(cells(some, RESOLUTION), axis=1)
        speed = float(np.hypot(moves[..., 0], moves[..., 1]).mean()) * RESOLUTION / interval
        ideal = mean_ideal_bits(some, RESOLUTION)
        ours = [points_of(window) for window in some]
        ratios = tuple(
            fmean(bits_of(default_trail(interval, keys=keys), window) for window in ours) / ideal
            for said in (max(0.1, round(speed, 1)), DEFAULT_SPEED)
            for keys in (f", speed = {said}", f", speed = {said}, wandering = true")
        )
        yield group, (name, speed, ratios)


def show(name: str, some: Sequence[Row]) -> None:
    """One line: a track, or the mean of several."""
    if some:
        ratios = (fmean(column) for column in zip(*(row[2] for row in some), strict=True))
        print(f"{name:52}{fmean(row[1] for row in some):>6.2f}" + "".join(f"{ratio:>18.3f}" for ratio in ratios))


def main() -> int:
    """Print a table for each interval, and one of means."""
    parser = argparse.ArgumentParser(description="Compares trails for which the schema says a right or a wrong speed.")
    parser.add_argument("logs", nargs="*", help="logs to measure instead of the recordings")
    parser.add_argument("--quick", action="store_true", help="every eighth window only")
    options = parser.parse_args()
    found: list[tuple[str, Row]] = []
    try:
        for interval in INTERVALS:
            print(f"\n{f'{RESOLUTION} m, {interval} s, {POINTS} points: bits by the ideal':52}{'m/s':>6}", end="")
            print("".join(f"{column:>18}" for column in COLUMNS))
            for group, row in rows(interval, options.logs, quick=options.quick):
                show(row[0], [row])
                found.append((group, row))
    except pytest.skip.Exception as missing:
        print(f"{Path(__file__).name}: {missing}", file=sys.stderr)
        return 1
    print()
    for name in dict.fromkeys(group for group, _ in found):
        show(f"mean of {name}", [row for group, row in found if group == name])
    slow = [row for _, row in found if row[1] < WALKING]
    show(f"mean of walkers ({len(slow)})", slow)
    show("mean of all", [row for _, row in found])
    return 0


if __name__ == "__main__":
    sys.exit(main())
