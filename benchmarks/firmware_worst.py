"""How long does the encoder of a trail take at worst? Cycles on a simulated ATmega328P, over packets of several lengths.

    python benchmarks/firmware_worst.py

63 points that fall back to coarser cells where they do not fit: each pass codes points until the packet is full, so the
time grows with the passes and with the bytes of the packet. The points lie at random in squares of several sizes around
the position; the most cycles of all is printed.

Needs Debian's gcc-avr avr-libc simavr.
"""

from __future__ import annotations

import re
import sys
import tempfile
from pathlib import Path

from firmware import COMMON, HERE, run

from packetcodec import Schema, compile_plan
from packetcodec.emit.c import write_c

SPREADS = (200, 2000, 20_000, 60_000, 2_000_000, 20_000_000)  # in 1e-7 degree
CLOCK_HZ = 16_000_000


def schema(packet_bytes: int) -> Schema:
    """A position with 63 points in so many bytes."""
    return Schema.parse(f"""
        name = "pasture"
        version = 1
        [[layouts]]
        name = "track"
        id = 2
        fields = [
          {{ kind = "identifier" }}, {{ kind = "counter" }},
          {{ kind = "latitude", resolution_m = 2.5 }}, {{ kind = "longitude", resolution_m = 2.5 }},
        ]
        trail = {{ points = 63, resolution_m = 2.5, spacing = 30, too_long = "coarsen", packet_bytes = {packet_bytes} }}
        """)


def cycles(folder: Path, spread: int) -> int:
    """What it takes to encode points within so many units of latitude and longitude."""
    sources = [str(HERE / "worst.c"), "pasture_packets.c", "-I.", f"-DSPREAD={spread}L"]
    run(["avr-gcc", *COMMON, "-mmcu=atmega328p", *sources, "-o", "worst.elf"], folder)
    told = run(["simavr", "-m", "atmega328p", "-f", str(CLOCK_HZ), "worst.elf"], folder)
    found = re.search(r"^(?:\x1b\[\d+m)*(\d+) \d+ ", told, re.MULTILINE)
    if not found:
        raise SystemExit(f"firmware_worst.py: the simulator said {told!r}")
    return int(found[1])


def main() -> int:
    """Print the table."""
    print(f"{'packet':>8}{'cycles':>10}{'at 16 MHz':>12}")
    for packet_bytes in (32, 60, 120, 255):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            for file, text in write_c(compile_plan(schema(packet_bytes)), only="encode").items():
                (folder / file).write_text(text, encoding="utf-8")
            most = max(cycles(folder, spread) for spread in SPREADS)
        print(f"{packet_bytes:>6} B{most:>10}{-(-most * 1000 // CLOCK_HZ):>9} ms")
    return 0


if __name__ == "__main__":
    sys.exit(main())
