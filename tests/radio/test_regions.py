"""The regions' data file, and which sub-band a channel is in."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packetcodec.errors import RadioFault
from packetcodec.radio import VERIFIED, LoRa, choose, load_regions, region

ROWS = [
    (known.name, row)
    for known in load_regions()
    for row in (known, *(route for band in known.sub_bands for route in band.routes), *known.gaps, *known.data_rates)
]


def test_every_row_has_a_source_a_date_and_a_mark() -> None:
    assert not [
        (name, row)
        for name, row in ROWS
        if len(row.source) <= 5 or not re.fullmatch(r"\d{4}(-\d\d)?|not stated", row.date) or row.verified not in VERIFIED
    ]


def test_the_regions_are_these() -> None:
    groups = [f"AS923-{n}{dwell}" for n in (1, 2, 3, 4) for dwell in ("", "-NO-DWELL")]
    assert [known.name for known in load_regions()] == [
        "EU868",
        "EU433",
        "US915",
        "AU915",
        "AU915-NO-DWELL",
        "NZ",
        *groups,
        "JP",
        "IN865",
        "KR920",
        "RU864",
        "CN470",
        "ISM2400",
    ]
    assert region("eu868") is region("EU868")
    with pytest.raises(RadioFault, match="region: 'MOON' is none of EU868, EU433"):
        region("MOON")


@pytest.mark.parametrize("known", load_regions(), ids=lambda known: known.name)
def test_ranges_are_not_empty_and_gaps_share_nothing_with_sub_bands(known: object) -> None:
    for row in (*known.sub_bands, *known.gaps):
        assert 10**8 < row.min_hz < row.max_hz < 3 * 10**9
    for gap in known.gaps:
        assert all(gap.max_hz <= band.min_hz or band.max_hz <= gap.min_hz for band in known.sub_bands)


# Name, MHz, the limits of the default route for a fixed channel of 125 kHz. EU868: ETSI EN 300 220-2 V3.3.1 Table B.1
# (quoted) and two reference LoRaWAN stacks (read). EU433: ERC/REC 70-03 (quoted). US915: 47 CFR 15.247 (read). AU915: LIPD
# class licence (quoted). RU864: GKRCh 18-46-03-1 Annex 12 (quoted). CN470: MIIT 52/2019 (quoted). KR920: IEEE 802.15 slides
# (read). The others: the reference stacks (read), except the 4 s, 10 % and 400 ms of Japan (from memory).
LIMITS = (
    ("EU868", 864.0, "duty-cycle", "0.1 % of any hour"),
    ("EU868", 867.1, "duty-cycle", "1 % of any hour"),
    ("EU868", 868.1, "duty-cycle", "1 % of any hour"),
    ("EU868", 869.0, "duty-cycle", "0.1 % of any hour"),
    ("EU868", 869.525, "duty-cycle", "10 % of any hour"),
    ("EU868", 869.85, "duty-cycle", "1 % of any hour"),
    ("EU433", 433.175, "duty-cycle", "10 % of any hour"),
    ("US915", 902.3, "hopping", "400 ms on one frequency in any 20 s"),
    ("AU915", 915.2, "hopping", "400 ms on one frequency"),
    ("AU915-NO-DWELL", 915.2, "hopping", "no limit of time on air"),
    ("NZ", 864.5, "open", "no limit of time on air"),
    ("NZ", 921.0, "open", "no limit of time on air"),
    ("AS923-1", 923.2, "duty-cycle", "1 % of any hour, 400 ms on one frequency"),
    ("AS923-2-NO-DWELL", 921.4, "duty-cycle", "1 % of any hour"),
    ("AS923-3", 916.6, "duty-cycle", "1 % of any hour, 400 ms on one frequency"),
    ("AS923-4", 917.3, "duty-cycle", "1 % of any hour, 400 ms on one frequency"),
    ("JP", 920.6, "listen", "at most 4000 ms at a time, 50 ms of pause"),
    ("JP", 923.4, "listen", "at most 4000 ms at a time, 50 ms of pause"),
    ("JP", 928.0, "listen", "10 % of any hour, at most 400 ms at a time"),
    ("IN865", 865.0625, "open", "no limit of time on air"),
    ("KR920", 920.9, "duty-cycle", "2 % of any 20 s"),
    ("KR920", 923.3, "duty-cycle", "2 % of any 20 s"),
    ("RU864", 864.5, "duty-cycle", "0.1 % of any hour"),
    ("RU864", 866.1, "duty-cycle", "1 % of any hour"),
    ("RU864", 868.9, "duty-cycle", "10 % of any hour"),
    ("CN470", 470.3, "listen", "at most 1000 ms at a time"),
)


@pytest.mark.parametrize(("name", "mhz", "route", "words"), LIMITS)
def test_a_channel_of_125_khz_gets_the_limits_of_its_sub_band(name: str, mhz: float, route: str, words: str) -> None:
    band = region(name).sub_band(round(mhz * 10**6), 125_000)
    assert band.region == name
    default = choose(band, 125_000)
    assert (default.name, default.description) == (route, words)


@pytest.mark.parametrize(
    ("mhz", "bandwidth_hz", "message"),
    [
        (868.65, 25_000, "lies in the gap 868.6..868.7 MHz, where nothing may be sent"),
        (869.3, 125_000, "lies in the gap 869.2..869.4 MHz"),
        (869.675, 25_000, "lies in the gap 869.65..869.7 MHz"),
        (868.55, 125_000, "takes 868.4875..868.6125 MHz and reaches into the gap 868.6..868.7 MHz"),
        (869.525, 500_000, "takes 869.275..869.775 MHz and reaches into the gap 869.2..869.4 MHz"),
        (
            863.0,
            125_000,
            "takes 862.9375..863.0625 MHz and crosses the edge of sub-band '863-865' at 863 MHz",
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
    with pytest.raises(RadioFault):
        europe.sub_band(868_537_501, 125_000)
    assert europe.sub_band(868_062_499, 125_000).name == "865-868 with 868.0-868.6"


def test_adjacent_sub_bands_count_as_one_with_the_stricter_limits_of_both() -> None:
    # Commission Implementing Decision (EU) 2019/1345, Annex (read).
    both = region("EU868").sub_band(865_000_000, 125_000)
    assert (both.name, choose(both, 125_000).description) == ("863-865 with 865-868", "0.1 % of any hour")
    assert "2019/1345" in both.note
    assert choose(region("EU868").sub_band(868_000_000, 125_000), 125_000).description == "1 % of any hour"


def test_the_exact_bandwidth_of_a_narrow_modem_counts_not_the_printed_one() -> None:
    narrow = LoRa(spreading_factor=7, bandwidth_hz=7_800)
    assert narrow.occupied_hz == Fraction(15_625, 2)
    edge = 869_400_000 + 3_906  # half of 7812.5 Hz is 3906.25 Hz
    assert region("EU868").sub_band(edge, 7_800).name == "869.4-869.65"
    with pytest.raises(RadioFault, match="reaches into the gap"):
        region("EU868").sub_band(edge, narrow.occupied_hz)


@given(frequency=st.integers(862_000_000, 871_000_000), bandwidth=st.integers(1, 600_000))
def test_what_is_accepted_is_covered_by_sub_bands_and_lies_in_no_gap(frequency: int, bandwidth: int) -> None:
    europe = region("EU868")
    low, high = 2 * frequency - bandwidth, 2 * frequency + bandwidth
    whole = [band for band in europe.sub_bands if 2 * band.min_hz <= low and high <= 2 * band.max_hz]
    try:
        band = europe.sub_band(frequency, bandwidth)
    except RadioFault:
        assert not whole
        return
    assert 2 * band.min_hz <= low
    assert high <= 2 * band.max_hz
    assert all(high <= 2 * gap.min_hz or 2 * gap.max_hz <= low for gap in europe.gaps)


def test_routes_are_for_their_parts_of_a_sub_band() -> None:
    europe = region("EU868")
    assert [route.name for route in europe.sub_band(869_850_000, 125_000).routes] == ["duty-cycle", "low-power", "listen"]
    # 865-868 MHz at 500 mW on four channels of 200 kHz: Swiss interface regulation (read), channels from memory.
    high = europe.sub_band(865_700_000, 125_000)
    assert choose(high, 125_000, name="high-power").description == "2.5 % of any hour"
    with pytest.raises(RadioFault, match="route: 'high-power' is not a route of 865-868 in EU868: duty-cycle, listen"):
        choose(europe.sub_band(866_000_000, 125_000), 125_000, name="high-power")
    names = [route.name for route in region("EU433").sub_band(434_500_000, 25_000).routes]
    assert names == ["duty-cycle", "low-power", "narrow"]
    assert choose(region("EU433").sub_band(434_500_000, 25_000), 25_000, name="narrow").duty_cycle == 1
    with pytest.raises(RadioFault, match=r"route: narrow of 433\.05-434\.79 takes at most 25 kHz, the channel has 125 kHz"):
        choose(region("EU433").sub_band(434_500_000, 125_000), 125_000, name="narrow")


# 47 CFR 15.247(a)(1)(i) and (a)(2): the first read, the second quoted. Hybrid, 6 to 49 channels at 21 dBm: 15.247(f) in the
# LoRaWAN regional note (quoted), LoRaMac-node LimitTxPower (read). One fixed narrow channel: 47 CFR 15.249 (quoted).
@pytest.mark.parametrize(
    ("bandwidth_hz", "channels", "route", "least"),
    [
        (125_000, 1, "hopping", 50), (125_000, 5, "hopping", 50), (125_000, 6, "hybrid", 6), (125_000, 49, "hybrid", 6),
        (125_000, 50, "hopping", 50), (250_000, 25, "hopping", 25), (250_000, 1, "hopping", 25),
        (500_000, 1, "wideband", None),
    ],
)  # fmt: skip
def test_the_route_in_902_to_928_mhz_follows_bandwidth_and_channels(
    bandwidth_hz: int, channels: int, route: str, least: int | None
) -> None:
    chosen = choose(region("US915").sub_band(915_000_000, bandwidth_hz), bandwidth_hz, channels=channels)
    assert (chosen.name, chosen.min_channels) == (route, least)


def test_one_fixed_narrow_channel_in_902_to_928_mhz_has_a_route_of_low_power_on_request() -> None:
    chosen = choose(region("US915").sub_band(915_000_000, 125_000), 125_000, name="low-power")
    assert "50 mV/m at 3 m" in chosen.power


# Each row of the corrections: region, MHz, route, what must stand in its figures or words. Sources as in LIMITS; polite
# spectrum access: EN 300 220-2 V3.3.1 Table 18 (quoted); Korea: IEEE 802.15 slides (read).
CORRECTED = (
    ("EU868", 868.1, "listen", {"on_seconds": 1, "pause_seconds": Fraction("0.1"), "hour_seconds": 100}, "160 us"),
    ("EU433", 433.175, "low-power", {"duty_cycle": 1}, "above 250 kHz of bandwidth at most -13 dBm in any 10 kHz"),
    ("KR920", 922.1, "listen", {"on_seconds": 4, "pause_seconds": Fraction("0.05")}, "listen before talk"),
    ("KR920", 922.1, "hopping", {"min_channels": 16, "dwell_seconds": Fraction("0.4")}, "16 channels"),
    ("KR920", 922.1, "duty-cycle", {"duty_cycle": Fraction("0.02"), "duty_window_seconds": 20}, ""),
    ("RU864", 868.9, "duty-cycle", {"duty_cycle": Fraction("0.1"), "power": "100 mW e.r.p."}, ""),
    ("RU864", 866.1, "duty-cycle", {"power": "25 mW e.r.p."}, "not at airports"),
    ("CN470", 470.3, "listen", {"on_seconds": 1, "max_bandwidth_hz": 500_000, "power": "50 mW e.r.p."}, "meters only"),
    ("IN865", 866.0, "open", {"max_bandwidth_hz": 200_000}, "200 kHz"),
    ("AU915", 915.2, "hopping", {"min_channels": 20}, "20 frequencies"),
)


@pytest.mark.parametrize(("name", "mhz", "route", "figures", "words"), CORRECTED)
def test_corrected_rows_say_what_their_sources_say(
    name: str, mhz: float, route: str, figures: dict[str, object], words: str
) -> None:
    chosen = choose(region(name).sub_band(round(mhz * 10**6), 125_000), 125_000, name=route)
    assert {key: getattr(chosen, key) for key in figures} == figures
    assert words in chosen.conditions


def test_editions_gaps_and_notes_are_those_of_the_second_audit() -> None:
    europe = region("EU868")
    assert any("V3.3.1" in route.source and route.date == "2025-03" for band in europe.sub_bands for route in band.routes)
    (alarms,) = (gap for gap in europe.gaps if gap.min_hz == 869_650_000)
    assert alarms.note == "for alarms only: 25 mW e.r.p., at most 10 %, channels of at most 25 kHz"
    assert any("default channels" in note for note in region("AS923-1").notes)
    assert any("26 dBm" in note for note in region("US915").notes)
    assert any("4 MHz" in note for note in region("JP").notes)
    assert any("not law" in note for note in region("AU915").notes)


# RP002-1.0.5, Table 73 (read): SF6 and SF5 with 250 bytes of MAC payload; Table 93: no DR6 in India.
@pytest.mark.parametrize("name", ["EU868", "EU433", "IN865", "RU864", "KR920", "AS923-1", "AS923-1-NO-DWELL"])
def test_sf6_and_sf5_are_data_rates(name: str) -> None:
    assert [(rate.index, rate.max_payload) for sf in (6, 5) if (rate := region(name).data_rate(sf, 125_000))] == [
        (12, 242), (13, 242),
    ]  # fmt: skip


def test_india_has_no_data_rate_of_250_khz() -> None:
    assert region("IN865").data_rate(7, 250_000) is None
    with pytest.raises(RadioFault, match="bandwidth of 250 kHz has no row: open takes at most 200 kHz"):
        region("IN865").sub_band(866_000_000, 250_000)


def test_a_bandwidth_that_no_row_takes_is_told_with_the_rows() -> None:
    with pytest.raises(RadioFault, match=r"bandwidth of 500 kHz has no row: listen takes at most 200 kHz"):
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
    "NZ": (51, 51, 51, 115, 242, 242),
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


# The maxima of the plan follow from 1 s for a transmission (MIIT 52/2019, quoted): M is the largest PHY payload less MHDR
# and MIC (5 bytes), at most 250; below the 13 bytes of LoRaWAN nothing is left.
@pytest.mark.parametrize("sf", range(7, 13))
def test_the_largest_payloads_of_the_470_mhz_plan_are_those_of_one_second(sf: int) -> None:
    largest = LoRa(spreading_factor=sf).largest_payload(1)
    published = region("CN470").data_rate(sf, 125_000).max_mac_payload
    assert published == (None if largest is None or largest < 13 else min(250, largest - 5))


# As above at 500 kHz.
@pytest.mark.parametrize(("sf", "largest"), [(10, 174), (11, 82), (12, 30)])
def test_the_largest_payload_within_400_ms_at_500_khz(sf: int, largest: int) -> None:
    assert LoRa(spreading_factor=sf, bandwidth_hz=500_000).largest_payload(Fraction(2, 5)) == largest


@pytest.mark.parametrize(("name", "meant"), [("EU688", "EU868"), ("eu86", "EU868"), ("US91", "US915"), ("KR920 ", "KR920")])
def test_a_region_that_is_mistyped_is_guessed(name: str, meant: str) -> None:
    with pytest.raises(RadioFault, match=rf"\(did you mean {meant}\?\)"):
        region(name)
