"""Figures for people: counts, times, lengths.

Owns one rule: a shortest interval is rounded up, never to the nearest: the figure shown may be kept.

>>> interval(Fraction(46336, 10000))
'4.64 s'
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING

from packetcodec.crc.distance import is_weak
from packetcodec.spelling import counted
from packetcodec.wire.compare import describe_check

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.wire import LayoutPlan, Plan


def interval(value: Fraction) -> str:
    """A shortest interval for people, rounded up."""
    finest = Fraction(1, 100) if value < 10 else Fraction(1, 10) if value < 100 else Fraction(1)
    return seconds(float(ceil(value / finest) * finest), up=True)


def seconds(value: float | None, *, up: bool = False) -> str:
    """A time for people: 4.12 s, 3 min 20 s, 2 h 05 min; the last minute of hours is begun, with `up`."""
    if value is None:
        return "-"
    if value < 100:
        return f"{value:.2f} s" if value < 10 else f"{value:.1f} s"
    minutes, rest = divmod(round(value), 60)
    if minutes < 60:
        return f"{minutes} min {rest:02d} s"
    minutes += up and rest > 0
    return f"{minutes // 60} h {minutes % 60:02d} min"


def decimal(value: float) -> str:
    """A number in full, with just the digits that it has: 0.0000111."""
    return f"{Decimal(repr(value)).normalize():f}"


def milliseconds(budget_airtime: Fraction) -> str:
    """An airtime for people."""
    return f"{float(budget_airtime * 1000):,.1f} ms"


def describe_size(layout: LayoutPlan) -> str:
    """The size of a layout's packets."""
    return counted(layout.size, "byte") if layout.trail is None else f"{layout.size} to {layout.longest} bytes"


def weak_checks(plan: Plan) -> Iterator[str]:
    """Which layouts are longer than the check is good for."""
    for layout in plan.layouts:
        if plan.crc and is_weak(plan.crc, layout.longest):
            yield (
                f'{describe_check(plan)} is too weak for {layout.longest} bytes (layout "{layout.name}"): two wrong bits '
                "can escape it. Leave out the name and give width alone: a polynomial for this length is then chosen."
            )
