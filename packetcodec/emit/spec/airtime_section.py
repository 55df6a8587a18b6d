"""Airtime of a plan's packets in the table of its specification.

Owns no rule: airtime, limits and their sources are those of `packetcodec.radio`.

>>> from packetcodec.wire import compile_plan
>>> from packetcodec.schema import Schema
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... check = { crc = "CRC-8/AUTOSAR" }
... [[layouts]]
... name = "gate"
... id = 2
... fields = [{ kind = "flag", name = "open" }]
... '''))
>>> airtime_parts(plan, "EU868", 868_100_000, 125_000, 5, 8)["bandwidth"]
'125'
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from packetcodec.emit.text import exact, rounded_up, table
from packetcodec.radio import LoRa, packet_budget, region

if TYPE_CHECKING:
    from packetcodec.wire import Plan

_SPREADING_FACTORS = range(7, 13)


def airtime_parts(
    plan: Plan, region_name: str, frequency_hz: int, bandwidth_hz: int, coding_rate: int, preamble: int
) -> dict[str, str | int]:
    """What the template says about airtime; settings as in `packetcodec.emit.write_spec`."""
    where = region(region_name)
    head = ("layout", "bytes", "spreading factor", "airtime ms", "shortest average interval s", "packets in any hour")
    rows: list[tuple[object, ...]] = [(*head, "one transmission")]
    for layout in plan.layouts:
        size = layout.longest
        for factor in _SPREADING_FACTORS:
            modem = LoRa(spreading_factor=factor, bandwidth_hz=bandwidth_hz, coding_rate=coding_rate, preamble=preamble)
            budget = packet_budget(modem, size, where.sub_band(frequency_hz, modem.occupied_hz))
            interval = "no limit" if budget.interval is None else rounded_up(budget.interval, 1)
            hourly = "no limit" if budget.packets_per_hour is None else str(budget.packets_per_hour)
            if budget.dwell.state in {"not permitted", "exceeded"}:  # no way for such a packet, however seldom
                interval, hourly = "never", "-"
            verdict = budget.dwell if budget.dwell.state != "not applicable" else budget.single
            row = (layout.name, size, f"SF{factor}", f"{modem.airtime_ms(size):.3f}")
            rows.append((*row, interval, hourly, verdict.state))
    band = where.sub_band(frequency_hz, LoRa(spreading_factor=7, bandwidth_hz=bandwidth_hz).occupied_hz)
    duty = "no duty cycle limit"
    if band.duty_cycle is not None:
        duty = f"duty cycle {exact(band.duty_cycle * 100)} % of any continuous hour"
    megahertz = exact(Fraction(frequency_hz, 10**6))
    return {
        "table": table(rows),
        "words": (
            f"Limits at {megahertz} MHz: {where.title}, sub-band {band.name}: {duty}. "
            f"Source: {band.source}, {band.date} (verification: {band.verified})."
        ),
        "bandwidth": exact(Fraction(bandwidth_hz, 1000)),
        "coding_rate": coding_rate,
        "preamble": preamble,
    }
