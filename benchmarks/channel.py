"""How many trackers share a channel? The formula beside a discrete-event simulation of the same schedule, side by side.

    python benchmarks/channel.py [--hours 40] [--json]

Each tracker sends a position every 20 s and a status every 10 min, at a random moment of each interval. Overlapping packets
are lost, all of them; nothing else is. The next column keeps every phase fixed, in many worlds of an hour: the mean is the
same, but the losses of single trackers lie far apart. Needs the extra `bench` (SimPy).
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import count
from random import Random
from statistics import mean
from typing import TYPE_CHECKING, Any

import simpy

from packetcodec.radio import LoRa
from packetcodec.radio.contention import contention
from packetcodec.radio.schedule import Sending

if TYPE_CHECKING:
    from collections.abc import Generator

SENDINGS = (Sending("position", 14, every=Fraction(20)), Sending("status", 12, every=Fraction(600)))


@dataclass
class Air:
    """The channel: who is on it, and which packets met another one."""

    active: dict[int, bool] = field(default_factory=dict)  # packet number to whether it was hit
    count: int = 0

    def begin(self) -> int:
        """Put a packet on air; its number."""
        self.count += 1
        for other in self.active:
            self.active[other] = True
        self.active[self.count] = len(self.active) > 0
        return self.count


@dataclass(frozen=True)
class Stream:
    """One layout of one tracker: airtime and period in seconds, and the fate of each packet so far."""

    airtime: float
    period: float
    fates: list[bool] = field(default_factory=list)

    def run(self, world: simpy.Environment, air: Air, random: Random, *, fixed: bool) -> Generator[simpy.Event, Any, Any]:
        """Send for ever, at a fixed phase or at a random moment of each period."""
        phase = random.uniform(0, self.period)
        for number in count():
            moment = phase if fixed else random.uniform(0, self.period - self.airtime)
            yield world.timeout(number * self.period + moment - world.now)
            packet = air.begin()
            yield world.timeout(self.airtime)
            self.fates.append(air.active.pop(packet))


def simulate(sf: int, trackers: int, hours: float, seed: int, *, fixed: bool) -> list[float]:
    """Share of positions that each tracker loses."""
    world, air, random = simpy.Environment(), Air(), Random(seed)  # noqa: S311  # no secret
    modem = LoRa(spreading_factor=sf)
    streams = [
        Stream(float(modem.airtime(sending.payload_bytes)), float(sending.every or 0))
        for _ in range(trackers)
        for sending in SENDINGS
    ]
    for stream in streams:
        world.process(stream.run(world, air, random, fixed=fixed))
    world.run(hours * 3600)
    return [sum(stream.fates) / len(stream.fates) for stream in streams[:: len(SENDINGS)]]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--hours", type=float, default=20)
    parser.add_argument("--worlds", type=int, default=50)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    rows = []
    for sf, trackers in ((7, 12), (9, 12), (9, 30), (10, 12), (12, 5)):
        formula = float(contention(LoRa(spreading_factor=sf), SENDINGS, trackers=trackers).loss)
        shares = simulate(sf, trackers, options.hours, 1, fixed=False)
        worlds = [share for seed in range(options.worlds) for share in simulate(sf, trackers, 1, seed, fixed=True)]
        rows.append((sf, trackers, formula, mean(shares), mean(worlds), min(worlds), max(worlds)))
    names = ("spreading_factor", "trackers", "formula", "simulated", "fixed_phase", "luckiest", "unluckiest")
    if options.json:
        print(json.dumps([dict(zip(names, row, strict=True)) for row in rows]))
        return
    print("SF  trackers  formula  simulated  fixed phases (luckiest .. unluckiest tracker)")
    for sf, trackers, formula, moving, fixed, least, most in rows:
        print(f"{sf:2}  {trackers:8}  {formula:7.4f}  {moving:9.4f}  {fixed:12.4f} ({least:.4f} .. {most:.4f})")


if __name__ == "__main__":
    main()
