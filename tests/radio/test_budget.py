"""Limits applied to a packet."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packetcodec.errors import RadioFault
from packetcodec.radio import CAUTION, Fsk, LoRa, load_regions, packet_budget, region

EU_1_PERCENT = region("EU868").sub_band(868_100_000, 125_000)
US_125 = region("US915").sub_band(902_300_000, 125_000)


# MHz in EU868, seconds per hour, shortest average interval of 1155.072 ms (SF12, 12 bytes), advised
# longest single transmission. The duty cycles: ETSI EN 300 220-2 V3.2.1 Table B.1 (quoted); the single
# transmissions: ERC/REC 70-03 (read).
DUTY = (
    (864_000_000, "3.6", "1155.072", "0.72", "exceeded"),
    (868_100_000, "36", "115.5072", "3.6", "within"),
    (869_525_000, "360", "11.55072", "36", "within"),
)


@pytest.mark.parametrize(("hertz", "per_hour", "interval", "advised", "state"), DUTY)
def test_duty_cycle_gives_the_interval_and_the_seconds_per_hour(
    hertz: int, per_hour: str, interval: str, advised: str, state: str
) -> None:
    band = region("EU868").sub_band(hertz, 125_000)
    cost = packet_budget(LoRa(spreading_factor=12), 12, band)
    assert cost.airtime == Fraction("1.155072")
    assert cost.duty_seconds_per_hour == Fraction(per_hour)
    assert cost.interval == Fraction(interval)
    assert cost.packets_per_hour == int(Fraction(per_hour) / Fraction("1.155072"))
    assert band.single_seconds == Fraction(advised)
    assert cost.single.state == state
    assert cost.dwell.state == "not applicable"
    assert cost.lorawan.state == "not applicable"


@given(sf=st.integers(7, 12), size=st.integers(0, 255), duty=st.sampled_from(["0.001", "0.01", "0.1", "1"]))
def test_no_continuous_hour_of_regular_sending_holds_more_than_the_limit(sf: int, size: int, duty: str) -> None:
    band = replace(EU_1_PERCENT, duty_cycle=Fraction(duty))
    cost = packet_budget(LoRa(spreading_factor=sf), size, band)
    assert cost.packets_per_hour * cost.airtime <= cost.duty_seconds_per_hour
    assert (cost.packets_per_hour + 1) * cost.airtime > cost.duty_seconds_per_hour
    if cost.steady_interval is None:
        assert cost.packets_per_hour == 0
        return
    assert cost.steady_interval >= cost.interval
    # The fullest hour begins with a packet: whole packets at 0, T, 2T ... and what of the last one the
    # hour still holds.
    whole, rest = divmod(3600, cost.steady_interval)
    assert whole * cost.airtime + min(rest, cost.airtime) <= cost.duty_seconds_per_hour


def test_sending_at_the_average_interval_can_overfill_an_hour_that_the_steady_interval_does_not() -> None:
    cost = packet_budget(LoRa(spreading_factor=12), 12, EU_1_PERCENT)
    assert cost.packets_per_hour == 31
    assert 3600 // cost.interval * cost.interval + cost.airtime < 3600  # a 32nd packet ends within the hour
    assert 32 * cost.airtime > cost.duty_seconds_per_hour
    assert cost.steady_interval == Fraction(3600, 31)


def test_a_packet_beyond_an_hours_share_has_no_steady_interval() -> None:
    band = region("EU868").sub_band(864_000_000, 125_000)
    cost = packet_budget(LoRa(spreading_factor=12), 255, band)
    assert cost.airtime > cost.duty_seconds_per_hour
    assert (cost.packets_per_hour, cost.steady_interval) == (0, None)
    assert cost.single.excess == cost.airtime - Fraction("0.72")


def test_without_a_limit_there_is_no_interval() -> None:
    cost = packet_budget(LoRa(spreading_factor=12), 12, region("IN865").sub_band(866_000_000, 125_000))
    assert (cost.interval, cost.steady_interval, cost.packets_per_hour, cost.duty_seconds_per_hour) == (None,) * 4
    assert cost.single.state == "not applicable"


@pytest.mark.parametrize("bandwidth_hz", [125_000, 250_000])
def test_a_single_fixed_channel_in_902_to_928_mhz_is_not_a_permitted_route(bandwidth_hz: int) -> None:
    # 47 CFR 15.247(a)(1)(i), read.
    modem = LoRa(spreading_factor=7, bandwidth_hz=bandwidth_hz)
    cost = packet_budget(modem, 12, region("US915").sub_band(915_000_000, bandwidth_hz))
    assert cost.dwell.state == "not permitted"
    assert cost.dwell.words.startswith(
        f"a single fixed channel of {bandwidth_hz // 1000} kHz is not a permitted route in 902-928"
    )
    assert cost.interval is None


def test_hopping_over_too_few_channels_is_not_a_permitted_route_either() -> None:
    few = packet_budget(LoRa(spreading_factor=7), 12, US_125, hopping_channels=49)
    assert few.dwell.state == "not permitted"
    assert "hopping over 49 channels" in few.dwell.words
    assert packet_budget(LoRa(spreading_factor=7), 12, US_125, hopping_channels=50).dwell.state == "within"


def test_hopping_divides_the_occupancy_of_each_channel_among_whole_packets() -> None:
    # SF8, 12 bytes takes 82.432 ms: 4 packets in 0.4 s on each of 50 channels in 20 s.
    cost = packet_budget(LoRa(spreading_factor=8), 12, US_125, hopping_channels=50)
    assert cost.interval == Fraction(20, 50 * (Fraction(400) // Fraction("82.432")))
    assert cost.packets_per_hour == 3600 // cost.interval
    assert cost.duty_seconds_per_hour is None
    # More channels than the occupancy needs: packets still follow each other, they never overlap.
    many = packet_budget(LoRa(spreading_factor=8), 12, US_125, hopping_channels=500)
    assert many.interval == many.airtime


def test_a_packet_longer_than_the_dwell_limit_exceeds_it_by_so_much() -> None:
    cost = packet_budget(LoRa(spreading_factor=10), 25, US_125, hopping_channels=64)
    assert cost.dwell.state == "exceeded"
    assert cost.dwell.excess == Fraction("0.411648") - Fraction("0.4")
    assert cost.dwell.words == "airtime 411.648 ms exceeds 400 ms on one frequency in 20 s by 11.648 ms"
    asia = region("AS923-1").sub_band(923_200_000, 125_000)
    assert packet_budget(LoRa(spreading_factor=10), 24, asia).dwell.state == "within"
    words = packet_budget(LoRa(spreading_factor=10), 25, asia).dwell.words
    assert words == "airtime 411.648 ms exceeds 400 ms for one transmission by 11.648 ms"


def test_digital_modulation_of_500_khz_has_no_dwell_limit() -> None:
    modem = LoRa(spreading_factor=12, bandwidth_hz=500_000)
    cost = packet_budget(modem, 255, region("US915").sub_band(903_000_000, 500_000))
    assert cost.dwell.state == "not applicable"


def test_lorawan_adds_13_bytes_and_checks_the_payload_of_the_data_rate() -> None:
    europe = region("EU868")
    cost = packet_budget(LoRa(spreading_factor=12), 51, EU_1_PERCENT, lorawan=europe)
    assert (cost.payload_bytes, cost.lorawan.state) == (64, "within")
    assert cost.airtime == LoRa(spreading_factor=12).airtime(64)
    beyond = packet_budget(LoRa(spreading_factor=12), 60, EU_1_PERCENT, lorawan=europe).lorawan
    assert (beyond.state, beyond.excess) == ("exceeded", 9)
    assert beyond.words == "payload 60 bytes exceeds 51 bytes (DR0 of EU868) by 9"


@pytest.mark.parametrize(
    ("modem", "name", "state", "words"),
    [
        (
            LoRa(spreading_factor=12),
            "AS923-1",
            "not permitted",
            "SF12 125 kHz 4/5 is DR0 of AS923-1, which may not be used",
        ),
        (
            LoRa(spreading_factor=12),
            "US915",
            "not permitted",
            "SF12 125 kHz 4/5 is not a LoRaWAN data rate of US915",
        ),
        (
            LoRa(spreading_factor=12, bandwidth_hz=500_000),
            "US915",
            "not permitted",
            "SF12 500 kHz 4/5 is DR8 of US915, for gateways only",
        ),
        (Fsk(), "EU868", "within", "payload 10 bytes is within 242 bytes (DR7 of EU868)"),
    ],
)
def test_lorawan_says_which_data_rate_it_is_or_that_there_is_none(
    modem: LoRa | Fsk, name: str, state: str, words: str
) -> None:
    verdict = packet_budget(modem, 10, EU_1_PERCENT, lorawan=region(name)).lorawan
    assert (verdict.state, verdict.words) == (state, words)


@pytest.mark.parametrize(
    ("size", "options", "message"),
    [
        (256, {}, "payload_bytes: 256 is outside 0..255"),
        (
            243,
            {"lorawan": region("EU868")},
            "payload_bytes: 243 is outside 0..242 (13 bytes of LoRaWAN overhead",
        ),
        (-1, {"lorawan": region("EU868")}, "payload_bytes: -1 is outside 0..242"),
        (12, {"hopping_channels": 0}, "hopping_channels: 0 is outside 1..10000"),
    ],
)
def test_a_payload_or_a_number_of_channels_out_of_range_is_refused(
    size: int, options: dict[str, object], message: str
) -> None:
    with pytest.raises(RadioFault) as fault:
        packet_budget(LoRa(spreading_factor=7), size, EU_1_PERCENT, **options)
    assert str(fault.value).startswith(message)


def test_every_sub_band_of_every_region_gives_a_budget_for_both_modems() -> None:
    for known in load_regions():
        for band in known.sub_bands:
            for modem in (LoRa(spreading_factor=9), Fsk()):
                cost = packet_budget(modem, 20, band, lorawan=known, hopping_channels=50)
                assert cost.interval is None or cost.interval >= cost.airtime
                assert cost.dwell.state in {"within", "not applicable"}


def test_the_caution_says_arithmetic_not_permission() -> None:
    for words in (
        "built-in defaults",
        "amendments",
        "antenna gain",
        "certification",
        "not measured",
        "not permission",
    ):
        assert words in CAUTION
