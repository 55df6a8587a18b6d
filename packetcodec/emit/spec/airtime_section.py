"""Airtime of a plan's packets as the text for whoever deploys it tells it.

Owns no rule: airtime, limits and their sources are those of `packetcodec.radio`.

>>> from packetcodec.starter import example_plan
>>> parts = airtime_parts(example_plan(), "EU868", 868_100_000, 125_000, 5, 8)
>>> parts["bandwidth"], [str(cell) for cell in parts["rows"][0]]
('125', ['position', '14', 'SF7', '46.336', '4.7', '776', 'within'])
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from packetcodec.emit.spec.text import exact, rounded_up
from packetcodec.radio import LoRa, choose, packet_budget, region

if TYPE_CHECKING:
    from typing import Any

    from packetcodec.wire import Plan

_SPREADING_FACTORS = range(7, 13)


def airtime_parts(
    plan: Plan, region_name: str, frequency_hz: int, bandwidth_hz: int, coding_rate: int, preamble: int
) -> dict[str, Any]:
    """What the template says about airtime; settings as in `packetcodec.emit.write_spec`."""
    where = region(region_name)
    rows = []
    for layout in plan.layouts:
        for factor in _SPREADING_FACTORS:
            modem = LoRa(spreading_factor=factor, bandwidth_hz=bandwidth_hz, coding_rate=coding_rate, preamble=preamble)
            budget = packet_budget(modem, layout.longest, where.sub_band(frequency_hz, modem.occupied_hz))
            period, hourly = "no limit", "no limit"
            if not budget.permitted:
                period, hourly = "never", "none"
            elif budget.period is not None:
                period, hourly = rounded_up(budget.period, 1), str(budget.packets_per_hour)
            states = [verdict.state for verdict in budget.verdicts.values()]
            worst = next((state for state in ("not permitted", "exceeded", "within") if state in states), "not applicable")
            airtime = f"{modem.airtime_ms(layout.longest):.3f}"
            rows.append((layout.name, layout.longest, f"SF{factor}", airtime, period, hourly, worst))
    width = LoRa(spreading_factor=7, bandwidth_hz=bandwidth_hz).occupied_hz
    band = where.sub_band(frequency_hz, width)
    return {
        "rows": rows,
        "region": where,
        "band": band,
        "route": choose(band, width),
        "megahertz": exact(Fraction(frequency_hz, 10**6)),
        "bandwidth": exact(Fraction(bandwidth_hz, 1000)),
        "coding_rate": coding_rate,
        "preamble": preamble,
    }
