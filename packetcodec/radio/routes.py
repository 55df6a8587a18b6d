"""Routes: the different ways in which the rule of a sub-band lets somebody send.

Owns two rules: which route is the default, and what a route allows. The default is the first route that takes the
channel's bandwidth and the number of channels and asks for nothing that a plain tracker does not have (listening, low
power); where every route asks for something, the first. What a route allows is a set of `Allowance`: so much time on air
in any continuous stretch of so many seconds, on one frequency or on all.

>>> from packetcodec.radio import region
>>> band = region("EU868").sub_band(868_100_000, 125_000)
>>> [route.name for route in band.routes], choose(band, 125_000).name
(['duty-cycle', 'listen'], 'duty-cycle')
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from packetcodec.errors import RadioFault
from packetcodec.spelling import nearest

if TYPE_CHECKING:
    from packetcodec.radio.regions import SubBand

HOUR = Fraction(3600)
"""Duty cycle counts over any continuous hour unless a rule says otherwise (ERC/REC 70-03, read)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """Time on air that is allowed.

    Attributes:
        seconds: at most so much,
        window: in any continuous stretch of so many seconds.
        channels: the transmitter uses so many channels in turn, and the allowance is for each one of them; 1 for all.
        description: the limit in words.

    >>> Allowance(seconds=Fraction(36), window=Fraction(3600)).period(Fraction(1, 2))          # seconds
    Fraction(50, 1)
    """

    seconds: Fraction
    window: Fraction
    channels: int = 1
    description: str = ""

    def period(self, airtime: Fraction) -> Fraction | None:
        """The shortest fixed period, in seconds, with which no continuous window holds more than is allowed.

        None where a single packet is beyond it. A window holds whole packets, so the period is the window over the
        packets that fit, not airtime over duty cycle: that average, kept as a fixed period, can overfill a window.
        """
        packets = self.channels * (self.seconds // airtime)
        return self.window / packets if packets else None

    def max_seconds(self, airtime: Fraction, period: Fraction) -> Fraction:
        """Most time on air, in seconds, that packets of a fixed period put into one window (on one channel)."""
        each = period * self.channels
        whole, rest = divmod(self.window, each)
        return whole * airtime + min(airtime, rest)


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """One way of sending in a sub-band.

    Attributes:
        name: duty-cycle, listen, hopping, hybrid, wideband, narrow, low-power, high-power or open.
        power: the power limit as its document words it.
        source, date, verified: the document, its date, how far the figures were verified.
        on_request: whether it asks for something that a plain tracker does not have, so that it is never a default.
        conditions: what else it asks for.
        duty_cycle: share of any continuous `duty_window_seconds` that may be spent sending, 1/100 for 1 %, or None.
        duty_window_seconds: one hour unless the rule says otherwise.
        on_seconds: longest single transmission; advised_seconds: the same as advice.
        pause_seconds: shortest pause between two transmissions.
        hour_seconds: most time on air in any continuous hour.
        dwell_seconds: longest time on one frequency; None without a limit.
        dwell_window_seconds: the time in which dwell counts; None when it counts for a single transmission.
        dwell_window_per_channel_seconds: the same, times the number of channels.
        min_channels, max_channels: of hopping, or None.
        min_bandwidth_hz, max_bandwidth_hz: bandwidths that it is for, or None.
        ranges_hz: parts of the sub-band that it is for; empty for all of it.
        note: what else the row says.

    >>> from packetcodec.radio import region
    >>> [(route.name, route.duty_cycle) for route in region("EU868").sub_bands[0].routes if isinstance(route, Route)]
    [('duty-cycle', Fraction(1, 1000)), ('listen', None)]
    """

    name: str
    power: str
    source: str
    date: str
    verified: str
    on_request: bool = False
    conditions: str = ""
    duty_cycle: Fraction | None = None
    duty_window_seconds: Fraction = HOUR
    on_seconds: Fraction | None = None
    advised_seconds: Fraction | None = None
    pause_seconds: Fraction | None = None
    hour_seconds: Fraction | None = None
    dwell_seconds: Fraction | None = None
    dwell_window_seconds: Fraction | None = None
    dwell_window_per_channel_seconds: Fraction | None = None
    min_channels: int | None = None
    max_channels: int | None = None
    min_bandwidth_hz: int | None = None
    max_bandwidth_hz: int | None = None
    ranges_hz: tuple[tuple[int, int], ...] = ()
    note: str = ""

    def takes_bandwidth(self, bandwidth_hz: Fraction | int) -> bool:
        """Whether it is for channels of that width."""
        above = self.min_bandwidth_hz is None or self.min_bandwidth_hz <= bandwidth_hz
        return above and (self.max_bandwidth_hz is None or bandwidth_hz <= self.max_bandwidth_hz)

    def takes_channels(self, channels: int) -> bool:
        """Whether it permits a transmitter that uses so many channels in turn."""
        return (self.min_channels or 1) <= channels and (self.max_channels is None or channels <= self.max_channels)

    def takes_place(self, low: Fraction | int, high: Fraction | int) -> bool:
        """Whether it is for the channel low..high, in hertz, which lies in its sub-band."""
        return not self.ranges_hz or any(least <= low and high <= most for least, most in self.ranges_hz)

    def dwell_window(self, channels: int) -> Fraction | None:
        """The time in seconds in which dwell counts for so many channels; None when it counts for one transmission."""
        each = self.dwell_window_per_channel_seconds
        return self.dwell_window_seconds if each is None else each * channels

    def allowances(self, channels: int = 1) -> tuple[Allowance, ...]:
        """What it allows a transmitter that uses so many channels in turn; empty where nothing limits how often."""
        found = []
        if self.duty_cycle is not None:
            window = self.duty_window_seconds
            per = "any hour" if window == HOUR else f"any {float(window):g} s"
            words = f"{float(self.duty_cycle) * 100:g} % of {per}"
            found.append(Allowance(seconds=self.duty_cycle * window, window=window, description=words))
        if self.hour_seconds is not None:
            words = f"{float(self.hour_seconds):g} s in any hour"
            found.append(Allowance(seconds=self.hour_seconds, window=HOUR, description=words))
        dwell_window = self.dwell_window(channels)
        if self.dwell_seconds is not None and dwell_window is not None:
            words = f"{milliseconds(self.dwell_seconds)} ms on one frequency in any {float(dwell_window):g} s"
            found.append(Allowance(seconds=self.dwell_seconds, window=dwell_window, channels=channels, description=words))
        return tuple(found)

    @property
    def description(self) -> str:
        """Its limits in a few words."""
        said = [allowance.description for allowance in self.allowances(self.min_channels or 1)]
        if self.dwell_seconds is not None and self.dwell_window(1) is None:
            said.append(f"{milliseconds(self.dwell_seconds)} ms on one frequency")
        if self.on_seconds is not None:
            said.append(f"at most {milliseconds(self.on_seconds)} ms at a time")
        if self.pause_seconds is not None:
            said.append(f"{milliseconds(self.pause_seconds)} ms of pause")
        return ", ".join(said) or "no limit of time on air"


def choose(band: SubBand, bandwidth_hz: Fraction | int, *, channels: int = 1, name: str | None = None) -> Route:
    """The route of a sub-band that is asked for by name, or the default one.

    Raises:
        RadioFault: a name that no route of the sub-band has, or a route that does not take the bandwidth.
    """
    if name is not None:
        return _named(band, bandwidth_hz, channels, name)
    fitting = [route for route in band.routes if route.takes_bandwidth(bandwidth_hz)]
    plain = [route for route in fitting if not route.on_request]
    permitting = [route for route in plain if route.takes_channels(channels)]
    return (permitting or plain or fitting)[0]


def _named(band: SubBand, bandwidth_hz: Fraction | int, channels: int, name: str) -> Route:
    named = [route for route in band.routes if route.name == name]
    if not named:
        known = list(dict.fromkeys(route.name for route in band.routes))
        near = nearest(name, known)
        hint = f" (did you mean {near}?)" if near else ""
        raise RadioFault(f"route: {name!r} is not a route of {band.name} in {band.region}: {', '.join(known)}{hint}")
    fitting = [route for route in named if route.takes_bandwidth(bandwidth_hz)]
    if not fitting:
        asked = " or ".join(bandwidths(route) for route in named)
        raise RadioFault(f"route: {name} of {band.name} takes {asked}, the channel has {float(bandwidth_hz) / 1000:g} kHz")
    return next((route for route in fitting if route.takes_channels(channels)), fitting[0])


def ways_out(band: SubBand, bandwidth_hz: Fraction | int, channels: int) -> str:
    """What would permit a channel that the chosen route does not: other routes, and what each asks for."""
    ways = []
    for route in band.routes:
        asks = []
        if not route.takes_channels(channels):
            few = route.max_channels is None or channels < (route.min_channels or 1)
            asks.append(f"at least {route.min_channels} channels" if few else f"at most {route.max_channels} channels")
        if not route.takes_bandwidth(bandwidth_hz):
            asks.append(f"a bandwidth of {bandwidths(route)}")
        elif route.on_request:
            asks.append(route.conditions or route.power)
        if asks:
            ways.append(f"{route.name} ({', '.join(asks)})")
    return "; ".join(ways)


def bandwidths(route: Route) -> str:
    """The bandwidths of a route in words."""
    least = "" if route.min_bandwidth_hz is None else f"at least {route.min_bandwidth_hz / 1000:g} kHz"
    most = "" if route.max_bandwidth_hz is None else f"at most {route.max_bandwidth_hz / 1000:g} kHz"
    return " and ".join(filter(None, (least, most))) or "any bandwidth"


def milliseconds(seconds: Fraction) -> str:
    """Seconds as milliseconds for people."""
    return f"{float(seconds * 1000):.10g}"
