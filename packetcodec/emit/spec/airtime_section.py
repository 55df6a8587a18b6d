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
from packetcodec.radio import LoRa, choose, packet_budget, region

if TYPE_CHECKING:
    from packetcodec.wire import Plan

_SPREADING_FACTORS = range(7, 13)


def airtime_parts(
    plan: Plan, region_name: str, frequency_hz: int, bandwidth_hz: int, coding_rate: int, preamble: int
) -> dict[str, str | int]:
    """What the template says about airtime; settings as in `packetcodec.emit.write_spec`."""
    where = region(region_name)
    head = ("layout", "bytes", "spreading factor", "airtime ms", "shortest period s", "packets in any hour")
    rows: list[tuple[object, ...]] = [(*head, "one transmission")]
    for layout in plan.layouts:
        size = layout.longest
        for factor in _SPREADING_FACTORS:
            modem = LoRa(spreading_factor=factor, bandwidth_hz=bandwidth_hz, coding_rate=coding_rate, preamble=preamble)
            budget = packet_budget(modem, size, where.sub_band(frequency_hz, modem.occupied_hz))
            period, hourly = "no limit", "no limit"
            if not budget.permitted:  # however seldom
                period, hourly = "never", "-"
            elif budget.period is not None:
                period, hourly = rounded_up(budget.period, 1), str(budget.packets_per_hour)
            states = [verdict.state for verdict in budget.verdicts.values()]
            worst = next((state for state in ("not permitted", "exceeded", "within") if state in states), "not applicable")
            rows.append((layout.name, size, f"SF{factor}", f"{modem.airtime_ms(size):.3f}", period, hourly, worst))
    width = LoRa(spreading_factor=7, bandwidth_hz=bandwidth_hz).occupied_hz
    band = where.sub_band(frequency_hz, width)
    route = choose(band, width)
    megahertz = exact(Fraction(frequency_hz, 10**6))
    return {
        "table": table(rows),
        "words": (
            f"Limits at {megahertz} MHz: {where.title}, sub-band {band.name}, route {route.name}: {route.words}. "
            f"Source: {route.source}, {route.date} (verification: {route.verified})."
        ),
        "bandwidth": exact(Fraction(bandwidth_hz, 1000)),
        "coding_rate": coding_rate,
        "preamble": preamble,
    }
