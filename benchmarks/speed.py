"""How fast is the codec? One record, side by side with general-purpose libraries, all in one run.

    python benchmarks/speed.py [--quick] [--json]

The rows take turns; each round gives one ratio to ours, and the median of the rounds is printed, so a busy machine
slows all of them alike. The garbage collector runs as in a program. What a row includes stands beside it: only ours
does the check, the ranges and the units. A ratio of 20 reads "takes 20 times as long as ours", below 1 is faster.
"""

from __future__ import annotations

import argparse
import json
import platform
import sys
from dataclasses import dataclass
from statistics import median
from timeit import Timer

from record import CONSTRUCT, OURS, PROTOBUF, Row, rows

LEAST_OVER_CONSTRUCT = 15.0
MAX_OVER_PROTOBUF = 1.5


@dataclass(frozen=True)
class Measured:
    """A row's medians: microseconds each, and the ratio to ours."""

    encode_us: float
    decode_us: float
    encode_ratio: float
    decode_ratio: float


class Contender:
    """A statement and how often it runs per round, so that each takes about the same time."""

    def __init__(self, statement: str, row: Row, seconds: float) -> None:
        self.timer = Timer(statement, "import gc; gc.enable()", globals=dict(row.names))
        self.timer.timeit(20)
        once = min(self.timer.repeat(5, 20)) / 20
        self.number = max(5, round(seconds / once))
        self.each: list[float] = []

    def run(self) -> None:
        """One round."""
        self.each.append(self.timer.timeit(self.number) / self.number)

    def ratio(self, ours: Contender) -> float:
        """Median over the rounds of this one's time by ours in the same round."""
        return median(mine / other for mine, other in zip(self.each, ours.each, strict=True))


def measure(contenders: list[Row], rounds: int, seconds: float) -> dict[str, Measured]:
    """Row name to what it took; the first row is ours."""
    encoders = [Contender(row.encode, row, seconds) for row in contenders]
    decoders = [Contender(row.decode, row, seconds) for row in contenders]
    for _ in range(rounds):
        for contender in (*encoders, *decoders):
            contender.run()
    return {
        row.name: Measured(
            median(encoder.each) * 1e6,
            median(decoder.each) * 1e6,
            encoder.ratio(encoders[0]),
            decoder.ratio(decoders[0]),
        )
        for row, encoder, decoder in zip(contenders, encoders, decoders, strict=True)
    }


def reaches(measured: dict[str, Measured]) -> list[tuple[str, float, bool]]:
    """What the codec is meant to reach, as text, with the figure measured and whether it is reached."""
    construct = measured[CONSTRUCT].decode_ratio
    protobuf = 1 / next(item.decode_ratio for name, item in measured.items() if name.startswith(PROTOBUF))
    same = "the same bits without check and units"
    return [
        (
            f"decode at least {LEAST_OVER_CONSTRUCT:g} times as fast as construct parses {same}",
            construct,
            construct >= LEAST_OVER_CONSTRUCT,
        ),
        (
            f"at most {MAX_OVER_PROTOBUF:g} times protobuf's parse plus reading every field",
            protobuf,
            protobuf <= MAX_OVER_PROTOBUF,
        ),
    ]


def table(contenders: list[Row], measured: dict[str, Measured]) -> str:
    """The figures for people."""
    lines = [f"{'':31}{'bytes':>6}{'encode':>10}{'decode':>10}   includes"]
    for row in contenders:
        took = measured[row.name]
        ratios = f"{took.encode_ratio:>9.2f}x{took.decode_ratio:>9.2f}x"
        lines.append(f"{row.name:31}{len(row.data):>6}{ratios}   {row.includes or 'raw codes by position'}")
    ours = measured[OURS]
    lines.append(f"{OURS} itself: encode {ours.encode_us:.2f} us, decode {ours.decode_us:.2f} us")
    return "\n".join(lines)


def main() -> int:
    """Print the comparison."""
    parser = argparse.ArgumentParser(description="Compares the codec's speed with general-purpose libraries.")
    parser.add_argument("--quick", action="store_true", help="a second or two, for a first impression")
    parser.add_argument("--json", action="store_true", help="figures for programs")
    options = parser.parse_args()
    contenders = rows()
    measured = measure(contenders, 7 if options.quick else 41, 0.004 if options.quick else 0.01)
    goals = reaches(measured)
    where = f"Python {platform.python_version()}, {platform.machine()}"
    if options.json:
        document = {
            "python": platform.python_version(),
            "rows": [
                {
                    "name": row.name,
                    "bytes": len(row.data),
                    "includes": row.includes,
                    "encode_us": round(measured[row.name].encode_us, 3),
                    "decode_us": round(measured[row.name].decode_us, 3),
                    "encode_ratio": round(measured[row.name].encode_ratio, 3),
                    "decode_ratio": round(measured[row.name].decode_ratio, 3),
                }
                for row in contenders
            ],
            "reaches": [{"reach": text, "measured": round(figure, 2), "reached": ok} for text, figure, ok in goals],
        }
        print(json.dumps(document, indent=2))
        return 0
    print(f"One record (version, device, counter, position, altitude, battery, fix quality) on {where}")
    print("Time by ours, the median of rounds that take turns: 20x takes 20 times as long as ours.\n")
    print(table(contenders, measured))
    print()
    for text, figure, ok in goals:
        print(f"reach: {text}: measured {figure:.2f} ({'reached' if ok else 'missed'})")
    return 0


if __name__ == "__main__":
    sys.exit(main())
