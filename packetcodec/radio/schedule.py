"""A schedule: which packets a tracker sends, how often, and what that takes of the limits.

Owns one rule: the worst window of a schedule. Packets of a fixed period put at most floor(window / period) whole airtimes
and what fits of one more into a window; packets that come "n an hour" may all come at once. The phases of the layouts
against each other are not known, so their worst windows are added: a bound that some phase comes close to.

>>> from packetcodec.radio import LoRa, region
>>> band = region("EU868").sub_band(868_100_000, 125_000)
>>> sent = (Sending("position", 14, every=Fraction(20)), Sending("alarm", 9, per_hour=5))
>>> load = schedule_load(LoRa(spreading_factor=9), sent, band)
>>> float(load.seconds), load.allowance.description, round(float(load.share), 3), load.costliest
(30.39744, '1 % of any hour', 0.844, 'position')
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from packetcodec.errors import RadioFault
from packetcodec.radio.budget import LORAWAN_OVERHEAD, Budget, packet_budget
from packetcodec.radio.routes import HOUR, Allowance, choose

if TYPE_CHECKING:
    from collections.abc import Sequence

    from packetcodec.radio.modem import Modem
    from packetcodec.radio.regions import Region, SubBand

MAX_INTERVAL = Fraction(7 * 24 * 3600)
"""The longest interval that is taken, in seconds: a week."""


@dataclass(frozen=True, slots=True)
class Sending:
    """Packets of one layout.

    Attributes:
        name: of the layout.
        payload_bytes: of the longest packet that counts.
        every: seconds from packet to packet, or None
        per_hour: where packets come as they please, at most so many in any hour; None for a fixed period.

    Raises:
        RadioFault: neither or both given, or out of range.
    """

    name: str
    payload_bytes: int
    every: Fraction | None = None
    per_hour: int | None = None

    def __post_init__(self) -> None:
        if (self.every is None) == (self.per_hour is None):
            raise RadioFault(f"{self.name}: give either an interval or a number of packets an hour")
        if self.every is not None and not 0 < self.every <= MAX_INTERVAL:
            raise RadioFault(
                f"{self.name}: an interval of {float(self.every):g} s is outside 0..{MAX_INTERVAL} s (0 excluded)"
            )
        if self.per_hour is not None and not 1 <= self.per_hour <= 100_000:
            raise RadioFault(f"{self.name}: {self.per_hour} packets an hour are outside 1..100000")

    @property
    def rate(self) -> Fraction:
        """Packets a second on the average."""
        return 1 / self.every if self.every is not None else Fraction(self.per_hour or 0) / HOUR

    def max_seconds(self, allowance: Allowance, airtime: Fraction) -> Fraction:
        """Most time on air, in seconds, that these packets put into one window of an allowance."""
        if self.every is not None:
            return allowance.max_seconds(airtime, self.every)
        return -(-(self.per_hour or 0) // allowance.channels) * airtime


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What a schedule takes of the limits of one sub-band.

    Attributes:
        budgets: of each sending, in order.
        allowance: the allowance that is used most, or None where nothing limits how often.
        seconds: time on air in its worst window; without an allowance, in the worst hour.
        each: the part of each sending, in order.
        costliest: name of the sending with the largest part.
        paused: whether every period leaves the pause that the route asks for behind each packet.
    """

    budgets: tuple[Budget, ...]
    allowance: Allowance | None
    seconds: Fraction
    each: tuple[Fraction, ...]
    costliest: str
    paused: bool = True

    @property
    def share(self) -> Fraction | None:
        """Share of the allowance that is used, 1 for all of it; None without one."""
        return None if self.allowance is None else self.seconds / self.allowance.seconds

    @property
    def permitted(self) -> bool:
        """Whether every packet is permitted, the allowance is kept, and so are the pauses."""
        return all(budget.permitted for budget in self.budgets) and self.paused and (self.share is None or self.share <= 1)


def schedule_load(
    modem: Modem,
    sendings: Sequence[Sending],
    band: SubBand,
    *,
    channels: int = 1,
    route: str | None = None,
    lorawan: Region | None = None,
) -> Load:
    """What a schedule takes of the limits of a sub-band. Settings as in `packet_budget`.

    Raises:
        RadioFault: an empty schedule, packets that overlap themselves, or as `packet_budget`.
    """
    if not sendings:
        raise RadioFault("a schedule needs at least one layout")
    budgets = tuple(
        packet_budget(modem, item.payload_bytes, band, channels=channels, route=route, lorawan=lorawan) for item in sendings
    )
    for item, budget in zip(sendings, budgets, strict=True):
        if item.every is not None and item.every < budget.airtime:
            raise RadioFault(
                f"{item.name}: an interval of {float(item.every):g} s is shorter than the packet's airtime, "
                f"{float(budget.airtime):g} s at {modem.name}"
            )
    allowances = choose(band, modem.occupied_hz, channels=channels, name=route).allowances(channels)
    found = []
    for allowance in allowances or (Allowance(seconds=HOUR, window=HOUR),):
        each = tuple(item.max_seconds(allowance, budget.airtime) for item, budget in zip(sendings, budgets, strict=True))
        found.append((sum(each, Fraction(0)) / allowance.seconds, allowance, each))
    _, allowance, each = max(found, key=lambda item: item[0])
    costliest = max(zip(each, sendings, strict=True), key=lambda pair: pair[0])[1].name
    return Load(
        budgets=budgets, allowance=allowance if allowances else None, seconds=sum(each, Fraction(0)), each=each,
        costliest=costliest, paused=_paused(sendings, budgets),
    )  # fmt: skip


def _paused(sendings: Sequence[Sending], budgets: Sequence[Budget]) -> bool:
    """Whether packets and the pauses behind them fit into the time, each layout's alone and all together."""
    pause = budgets[0].route.pause_seconds or Fraction(0)
    taken = [(budget.airtime + pause) * item.rate for item, budget in zip(sendings, budgets, strict=True)]
    return sum(taken, Fraction(0)) <= 1


def largest_payload(
    modem: Modem,
    sendings: Sequence[Sending],
    band: SubBand,
    *,
    channels: int = 1,
    route: str | None = None,
    lorawan: Region | None = None,
) -> int | None:
    """The largest payload that the first of these sendings may have beside the others; None where there is none.

    With `lorawan` an application payload. Raises as `schedule_load`.
    """
    first, *others = sendings
    overhead = LORAWAN_OVERHEAD if lorawan else 0

    def fits(size: int) -> bool:
        if first.every is not None and first.every < modem.airtime(size + overhead):
            return False
        load = schedule_load(
            modem, [Sending(first.name, size, first.every, first.per_hour), *others], band, channels=channels, route=route,
            lorawan=lorawan,
        )  # fmt: skip
        return load.permitted

    low, high = -1, modem.max_payload - overhead
    while low < high:  # the largest size that fits: airtime never falls when the payload grows
        middle = (low + high + 1) // 2
        low, high = (middle, high) if fits(middle) else (low, middle - 1)
    return None if low < 0 else low
