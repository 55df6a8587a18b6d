"""What a schedule costs at other intervals, and among other numbers of trackers: the curves of charts, as rows for programs.

Owns one rule: the interval of the first sending that has one varies, the others stay as they are. What is shorter than an
airtime has no row.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from packetcodec.errors import RadioFault
from packetcodec.radio.contention import contention
from packetcodec.radio.energy import energy
from packetcodec.radio.schedule import schedule_load

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.cli.tables.budget_costs import Costs

#: Seconds, and trackers, that a chart has points for.
_INTERVALS = (5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600)
_TRACKERS = (1, 2, 5, 10, 20, 50, 100)


def by_interval(costs: Costs) -> Iterator[dict[str, Any]]:
    """Share of the limit and charge for each modem and interval; none where no sending has a fixed interval."""
    chosen = next((item for item in costs.planned if item.sending.every is not None), None)
    if chosen is None:
        return
    radio = costs.radios[chosen.frequency]
    every = {Fraction(number) for number in _INTERVALS} | {chosen.sending.every or Fraction(1)}
    for modem, band, route in zip(radio.modems, radio.bands, radio.routes, strict=True):
        for interval in sorted(every):
            planned = [
                replace(item, sending=replace(item.sending, every=interval)) if item is chosen else item
                for item in costs.planned
            ]
            sent = tuple(item.sending for item in planned if item.frequency == chosen.frequency)
            try:
                load = schedule_load(modem, sent, band, route=route.name, **radio.around)
                use = energy(costs.draw, modem, tuple(item.sending for item in planned), overhead=costs.overhead)
            except RadioFault:
                continue
            days = None if costs.battery is None else use.days(costs.battery, derating=costs.derating)
            yield {
                "layout": chosen.layout.name, "modem": modem.label, "every_s": float(interval),
                "worst_seconds": float(load.seconds), "share": None if load.share is None else float(load.share),
                "mah_per_day": use.mah_per_day, "days": days,
            }  # fmt: skip


def by_trackers(costs: Costs) -> Iterator[dict[str, Any]]:
    """Channel load and losses for each modem, number of trackers and layout."""
    for radio, sent in costs.channels():
        for modem in radio.modems:
            for trackers in sorted({*_TRACKERS, costs.trackers}):
                found = contention(modem, sent, trackers=trackers, overhead=costs.overhead)
                for item, loss in zip(sent, found.losses, strict=True):
                    yield {
                        "layout": item.name, "modem": modem.label, "trackers": trackers,
                        "channel_load": float(found.channel_load), "loss": float(loss),
                    }  # fmt: skip
