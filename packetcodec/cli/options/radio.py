"""The radio as options of a command: region, frequency and the modem's settings.

Owns one rule: which modems a report has rows for. What a modem or a region refuses is said by `packetcodec.radio`, and is
wrong usage here.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import click

from packetcodec.cli.options.modem import modem_options, modems_of
from packetcodec.cli.options.usage import added, wrong_option
from packetcodec.errors import RadioFault
from packetcodec.radio import (
    LORAWAN_OVERHEAD,
    MAX_HZ,
    Budget,
    LoRa,
    Modem,
    Region,
    Route,
    SubBand,
    choose,
    packet_budget,
)
from packetcodec.radio import (
    region as find_region,
)

if TYPE_CHECKING:
    from collections.abc import Callable

#: A channel that people really use there, for a region given without a frequency: common practice, no source.
_USUAL = {"EU868": 868_100_000, "EU433": 433_175_000, "US915": 903_900_000}

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
        modems: one per row of a report.
        bands: for each modem the sub-band that holds its channel.
        routes: for each modem the route whose limits are used.
        channels: how many channels the transmitter uses in turn.
        lorawan: whether packets travel inside LoRaWAN.
        remarks: settings that are possible and unwise.
    """

    region: Region
    frequency_hz: int
    modems: tuple[Modem, ...]
    bands: tuple[SubBand, ...]
    routes: tuple[Route, ...]
    channels: int
    lorawan: bool
    remarks: tuple[str, ...]

    @property
    def largest(self) -> int:
        """The largest payload a packet may have, in bytes."""
        return 255 - LORAWAN_OVERHEAD * self.lorawan

    def budgets(self, size: int) -> list[Budget | None]:
        """The budget of a packet on each modem; None where it is longer than the modem takes."""
        return [
            packet_budget(modem, size, band, route=route.name, **self.around)
            if size + LORAWAN_OVERHEAD * self.lorawan <= modem.max_payload
            else None
            for modem, band, route in zip(self.modems, self.bands, self.routes, strict=True)
        ]

    @property
    def around(self) -> dict[str, Any]:
        """What `packet_budget` and a schedule need beside modem, sub-band and route."""
        return {"channels": self.channels, "lorawan": self.region if self.lorawan else None}

    @property
    def labels(self) -> tuple[str, ...]:
        """Each modem in a word; what all of them share stands in `words`."""
        return tuple(modem.label for modem in self.modems)

    @property
    def description(self) -> str:
        """The setting in a line."""
        band, route, modem = self.bands[0], self.routes[0], self.modems[0]
        how = modem.name.removeprefix(f"{modem.label} ")
        wrap = f", inside LoRaWAN (+{LORAWAN_OVERHEAD} bytes)" if self.lorawan else ""
        return (
            f"{self.region.name} {self.frequency_hz / 1e6:g} MHz, sub-band {band.name}, route {route.name} "
            f"({route.description}; {route.power}), {how}{wrap}"
        )

    @property
    def source(self) -> str:
        """Where the limits come from, a line for each route."""
        rows = dict.fromkeys(zip((band.name for band in self.bands), self.routes, strict=True))
        return "; ".join(
            f"limits of {name}, {route.name}: {route.source}, {route.date} ({_MARKS[route.verified]})"
            for name, route in rows
        )

    @property
    def notes(self) -> tuple[str, ...]:
        """What else holds here, a sentence each: conditions of the route, other routes, notes of sub-band and region."""
        said: list[str] = []
        for band, route in dict.fromkeys(zip(self.bands, self.routes, strict=True)):
            said += [f"{route.name}: {words}" for words in (route.conditions, route.note) if words]
            others = [f"{other.name} ({other.description}; {other.power})" for other in band.routes if other != route]
            if others:
                said.append(f"other routes of {band.name} (--route): {'; '.join(others)}")
            if band.note:
                said.append(f"{band.name}: {band.note}")
        return tuple(dict.fromkeys((*said, *(f"{self.region.name}: {note}" for note in self.region.notes))))


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
    """The radio that the options say.

    Raises:
        click.UsageError: an option that is not of its form, or outside what the modem or the region allows.
    """
    with wrong_option():
        where = find_region(region)
    modems = modems_of(**settings)
    remarks = tuple(dict.fromkeys(words for modem in modems if isinstance(modem, LoRa) for words in modem.advice()))
    hertz = _hertz(frequency) if frequency else _usual(where, modems[0])
    with wrong_option():
        bands = tuple(where.sub_band(hertz, modem.occupied_hz) for modem in modems)
        routes = tuple(
            choose(band, modem.occupied_hz, channels=channels, name=route) for band, modem in zip(bands, modems, strict=True)
        )
        radio = Radio(where, hertz, modems, bands, routes, channels, lorawan, remarks)
        radio.budgets(1)  # what the limits themselves refuse is said before anything is read
    return radio


def _usual(where: Region, modem: Modem) -> int:
    usual = _USUAL.get(where.name)
    if usual is not None:
        return usual
    for band in where.sub_bands:
        centre = (band.min_hz + band.max_hz) // 2
        try:
            where.sub_band(centre, modem.occupied_hz)
        except RadioFault:
            continue
        return centre
    width = f"{float(modem.occupied_hz) / 1000:g} kHz"
    raise click.UsageError(f"--region: no sub-band of {where.name} takes a channel of {width}")


def _hertz(text: str) -> int:
    try:
        exact = Fraction(Decimal(text)) * 1_000_000
    except (ArithmeticError, ValueError):
        raise click.UsageError(f"--frequency: {text} is not a number of MHz") from None
    if not 1 <= exact <= MAX_HZ:
        raise click.UsageError(f"--frequency: {text} MHz is outside 0.000001..{MAX_HZ // 10**6} MHz (such as 868.1)")
    return round(exact)
