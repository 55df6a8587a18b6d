"""Writes the sample log that ships with the package. All of it is INVENTED: animal, pasture and receiver.

A collar on a cow of an imaginary herd, one fix every two seconds for an hour and a half of a July morning,
at about 2,000 m in the Alps. She rests, grazes and walks on a slope made of a few sine waves; the
receiver's error wanders as real ones do. The log holds what a reader must cope with: a cold start without a
time and then without a fix, a loss of fix under a rock, a receiver silent for 20 seconds, some bytes of
noise between sentences, and two damaged sentences.

Seeded, and rounded far more coarsely than mathematical functions differ between machines: the file is the
same on each run.

    python benchmarks/make_sample.py            # rewrites packetcodec/starter/sample.nmea
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from functools import reduce
from math import cos, exp, pi, radians, sin, sqrt
from operator import xor
from pathlib import Path
from random import Random

SEED = 20260714
DATE = "140726"  # ddmmyy, as RMC prints it
START = 4 * 3600 + 30 * 60  # 04:30:00 UTC, in seconds of the day
INTERVAL = 2
EPOCHS = 2700
LATITUDE, LONGITUDE, ALTITUDE = 46.5012, 9.9034, 2090.0  # where she stands at first
TARGET = Path(__file__).parent.parent / "packetcodec" / "starter" / "sample.nmea"

# Epochs, counted from the start of the log.
NO_TIME = range(8)
COLD_START = range(8, 22)
LOST_FIX = range(1310, 1327)
SILENT = range(1905, 1914)
NOISE_BEFORE = (402, 1502, 2290)
FLIPPED, CUT = 905, 2105

METRES_PER_DEGREE = 111_195.0
KNOTS_PER_METRE_A_SECOND = 3600 / 1852


@dataclass(frozen=True)
class Gait:
    """A way to spend some minutes: mean speed (m/s), wobble of course (radians), mean length (steps)."""

    speed: float
    wobble: float
    steps: float


GAITS = {
    "resting": Gait(0.0, 0.0, 220.0),
    "grazing": Gait(0.12, 0.35, 150.0),
    "walking": Gait(0.85, 0.06, 70.0),
}
NEXT = {
    "resting": ("grazing", "walking"),
    "grazing": ("walking", "grazing", "resting"),
    "walking": ("grazing",),
}


def slope(east: float, north: float) -> float:
    """Altitude in metres above the first point, `east` and `north` metres away from it."""
    return 0.21 * north - 0.07 * east + 14.0 * sin(east / 140.0) + 9.0 * sin(north / 95.0 + 0.6) - 9.0 * sin(0.6)


class Cow:
    """Where she is: metres east and north of the first point, and how she moves on."""

    def __init__(self, random: Random) -> None:
        self.random = random
        self.gait = "resting"
        self.left = 60
        self.east = self.north = 0.0
        self.course = 0.4
        self.speed = 0.0

    def step(self) -> None:
        """Let two seconds pass."""
        self.left -= 1
        if self.left <= 0:
            self.gait = self.random.choice(NEXT[self.gait])
            self.left = 20 + round(self.random.expovariate(1.0) * GAITS[self.gait].steps)
            # Cattle tend to walk along the slope rather than up it, and the herd keeps together.
            home = self.course if self.east * self.east + self.north * self.north < 350.0**2 else None
            self.course = self.random.gauss(1.2, 0.9) if home is None else home + self.random.gauss(0.0, 0.8)
        gait = GAITS[self.gait]
        aim = gait.speed * (0.4 + 1.2 * self.random.random())
        self.speed += 0.3 * (aim - self.speed)
        self.course = (self.course + self.random.gauss(0.0, gait.wobble)) % (2 * pi)
        self.east += self.speed * INTERVAL * sin(self.course)
        self.north += self.speed * INTERVAL * cos(self.course)


class Wander:
    """A receiver's error: it forgets itself slowly (a first-order Gauss-Markov process)."""

    def __init__(self, random: Random, *, sigma: float, seconds: float) -> None:
        self.random = random
        self.keep = exp(-INTERVAL / seconds)
        self.kick = sigma * sqrt(1 - self.keep * self.keep)
        self.value = random.gauss(0.0, sigma)

    def step(self) -> float:
        """The error two seconds later, in metres."""
        self.value = self.keep * self.value + self.random.gauss(0.0, self.kick)
        return self.value


def sentence(body: str) -> bytes:
    """The body with its frame and checksum."""
    return f"${body}*{reduce(xor, body.encode()):02X}\r\n".encode()


def angle(degrees: float, digits: int, letters: str) -> str:
    """Degrees as (d)ddmm.mmmm and the letter of the hemisphere."""
    units = round(abs(degrees) * 600_000)
    whole, minutes = divmod(units, 600_000)
    return f"{whole:0{digits}}{minutes // 10_000:02}.{minutes % 10_000:04},{letters[degrees < 0]}"


def clock(epoch: int) -> str:
    """Time of day as hhmmss.ss."""
    second = START + epoch * INTERVAL
    return f"{second // 3600:02}{second // 60 % 60:02}{second % 60:02}.00"


def build() -> bytes:
    """The whole log."""
    random = Random(SEED)  # noqa: S311 - an invented walk, no secret
    cow = Cow(random)
    errors = [Wander(random, sigma=sigma, seconds=seconds) for sigma, seconds in ((1.6, 90), (1.6, 90), (2.8, 150))]
    satellites = 8
    lines = [sentence("GNTXT,01,01,02,INVENTED SAMPLE LOG - NO REAL ANIMAL PLACE OR RECEIVER")]
    for epoch in range(EPOCHS):
        cow.step()
        east, north, up = (error.step() for error in errors)
        satellites = min(12, max(5, satellites + random.choice((-1, 0, 0, 0, 0, 0, 0, 0, 1))))
        noise = bytes(random.randrange(128, 256) for _ in range(24))
        if epoch in SILENT:
            continue
        if epoch in NOISE_BEFORE:
            lines.append(b"\xb5b" + noise)
        if epoch in NO_TIME:
            lines += [sentence("GNGGA,,,,,,0,00,99.99,,,,,,"), sentence("GNRMC,,V,,,,,,,,,,N")]
            continue
        time = clock(epoch)
        if epoch in COLD_START or epoch in LOST_FIX:
            seen = 1 + epoch % 3
            lines.append(sentence(f"GNGGA,{time},,,,,0,{seen:02},99.99,,,,,,"))
            lines.append(sentence(f"GNRMC,{time},V,,,,,,,{DATE},,,N"))
            continue
        latitude = LATITUDE + (cow.north + north) / METRES_PER_DEGREE
        longitude = LONGITUDE + (cow.east + east) / (METRES_PER_DEGREE * cos(radians(LATITUDE)))
        altitude = ALTITUDE + slope(cow.east, cow.north) + up
        where = f"{angle(latitude, 2, 'NS')},{angle(longitude, 3, 'EW')}"
        hdop = 0.7 + (12 - satellites) * 0.13
        # Below 0.3 knots a receiver no longer tells a course.
        knots = cow.speed * KNOTS_PER_METRE_A_SECOND
        course = f"{round(cow.course * 1800 / pi) % 3600 / 10:.1f}" if knots >= 0.3 else ""
        gga = sentence(f"GNGGA,{time},{where},1,{satellites:02},{hdop:.2f},{altitude:.1f},M,48.9,M,,")
        rmc = sentence(f"GNRMC,{time},A,{where},{knots:.2f},{course},{DATE},,,A")
        if epoch == FLIPPED:
            gga = gga.replace(b"46", b"06", 1)
        if epoch == CUT:
            rmc = rmc[:31] + b"\r\n"
        lines += [gga, rmc]
    return b"".join(lines)


def main() -> int:
    """Write the file."""
    data = build()
    TARGET.write_bytes(data)
    print(f"{TARGET.name}: {len(data)} bytes, {data.count(b'$')} sentences")
    return 0


if __name__ == "__main__":
    sys.exit(main())
