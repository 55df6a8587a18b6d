"""A receiver for ever: many senders, faults, duplicates, replays, restarts and clocks that are set; memory stays flat."""

from __future__ import annotations

import gc
import math
import mmap
import random
from collections import Counter, deque
from pathlib import Path

import pytest

from packetcodec import Codec, Schema
from packetcodec.receive import Failure, Position, Receiver

CODEC = Codec(
    Schema.parse("""
name = "pasture"
version = 1
[check]
crc = "CRC-16/M17"
[[layouts]]
name = "track"
id = 1
fields = [
    { kind = "identifier", name = "collar", bits = 17 },
    { kind = "counter", bits = 8 },
    { kind = "latitude", bits = 26, optional = true },
    { kind = "longitude", bits = 26, optional = true },
]
trail = { points = 3, resolution_m = 2.5, spacing = 30 }
[[layouts]]
name = "status"
id = 2
fields = [{ kind = "identifier", name = "collar", bits = 17 }, { kind = "counter", bits = 8 }]
""")
)


def resident():
    """Megabytes of this process."""
    gc.collect()
    return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1]) * mmap.PAGESIZE / 1e6


class Herd:
    """Senders; half of the packets come from a few that are heard all the time."""

    def __init__(self, senders, seed):
        self.chance = random.Random(seed)  # noqa: S311  # a repeatable test
        self.senders = senders
        self.counters = {}
        self.past = deque(maxlen=2000)

    def packet(self):
        chance = self.chance
        kind = chance.random()
        if self.past and kind < 0.15:
            data = self.past[-1] if kind < 0.07 else chance.choice(self.past)  # an echo, a replay
            if kind > 0.12:
                place = chance.randrange(8 * len(data))
                return (int.from_bytes(data, "big") ^ 1 << place).to_bytes(len(data), "big")
            return data
        collar = chance.randrange(500 if chance.random() < 0.5 else self.senders)
        if len(self.counters) > 5000 and collar not in self.counters:
            self.counters.pop(next(iter(self.counters)))
        count = self.counters.get(collar, 0) + chance.choice((1, 1, 1, 1, 2, 5))  # losses
        if chance.random() < 0.01:
            count = 0  # a new battery
        self.counters[collar] = count
        layout, values, trail = "status", {"collar": collar, "counter": count}, []
        if chance.random() < 0.8:
            layout = "track"
            places = [(46.5 + (count - k) % 1000 * 1e-4, 9.8 + (count - k) % 700 * 1e-4) for k in range(min(count, 3) + 1)]
            values |= dict(zip(("latitude", "longitude"), places[0], strict=True))
            trail = places[1:]
        data = CODEC.encode(layout, values, trail)
        self.past.append(data)
        return data


@pytest.mark.slow
@pytest.mark.parametrize(("packets", "senders"), [(10_000, 2_000), (1_000_000, 100_000)])
def test_it_hears_everything_without_an_exception_and_its_memory_stays_flat(packets, senders, record_property):
    herd, receiver = Herd(senders, 1), Receiver(CODEC, silent_after=30)
    counts, now = Counter(), 1.7e9
    settled = 0.0
    for number in range(packets):
        now += herd.chance.expovariate(20)
        if herd.chance.random() < 1e-4:
            now += herd.chance.choice((-86_400, -3_600, 3_600, 86_400))
        for event in receiver.feed(herd.packet(), now):
            counts[type(event).__name__] += 1
            assert not isinstance(event, Failure), event
            assert not isinstance(event, Position) or math.isfinite(event.time)
        if number % 50 == 0:
            counts.update(type(event).__name__ for event in receiver.tick(now))
        if number == packets // 5:
            settled = resident()
    grown = resident() - settled
    record_property("megabytes grown after the first fifth", round(grown, 1))
    record_property("events", dict(counts))
    assert len(receiver._trackers) == min(1024, senders)
    assert {
        "Duplicate",
        "Fault",
        "Forgotten",
        "Late",
        "Lost",
        "Position",
        "Repaired",
        "Report",
        "Restarted",
        "Silent",
    } <= set(counts)
    assert grown < 30
