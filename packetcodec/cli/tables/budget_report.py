"""What a schedule costs, for people and for programs: each section is one row for both.

Owns one rule: a share, a loss and a charge are rounded up, days and margins down.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import ceil, floor, inf
from typing import Any

from packetcodec.cli.tables.budget_costs import Costs
from packetcodec.cli.tables.figures import milliseconds
from packetcodec.cli.tables.sheet import Sheet, console, table
from packetcodec.radio import CAUTION
from packetcodec.radio.contention import FIXED_PHASE, MODEL
from packetcodec.radio.energy import DEFAULTS
from packetcodec.radio.lora import SENSITIVITY_SOURCE
from packetcodec.radio.schedule import Load, Sending
from packetcodec.wire import bounds

#: A row for programs, and its cells for people.
Rows = Iterator[tuple[dict[str, Any], tuple[object, ...]]]


def print_budget(costs: Costs) -> None:
    """The report for people."""
    out = console()
    for radio, sent in costs.channels():
        out.lines(radio.description, radio.source, f"sent: {'; '.join(map(sent_words, sent))}")
    out.put()
    for sheet in budget_tables(costs):
        out.print(sheet)
    out.lines(*budget_remarks(costs))
    out.put(CAUTION, style="italic")


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


def _limits(costs: Costs) -> Rows:
    for _, modem, load in costs.loads():
        band, verdict = load.budgets[0].sub_band.name, _verdict(load)
        most = load.allowance
        share = "-" if load.share is None or not most else f"{percent(load.share)} of {most.description}"
        yield {
            "modem": modem.name, "sub_band": band, "route": load.budgets[0].route.name, "worst_seconds": load.seconds,
            "share": load.share, "verdict": verdict, "costliest": load.costliest, "each_seconds": load.each,
        }, (modem.label, band, f"{ceil(load.seconds * 100) / 100:g} s", share, verdict, load.costliest)  # fmt: skip


def _rooms(costs: Costs) -> Rows:
    for modem, item, most in costs.rooms():
        cells = ("none", "-") if most is None else (most, f"{most - item.payload_bytes:+d}")
        row = {"layout": item.name, "modem": modem.name, "bytes": item.payload_bytes, "largest": most}
        yield row, (item.name, modem.label, item.payload_bytes, *cells)


def _fields(costs: Costs) -> Rows:
    for layout, field, cost, seen in costs.fields():
        said = cost.one_less and cost.one_less.description
        less = (said or "").partition(": ")[2]
        less += " (nearly free)" if cost.one_less is not None and cost.one_less.nearly_free else ""
        yield {
            "layout": layout.name, "field": cost.name, "bits": cost.bits, "unused_codes": cost.unused, "free": cost.finer,
            "one_bit_less": said, "in_the_log": seen,
        }, (layout.name, cost.name, less, cost.finer, bounds(field), seen, cost.bits, cost.unused)  # fmt: skip


def _shorter(costs: Costs) -> Rows:
    for layout, modem, drop, saves, taken in costs.shorter():
        words = None if taken is None else [item.description for item in taken]
        row = {
            "layout": layout.name,
            "modem": modem.name,
            "drop_bytes": drop,
            "saves_ms": saves * 1000,
            "concessions": words,
        }
        said = "the fields do not have so many bits" if words is None else "; ".join(words)
        yield row, (layout.name, modem.label, said, f"-{drop}", f"-{milliseconds(saves)}")


def _channel(costs: Costs) -> Rows:
    for modem, item, loss, found in costs.shared():
        missed = {points: loss ** (points + 1) for points in costs.trail_points}
        row = {"layout": item.name, "modem": modem.name, "channel_load": found.channel_load, "loss": loss}
        shown = (percent(loss), f"{ceil(loss * 10_000) / 10_000:.4f}", *map(percent, list(missed.values())[1:]))
        yield row | {"missed_with_points": missed}, (item.name, modem.label, percent(found.channel_load), *shown)


def _battery(costs: Costs) -> Rows:
    for modem, use, days in costs.charge() if costs.battery is not None else ():
        packets = zip(costs.sendings, use.mas_per_packet, strict=True)
        each = ", ".join(f"{item.name} {ceil(charge * 10) / 10:g}" for item, charge in packets)
        asleep, last = percent(Fraction(use.sleep_share)), "-" if days in (None, inf) else f"{floor(days or 0):,}"
        yield {
            "modem": modem.name, "mas_per_packet": use.mas_per_packet, "mah_per_day": use.mah_per_day,
            "sleep_share": use.sleep_share, "days": days,
        }, (modem.label, each, f"{ceil(use.mah_per_day * 100) / 100:g}", asleep, last)  # fmt: skip


def _sections(costs: Costs) -> dict[str, tuple[Rows, str, tuple[str, ...], dict[str, Any]]]:
    """Key for programs to rows, title, columns and form of a table."""
    keyed = {"left": 2, "keys": 2}
    missed = (f"missed, {points} points" for points in costs.trail_points[1:])
    limits = "Share of the limit in the worst continuous hour, or other window of the limit"
    return {
        "limits": (
            _limits(costs), limits, ("modem", "sub-band", "on air", "share of the limit", "limits", "costs most"), keyed,
        ),
        "room": (_rooms(costs), "How many bytes may I use?", ("layout", "modem", "now", "largest", "free"), keyed),
        "fields": (
            _fields(costs), "Which field should I shrink?",
            ("layout", "field", "one bit less", "free", "range", "in the log", "bits", "unused codes"),
            {"left": 6, "keys": 2, "prose": True},
        ),
        "shorter": (
            _shorter(costs), "To the next shorter airtime",
            ("layout", "modem", "concessions that suffice", "bytes", "airtime"),
            {"left": 3, "keys": 2, "prose": True},
        ),
        "channel": (
            _channel(costs), f"{costs.trackers} trackers on the channel: what overlaps is lost",
            ("layout", "modem", "channel load", "lost", "--loss", *missed), keyed,
        ),
        "battery": (
            _battery(costs), f"A battery of {costs.battery or 0:g} mAh, of which {costs.derating:g} can be used",
            ("modem", "mA s for a packet", "mAh a day", "asleep", "days"), {"left": 2},
        ),
    }  # fmt: skip


def budget_tables(costs: Costs) -> Iterator[Sheet]:
    """The tables of the report."""
    for name, (rows, title, columns, form) in _sections(costs).items():
        cells = [row for _, row in rows]
        if cells if name == "battery" else name != "channel" or costs.trackers > 1:
            yield table(title, columns, cells, **form)
    gains = [(label, f"{floor(gain * 10) / 10:+.1f} dB") for label, gain in costs.margins().items()]
    if len(gains) > 1:
        yield table("Link margin over the first", ("modem", "margin"), gains)


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
        yield f"Margins: {SENSITIVITY_SOURCE}. No kilometres follow from them."
    yield from costs.radio.notes


def budget_report_json(costs: Costs) -> dict[str, Any]:
    """The report for programs: every number of the tables, exact."""
    channels = [
        {"setting": radio.description, "source": radio.source, "notes": radio.notes, "sent": [*map(_sending_json, sent)]}
        for radio, sent in costs.channels()
    ]
    found: dict[str, Any] = {name: [row for row, _ in rows] for name, (rows, *_) in _sections(costs).items()}
    found["channel"] = {
        "trackers": costs.trackers, "model": MODEL, "fixed_phase": FIXED_PHASE, "rows": found["channel"],
    }  # fmt: skip
    return {"channels": channels} | found | {
        "by_interval": list(costs.by_interval()), "by_trackers": list(costs.by_trackers()),
        "margin_db": costs.margins(), "caution": CAUTION,
    }  # fmt: skip


def _sending_json(item: Sending) -> dict[str, Any]:
    return {"layout": item.name, "bytes": item.payload_bytes, "every_s": item.every, "per_hour": item.per_hour}
