"""All that a schedule costs, worked out for a report.

Owns no rule of its own: limits, channel, charge, margin and concessions are `packetcodec.radio`'s to say.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.bench.sender import value_of_fix
from packetcodec.radio import LORAWAN_OVERHEAD, LoRa
from packetcodec.radio.concessions import bits_to_drop, cheapest, field_costs
from packetcodec.radio.contention import contention
from packetcodec.radio.energy import energy
from packetcodec.radio.schedule import largest_payload, schedule_load
from packetcodec.radio.sensitivity import gain_db
from packetcodec.schema import Form

if TYPE_CHECKING:
    from collections.abc import Iterator
    from fractions import Fraction

    from packetcodec.cli.options.radio import Radio
    from packetcodec.cli.options.schedule import Planned
    from packetcodec.logs import Fix
    from packetcodec.radio import Modem
    from packetcodec.radio.concessions import Concession, FieldCost
    from packetcodec.radio.contention import Contention
    from packetcodec.radio.energy import Draw, Energy
    from packetcodec.radio.schedule import Load, Sending
    from packetcodec.wire import FieldPlan, LayoutPlan


@dataclass(frozen=True, slots=True)
class Shorter:
    """The next shorter airtime of a layout: what to drop, and how much that saves."""

    layout: LayoutPlan
    modem: Modem
    drop_bytes: int
    saves: Fraction
    taken: tuple[Concession, ...] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """What a schedule costs.

    Attributes:
        planned: the sendings, as the command line has them.
        radios: channel in MHz as it was written (None: that of --frequency) to the radio on it.
        trackers: how many share the channel.
        draw, battery, derating: currents; capacity in mAh, or None; the share of it that can be used.
        fixes: of a log, to set its ranges beside those of the fields.
    """

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
    def overhead(self) -> int:
        """Bytes around each packet."""
        return LORAWAN_OVERHEAD * self.radio.lorawan

    def demand_schedule(self) -> None:
        """Refuse a schedule that no row could be made of.

        Raises:
            RadioFault: an interval shorter than an airtime, a packet that is too long.
        """
        for _ in self.loads():
            pass

    def demand_numbers(self) -> None:
        """Refuse numbers that no row could be made of.

        Raises:
            RadioFault: trackers, a capacity or a share out of range.
        """
        for _ in self.shared():
            pass
        for _, use in self.charge() if self.battery is not None else ():
            use.days(self.battery or 0, derating=self.derating)

    def channels(self) -> Iterator[tuple[Radio, tuple[Sending, ...]]]:
        """Each channel with what is sent on it."""
        for frequency, radio in self.radios.items():
            yield radio, tuple(item.sending for item in self.planned if item.frequency == frequency)

    def loads(self) -> Iterator[tuple[Radio, Modem, Load]]:
        """What the schedule takes of the limits, for each modem and channel."""
        for radio, sent in self.channels():
            for modem, band, route in zip(radio.modems, radio.bands, radio.routes, strict=True):
                yield radio, modem, schedule_load(modem, sent, band, route=route.name, **radio.around)

    def rooms(self) -> Iterator[tuple[Modem, Sending, int | None]]:
        """The largest payload of each sending at its interval beside the others, for each modem."""
        for radio, sent in self.channels():
            for item in sent:
                others = (item, *(other for other in sent if other is not item))
                for modem, band, route in zip(radio.modems, radio.bands, radio.routes, strict=True):
                    yield modem, item, largest_payload(modem, others, band, route=route.name, **radio.around)

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

    def shorter(self) -> Iterator[Shorter]:
        """For each layout and modem, what reaches the next shorter airtime."""
        for item in self.planned:
            radio = self.radios[item.frequency]
            for modem in radio.modems:
                size = item.layout.longest + self.overhead
                drop = modem.headroom(size).drop_bytes
                if drop is None or drop >= item.layout.size:
                    continue
                saves = modem.airtime(size) - modem.airtime(size - drop)
                taken = cheapest(item.layout, bits_to_drop(item.layout, drop))
                yield Shorter(item.layout, modem, drop, saves, taken)

    def shared(self) -> Iterator[tuple[Radio, Modem, tuple[Sending, ...], Contention]]:
        """What the trackers do to each other, for each modem and channel."""
        for radio, sent in self.channels():
            for modem in radio.modems:
                yield radio, modem, sent, contention(modem, sent, trackers=self.trackers, overhead=self.overhead)

    def charge(self) -> Iterator[tuple[Modem, Energy]]:
        """What the whole schedule takes of the battery, for each modem."""
        for modem in self.radio.modems:
            yield modem, energy(self.draw, modem, self.sendings, overhead=self.overhead)

    def margins(self) -> Iterator[tuple[LoRa, float]]:
        """Link margin of each LoRa modem over the first one, in decibels."""
        modems = [modem for modem in self.radio.modems if isinstance(modem, LoRa)]
        for modem in modems:
            yield modem, gain_db(modems[0], modem)
