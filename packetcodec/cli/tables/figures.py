"""Figures for people: counts, times, lengths, and what the limits say about a packet.

Owns two rules. A shortest interval is rounded up, never to the nearest: the figure shown may be kept. And where the limits
do not permit a packet there is no interval either, and the cell says "never"; "no limit" is said only where nothing limits
how often.

>>> interval(Fraction(46336, 10000))
'4.64 s'
>>> from packetcodec.radio import LoRa, packet_budget, region
>>> band = region("EU868").sub_band(868_100_000, 125_000)
>>> shortest(packet_budget(LoRa(spreading_factor=7), 14, band))
'4.64 s'
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from fractions import Fraction
from math import ceil
from typing import Any

from packetcodec.cli.options.radio import Radio
from packetcodec.crc.distance import is_weak
from packetcodec.radio import Budget
from packetcodec.spelling import counted
from packetcodec.wire import LayoutPlan, Plan
from packetcodec.wire.compare import describe_check

#: What a cell says of a limit that is exceeded.
_OVER = {
    "dwell": "over dwell time", "single": "too long at once", "window": "over an hour", "advice": "longer than advised",
    "payload": "over payload",
}  # fmt: skip


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


def shortest(budget: Budget | None) -> str:
    """The shortest fixed period in a cell."""
    if budget is None:
        return "-"
    if not budget.permitted:  # advice does not count
        return "never"
    if budget.period is None:
        return "no limit"
    # A period of less than two airtimes tells nothing but that there is a limit: whole seconds will do.
    return interval(budget.period) if budget.telling else f"{ceil(budget.period)} s"


def per_hour(budget: Budget) -> str:
    """Packets in any hour in a cell."""
    return "-" if budget.packets_per_hour is None or not budget.telling else f"{budget.packets_per_hour:,}"


def verdict(budget: Budget | None) -> str:
    """The limits in a cell: the worst of them, and which it is."""
    if budget is None:
        return "too long"
    for state in ("not permitted", "exceeded", "within"):
        for name, item in budget.verdicts.items():
            if item.state == state:
                return _OVER[name] if state == "exceeded" else state
    return "-"


def budget_json(budget: Budget | None) -> dict[str, Any] | None:
    """A budget for programs; None for a packet that is too long to send. Without an interval "never" tells why."""
    if budget is None:
        return None
    limits = {name: {"state": item.state, "description": item.description} for name, item in budget.verdicts.items()}
    return {
        "bytes": budget.payload_bytes, "airtime_ms": budget.airtime * 1000, "route": budget.route.name,
        "never": not budget.permitted, "period_s": budget.period, "average_interval_s": budget.average_interval,
        "packets_per_hour": budget.packets_per_hour, "limits": limits,
    }  # fmt: skip


def complaints(sizes: Iterable[tuple[str, int]], radio: Radio) -> list[str]:
    """What the limits say against packets (a name for each, and bytes), each sentence once with all it holds for."""
    against: dict[str, dict[str, list[str]]] = {}
    shown = tuple(sizes)
    for name, size in shown:
        for modem, budget in radio.budgets(size):
            for item in budget.verdicts.values() if budget is not None else ():
                if item.forbids:
                    words = item.description.replace(modem.name, "this setting", 1)
                    against.setdefault(words, {}).setdefault(f"{name} of {counted(size, 'byte')}", []).append(modem.label)
    return [f"{_place(places, len(shown), radio)}: {words}" for words, places in against.items()]


def _place(places: dict[str, list[str]], most: int, radio: Radio) -> str:
    """For which packets and modems a sentence holds: those with the same modems stand together."""
    alike: dict[tuple[str, ...], list[str]] = {}
    for name, labels in places.items():
        alike.setdefault(tuple(labels), []).append(name)
    return "; ".join(
        ("every packet" if len(names) == most > 1 else ", ".join(names))
        + ("" if len(labels) == len(radio.ways) else f" at {', '.join(labels)}")
        for labels, names in alike.items()
    )
