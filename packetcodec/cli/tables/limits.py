"""What the limits say about a packet, in the cells of a table and in the lines below it.

Owns one rule: where the limits do not permit a packet there is no interval either, and the cell says "never". "no limit"
is said only where nothing limits how often.

>>> from packetcodec.radio import LoRa, packet_budget, region
>>> band = region("EU868").sub_band(868_100_000, 125_000)
>>> shortest(packet_budget(LoRa(spreading_factor=7), 14, band))
'4.64 s'
"""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING, Any

from packetcodec.cli.tables.figures import interval
from packetcodec.spelling import counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from packetcodec.cli.options.radio import Radio
    from packetcodec.radio import Budget


#: What a cell says of a limit that is exceeded.
_OVER = {
    "dwell": "over dwell time", "single": "too long at once", "window": "over an hour", "advice": "over advice",
    "payload": "over payload",
}  # fmt: skip


def never(budget: Budget) -> bool:
    """Whether the limits do not permit this packet, however seldom it is sent. Advice does not count."""
    return not budget.permitted


def shortest(budget: Budget | None) -> str:
    """The shortest fixed period in a cell."""
    if budget is None:
        return "-"
    if never(budget):
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
    average = budget.average_interval
    return {
        "bytes": budget.payload_bytes,
        "airtime_ms": float(budget.airtime * 1000),
        "route": budget.route.name,
        "never": never(budget),
        "period_s": None if budget.period is None else float(budget.period),
        "average_interval_s": None if average is None else float(average),
        "packets_per_hour": budget.packets_per_hour,
        "limits": {name: {"state": item.state, "description": item.description} for name, item in budget.verdicts.items()},
    }


def complaints(sizes: Iterable[tuple[str, int]], radio: Radio) -> list[str]:
    """What the limits say against packets (a name for each, and bytes), each sentence once with all it holds for."""
    against: dict[str, dict[str, list[str]]] = {}
    shown = tuple(sizes)
    for name, size in shown:
        for label, modem, budget in zip(radio.labels, radio.modems, radio.budgets(size), strict=True):
            for item in budget.verdicts.values() if budget is not None else ():
                if item.forbids:
                    words = item.description.replace(modem.name, "this setting", 1)
                    against.setdefault(words, {}).setdefault(f"{name} of {counted(size, 'byte')}", []).append(label)
    return [f"{_place(places, len(shown), radio)}: {words}" for words, places in against.items()]


def _place(places: dict[str, list[str]], most: int, radio: Radio) -> str:
    """For which packets and modems a sentence holds: those with the same modems stand together."""
    alike: dict[tuple[str, ...], list[str]] = {}
    for name, labels in places.items():
        alike.setdefault(tuple(labels), []).append(name)
    return "; ".join(
        ("every packet" if len(names) == most > 1 else ", ".join(names)) + _modems(labels, radio)
        for labels, names in alike.items()
    )


def _modems(labels: Sequence[str], radio: Radio) -> str:
    return "" if len(labels) == len(radio.modems) else f" at {', '.join(labels)}"
