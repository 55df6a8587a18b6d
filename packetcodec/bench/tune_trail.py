"""The starting values of a trail that suit a recorded log: what to write into the schema to make its packets shorter.

Owns one rule: which values are tried, `FIRSTS` and `CHANGES`. What a trail leaves to code does not depend on them, and the
one codes the first point alone, the other all points behind it: so the best of each is the best of all pairs, and trying
each once is exact. The bits are counted by the very code that writes trails.

>>> from packetcodec.wire import Point
>>> from packetcodec.schema import Trail
>>> trail = Trail(points=3, step=223, initial_scale=16, scale_rate=3, spacing=10)
>>> head = Point(465_000_000, 98_000_000)
>>> flight = [Point(head.latitude + number * 60_000, head.longitude) for number in (1, 2, 3)]
>>> found = suggest(trail, [(head, flight)])
>>> found.initial_scale, found.scale_rate, f"{found.speed:.1f} m/s"
(128, 1, '31.9 m/s')
>>> found.present_bits, found.bits
(32.0, 26.0)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.codec.points import to_point
from packetcodec.errors import ValueFault
from packetcodec.schema import METRES_PER_DEGREE
from packetcodec.wire import OutOfRangeFault, Point, anchor_of, residuals, write_trail
from packetcodec.wire.trail.numbers import STEADY, Bits, Scale, put

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from packetcodec.bench.sender import Sender
    from packetcodec.logs.fix import Fix
    from packetcodec.schema import Trail

    Window = tuple[Point, Sequence[Point]]

FIRSTS = tuple(1 << power for power in range(10))
CHANGES = (1, 2, 3, 4, 6, 8, 16, 32, 64, 128)
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
        windows: trails looked at.
    """

    initial_scale: int
    scale_rate: int
    speed: float | None
    bits: float
    present_initial_scale: int
    present_scale_rate: int
    present_bits: float
    windows: int

    @property
    def gain_bytes(self) -> float:
        """Bytes that a mean trail gets shorter, not rounded to whole ones."""
        return (self.present_bits - self.bits) / 8


def windows(sender: Sender, fixes: Sequence[Fix], *, most: int = 100) -> list[Window]:
    """Heads as a receiver decodes them and the points behind each, of at most `most` of the fixes, evenly spread.

    Args:
        sender: of a layout with a trail.
        fixes: what it sends.
        most: fixes to look at. Those without a position, without an earlier point, or that cannot be sent give nothing.
    """
    trail = sender.layout.trail
    found: list[Window] = []
    if trail is None:
        return found
    usable = [number for number, fix in enumerate(fixes) if fix.has_position]
    for place in range(min(most, len(usable))):
        number = usable[place * len(usable) // min(most, len(usable))]
        values = sender.values(number, fixes[number])
        try:
            head = anchor_of(sender.layout, sender.codec.quantize(sender.layout.name, values))
            points = [to_point(trail, point, k) for k, point in enumerate(sender.trail(fixes[number], values), 1)]
        except (ValueFault, OutOfRangeFault):
            continue
        if head is not None and points:
            found.append((head, points))
    return found


def suggest(trail: Trail, some: Iterable[Window], *, spacing: float | None = None) -> Suggestion | None:
    """The starting values that make the trails of windows shortest, or None where no window holds a point.

    Args:
        trail: of the schema, with the values in use.
        some: heads and the points behind each, newest first.
        spacing: seconds from point to point, where the schema does not say.
    """
    left, lengths = [], []
    for head, points in some:
        rest = residuals(trail, head, points)
        if rest:
            left.append(rest)
            lengths.append(write_trail(trail, head, points, room=_NO_LIMIT)[0].length)
    if not left:
        return None
    firsts = {value: sum(_length(rest[:2], value, 1) for rest in left) for value in {*FIRSTS, trail.initial_scale}}
    changes = {value: sum(_length(rest[2:], value, STEADY) for rest in left) for value in {*CHANGES, trail.scale_rate}}
    first = min(firsts, key=lambda value: (firsts[value], value != trail.initial_scale, value))
    change = min(changes, key=lambda value: (changes[value], value != trail.scale_rate, value))
    gain = firsts[trail.initial_scale] - firsts[first] + changes[trail.scale_rate] - changes[change]
    between = trail.spacing or spacing or trail.interval_seed
    resolution = trail.step * METRES_PER_DEGREE["latitude"] / 1e7
    return Suggestion(
        initial_scale=first,
        scale_rate=change,
        speed=first * resolution / between if between else None,
        bits=(sum(lengths) - gain) / len(left),
        present_initial_scale=trail.initial_scale,
        present_scale_rate=trail.scale_rate,
        present_bits=sum(lengths) / len(left),
        windows=len(left),
    )


def _length(rest: Sequence[int], start: int, steady: int) -> int:
    """Bits of residuals that share a scale."""
    scale, bits = Scale(start), Bits()
    for residual in rest:
        put(bits, residual, scale.order(), steady)
        scale.add(residual)
    return bits.length
