"""What one packet costs under the limits of a sub-band.

Owns one rule: how duty cycle, dwell time and payload limits turn a time on air into an interval and a
verdict. Everything is exact; nothing here is a permission (see `CAUTION`).

>>> from packetcodec.radio import LoRa, packet_budget, region
>>> cost = packet_budget(LoRa(spreading_factor=12), 12, region("EU868").sub_band(868_100_000, 125_000))
>>> float(cost.interval), cost.packets_per_hour
(115.5072, 31)
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

from packetcodec.radio import modem as settings
from packetcodec.radio.lora import LoRa
from packetcodec.radio.regions import Region, SubBand, mhz

if TYPE_CHECKING:
    from packetcodec.radio.modem import Modem

LORAWAN_OVERHEAD = 13
"""Bytes that LoRaWAN puts around an application payload, without frame options: header 1, address 4,
control 1, counter 2, port 1, message integrity code 4 (read in LoRaMac-node's LoRaMacHeaderTypes.h)."""

OBSERVATION_SECONDS = 3600
"""Duty cycle counts over any continuous hour (ERC/REC 70-03, read)."""

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
        words: the same as a sentence with its numbers.
        excess: by how much it is exceeded, in seconds of airtime or bytes of payload; None otherwise.
    """

    state: Literal["within", "exceeded", "not permitted", "not applicable"]
    words: str
    excess: Fraction | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """A packet under the limits of a sub-band. Times are exact, in seconds.

    Attributes:
        sub_band: whose limits these are.
        payload_bytes: bytes handed to the radio, LoRaWAN's overhead included.
        airtime: time on air of one packet.
        interval: shortest average interval from packet to packet: airtime / duty cycle, or what the occupancy
            of each hopping channel allows, whichever is longer. None when no limit gives one.
        steady_interval: shortest regular interval with which no continuous hour holds more than the limit. A
            little longer than `interval`, because an hour holds whole packets. None without a limit, and when
            one packet alone is beyond an hour's share (`packets_per_hour` is 0).
        packets_per_hour: most packets in any continuous hour, or None without a limit.
        duty_seconds_per_hour: time on air allowed in any continuous hour, or None without a duty cycle limit.
        dwell: the limit on time on one frequency, hopping included.
        single: the advised longest single transmission.
        lorawan: whether the application payload fits its data rate.
    """

    sub_band: SubBand
    payload_bytes: int
    airtime: Fraction
    interval: Fraction | None
    steady_interval: Fraction | None
    packets_per_hour: int | None
    duty_seconds_per_hour: Fraction | None
    dwell: Verdict
    single: Verdict
    lorawan: Verdict


def packet_budget(
    modem: Modem,
    payload_bytes: int,
    sub_band: SubBand,
    *,
    hopping_channels: int = 1,
    lorawan: Region | None = None,
) -> Budget:
    """The budget of a packet.

    Args:
        modem: with its settings.
        payload_bytes: bytes of payload; with `lorawan`, of application payload.
        sub_band: whose limits to apply, from `Region.sub_band` or `Region.routes`.
        hopping_channels: channels that the transmitter hops over evenly; 1 is a fixed channel.
        lorawan: the region whose LoRaWAN data rates apply, or None for packets without LoRaWAN.

    Raises:
        RadioFault: for a payload or a number of channels out of range.
    """
    overhead = LORAWAN_OVERHEAD if lorawan else 0
    note = f"{overhead} bytes of LoRaWAN overhead come on top" if lorawan else "bytes"
    settings.whole("payload_bytes", payload_bytes, 0, modem.max_payload - overhead, note)
    settings.whole("hopping_channels", hopping_channels, 1, 10_000)
    airtime = modem.airtime(payload_bytes + overhead)
    duty = sub_band.duty_cycle
    dwell = _dwell(modem, airtime, sub_band, hopping_channels)
    interval = None if duty is None else airtime / duty
    if dwell.state == "within" and sub_band.dwell_seconds and sub_band.dwell_window_seconds:
        in_window = hopping_channels * (sub_band.dwell_seconds // airtime)
        interval = max(interval or airtime, sub_band.dwell_window_seconds / in_window)
    per_hour = None if interval is None else OBSERVATION_SECONDS // interval
    return Budget(
        sub_band=sub_band,
        payload_bytes=payload_bytes + overhead,
        airtime=airtime,
        interval=interval,
        steady_interval=Fraction(OBSERVATION_SECONDS, per_hour) if per_hour else None,
        packets_per_hour=per_hour,
        duty_seconds_per_hour=None if duty is None else duty * OBSERVATION_SECONDS,
        dwell=dwell,
        single=_single(airtime, sub_band),
        lorawan=_lorawan(modem, payload_bytes, lorawan),
    )


def _dwell(modem: Modem, airtime: Fraction, band: SubBand, channels: int) -> Verdict:
    where = f"{mhz(band.min_hz)}-{mhz(band.max_hz)} MHz"
    if band.min_channels is not None and channels < band.min_channels:
        sent_on = "a single fixed channel" if channels == 1 else f"hopping over {channels} channels"
        words = (
            f"{sent_on} of {float(modem.occupied_hz) / 1000:g} kHz is not a permitted route in {where}: "
            f"{band.name!r} asks for at least {band.min_channels} channels ({band.source})"
        )
        return Verdict(state="not permitted", words=words)
    if band.dwell_seconds is None:
        return Verdict(state="not applicable", words=f"no dwell limit in {where}")
    window = band.dwell_window_seconds
    per = "for one transmission" if window is None else f"on one frequency in {float(window):g} s"
    return _compare(airtime, band.dwell_seconds, f"{_ms(band.dwell_seconds)} ms {per}")


def _single(airtime: Fraction, band: SubBand) -> Verdict:
    if band.single_seconds is None:
        return Verdict(state="not applicable", words="no advice on the length of a single transmission")
    limit = f"{_ms(band.single_seconds)} ms advised for one transmission"
    return _compare(airtime, band.single_seconds, limit)


def _compare(airtime: Fraction, bound: Fraction, limit: str) -> Verdict:
    if airtime <= bound:
        return Verdict(state="within", words=f"airtime {_ms(airtime)} ms is within {limit}")
    words = f"airtime {_ms(airtime)} ms exceeds {limit} by {_ms(airtime - bound)} ms"
    return Verdict(state="exceeded", words=words, excess=airtime - bound)


def _lorawan(modem: Modem, payload_bytes: int, region: Region | None) -> Verdict:
    if region is None:
        return Verdict(state="not applicable", words="not LoRaWAN")
    of_lora = (modem.spreading_factor, modem.bandwidth_hz) if isinstance(modem, LoRa) else None
    rate = region.data_rate(*(of_lora or (None, 0)))
    if rate is None:
        return Verdict(state="not permitted", words=f"{modem.name} is not a LoRaWAN data rate of {region.name}")
    data_rate = f"DR{rate.index} of {region.name}"
    if rate.downlink:
        return Verdict(state="not permitted", words=f"{modem.name} is {data_rate}, for gateways only")
    if rate.max_payload is None:
        return Verdict(state="not permitted", words=f"{modem.name} is {data_rate}, which may not be used")
    if payload_bytes <= rate.max_payload:
        words = f"payload {payload_bytes} bytes is within {rate.max_payload} bytes ({data_rate})"
        return Verdict(state="within", words=words)
    excess = payload_bytes - rate.max_payload
    words = f"payload {payload_bytes} bytes exceeds {rate.max_payload} bytes ({data_rate}) by {excess}"
    return Verdict(state="exceeded", words=words, excess=Fraction(excess))


def _ms(seconds: Fraction) -> str:
    return f"{float(seconds * 1000):.10g}"
