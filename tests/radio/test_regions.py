"""The regions' data file, and which sub-band a channel is in."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packetcodec.errors import RadioFault
from packetcodec.radio import VERIFIED, DataRate, LoRa, load_regions, region

ROWS = [(known.name, row) for known in load_regions() for row in (known, *known.sub_bands, *known.gaps, *known.data_rates)]


@pytest.mark.parametrize(("name", "row"), ROWS, ids=lambda part: part if isinstance(part, str) else type(part).__name__)
def test_every_row_has_a_source_a_date_and_a_mark(name: str, row: DataRate) -> None:
    assert len(row.source) > 5, name
    assert re.fullmatch(r"\d{4}(-\d\d)?|not stated", row.date)
    assert row.verified in VERIFIED


def test_the_regions_are_these() -> None:
    groups = [f"AS923-{n}{dwell}" for n in (1, 2, 3, 4) for dwell in ("", "-NO-DWELL")]
    assert [known.name for known in load_regions()] == [
        "EU868",
        "EU433",
        "US915",
        "AU915",
        "AU915-NO-DWELL",
        *groups,
        "JP",
        "IN865",
        "KR920",
        "RU864",
        "CN470",
    ]
    assert region("eu868") is region("EU868")
    with pytest.raises(RadioFault, match="region: 'MOON' is none of EU868, EU433"):
        region("MOON")


@pytest.mark.parametrize("known", load_regions(), ids=lambda known: known.name)
def test_ranges_are_not_empty_and_gaps_share_nothing_with_sub_bands(known: object) -> None:
    for row in (*known.sub_bands, *known.gaps):
        assert 10**8 < row.min_hz < row.max_hz < 10**9
    for gap in known.gaps:
        assert all(gap.max_hz <= band.min_hz or band.max_hz <= gap.min_hz for band in known.sub_bands)


# Name, MHz range, duty cycle, dwell in seconds. EU868: ETSI EN 300 220-2 V3.2.1 Table B.1 (quoted) and
# two reference LoRaWAN stacks (read). EU433: ERC/REC 70-03 (quoted). US915: 47 CFR 15.247 (read). The
# others: the reference stacks (read), except the 4 s, 10 % and 400 ms of Japan, the 5 s of China and the
# edges of Korea (from memory).
LIMITS = (
    ("EU868", 864.0, "0.001", None),
    ("EU868", 867.1, "0.01", None),
    ("EU868", 868.1, "0.01", None),
    ("EU868", 869.0, "0.001", None),
    ("EU868", 869.525, "0.1", None),
    ("EU868", 869.85, "0.01", None),
    ("EU433", 433.175, "0.1", None),
    ("US915", 902.3, None, "0.4"),
    ("AU915", 915.2, None, "0.4"),
    ("AU915-NO-DWELL", 915.2, None, None),
    ("AS923-1", 923.2, "0.01", "0.4"),
    ("AS923-2-NO-DWELL", 921.4, "0.01", None),
    ("AS923-3", 916.6, "0.01", "0.4"),
    ("AS923-4", 917.3, "0.01", "0.4"),
    ("JP", 920.6, None, "4"),
    ("JP", 923.4, None, "4"),
    ("JP", 928.0, "0.1", "0.4"),
    ("IN865", 865.0625, None, None),
    ("KR920", 920.9, None, None),
    ("KR920", 923.3, None, None),
    ("RU864", 864.5, "0.001", None),
    ("RU864", 866.1, "0.01", None),
    ("RU864", 868.9, "0.01", None),
    ("CN470", 470.3, None, "5"),
)


@pytest.mark.parametrize(("name", "mhz", "duty", "dwell"), LIMITS)
def test_a_channel_of_125_khz_gets_the_limits_of_its_sub_band(
    name: str, mhz: float, duty: str | None, dwell: str | None
) -> None:
    band = region(name).sub_band(round(mhz * 10**6), 125_000)
    assert band.region == name
    assert band.duty_cycle == (None if duty is None else Fraction(duty))
    assert band.dwell_seconds == (None if dwell is None else Fraction(dwell))


@pytest.mark.parametrize(
    ("mhz", "bandwidth_hz", "message"),
    [
        (868.65, 25_000, "lies in the gap 868.6..868.7 MHz, where nothing may be sent"),
        (869.3, 125_000, "lies in the gap 869.2..869.4 MHz"),
        (869.675, 25_000, "lies in the gap 869.65..869.7 MHz"),
        (868.55, 125_000, "takes 868.4875..868.6125 MHz and reaches into the gap 868.6..868.7 MHz"),
        (869.525, 500_000, "takes 869.275..869.775 MHz and reaches into the gap 869.2..869.4 MHz"),
        (
            868.0,
            125_000,
            "takes 867.9375..868.0625 MHz and crosses the edge of sub-band '865-868' at 868 MHz",
        ),
        (870.0, 125_000, "crosses the edge of sub-band '869.7-870.0' at 870 MHz"),
        (915.0, 125_000, "takes 914.9375..915.0625 MHz and is outside every sub-band: 863..865, 865..868, "),
    ],
)
def test_a_channel_without_a_sub_band_is_refused_with_its_edges_and_the_reason(
    mhz: float, bandwidth_hz: int, message: str
) -> None:
    with pytest.raises(RadioFault, match=re.escape(message)):
        region("EU868").sub_band(round(mhz * 10**6), bandwidth_hz)


def test_a_channel_may_touch_an_edge_and_not_cross_it_by_one_hertz() -> None:
    europe = region("EU868")
    assert europe.sub_band(868_062_500, 125_000).name == "868.0-868.6"
    assert europe.sub_band(868_537_500, 125_000).name == "868.0-868.6"
    for beyond in (868_062_499, 868_537_501):
        with pytest.raises(RadioFault):
            europe.sub_band(beyond, 125_000)


def test_the_exact_bandwidth_of_a_narrow_modem_counts_not_the_printed_one() -> None:
    narrow = LoRa(spreading_factor=7, bandwidth_hz=7_800)
    assert narrow.occupied_hz == Fraction(15_625, 2)
    edge = 868_000_000 + 3_906  # half of 7812.5 Hz is 3906.25 Hz
    assert region("EU868").sub_band(edge, 7_800).name == "868.0-868.6"
    with pytest.raises(RadioFault, match="crosses the edge"):
        region("EU868").sub_band(edge, narrow.occupied_hz)


@given(frequency=st.integers(862_000_000, 871_000_000), bandwidth=st.integers(1, 600_000))
def test_what_is_accepted_lies_in_one_sub_band_and_in_no_gap(frequency: int, bandwidth: int) -> None:
    europe = region("EU868")
    try:
        routes = europe.routes(frequency, bandwidth)
    except RadioFault:
        whole = [
            band
            for band in europe.sub_bands
            if 2 * band.min_hz <= 2 * frequency - bandwidth and 2 * frequency + bandwidth <= 2 * band.max_hz
        ]
        assert not whole
        return
    for band in routes:
        assert 2 * band.min_hz <= 2 * frequency - bandwidth
        assert 2 * frequency + bandwidth <= 2 * band.max_hz


def test_where_rows_overlap_the_first_is_the_default_and_all_are_told() -> None:
    assert [band.name for band in region("EU868").routes(869_850_000, 125_000)] == [
        "869.7-870.0",
        "869.7-870.0 at 5 mW",
    ]
    assert len(region("EU433").routes(434_500_000, 25_000)) == 3
    assert len(region("EU433").routes(434_500_000, 125_000)) == 2


# 47 CFR 15.247(a)(1)(i) and (a)(2): the first read, the second quoted.
@pytest.mark.parametrize(
    ("bandwidth_hz", "channels", "window"), [(125_000, 50, 20), (250_000, 25, 10), (500_000, None, None)]
)
def test_the_route_in_902_to_928_mhz_follows_the_bandwidth(
    bandwidth_hz: int, channels: int | None, window: int | None
) -> None:
    (band,) = region("US915").routes(915_000_000, bandwidth_hz)
    assert (band.min_channels, band.dwell_window_seconds) == (channels, window)


def test_a_bandwidth_that_no_row_takes_is_told_with_the_rows() -> None:
    with pytest.raises(RadioFault, match=r"bandwidth of 500 kHz has no row: '920.5-923.5' takes at most 200000 Hz"):
        region("JP").sub_band(922_000_000, 500_000)


@pytest.mark.parametrize(
    ("frequency", "bandwidth", "message"),
    [
        (868.1e6, 125_000, "frequency_hz: 868100000.0 is not a whole number"),
        (0, 125_000, "frequency_hz: 0 is outside 1..10000000000"),
        (868_100_000, 0, "bandwidth_hz: 0 is not an int or Fraction above 0 hertz"),
        (868_100_000, float("nan"), "bandwidth_hz: nan is not an int or Fraction above 0 hertz"),
    ],
)
def test_a_channel_that_is_no_number_is_refused(frequency: object, bandwidth: object, message: str) -> None:
    with pytest.raises(RadioFault, match=re.escape(message)):
        region("EU868").sub_band(frequency, bandwidth)


# N of SF12 down to SF7 at 125 kHz, None where the data rate does not exist or may not be used. EU433:
# LoRaWAN 1.0.3 Regional Parameters, Tables 31 and 32 (read). AS923: RP002-1.0.5, Table 73 (read). US915:
# quoted. The others: reference stacks (read).
PAYLOADS = {
    "EU868": (51, 51, 51, 115, 242, 242),
    "EU433": (51, 51, 51, 115, 242, 242),
    "IN865": (51, 51, 51, 115, 242, 242),
    "RU864": (51, 51, 51, 115, 242, 242),
    "KR920": (51, 51, 51, 115, 242, 242),
    "US915": (None, None, 11, 53, 125, 242),
    "AU915": (None, None, 11, 53, 125, 242),
    "AU915-NO-DWELL": (51, 51, 51, 115, 242, 242),
    "AS923-1": (None, None, 11, 53, 125, 242),
    "AS923-1-NO-DWELL": (51, 51, 115, 115, 242, 242),
    "JP": (51, 51, 115, 115, 242, 242),
    "CN470": (None, 23, 86, 184, 242, 242),
}


@pytest.mark.parametrize("name", PAYLOADS)
def test_lorawan_payloads_are_those_of_the_regional_parameters(name: str) -> None:
    rates = [region(name).data_rate(sf, 125_000) for sf in range(12, 6, -1)]
    assert tuple(rate and rate.max_payload for rate in rates) == PAYLOADS[name]


def test_a_setting_with_an_uplink_and_a_downlink_rate_gets_the_uplink_one() -> None:
    rate = region("US915").data_rate(8, 500_000)
    assert (rate.index, rate.downlink, rate.max_payload) == (4, False, 242)
    assert region("EU868").data_rate(None, 0).index == 7
    assert region("EU868").data_rate(12, 500_000) is None
    assert region("US915").data_rate(None, 0) is None  # frequency-hopping rates are no FSK


# Largest PHY payload within 400 ms at 125 kHz, 4/5, preamble 8, explicit header, CRC: computed from the
# reference drivers. Less the 13 bytes of LoRaWAN it is the N of the dwell tables, which are published
# (RP002-1.0.5, Table 73, read).
@pytest.mark.parametrize(("sf", "largest"), [(7, 255), (8, 138), (9, 66), (10, 24), (11, 0), (12, None)])
def test_the_largest_payload_within_400_ms_is_the_published_one_plus_13(sf: int, largest: int | None) -> None:
    assert LoRa(spreading_factor=sf).largest_payload(0.4) == largest
    for name in ("AS923-1", "AU915", "US915"):
        rate = region(name).data_rate(sf, 125_000)
        published = rate.max_payload if rate else None
        assert published == (largest - 13 if largest else None)


# As above at 500 kHz.
@pytest.mark.parametrize(("sf", "largest"), [(10, 174), (11, 82), (12, 30)])
def test_the_largest_payload_within_400_ms_at_500_khz(sf: int, largest: int) -> None:
    assert LoRa(spreading_factor=sf, bandwidth_hz=500_000).largest_payload(Fraction(2, 5)) == largest


@pytest.mark.parametrize(("name", "meant"), [("EU688", "EU868"), ("eu86", "EU868"), ("US91", "US915"), ("KR920 ", "KR920")])
def test_a_region_that_is_mistyped_is_guessed(name: str, meant: str) -> None:
    with pytest.raises(RadioFault, match=rf"\(did you mean {meant}\?\)"):
        region(name)
