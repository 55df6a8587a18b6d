"""Regions as data: sub-bands with their routes, the gaps between them, and LoRaWAN data rates, each row with its source.

Owns one rule: which sub-band a channel is in. A channel is its whole occupied bandwidth, frequency - BW/2 to
frequency + BW/2, and it fits when `min_hz <= low edge` and `high edge <= max_hz`: a channel may touch an edge and not
cross one, except where a region lets adjacent sub-bands be used as one (then the limits of both hold). That the
bandwidth counts is from memory; stacks that look at the centre frequency alone accept more.

>>> region("EU868").sub_band(868_100_000, 125_000).name
'868.0-868.6'
>>> region("EU868").sub_band(868_000_000, 125_000).name
'865-868 with 868.0-868.6'
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import Any

from packetcodec.errors import RadioFault
from packetcodec.radio import modem
from packetcodec.radio.routes import Route, bandwidths
from packetcodec.spelling import nearest

VERIFIED = ("read", "quoted", "computed", "memory")
"""How far the figures of a row were verified against its source; a row has the weakest mark of its figures."""

MAX_HZ = 10**10
"""The highest frequency that is looked up at all, in hertz."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SubBand:
    """A range with the routes that its rule has.

    Attributes:
        region: name of the region.
        name: the range in MHz.
        min_hz, max_hz: edges in hertz, both of them allowed.
        routes: in order of the data file, at least one.
        note: what else the row says.

    >>> band = region("EU868").sub_bands[0]
    >>> isinstance(band, SubBand), band.name, band.min_hz, band.max_hz
    (True, '863-865', 863000000, 865000000)
    """

    region: str
    name: str
    min_hz: int
    max_hz: int
    routes: tuple[Route, ...]
    note: str = ""

    def within(self, low: Fraction | int, high: Fraction | int) -> SubBand | None:
        """The sub-band with the routes that are for the channel low..high, in hertz, or None when it does not fit."""
        routes = tuple(route for route in self.routes if route.takes_place(low, high))
        fits = self.min_hz <= low and high <= self.max_hz and routes
        return replace(self, routes=routes) if fits else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A range, in hertz, in which nothing may be sent, with its source, date, mark and note.

    >>> [(gap.min_hz, gap.max_hz) for gap in region("EU868").gaps[:1] if isinstance(gap, Gap)]
    [(868600000, 868700000)]
    """

    min_hz: int
    max_hz: int
    source: str
    date: str
    verified: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DataRate:
    """A LoRaWAN data rate of a region.

    Attributes:
        index: DR number.
        modulation: "lora", "fsk" or "lr-fhss".
        spreading_factor, bandwidth_hz: of LoRa, else None.
        coding_rate: of LR-FHSS, such as "1/3", else "".
        max_mac_payload: M, bytes of the MAC payload, or None when the data rate may not be used.
        downlink: used by gateways only.
        source, date, verified: the document, its date, one of `VERIFIED`.

    >>> rate = region("EU868").data_rates[0]
    >>> isinstance(rate, DataRate), rate.spreading_factor, rate.bandwidth_hz, rate.max_mac_payload
    (True, 12, 125000, 59)
    """

    index: int
    modulation: str
    source: str
    date: str
    verified: str
    spreading_factor: int | None = None
    bandwidth_hz: int | None = None
    coding_rate: str = ""
    max_mac_payload: int | None = None
    downlink: bool = False

    @property
    def max_payload(self) -> int | None:
        """N, bytes of application payload without frame options: M less 7 of frame header and 1 of port."""
        return None if self.max_mac_payload is None else self.max_mac_payload - 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """A region's rows.

    Attributes:
        name: "EU868" and the like.
        title: where, and which range.
        sub_bands: in order of the data file; where they overlap the first is the default.
        gaps: ranges in which nothing may be sent.
        data_rates: LoRaWAN data rates, by index.
        notes: rules that no number says.
        adjacent: what lets adjacent sub-bands be used as one, or "" where nothing does.
        common_hz: a channel that people really use there, or None.
        source, date, verified: the document, its date, one of `VERIFIED`.

    >>> europe = region("EU868")
    >>> isinstance(europe, Region), europe.title, len(europe.sub_bands)
    (True, 'Europe (CEPT), 863-870 MHz', 6)
    """

    name: str
    title: str
    sub_bands: tuple[SubBand, ...]
    gaps: tuple[Gap, ...]
    data_rates: tuple[DataRate, ...]
    notes: tuple[str, ...]
    source: str
    date: str
    verified: str
    adjacent: str = ""
    common_hz: int | None = None

    def sub_band(self, frequency_hz: int, bandwidth_hz: Fraction | int) -> SubBand:
        """The sub-band that the channel fits with its whole bandwidth; integers are hertz.

        Where the region allows it, two adjacent ones count as one: each route then has the stricter limits of both.

        Raises:
            RadioFault: when there is none, saying why: in a gap, across an edge, outside, wrong bandwidth.
        """
        modem.integer("frequency_hz", frequency_hz, 1, MAX_HZ, "hertz")
        if not isinstance(bandwidth_hz, (int, Fraction)) or bandwidth_hz <= 0:
            raise RadioFault(f"bandwidth_hz: {bandwidth_hz!r} is not an int or Fraction above 0 hertz")
        low, high = frequency_hz - Fraction(bandwidth_hz, 2), frequency_hz + Fraction(bandwidth_hz, 2)
        around = [band for row in self._with_pairs() if (band := row.within(low, high)) is not None]
        for band in around:
            if any(route.takes_bandwidth(bandwidth_hz) for route in band.routes):
                return band
        channel = f"frequency: {mhz(frequency_hz)} MHz +- {_khz(Fraction(bandwidth_hz, 2))} kHz"
        raise RadioFault(f"{channel} {self._why_not(low, high, around)} (region {self.name})")

    def _with_pairs(self) -> tuple[SubBand, ...]:
        if not self.adjacent:
            return self.sub_bands
        pairs = [
            _both(lower, upper, self.adjacent)
            for lower in self.sub_bands
            for upper in self.sub_bands
            if lower.max_hz == upper.min_hz
        ]
        return (*self.sub_bands, *pairs)

    def data_rate(self, spreading_factor: int | None, bandwidth_hz: int) -> DataRate | None:
        """The LoRaWAN data rate of a LoRa setting (FSK: spreading factor None), uplink first, or None."""
        same = [
            rate
            for rate in self.data_rates
            if rate.modulation != "lr-fhss"
            and rate.spreading_factor == spreading_factor
            and rate.bandwidth_hz in (None, bandwidth_hz)
        ]
        return min(same, key=lambda rate: rate.downlink, default=None)

    def lr_fhss_rate(self, coding_rate: str) -> DataRate | None:
        """The LoRaWAN data rate of an LR-FHSS coding rate, or None."""
        return next((rate for rate in self.data_rates if rate.coding_rate == coding_rate), None)

    def _why_not(self, low: Fraction, high: Fraction, around: list[SubBand]) -> str:
        if around:
            asked = "; ".join(f"{route.name} takes {bandwidths(route)}" for band in around for route in band.routes)
            return f"lies inside, but its bandwidth of {_khz(high - low)} kHz has no row: {asked}"
        span = f"takes {mhz(low)}..{mhz(high)} MHz and"
        for gap in self.gaps:
            if low < gap.max_hz and gap.min_hz < high:
                reach = "lies in" if gap.min_hz <= low and high <= gap.max_hz else "reaches into"
                bounds = f"{mhz(gap.min_hz)}..{mhz(gap.max_hz)} MHz"
                return f"{span} {reach} the gap {bounds}, where nothing may be sent ({gap.note})"
        for band in self.sub_bands:
            for edge in (band.min_hz, band.max_hz):
                if low < edge < high:
                    return f"{span} crosses the edge of sub-band {band.name!r} at {mhz(edge)} MHz"
        bands = ", ".join(dict.fromkeys(f"{mhz(band.min_hz)}..{mhz(band.max_hz)}" for band in self.sub_bands))
        return f"{span} is outside every sub-band: {bands} MHz"


def load_regions() -> tuple[Region, ...]:
    """Every region of the package's data file, in its order.

    >>> [known.name for known in load_regions()][:3]
    ['EU868', 'EU433', 'US915']
    """
    return _load()


def region(name: str) -> Region:
    """The region of that name; case does not count.

    Raises:
        RadioFault: for an unknown name, listing the known ones.
    """
    for known in _load():
        if known.name == name.upper():
            return known
    names = [known.name for known in _load()]
    near = nearest(name.upper(), names)
    hint = f" (did you mean {near}?)" if near else ""
    raise RadioFault(f"region: {name!r} is none of {', '.join(names)}{hint}")


def mhz(hertz: Fraction | int) -> str:
    """Hertz as MHz for people: the exact decimal of the nearest hertz, without trailing zeros."""
    whole, rest = divmod(round(hertz), 10**6)
    return f"{whole}.{rest:06}".rstrip("0").removesuffix(".")


def _khz(hertz: Fraction) -> str:
    return f"{float(hertz) / 1000:g}"


def _both(lower: SubBand, upper: SubBand, note: str) -> SubBand:
    """Two adjacent sub-bands as one: the routes that both have, each with the stricter limits."""
    routes = tuple(_stricter(one, two) for one in lower.routes for two in upper.routes if one.name == two.name)
    name = f"{lower.name} with {upper.name}"
    return SubBand(region=lower.region, name=name, min_hz=lower.min_hz, max_hz=upper.max_hz, routes=routes, note=note)


def _stricter(one: Route, two: Route) -> Route:
    smaller = (
        "duty_cycle", "on_seconds", "advised_seconds", "hour_seconds", "dwell_seconds", "max_channels", "max_bandwidth_hz",
    )  # fmt: skip
    larger = ("pause_seconds", "min_channels", "min_bandwidth_hz")
    limits = {name: _pick(min, getattr(one, name), getattr(two, name)) for name in smaller}
    limits |= {name: _pick(max, getattr(one, name), getattr(two, name)) for name in larger}
    power = one.power if one.power == two.power else f"{one.power} and {two.power}, the lower of both"
    return replace(one, power=power, **limits)


def _pick(choice: Any, one: Any, two: Any) -> Any:
    given = [value for value in (one, two) if value is not None]
    return choice(given) if given else None


@cache
def _load() -> tuple[Region, ...]:
    text = (files("packetcodec.radio") / "regions.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    sources = data["source"]

    def cited(row: dict[str, Any]) -> dict[str, Any]:
        document = sources[row["source"]]
        return row | {"source": document["title"], "date": document["date"]}

    rates = {name: tuple(DataRate(**cited(row)) for row in rows) for name, rows in data["data_rates"].items()}
    shared = {name: _route(cited(row)) for name, row in data["shared"].items()}
    regions = []
    for row in map(cited, data["region"]):
        bands = []
        for band in row.pop("sub_band"):
            routes = [_route(cited(route)) for route in band.pop("route")]
            routes += [shared[name] for name in band.pop("also", ())]
            bands.append(SubBand(region=row["name"], routes=tuple(routes), **band))
        gaps = tuple(Gap(**cited(gap)) for gap in row.pop("gap", ()))
        own_rates = rates[row.pop("data_rates")]
        row["notes"] = tuple(row.get("notes", ()))
        regions.append(Region(**row, sub_bands=tuple(bands), gaps=gaps, data_rates=own_rates))
    return tuple(regions)


def _route(row: dict[str, Any]) -> Route:
    exact = {name: Fraction(value) for name, value in row.items() if name.endswith("_seconds")}
    if "duty_percent" in row:
        exact["duty_cycle"] = Fraction(row.pop("duty_percent")) / 100
    row["ranges_hz"] = tuple((low, high) for low, high in row.get("ranges_hz", ()))
    return Route(**row | exact)
