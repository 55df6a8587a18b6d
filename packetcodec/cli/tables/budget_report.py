"""What a schedule costs, for people and for programs.

Owns one rule: a share, a loss and a charge are rounded up, days and margins down.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil, floor, inf
from typing import TYPE_CHECKING, Any

from packetcodec.cli.tables.budget_curves import by_interval, by_trackers
from packetcodec.cli.tables.figures import milliseconds
from packetcodec.cli.tables.sheet import console, table
from packetcodec.radio import CAUTION
from packetcodec.radio.contention import FIXED_PHASE, MODEL
from packetcodec.radio.energy import DEFAULTS
from packetcodec.radio.sensitivity import SOURCE
from packetcodec.wire import bounds

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.cli.tables.budget_costs import Costs
    from packetcodec.cli.tables.sheet import Sheet
    from packetcodec.radio.schedule import Load, Sending

_POINTS = (0, 5, 10)


def print_budget(costs: Costs) -> None:
    """The report for people."""
    out = console()
    for radio, sent in costs.channels():
        out.put(radio.description)
        out.put(radio.source)
        out.put(f"sent: {'; '.join(map(sent_words, sent))}")
    out.put()
    for sheet in budget_tables(costs):
        out.print(sheet)
    for line in budget_remarks(costs):
        out.put(line)
    out.put(CAUTION, style="italic")


def budget_tables(costs: Costs) -> Iterator[Sheet]:
    """The tables of the report."""
    sheets = (_limits_table, _room_table, _fields_table, _shorter_table, _channel_table, _battery_table, _margin_table)
    for sheet in sheets:
        made = sheet(costs)
        if made is not None:
            yield made


def sent_words(item: Sending) -> str:
    """A sending in words."""
    often = f"every {float(item.every):g} s" if item.every is not None else f"{item.per_hour} an hour"
    return f"{item.name} {often}, up to {item.payload_bytes} bytes"


def percent(share: Fraction | float) -> str:
    """A share as a percentage, rounded up."""
    digits = 1 if share >= 0.001 else 4
    return f"{ceil(share * 100 * 10**digits) / 10**digits:g} %"


def _verdict(load: Load) -> str:
    if not all(budget.permitted for budget in load.budgets):
        return "not permitted"
    if not load.permitted:
        return "exceeded"
    return "no limit" if load.share is None and load.budgets[0].period is None else "within"


def _limits_table(costs: Costs) -> Sheet:
    rows = [
        (
            modem.label, load.budgets[0].sub_band.name, f"{ceil(load.seconds * 100) / 100:g} s",
            "-" if load.share is None or not (most := load.allowance) else f"{percent(load.share)} of {most.description}",
            _verdict(load), load.costliest,
        )
        for _, modem, load in costs.loads()
    ]  # fmt: skip
    columns = ("modem", "sub-band", "on air", "share of the limit", "limits", "costs most")
    return table(
        "Share of the limit in the worst continuous hour, or other window of the limit", columns, rows, left=2, keys=2
    )


def _room_table(costs: Costs) -> Sheet:
    rows = [
        (item.name, modem.label, item.payload_bytes, "none" if most is None else most,
         "-" if most is None else f"{most - item.payload_bytes:+d}")
        for modem, item, most in costs.rooms()
    ]  # fmt: skip
    return table("How many bytes may I use?", ("layout", "modem", "now", "largest", "free"), rows, left=2, keys=2)


def _fields_table(costs: Costs) -> Sheet:
    rows = []
    for layout, field, cost, seen in costs.fields():
        less = "" if cost.one_less is None else cost.one_less.description.partition(": ")[2]
        free = " (nearly free)" if cost.one_less is not None and cost.one_less.nearly_free else ""
        rows.append((layout.name, cost.name, less + free, cost.finer, bounds(field), seen, cost.bits, cost.unused))
    columns = ("layout", "field", "one bit less", "free", "range", "in the log", "bits", "unused codes")
    return table("Which field should I shrink?", columns, rows, left=6, keys=2, prose=True)


def _shorter_table(costs: Costs) -> Sheet:
    rows = [
        (item.layout.name, item.modem.label, _taken(item.taken), f"-{item.drop_bytes}", f"-{milliseconds(item.saves)}")
        for item in costs.shorter()
    ]
    columns = ("layout", "modem", "smallest set of concessions", "bytes", "airtime")
    return table("To the next shorter airtime", columns, rows, left=3, keys=2, prose=True)


def _taken(taken: Any) -> str:
    return "the fields do not have so many bits" if taken is None else "; ".join(item.description for item in taken)


def _channel_table(costs: Costs) -> Sheet | None:
    if costs.trackers == 1:
        return None
    rows = [
        (item.name, modem.label, percent(found.channel_load), percent(loss), f"{float(loss):.4f}",
         *(percent(loss ** (points + 1)) for points in _POINTS[1:]))
        for _, modem, sent, found in costs.shared()
        for item, loss in zip(sent, found.losses, strict=True)
    ]  # fmt: skip
    title = f"{costs.trackers} trackers on the channel: what overlaps is lost"
    columns = ("layout", "modem", "channel load", "lost", "--loss", *(f"missed, {points} points" for points in _POINTS[1:]))
    return table(title, columns, rows, left=2, keys=2)


def _battery_table(costs: Costs) -> Sheet | None:
    if costs.battery is None:
        return None
    rows = []
    for modem, use in costs.charge():
        days = use.days(costs.battery, derating=costs.derating)
        each = ", ".join(
            f"{item.name} {ceil(charge * 10) / 10:g}"
            for item, charge in zip(costs.sendings, use.mas_per_packet, strict=True)
        )
        rows.append((modem.label, each, f"{ceil(use.mah_per_day * 100) / 100:g}", percent(Fraction(use.sleep_share)),
                     "-" if days == inf else f"{floor(days):,}"))  # fmt: skip
    title = f"A battery of {costs.battery:g} mAh, of which {costs.derating:g} can be used"
    columns = ("modem", "mA s for a packet", "mAh a day", "asleep", "days")
    return table(title, columns, rows, left=2)


def _margin_table(costs: Costs) -> Sheet | None:
    rows = [(modem.label, f"{floor(gain * 10) / 10:+.1f} dB") for modem, gain in costs.margins()]
    return table("Link margin over the first", ("modem", "margin"), rows) if len(rows) > 1 else None


def budget_remarks(costs: Costs) -> Iterator[str]:
    """What stands below the tables."""
    for radio, modem, load in costs.loads():
        for budget in load.budgets:
            for name, verdict in budget.verdicts.items():
                if verdict.forbids and name != "advice":
                    yield f"{modem.label}, {radio.frequency_hz / 1e6:g} MHz: {verdict.description}"
                    break
    yield "The longest packet of each layout counts, and for a layout with a trail the bits of its fields."
    if costs.trackers > 1:
        yield MODEL
        yield FIXED_PHASE
    if costs.battery is not None:
        yield "Currents: " + "; ".join(f"{name} {getattr(costs.draw, name):g}" for name in DEFAULTS) + "."
        for name, (value, source) in DEFAULTS.items():
            if getattr(costs.draw, name) == value:
                yield f"{name} {value:g} is a default: {source}."
    if len(costs.radio.modems) > 1:
        yield f"Margins: {SOURCE}. No kilometres follow from them."
    yield from costs.radio.notes


def budget_report_json(costs: Costs) -> dict[str, Any]:
    """The report for programs: every number of the tables, exact."""
    channel = {"trackers": costs.trackers, "model": MODEL, "fixed_phase": FIXED_PHASE, "rows": list(_channel_json(costs))}
    return {
        "channels": [
            {"setting": radio.description, "source": radio.source, "notes": radio.notes, "sent": [*map(_sending_json, sent)]}
            for radio, sent in costs.channels()
        ],
        "limits": [
            {
                "modem": modem.name, "sub_band": load.budgets[0].sub_band.name, "route": load.budgets[0].route.name,
                "worst_seconds": float(load.seconds), "share": None if load.share is None else float(load.share),
                "verdict": _verdict(load), "costliest": load.costliest, "each_seconds": [float(part) for part in load.each],
            }
            for _, modem, load in costs.loads()
        ],
        "room": [
            {"layout": item.name, "modem": modem.name, "bytes": item.payload_bytes, "largest": most}
            for modem, item, most in costs.rooms()
        ],
        "fields": [
            {"layout": layout.name, "field": cost.name, "bits": cost.bits, "unused_codes": cost.unused, "free": cost.finer,
             "one_bit_less": cost.one_less and cost.one_less.description, "in_the_log": seen}
            for layout, _, cost, seen in costs.fields()
        ],
        "shorter": [
            {"layout": item.layout.name, "modem": item.modem.name, "drop_bytes": item.drop_bytes,
             "saves_ms": float(item.saves * 1000), "concessions": item.taken and [part.description for part in item.taken]}
            for item in costs.shorter()
        ],
        "channel": channel,
        "battery": list(_battery_json(costs)),
        "by_interval": list(by_interval(costs)),
        "by_trackers": list(by_trackers(costs)),
        "margin_db": {modem.label: gain for modem, gain in costs.margins()},
        "caution": CAUTION,
    }  # fmt: skip


def _sending_json(item: Sending) -> dict[str, Any]:
    every = None if item.every is None else float(item.every)
    return {"layout": item.name, "bytes": item.payload_bytes, "every_s": every, "per_hour": item.per_hour}


def _channel_json(costs: Costs) -> Iterator[dict[str, Any]]:
    for _, modem, sent, found in costs.shared():
        for item, loss in zip(sent, found.losses, strict=True):
            missed = {str(points): float(loss ** (points + 1)) for points in _POINTS}
            yield {
                "layout": item.name, "modem": modem.name, "channel_load": float(found.channel_load), "loss": float(loss),
                "missed_with_points": missed,
            }  # fmt: skip


def _battery_json(costs: Costs) -> Iterator[dict[str, Any]]:
    for modem, use in costs.charge() if costs.battery is not None else ():
        yield {
            "modem": modem.name, "mas_per_packet": use.mas_per_packet, "mah_per_day": use.mah_per_day,
            "sleep_share": use.sleep_share, "days": use.days(costs.battery or 0, derating=costs.derating),
        }  # fmt: skip
