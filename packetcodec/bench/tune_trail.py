"""The starting values of a trail that suit a recorded log: what to write into the schema to make its packets shorter.

Owns one rule: which values are tried, `INITIAL_SCALES` and `SCALE_RATES`. What a trail leaves to code does not depend on
them. One codes the first point alone, the other all points behind it: so the best of each is the best of all pairs, and
trying each once is exact. The bits are counted by the very code that writes trails.

>>> from packetcodec.wire import Point
>>> from packetcodec.schema import Trail
>>> trail = Trail(points=3, step=223, initial_scale=16, scale_rate=3)
>>> anchor = Point(465_000_000, 98_000_000)
>>> flight = [Point(anchor.latitude + number * 60_000, anchor.longitude) for number in (1, 2, 3)]
>>> found = tune_trail(trail, [(anchor, flight)])
>>> found.initial_scale, found.scale_rate, f"{found.speed:.1f} m/s"
(128, 1, '10.6 m/s')
>>> found.present_bits, found.bits
(32.0, 26.0)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.codec.points import to_point
from packetcodec.errors import ValueFault
from packetcodec.frozen import replace
from packetcodec.schema import DEGREE, METRES_PER_DEGREE_NORTH
from packetcodec.wire import OutOfRangeFault, Point, anchor_of, residuals, write_trail
from packetcodec.wire.trail.numbers import STEADY, Bits, Scale

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from packetcodec.bench.sender import Sender
    from packetcodec.logs.fix import Fix
    from packetcodec.schema import Trail

    Window = tuple[Point, Sequence[Point]]

INITIAL_SCALES = tuple(1 << power for power in range(10))
SCALE_RATES = (1, 2, 3, 4, 6, 8, 16, 32, 64, 128)
#: Bits of more than any trail: 63 points of 5 numbers, each below 2 * 24 ones and as many bits.
_NO_LIMIT = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """Starting values for a trail.

    Attributes:
        initial_scale, scale_rate: the values that make the trails shortest; the present ones where nothing is shorter.
        speed: metres a second for which `initial_scale` is what a schema expects, or None where the spacing is not known.
        bits: mean length of a trail with them, in bits, nothing left out for the limit of a packet.
        present_initial_scale, present_scale_rate, present_bits: the same for the values in use.
        wandering_bits: mean length with `wandering` and the values that suit it; None where the trail has it already, or
            it is not asked.
        windows: trails looked at.
    """

    initial_scale: int
    scale_rate: int
    speed: float | None
    bits: float
    present_initial_scale: int
    present_scale_rate: int
    present_bits: float
    wandering_bits: float | None
    windows: int

    @property
    def gain_bytes(self) -> float:
        """Bytes that a mean trail gets shorter, not rounded to whole ones."""
        return (self.present_bits - self.bits) / 8


def windows(sender: Sender, fixes: Sequence[Fix], *, limit: int = 100) -> list[Window]:
    """Anchors as a receiver decodes them and the points behind each, of at most `limit` of the fixes, evenly spread.

    Args:
        sender: of a layout with a trail.
        fixes: what it sends.
        limit: fixes to look at. Those without a position, without an earlier point, or that cannot be sent give nothing.
    """
    trail = sender.layout.trail
    found: list[Window] = []
    if trail is None:
        return found
    usable = [number for number, fix in enumerate(fixes) if fix.has_position]
    for place in range(min(limit, len(usable))):
        number = usable[place * len(usable) // min(limit, len(usable))]
        values = sender.values(number, fixes[number])
        try:
            anchor = anchor_of(sender.layout, sender.codec.quantize(sender.layout.name, values))
            points = [to_point(trail, point, k) for k, point in enumerate(sender.trail(fixes[number], values), 1)]
        except (ValueFault, OutOfRangeFault):
            continue
        if anchor is not None and points:
            found.append((anchor, points))
    return found


def tune_trail(
    trail: Trail, some: Iterable[Window], *, spacing: float | None = None, compare: bool = False
) -> Suggestion | None:
    """The starting values that make the trails of windows shortest, or None where no window holds a point.

    Args:
        trail: of the schema, with the values in use.
        some: anchors and the points behind each, newest first.
        spacing: seconds from point to point, where the schema does not say.
        compare: whether to look at the trail with `wandering` too, which doubles the time.
    """
    left, lengths, some = [], [], list(some)
    wandering = tune_trail(replace(trail, wandering=True), some) if compare and not trail.wandering else None
    for anchor, points in some:
        rest = residuals(trail, anchor, points)
        if rest:
            left.append(rest)
            lengths.append(write_trail(trail, anchor, points, room=_NO_LIMIT)[0].length)
    if not left:
        return None
    scales = {value: sum(_length(rest[:2], value, 1) for rest in left) for value in {*INITIAL_SCALES, trail.initial_scale}}
    rates = {value: sum(_length(rest[2:], value, STEADY) for rest in left) for value in {*SCALE_RATES, trail.scale_rate}}
    initial_scale = min(scales, key=lambda value: (scales[value], value != trail.initial_scale, value))
    scale_rate = min(rates, key=lambda value: (rates[value], value != trail.scale_rate, value))
    gain = scales[trail.initial_scale] - scales[initial_scale] + rates[trail.scale_rate] - rates[scale_rate]
    between = trail.spacing_seconds or spacing or trail.interval_seed
    resolution = trail.step * METRES_PER_DEGREE_NORTH / DEGREE
    return Suggestion(
        initial_scale=initial_scale,
        scale_rate=scale_rate,
        speed=initial_scale * (1 + trail.wandering) * resolution / between if between else None,
        bits=(sum(lengths) - gain) / len(left),
        present_initial_scale=trail.initial_scale,
        present_scale_rate=trail.scale_rate,
        present_bits=sum(lengths) / len(left),
        wandering_bits=wandering.bits if wandering else None,
        windows=len(left),
    )


def _length(rest: Sequence[int], start: int, steady: int) -> int:
    """Bits of residuals that share a scale."""
    scale, bits = Scale(start), Bits()
    for residual in rest:
        scale.code(residual, bits.code, steady)
    return bits.length
