"""Regions as data: sub-bands, the gaps between them, and LoRaWAN data rates, each row with its source.

Owns one rule: which sub-band a channel is in. A channel is its whole occupied bandwidth, frequency - BW/2 to
frequency + BW/2, and it fits when `min_hz <= low edge` and `high edge <= max_hz`: a channel may touch an edge
and never cross one, not even into a neighbour with the same limits. (That the bandwidth counts is from
memory; stacks that look at the centre frequency alone accept more.)

>>> region("EU868").sub_band(868_100_000, 125_000).name
'868.0-868.6'
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import Any

from packetcodec.errors import RadioFault
from packetcodec.radio import modem
from packetcodec.spelling import nearest

VERIFIED = ("read", "quoted", "computed", "memory")
"""How far a row's figures were verified against its source; a row has the weakest mark of its figures."""

MAX_HZ = 10**10
"""The highest frequency that is looked up at all, in hertz."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SubBand:
    """A range with one set of limits.

    Attributes:
        region: name of the region.
        name: the range in MHz, or the route when several share a range.
        min_hz, max_hz: edges in hertz, both of them allowed.
        power: the power limit as its document words it.
        duty_cycle: share of any continuous hour that may be spent sending, 1/100 for 1 %, or None.
        dwell_seconds: longest time on one frequency; None without a limit.
        dwell_window_seconds: the time in which dwell counts; None when it counts for a single transmission.
        min_channels: fewest channels to hop over, or None when no hopping is asked for.
        single_seconds: advised longest single transmission, or None.
        min_bandwidth_hz, max_bandwidth_hz: bandwidths that the row is for, or None.
        source, date, verified: the document, its date, one of `VERIFIED`.
        note: what else the row says.
    """

    region: str
    name: str
    min_hz: int
    max_hz: int
    power: str
    source: str
    date: str
    verified: str
    duty_cycle: Fraction | None = None
    dwell_seconds: Fraction | None = None
    dwell_window_seconds: Fraction | None = None
    min_channels: int | None = None
    single_seconds: Fraction | None = None
    min_bandwidth_hz: int | None = None
    max_bandwidth_hz: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A range, in hertz, in which nothing may be sent, with its source, date, mark and note."""

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
        modulation: "lora", "fsk" or "lr-fhss" (which no modem here sends).
        spreading_factor, bandwidth_hz: of LoRa, else None.
        max_mac_payload: M, bytes of the MAC payload, or None when the data rate may not be used.
        downlink: used by gateways only.
        source, date, verified: the document, its date, one of `VERIFIED`.
    """

    index: int
    modulation: str
    source: str
    date: str
    verified: str
    spreading_factor: int | None = None
    bandwidth_hz: int | None = None
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
        source, date, verified: the document, its date, one of `VERIFIED`.
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

    def routes(self, frequency_hz: int, bandwidth_hz: Fraction | int) -> tuple[SubBand, ...]:
        """Every sub-band row that the channel fits with its whole bandwidth; the first is the default.

        Raises:
            RadioFault: when there is none, saying why: in a gap, across an edge, outside, wrong bandwidth.
        """
        modem.whole("frequency_hz", frequency_hz, 1, MAX_HZ, "hertz")
        if not isinstance(bandwidth_hz, (int, Fraction)) or bandwidth_hz <= 0:
            raise RadioFault(f"bandwidth_hz: {bandwidth_hz!r} is not an int or Fraction above 0 hertz")
        low, high = frequency_hz - Fraction(bandwidth_hz, 2), frequency_hz + Fraction(bandwidth_hz, 2)
        around = tuple(band for band in self.sub_bands if band.min_hz <= low and high <= band.max_hz)
        fitting = tuple(band for band in around if _takes(band, bandwidth_hz))
        if fitting:
            return fitting
        channel = f"frequency: {mhz(frequency_hz)} MHz +- {_khz(Fraction(bandwidth_hz, 2))} kHz"
        raise RadioFault(f"{channel} {self._why_not(low, high, around)} (region {self.name})")

    def sub_band(self, frequency_hz: int, bandwidth_hz: Fraction | int) -> SubBand:
        """The default sub-band row that the channel fits with its whole bandwidth; integers are hertz.

        Raises:
            RadioFault: when there is none, saying why, with numbers.
        """
        return self.routes(frequency_hz, bandwidth_hz)[0]

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

    def _why_not(self, low: Fraction, high: Fraction, around: tuple[SubBand, ...]) -> str:
        if around:
            asked = "; ".join(f"{band.name!r} takes {_bandwidths(band)}" for band in around)
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
    """Every region of the package's data file, in its order."""
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


def _takes(band: SubBand, bandwidth_hz: Fraction | int) -> bool:
    above = band.min_bandwidth_hz is None or band.min_bandwidth_hz <= bandwidth_hz
    return above and (band.max_bandwidth_hz is None or bandwidth_hz <= band.max_bandwidth_hz)


def _bandwidths(band: SubBand) -> str:
    least = "" if band.min_bandwidth_hz is None else f"at least {band.min_bandwidth_hz} Hz"
    most = "" if band.max_bandwidth_hz is None else f"at most {band.max_bandwidth_hz} Hz"
    return " and ".join(filter(None, (least, most)))


@cache
def _load() -> tuple[Region, ...]:
    text = (files("packetcodec.radio") / "regions.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    sources = data["source"]

    def cited(row: dict[str, Any]) -> dict[str, Any]:
        document = sources[row["source"]]
        return row | {"source": document["title"], "date": document["date"]}

    rates = {name: tuple(DataRate(**cited(row)) for row in rows) for name, rows in data["data_rates"].items()}
    regions = []
    for row in map(cited, data["region"]):
        bands = tuple(_sub_band(row["name"], cited(band)) for band in row.pop("sub_band"))
        gaps = tuple(Gap(**cited(gap)) for gap in row.pop("gap", ()))
        own_rates = rates[row.pop("data_rates")]
        row["notes"] = tuple(row["notes"])
        regions.append(Region(**row, sub_bands=bands, gaps=gaps, data_rates=own_rates))
    return tuple(regions)


def _sub_band(region_name: str, row: dict[str, Any]) -> SubBand:
    if "duty_percent" in row:
        row["duty_cycle"] = Fraction(row.pop("duty_percent")) / 100
    exact = {name: Fraction(value) for name, value in row.items() if name.endswith("_seconds")}
    return SubBand(region=region_name, **row | exact)
