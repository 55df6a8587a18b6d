"""What one packet costs under the limits of a route.

Owns one rule: how the limits of a route turn a time on air into a period that can be programmed and into verdicts.
Everything is exact; nothing here is a permission (see `CAUTION`).

>>> from packetcodec.radio import LoRa, packet_budget, region
>>> cost = packet_budget(LoRa(spreading_factor=12), 12, region("EU868").sub_band(868_100_000, 125_000))
>>> float(cost.average_interval), cost.packets_per_hour, round(float(cost.period), 2)
(115.5072, 31, 116.13)
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

from packetcodec.radio import modem as settings
from packetcodec.radio.lora import LoRa
from packetcodec.radio.lr_fhss import LrFhss
from packetcodec.radio.regions import Region, SubBand, mhz
from packetcodec.radio.routes import HOUR, Route, choose, milliseconds, ways_out

if TYPE_CHECKING:
    from packetcodec.radio.modem import Modem

LORAWAN_OVERHEAD = 13
"""Bytes that LoRaWAN puts around an application payload, without frame options: header 1, address 4,
control 1, counter 2, port 1, message integrity code 4 (read in LoRaMac-node's LoRaMacHeaderTypes.h)."""

CAUTION = (
    "Limits shown are this tool's built-in defaults, taken from the documents and dates named beside them. "
    "National rules, later amendments, listen-before-talk options, antenna gain and equipment certification "
    "can change them. Airtime is calculated, not measured. These figures are arithmetic, not permission: "
    "whoever transmits is responsible for following the rules of the place."
)
"""Stands with every table of limits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What one limit says.

    Attributes:
        state: "within", "exceeded", "not permitted" (the rule has no route for this) or "not applicable".
        description: the same as a sentence with its numbers.
        excess: by how much it is exceeded, in seconds of airtime or bytes of payload; None otherwise.

    >>> verdict = Verdict(state="exceeded", description="beyond the longest transmission", excess=Fraction(24))
    >>> verdict.forbids
    True
    """

    state: Literal["within", "exceeded", "not permitted", "not applicable"]
    description: str
    excess: Fraction | None = None

    @property
    def forbids(self) -> bool:
        """Whether such a packet may not be sent at all."""
        return self.state in {"exceeded", "not permitted"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """A packet under the limits of a route. Times are exact, in seconds.

    Attributes:
        sub_band, route: whose limits these are.
        payload_bytes: bytes handed to the radio, LoRaWAN's overhead included.
        airtime: time on air of one packet.
        period: the shortest fixed period with which no continuous hour (or other window of the rule) holds more than is
            allowed, and no pause is too short. None without such a limit, and when the packet is not permitted.
        average_interval: airtime / duty cycle, the same on the average of many windows: no period to program, because a
            window holds whole packets. None without a limit.
        packets_per_hour: most packets in any continuous hour at that period, or None.
        verdicts: what each limit says, by its name: "dwell", "single" (longest transmission), "window" (one packet alone
            against an hour's share), "advice", "payload" (LoRaWAN).

    >>> from packetcodec.radio import LoRa, region
    >>> budget = packet_budget(LoRa(spreading_factor=10), 14, region("EU868").sub_bands[0])
    >>> isinstance(budget, Budget), float(budget.airtime), budget.packets_per_hour
    (True, 0.288768, 12)
    """

    sub_band: SubBand
    route: Route
    payload_bytes: int
    airtime: Fraction
    period: Fraction | None
    average_interval: Fraction | None
    packets_per_hour: int | None
    verdicts: dict[str, Verdict]

    @property
    def telling(self) -> bool:
        """Whether the period tells a tracker anything: more than a pause, and less than half of all time for sending."""
        return self.average_interval is not None and self.period is not None and self.period > 2 * self.airtime

    @property
    def permitted(self) -> bool:
        """Whether the limits permit such a packet at all. Advice does not count."""
        return not any(verdict.forbids for name, verdict in self.verdicts.items() if name != "advice")


def packet_budget(
    modem: Modem,
    payload_bytes: int,
    sub_band: SubBand,
    *,
    channels: int = 1,
    route: str | None = None,
    lorawan: Region | None = None,
) -> Budget:
    """The budget of a packet.

    Args:
        modem: with its settings.
        payload_bytes: bytes of payload; with `lorawan`, of application payload.
        sub_band: whose limits to apply, from `Region.sub_band`.
        channels: channels that the transmitter uses evenly in turn; 1 is a fixed channel.
        route: name of a route of the sub-band; None for the default one.
        lorawan: the region whose LoRaWAN data rates apply, or None for packets without LoRaWAN.

    Raises:
        RadioFault: for a payload or a number of channels out of range, or a route that the sub-band does not have.
    """
    overhead = LORAWAN_OVERHEAD if lorawan else 0
    note = f"{overhead} bytes of LoRaWAN overhead come on top" if lorawan else "bytes"
    settings.integer("payload_bytes", payload_bytes, 0, modem.max_payload - overhead, note)
    settings.integer("channels", channels, 1, 10_000)
    chosen = choose(sub_band, modem.occupied_hz, channels=channels, name=route)
    airtime = modem.airtime(payload_bytes + overhead)
    verdicts = {
        "dwell": _dwell(modem, airtime, sub_band, chosen, channels),
        "single": _bound(airtime, chosen.on_seconds, "for one transmission"),
        "window": _window(airtime, chosen, channels),
        "advice": _bound(airtime, chosen.advised_seconds, "advised for one transmission"),
        "payload": _lorawan(modem, payload_bytes, lorawan),
    }
    permitted = not any(verdict.forbids for name, verdict in verdicts.items() if name != "advice")
    period = _period(airtime, chosen, channels) if permitted else None
    return Budget(
        sub_band=sub_band,
        route=chosen,
        payload_bytes=payload_bytes + overhead,
        airtime=airtime,
        period=period,
        average_interval=_average(airtime, chosen, channels) if permitted else None,
        packets_per_hour=None if period is None else int(HOUR // period),
        verdicts=verdicts,
    )


def _period(airtime: Fraction, route: Route, channels: int) -> Fraction | None:
    periods = [period for allowance in route.allowances(channels) if (period := allowance.period(airtime)) is not None]
    if route.pause_seconds is not None:
        periods.append(airtime + route.pause_seconds)
    return max(airtime, *periods) if periods else None


def _average(airtime: Fraction, route: Route, channels: int) -> Fraction | None:
    shares = [airtime * item.window / (item.seconds * item.channels) for item in route.allowances(channels)]
    return max(shares, default=None)


def _dwell(modem: Modem, airtime: Fraction, band: SubBand, route: Route, channels: int) -> Verdict:
    where = f"{mhz(band.min_hz)}-{mhz(band.max_hz)} MHz"
    if not route.takes_channels(channels):
        sent_on = "a single fixed channel" if channels == 1 else f"{channels} channels in turn"
        words = (
            f"{sent_on} of {float(modem.occupied_hz) / 1000:g} kHz: not permitted in {where} by the route {route.name} "
            f"({route.source}); what would permit it: {ways_out(band, modem.occupied_hz, channels)}"
        )
        return Verdict(state="not permitted", description=words)
    if route.dwell_seconds is None:
        return Verdict(state="not applicable", description=f"no dwell limit in {where}")
    windows = [
        item.window
        for item in route.allowances(channels)
        if item.channels == channels and item.seconds == route.dwell_seconds
    ]
    per = f"on one frequency in {float(windows[-1]):g} s" if windows else "for one transmission"
    return _bound(airtime, route.dwell_seconds, per)


def _window(airtime: Fraction, route: Route, channels: int) -> Verdict:
    """Whether one packet alone fits the share of a window."""
    for item in route.allowances(channels):
        verdict = _bound(airtime, item.seconds, f"that may be spent sending ({item.description})")
        if verdict.forbids:
            return verdict
    description = f"route {route.name}: {route.description}"
    return Verdict(state="within" if route.allowances(channels) else "not applicable", description=description)


def _bound(airtime: Fraction, bound: Fraction | None, what: str) -> Verdict:
    if bound is None:
        return Verdict(state="not applicable", description=f"no limit {what}")
    limit = f"the {milliseconds(bound)} ms {what}"
    if airtime <= bound:
        return Verdict(state="within", description=f"airtime {milliseconds(airtime)} ms is within {limit}")
    words = f"airtime {milliseconds(airtime)} ms exceeds {limit} by {milliseconds(airtime - bound)} ms"
    return Verdict(state="exceeded", description=words, excess=airtime - bound)


def _lorawan(modem: Modem, payload_bytes: int, region: Region | None) -> Verdict:
    if region is None:
        return Verdict(state="not applicable", description="not LoRaWAN")
    if isinstance(modem, LrFhss):
        rate = region.lr_fhss_rate(modem.coding_rate)
    elif isinstance(modem, LoRa):
        rate = region.data_rate(modem.spreading_factor, modem.bandwidth_hz)
    else:
        rate = region.data_rate(None, 0)
    if rate is None:
        return Verdict(state="not permitted", description=f"{modem.name} is not a LoRaWAN data rate of {region.name}")
    data_rate = f"DR{rate.index} of {region.name}"
    if rate.downlink:
        return Verdict(state="not permitted", description=f"{modem.name} is {data_rate}, for gateways only")
    if rate.max_payload is None:
        return Verdict(state="not permitted", description=f"{modem.name} is {data_rate}, which may not be used")
    if payload_bytes <= rate.max_payload:
        return Verdict(
            state="within", description=f"payload {payload_bytes} bytes is within {rate.max_payload} bytes ({data_rate})"
        )
    excess = payload_bytes - rate.max_payload
    words = f"payload {payload_bytes} bytes exceeds {rate.max_payload} bytes ({data_rate}) by {excess}"
    return Verdict(state="exceeded", description=words, excess=Fraction(excess))
