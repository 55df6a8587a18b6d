"""The radio as options of a command: region, frequency and the modem's settings.

Owns one rule: which modems a report has rows for. What a modem or a region refuses is said by `packetcodec.radio`, and is
wrong usage here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

import click

from packetcodec.cli.options.modem import chip_of, demand_chip, modem_options, modems_of
from packetcodec.cli.options.usage import added, wrong_option
from packetcodec.errors import RadioFault
from packetcodec.radio import LORAWAN_OVERHEAD, MAX_HZ, Budget, LoRa, Modem, Region, Route, SubBand, choose, packet_budget
from packetcodec.radio import region as find_region

#: How far a row of limits was verified, in words.
_MARKS = {
    "read": "read in that document",
    "quoted": "read in a quotation of it, not in the document",
    "computed": "computed from figures in it",
    "memory": "from memory, not looked up: check before you rely on it",
}


@dataclass(frozen=True, slots=True)
class Radio:
    """What the options say.

    Attributes:
        region, frequency_hz: where.
        ways: the modems, one per row of a report, each with the sub-band that holds its channel and the route that is used.
        channels: how many channels the transmitter uses in turn.
        overhead: bytes of LoRaWAN around each packet, 0 without it.
    """

    region: Region
    frequency_hz: int
    ways: tuple[tuple[Modem, SubBand, Route], ...]
    channels: int
    overhead: int

    @property
    def modems(self) -> list[Modem]:
        """One per row of a report."""
        return [modem for modem, _, _ in self.ways]

    @property
    def remarks(self) -> tuple[str, ...]:
        """Settings that are possible and unwise."""
        return tuple(dict.fromkeys(words for modem in self.modems if isinstance(modem, LoRa) for words in modem.advice()))

    def each(self, cost: Callable[..., Any], sent: Any) -> Iterator[tuple[Modem, Any]]:
        """Each modem with what a function of `packetcodec.radio` says of something sent, under the limits of its route."""
        lorawan = self.region if self.overhead else None
        for modem, band, route in self.ways:
            yield modem, cost(modem, sent, band, route=route.name, channels=self.channels, lorawan=lorawan)

    def budgets(self, size: int) -> list[tuple[Modem, Budget | None]]:
        """The budget of a packet on each modem; None where it is longer than the modem takes."""

        def cost(modem: Modem, *args: Any, **how: Any) -> Budget | None:
            return packet_budget(modem, *args, **how) if size + self.overhead <= modem.max_payload else None

        return list(self.each(cost, size))

    @property
    def description(self) -> str:
        """The setting in a line."""
        modem, band, route = self.ways[0]
        how = modem.name.removeprefix(f"{modem.label} ")
        wrap = f", inside LoRaWAN (+{LORAWAN_OVERHEAD} bytes)" if self.overhead else ""
        return (
            f"{self.region.name} {self.frequency_hz / 1e6:g} MHz, sub-band {band.name}, route {route.name} "
            f"({route.description}; {route.power}), {how}{wrap}"
        )

    @property
    def source(self) -> str:
        """Where the limits come from, a line for each route."""
        rows = dict.fromkeys((band.name, route) for _, band, route in self.ways)
        return "; ".join(
            f"limits of {name}, {route.name}: {route.source}, {route.date}{_verified(route)}" for name, route in rows
        )

    @property
    def notes(self) -> tuple[str, ...]:
        """What else holds here, a sentence each: conditions of the route, other routes, notes of sub-band and region."""
        said: list[str] = []
        for band, route in dict.fromkeys((band, route) for _, band, route in self.ways):
            said += [f"{route.name}: {words}" for words in (route.conditions, route.note) if words]
            others = [
                f"{other.name} ({other.description}; {other.power})" for other in band.routes if other.name != route.name
            ]
            if others:
                said.append(f"other routes of {band.name} (--route): {'; '.join(others)}")
            if band.note:
                said.append(f"{band.name}: {band.note}")
        return tuple(dict.fromkeys((*said, *(f"{self.region.name}: {note}" for note in self.region.notes))))


def _verified(route: Route) -> str:
    """How far the figures of a route were verified; of several documents with marks of their own, which are meant."""
    if f"({route.verified})" in route.source:
        return f"; the figures used are those marked ({route.verified})"
    others = any(f"({mark})" in route.source for mark in _MARKS)
    return f"; the figures without a mark: {_MARKS[route.verified]}" if others else f" ({_MARKS[route.verified]})"


def radio_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options; the command takes them as keyword arguments for `radio_of`."""
    return added(
        command,
        click.option("--region", default="EU868", show_default=True, help="Region of the limits."),
        click.option("--frequency", metavar="MHZ", help="Centre of the channel; default: a common one of the region."),
        *modem_options(),
        click.option("--channels", type=int, default=1, show_default=True, help="Channels that are used evenly in turn."),
        click.option("--route", metavar="NAME", help="Rule of the sub-band to send by; default: a simple one."),
        click.option("--lorawan", is_flag=True, help=f"Inside LoRaWAN: {LORAWAN_OVERHEAD} bytes more."),
    )


def radio_of(
    *, region: str, frequency: str | None, channels: int, lorawan: bool, route: str | None, **settings: Any
) -> Radio:
    """The radio that the options say."""
    with wrong_option():
        where = find_region(region)
    lowest = min(band.min_hz for band in where.sub_bands)
    modems = modems_of(**settings | {"chip": chip_of(settings["chip"], lowest)})
    with wrong_option():
        hertz = _hertz(frequency) if frequency else where.common_hz or _amid(where, modems[0].occupied_hz)
        demand_chip(modems, hertz)
        bands = [where.sub_band(hertz, modem.occupied_hz) for modem in modems]
        ways = tuple(
            (modem, band, choose(band, modem.occupied_hz, channels=channels, name=route))
            for band, modem in zip(bands, modems, strict=True)
        )
        radio = Radio(where, hertz, ways, channels, LORAWAN_OVERHEAD * lorawan)
        radio.budgets(1)  # what the limits themselves refuse is said before anything is read
    return radio


def _amid(where: Region, width: Fraction) -> int:
    """A channel amid the first sub-band that takes it."""
    for band in where.sub_bands:
        centre = (band.min_hz + band.max_hz) // 2
        with suppress(RadioFault):
            where.sub_band(centre, width)
            return centre
    raise RadioFault(f"region: no sub-band of {where.name} takes a channel of {float(width) / 1000:g} kHz")


def _hertz(text: str) -> int:
    try:
        exact = Fraction(Decimal(text)) * 1_000_000
    except (ArithmeticError, ValueError):
        raise click.UsageError(f"--frequency: {text} is not a number of MHz") from None
    if not 1 <= exact <= MAX_HZ:
        raise click.UsageError(f"--frequency: {text} MHz is outside 0.000001..{MAX_HZ // 10**6} MHz (such as 868.1)")
    return round(exact)
