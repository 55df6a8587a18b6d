"""What a receiver tells that knows no interval and hears a link that loses, repeats and reorders.

A point told twice with a time would be a place the tracker was not at, at that time: there must be none. What cannot be
known to be new is told with a time that is not known. Three invented trackers: one that walks, one that grazes (goes and
stands), one that stands still. The schema is the starter's, points 30 s apart; nothing here is checked against an outside.

    python benchmarks/unknown_interval.py [--seeds 1]

Out of step with the points (47 s, say) trails bring places of their own, seconds from those of packets. "Twice" are those
that lie within half a spacing of another one: a time that is right, but a row too many. These intervals stand last.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from random import Random
from typing import TYPE_CHECKING, Any, ClassVar
from unittest.mock import patch

from packetcodec.bench import every, link_test
from packetcodec.bench.lossy_link import LinkConditions
from packetcodec.logs import Fix
from packetcodec.receive.events import Position
from packetcodec.receive.receiver import Receiver
from packetcodec.schema import Schema
from packetcodec.starter import schema_text

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.receive import Event

SCHEMA = Schema.parse(schema_text().replace("packet_bytes = 32", "packet_bytes = 200"))
INTERVALS = (10.0, 15.0, 20.0, 30.0, 40.0, 45.0, 60.0, 90.0)
OUT_OF_STEP = (37.0, 47.0)
LINKS = (
    {"loss": 0.3},
    {"loss": 0.3, "duplicates": 0.1, "reorder": 2},
    {"loss": 0.3, "duplicates": 0.1, "reorder": 8},
)
KINDS = ("walks", "grazes", "stands")
PACKETS = 400


class Counting(Receiver):
    """A receiver that is told nothing of the interval, and counts the positions that it tells."""

    counts: ClassVar[Counter[str]] = Counter()

    def feed(self, *args: Any, **options: Any) -> list[Event]:
        """As that of the receiver, counted."""
        events = super().feed(*args, **options)
        self.counts.update("dated" if event.time_known else "undated" for event in events if isinstance(event, Position))
        return events


def track(kind: str, interval: float) -> Iterator[Fix]:
    """A fix every 5 s, as many as there are packets for: "walks", "grazes" or "stands"."""
    chance, moves, north = Random(3), kind == "walks", 46.5  # noqa: S311  # a repeatable measurement
    for number in range(int(PACKETS * interval / 5)):
        if kind == "grazes":
            moves = moves != (chance.random() < 0.02)
        north += 2e-5 * moves
        yield Fix(5.0 * number, north, 9.9)


def measure(kind: str, interval: float, link: dict[str, Any], seed: int) -> Counter[str]:
    """Points and what was told of them."""
    recording = tuple(track(kind, interval))
    Counting.counts = Counter()
    with patch.object(link_test, "receiver_for", lambda sender, *_: Counting(sender.codec)):
        (report,) = link_test.link_test(
            SCHEMA, "track", tuple(every(recording, interval))[:PACKETS], recording=recording, interval=interval,
            conditions=LinkConditions(**link, seed=seed), lengths=(10,),
        )  # fmt: skip
    names = ("points", "missing", "repeated")
    return Counting.counts + Counter({name: getattr(report, name) for name in names})


def main(argv: list[str]) -> int:
    """Print the sums; the seed of each link is one higher than that of the one before."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=1, help="runs of each case, with seeds of their own")
    seeds = range(parser.parse_args(argv).seeds)
    print(f"{'tracker':8} {'interval':>8} {'points':>8} {'missing':>8} {'with time':>10} {'without':>8} {'twice':>6}")
    for name, intervals in (("in step", INTERVALS), ("out of", OUT_OF_STEP)):
        total: Counter[str] = Counter()
        for kind in KINDS:
            for interval in intervals:
                runs = [measure(kind, interval, link, 10 * seed + n) for seed in seeds for n, link in enumerate(LINKS, 1)]
                row = sum(runs, Counter())
                total += row
                print(_row(kind, f"{interval:.0f} s", row), flush=True)
        print(_row(name, "all", total))
    return 0


def _row(kind: str, interval: str, row: Counter[str]) -> str:
    numbers = (row[name] for name in ("points", "missing", "dated", "undated", "repeated"))
    return "{:8} {:>8} {:8,} {:8,} {:10,} {:8,} {:6,}".format(kind, interval, *numbers)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
