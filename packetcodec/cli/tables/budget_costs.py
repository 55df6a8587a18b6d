"""All that a schedule costs, worked out for a report.

Owns no rule of its own: limits, channel, charge, margin and concessions are `packetcodec.radio`'s to say.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from packetcodec.bench.history import trail_lengths
from packetcodec.bench.sender import value_of_fix
from packetcodec.cli.options.radio import Radio
from packetcodec.cli.options.schedule import Planned
from packetcodec.errors import RadioFault
from packetcodec.logs import Fix
from packetcodec.radio import LoRa, Modem
from packetcodec.radio.concessions import Concession, FieldCost, bits_to_drop, cheapest, field_costs
from packetcodec.radio.contention import Contention, contention
from packetcodec.radio.energy import Draw, Energy, energy
from packetcodec.radio.lora import gain_db
from packetcodec.radio.schedule import Load, Sending, largest_payload, schedule_load
from packetcodec.schema import Form
from packetcodec.wire import FieldPlan, LayoutPlan, Plan

#: Seconds, and trackers, that a chart has points for.
_INTERVALS = (5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600)
_TRACKERS = (1, 2, 5, 10, 20, 50, 100)


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """What a schedule costs.

    Attributes:
        plan: of the schema.
        planned: the sendings, as the command line has them.
        radios: channel in MHz as it was written (None: that of --frequency) to the radio on it.
        trackers: how many share the channel.
        draw, battery, derating: currents; capacity in mAh, or None; the share of it that can be used.
        fixes: of a log, to set its ranges beside those of the fields.
    """

    plan: Plan
    planned: tuple[Planned, ...]
    radios: dict[str | None, Radio]
    trackers: int
    draw: Draw
    battery: float | None
    derating: float
    fixes: tuple[Fix, ...]

    @property
    def radio(self) -> Radio:
        """The radio of the first sending, whose modems the report has rows for."""
        return next(iter(self.radios.values()))

    @property
    def sendings(self) -> tuple[Sending, ...]:
        """All sendings."""
        return tuple(item.sending for item in self.planned)

    @property
    def trail_points(self) -> tuple[int, ...]:
        """Points of a trail that a missed position is counted with: none, half and all that the schema can carry."""
        return trail_lengths(max((layout.trail.points for layout in self.plan.layouts if layout.trail), default=0))

    def channels(self) -> Iterator[tuple[Radio, tuple[Sending, ...]]]:
        """Each channel with what is sent on it."""
        for frequency, radio in self.radios.items():
            yield radio, tuple(item.sending for item in self.planned if item.frequency == frequency)

    def loads(self) -> Iterator[tuple[Radio, Modem, Load]]:
        """What the schedule takes of the limits, for each modem and channel."""
        for radio, sent in self.channels():
            for modem, load in radio.each(schedule_load, sent):
                yield radio, modem, load

    def rooms(self) -> Iterator[tuple[Modem, Sending, int | None]]:
        """The largest payload of each sending at its interval beside the others, for each modem."""
        for radio, sent in self.channels():
            for item in sent:
                others = (item, *(other for other in sent if other is not item))
                for modem, most in radio.each(largest_payload, others):
                    yield modem, item, most

    def fields(self) -> Iterator[tuple[LayoutPlan, FieldPlan, FieldCost, str]]:
        """What each field takes and could give, and the range that the log has for it."""
        for item in self.planned:
            for field, cost in zip(item.layout.fields, field_costs(item.layout), strict=True):
                yield item.layout, field, cost, self._seen(field)

    def _seen(self, field: FieldPlan) -> str:
        if field.kind.form is Form.TIME:
            return ""  # seconds since an epoch say nothing to compare
        values = [value for fix in self.fixes if isinstance(value := value_of_fix(field, fix), float | int)]
        return f"{min(values):g}..{max(values):g}" if values else ""

    def shorter(self) -> Iterator[tuple[LayoutPlan, Modem, int, Fraction, tuple[Concession, ...] | None]]:
        """For each layout and modem the next shorter airtime: bytes to drop, seconds that it saves, and what it takes."""
        for item in self.planned:
            for modem in self.radios[item.frequency].modems:
                size = item.layout.longest + self.radio.overhead
                drop = modem.headroom(size).drop_bytes
                if drop is not None and drop < item.layout.size:
                    saves = modem.airtime(size) - modem.airtime(size - drop)
                    yield item.layout, modem, drop, saves, cheapest(item.layout, bits_to_drop(item.layout, drop))

    def shared(self, *numbers: int) -> Iterator[tuple[Modem, Sending, float, Contention]]:
        """What the trackers, or other numbers of them, do to each other, for each channel, modem, number and sending."""
        for radio, sent in self.channels():
            for modem in radio.modems:
                for trackers in numbers or (self.trackers,):
                    found = contention(modem, sent, trackers=trackers, overhead=radio.overhead)
                    for item, loss in zip(sent, found.losses, strict=True):
                        yield modem, item, loss, found

    def charge(self) -> Iterator[tuple[Modem, Energy, float | None]]:
        """What the whole schedule takes of the battery, and how many days that lasts, for each modem."""
        for modem in self.radio.modems:
            use = energy(self.draw, modem, self.sendings, overhead=self.radio.overhead)
            yield modem, use, None if self.battery is None else use.days(self.battery, derating=self.derating)

    def margins(self) -> dict[str, float]:
        """Link margin of each LoRa modem over the first one, in decibels."""
        modems = [modem for modem in self.radio.modems if isinstance(modem, LoRa)]
        return {modem.label: gain_db(modems[0], modem) for modem in modems}

    def by_interval(self) -> Iterator[dict[str, Any]]:
        """Share of the limit and charge at other intervals of the first sending that has one; none where no sending has."""
        chosen = next((item for item in self.planned if item.sending.every is not None), None)
        if chosen is None:
            return
        for place, modem in enumerate(self.radio.modems):
            for every in sorted({*map(Fraction, _INTERVALS), chosen.sending.every or Fraction(1)}):
                now = chosen._replace(sending=replace(chosen.sending, every=every))
                costs = replace(self, planned=tuple(now if item is chosen else item for item in self.planned))
                sent = tuple(item.sending for item in costs.planned if item.frequency == chosen.frequency)
                try:
                    _, load = list(self.radios[chosen.frequency].each(schedule_load, sent))[place]
                    _, use, days = list(costs.charge())[place]
                except RadioFault:  # shorter than an airtime
                    continue
                yield {
                    "layout": chosen.layout.name, "modem": modem.label, "every_s": every, "worst_seconds": load.seconds,
                    "share": load.share, "mah_per_day": use.mah_per_day, "days": days,
                }  # fmt: skip

    def by_trackers(self) -> Iterator[dict[str, Any]]:
        """Channel load and losses among other numbers of trackers."""
        for modem, item, loss, found in self.shared(*sorted({*_TRACKERS, self.trackers})):
            yield {
                "layout": item.name, "modem": modem.label, "trackers": found.trackers, "channel_load": found.channel_load,
                "loss": loss,
            }  # fmt: skip
