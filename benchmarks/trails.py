"""How short is a trail? Ours against an ideal coder and against general formats, on the same windows of recorded tracks.

    python benchmarks/trails.py [--quick] [--json]

Rides, hikes and soundings as `tests/support/recordings.py` has them; cells of 2.5 m, ten points behind a head, every 10 s
and every 30 s. Each track counts once, however long it is. Needs the extras `test` and `bench`.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict, dataclass
from functools import cache
from itertools import groupby
from pathlib import Path
from statistics import fmean
from typing import TYPE_CHECKING, Any

from packetcodec.frozen import replace

sys.path.append(str(Path(__file__).parent.parent))  # for tests.support.recordings, where this runs as a script

import pytest
from point_formats import FORMATS
from yardstick import cells, mean_ideal_bits, windows

from packetcodec import Schema, compile_plan
from packetcodec.bench.tune_trail import tune_trail
from packetcodec.radio import LoRa
from packetcodec.starter import schema_text
from packetcodec.wire import Point, write_trail
from tests.support.recordings import hikes, rides, soundings

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy as np
    from numpy.typing import NDArray

    from packetcodec.schema import Trail

RESOLUTION, POINTS, INTERVALS = 2.5, 10, (10, 30)
MAX_BY_DEFAULT, MAX_SUGGESTED = 1.05, 1.03
#: Trails that `packetcodec replay` looks at for its suggestion; the values found are measured on all windows of the track.
SUGGESTED_FROM = 100
FACTORS = (7, 10, 12)
#: Payload bytes to milliseconds, 125 kHz, coding rate 4/5.
AIRTIMES = {factor: [LoRa(spreading_factor=factor).airtime_ms(size) for size in range(256)] for factor in FACTORS}
OURS = "trail, default values"
OURS_SUGGESTED = "trail, suggested values"

# The speed is left at its default, 4 m/s: one set of values for bicycles, walkers and balloons.
SCHEMA = """
name = "trails"
version = 1
[[layouts]]
name = "track"
id = 1
fields = [{{ kind = "latitude" }}, {{ kind = "longitude" }}]
trail = {{ points = {points}, resolution_m = {resolution}, spacing = {spacing}, packet_bytes = 255{keys} }}
"""


@dataclass(frozen=True)
class Track:
    """What the trails of one track take, in bits of a mean trail.

    Attributes:
        name: of the recording.
        group: rides, hikes or soundings.
        windows: trails measured.
        ideal: the yardstick.
        default, suggested: ours, with its count, which the yardstick does not charge for.
        padded, padded_suggested: ours in whole bytes, in bits.
        first, change: the suggested values.
        sizes: format to mean bytes; ours as it stands in a packet behind the starter's head.
        airtimes: format to mean milliseconds of the whole packet at each of `FACTORS`.
    """

    name: str
    group: str
    windows: int
    ideal: float
    default: float
    suggested: float
    padded: float
    padded_suggested: float
    first: int
    change: int
    sizes: dict[str, float]
    airtimes: dict[str, tuple[float, ...]]


def default_trail(spacing: int, *, keys: str = "") -> Trail:
    """The trail of a schema that says nothing of speed, but in `keys`."""
    text = SCHEMA.format(points=POINTS, resolution=RESOLUTION, spacing=spacing, keys=keys)
    trail = Schema.parse(text).layouts[0].trail
    assert trail is not None  # noqa: S101  # it stands in the text
    return trail


def tracks() -> Iterator[tuple[str, str, list[tuple[float, float, float]]]]:
    """Group, name and (seconds, latitude, longitude) of each recording."""
    for source in (rides, hikes, soundings):
        for name, fixes in source().items():
            known = [(fix.time, fix.latitude, fix.longitude) for fix in fixes]
            track = [(time, north, east) for time, north, east in known if north is not None and east is not None]
            yield source.__name__, name, track


def points_of(window: NDArray[np.int64]) -> tuple[Point, list[Point]]:
    """The head and the points of a window."""
    head, *points = (Point(int(latitude), int(longitude)) for latitude, longitude in window)
    return head, points


def bits_of(trail: Trail, window: tuple[Point, list[Point]]) -> int:
    """Bits of a whole trail."""
    bits, kept = write_trail(trail, *window, room=10_000)
    assert kept == len(window[1])  # noqa: S101  # or the comparison would be unfair
    return bits.length


def measure(group: str, name: str, some: NDArray[np.int64], trail: Trail) -> Track:
    """One track."""
    ours = [points_of(window) for window in some]
    found = tune_trail(trail, ours[:: -(-len(ours) // SUGGESTED_FROM)])
    assert found is not None  # noqa: S101  # every window has points
    tuned = replace(trail, initial_scale=found.initial_scale, scale_rate=found.scale_rate)
    default = [bits_of(trail, window) for window in ours]
    suggested = [bits_of(tuned, window) for window in ours]
    head, check = _head()
    packets = {
        OURS: [check - -(head + bits) // 8 for bits in default],
        OURS_SUGGESTED: [check - -(head + bits) // 8 for bits in suggested],
    }
    sizes = {label: [float(bits) / 8 for bits in each] for label, each in ((OURS, default), (OURS_SUGGESTED, suggested))}
    for label, write in FORMATS.items():
        lengths = [len(write(*_plain(window, grid))) for window, grid in zip(some, cells(some, RESOLUTION), strict=True)]
        sizes[label] = [float(length) for length in lengths]
        packets[label] = [check - -head // 8 + length for length in lengths]
    return Track(
        name=name,
        group=group,
        windows=len(some),
        ideal=mean_ideal_bits(some, RESOLUTION),
        default=fmean(default),
        suggested=fmean(suggested),
        padded=fmean(-(-bits // 8) * 8 for bits in default),
        padded_suggested=fmean(-(-bits // 8) * 8 for bits in suggested),
        first=found.initial_scale,
        change=found.scale_rate,
        sizes={label: fmean(each) for label, each in sizes.items()},
        airtimes={
            label: tuple(fmean(AIRTIMES[factor][size] for size in each) for factor in FACTORS)
            for label, each in packets.items()
        },
    )


@cache
def _head() -> tuple[int, int]:
    """Bits before the trail, and bytes of the check, of the starter's layout with a trail."""
    layout = compile_plan(Schema.parse(schema_text())).layout("track")
    return layout.bits, layout.check_bytes


def _plain(window: NDArray[np.int64], grid: NDArray[np.int64]) -> tuple[list[tuple[float, float]], list[int]]:
    """The points in degrees, and their moves in cells, north and east in turn."""
    degrees = [(int(latitude) / 1e7, int(longitude) / 1e7) for latitude, longitude in window[1:]]
    return degrees, [int(move) for move in (grid[1:] - grid[:-1]).ravel()]


@dataclass(frozen=True)
class Ratios:
    """Ours by the yardstick: of the sums over tracks, and the mean of the tracks' own."""

    of_sums: float
    mean: float


def ratios(measured: list[Track]) -> tuple[Ratios, Ratios]:
    """With default and with suggested values."""
    ideal = sum(track.ideal for track in measured)
    return (
        Ratios(sum(t.default for t in measured) / ideal, fmean(t.default / t.ideal for t in measured)),
        Ratios(sum(t.suggested for t in measured) / ideal, fmean(t.suggested / t.ideal for t in measured)),
    )


def run(interval: int, *, quick: bool) -> list[Track]:
    """All tracks that have a window, at one interval."""
    trail = default_trail(interval)
    found = []
    for group, name, track in tracks():
        some = windows(track, interval=interval, points=POINTS)
        if len(some):
            found.append(measure(group, name, some[:: 8 if quick else 1], trail))
    return found


def _row(name: str, some: list[Track], values: str = "") -> str:
    """The mean of tracks."""
    ideal, default, padded, suggested, padded_suggested = (
        fmean(column) / 8
        for column in zip(*((t.ideal, t.default, t.padded, t.suggested, t.padded_suggested) for t in some), strict=True)
    )
    return (
        f"{name:46}{sum(t.windows for t in some):>7}{ideal:>8.2f}{default:>9.2f}{default / ideal:>7.3f}{padded:>7.2f}"
        f"{suggested:>11.2f}{suggested / ideal:>7.3f}{padded_suggested:>7.2f}  {values}"
    ).rstrip()


def print_tracks(interval: int, measured: list[Track]) -> None:
    """The table of tracks, the targets and the table of formats."""
    print(
        f"\n{RESOLUTION} m, {interval} s, {POINTS} points: bytes of a mean trail, and in whole bytes; ratios to the ideal\n"
    )
    print(
        f"{'':46}{'trails':>7}{'ideal':>8}{'default':>9}{'ratio':>7}{'whole':>7}{'suggested':>11}{'ratio':>7}{'whole':>7}"
        "  first, change"
    )
    for track in measured:
        print(_row(track.name, [track], f"{track.first}, {track.change}"))
    for group, some in groupby(measured, lambda track: track.group):
        print(_row(f"mean of {group}", list(some)))
    print(_row(f"mean of all {len(measured)}", measured))
    for words, found, most in zip(("default", "suggested"), ratios(measured), (MAX_BY_DEFAULT, MAX_SUGGESTED), strict=True):
        reached = "reached" if max(found.of_sums, found.mean) <= most else "missed"
        figures = f"of sums {found.of_sums:.3f}, mean of tracks' ratios {found.mean:.3f}"
        print(f"target: {words} values at most {most}: {figures} ({reached})")
    head, check = _head()
    print(
        f"\nThe same points in other formats, mean of tracks: bytes of the points; airtime behind a head of {head} "
        f"bits, with a check of {check} bytes, LoRa 125 kHz 4/5\n"
    )
    print(f"{'':46}{'bytes':>7}" + "".join(f"{f'SF{factor} ms':>11}" for factor in FACTORS))
    for label in measured[0].sizes:
        times = [fmean(track.airtimes[label][column] for track in measured) for column in range(len(FACTORS))]
        size = fmean(track.sizes[label] for track in measured)
        print(f"{label:46}{size:>7.1f}" + "".join(f"{time:>11,.1f}" for time in times))


def main() -> int:
    """Print the comparison."""
    parser = argparse.ArgumentParser(description="Compares trails with an ideal coder and with general formats.")
    parser.add_argument("--quick", action="store_true", help="every eighth window only")
    parser.add_argument("--json", action="store_true", help="figures for programs")
    options = parser.parse_args()
    document: dict[str, Any] = {}
    try:
        for interval in INTERVALS:
            measured = run(interval, quick=options.quick)
            if options.json:
                document[f"{interval} s"] = {
                    "tracks": [asdict(track) for track in measured],
                    "ratios": dict(zip(("default", "suggested"), map(asdict, ratios(measured)), strict=True)),
                }
            else:
                print_tracks(interval, measured)
    except pytest.skip.Exception as missing:
        print(f"{Path(__file__).name}: {missing}", file=sys.stderr)
        return 1
    if options.json:
        print(json.dumps(document, indent=2))
    return 0


if __name__ == "__main__":
    sys.exit(main())
