"""Limits applied to a packet."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packetcodec.errors import RadioFault
from packetcodec.radio import CAUTION, Fsk, LoRa, LrFhss, SubBand, load_regions, packet_budget, region

EU_1_PERCENT = region("EU868").sub_band(868_100_000, 125_000)
US_125 = region("US915").sub_band(902_300_000, 125_000)


def with_duty(duty: str) -> SubBand:
    """The sub-band with another duty cycle."""
    return replace(EU_1_PERCENT, routes=(replace(EU_1_PERCENT.routes[0], duty_cycle=Fraction(duty)),))


# Hertz in EU868, average interval of 1155.072 ms (SF12, 12 bytes), packets in an hour, advised longest single transmission.
# The duty cycles: ETSI EN 300 220-2 V3.3.1 Table B.1 (quoted); the single transmissions: ERC/REC 70-03 (read).
DUTY = (
    (864_000_000, "1155.072", 3, "0.72", "exceeded"),
    (868_100_000, "115.5072", 31, "3.6", "within"),
    (869_525_000, "11.55072", 311, "36", "within"),
)


@pytest.mark.parametrize(("hertz", "average", "per_hour", "advised", "state"), DUTY)
def test_duty_cycle_gives_a_period_and_packets_per_hour(
    hertz: int, average: str, per_hour: int, advised: str, state: str
) -> None:
    band = region("EU868").sub_band(hertz, 125_000)
    cost = packet_budget(LoRa(spreading_factor=12), 12, band)
    assert cost.airtime == Fraction("1.155072")
    assert cost.average_interval == Fraction(average)
    assert (cost.packets_per_hour, cost.period) == (per_hour, Fraction(3600, per_hour))
    assert cost.route.advised_seconds == Fraction(advised)
    assert cost.verdicts["advice"].state == state
    assert cost.verdicts["dwell"].state == cost.verdicts["payload"].state == "not applicable"
    assert cost.permitted


def fullest(window: Fraction, airtime: Fraction, period: Fraction) -> Fraction:
    """Most time on air in any continuous window, by trying every window that begins or ends with a packet."""
    most = Fraction(0)
    starts = [number * period for number in range(int(window / period) + 3)]
    for begin in (starts[1], starts[1] + airtime - window + window, starts[1] + airtime):
        inside = sum(max(Fraction(0), min(begin + window, start + airtime) - max(begin, start)) for start in starts)
        most = max(most, inside)
    return most


@given(sf=st.integers(7, 12), size=st.integers(0, 255), duty=st.sampled_from(["0.001", "0.01", "0.1"]))
def test_no_continuous_hour_at_the_period_holds_more_than_the_limit_and_a_packet_more_would(
    sf: int, size: int, duty: str
) -> None:
    cost = packet_budget(LoRa(spreading_factor=sf), size, with_duty(duty))
    limit = Fraction(duty) * 3600
    if cost.period is None:
        assert cost.airtime > limit
        assert not cost.permitted
        assert cost.verdicts["window"].state == "exceeded"
        return
    assert fullest(Fraction(3600), cost.airtime, cost.period) <= limit
    assert (cost.packets_per_hour + 1) * cost.airtime > limit
    assert cost.period >= cost.average_interval


@pytest.mark.slow
def test_the_average_interval_kept_as_a_fixed_period_overfills_an_hour_and_the_period_does_not() -> None:
    # All sub-bands of EU868, SF7 to SF12, 14 and 51 bytes. By whole packets alone the average is too short in each
    # of these 72 settings, in the worst of them by 37 %.
    by_whole_packets, worst = 0, Fraction(0)
    for band in region("EU868").sub_bands:
        for sf, size in product(range(7, 13), (14, 51)):
            cost = packet_budget(LoRa(spreading_factor=sf), size, band)
            limit = cost.route.duty_cycle * 3600
            most = fullest(Fraction(3600), cost.airtime, cost.average_interval)
            worst = max(worst, most / limit)
            by_whole_packets += most // cost.airtime * cost.airtime > limit
            assert most > limit
            assert fullest(Fraction(3600), cost.airtime, cost.period) <= limit
    assert round(float(worst), 2) == 1.37
    assert by_whole_packets == 72


def test_sf12_with_14_bytes_at_a_tenth_of_a_percent_may_be_sent_every_20_minutes() -> None:
    cost = packet_budget(LoRa(spreading_factor=12), 14, region("EU868").sub_band(864_000_000, 125_000))
    assert (cost.period, float(cost.average_interval)) == (1200, pytest.approx(1155.072))


def test_a_packet_beyond_an_hours_share_is_not_permitted() -> None:
    cost = packet_budget(LoRa(spreading_factor=12), 255, region("EU868").sub_band(864_000_000, 125_000))
    assert (cost.permitted, cost.packets_per_hour, cost.period, cost.average_interval) == (False, None, None, None)
    assert cost.verdicts["window"].description.startswith(
        "airtime 9019.392 ms exceeds the 3600 ms that may be spent sending"
    )


def test_without_a_limit_there_is_nothing_to_say() -> None:
    cost = packet_budget(LoRa(spreading_factor=12), 12, region("IN865").sub_band(866_000_000, 125_000))
    assert (cost.period, cost.average_interval, cost.packets_per_hour, cost.permitted) == (None, None, None, True)


def test_listening_has_limits_of_its_own() -> None:
    # EN 300 220-2 V3.3.1 Table 18 (quoted): at most 1 s at a time, 100 ms off, 100 s an hour.
    cost = packet_budget(LoRa(spreading_factor=9), 14, EU_1_PERCENT, route="listen")
    assert cost.period == Fraction(3600, 100 // cost.airtime)
    long = packet_budget(LoRa(spreading_factor=12), 12, EU_1_PERCENT, route="listen")
    assert (
        long.verdicts["single"].description == "airtime 1155.072 ms exceeds the 1000 ms for one transmission by 155.072 ms"
    )
    assert not long.permitted


@pytest.mark.parametrize("bandwidth_hz", [125_000, 250_000])
def test_a_single_fixed_channel_in_902_to_928_mhz_is_not_a_permitted_route(bandwidth_hz: int) -> None:
    # 47 CFR 15.247(a)(1)(i), read.
    modem = LoRa(spreading_factor=7, bandwidth_hz=bandwidth_hz)
    cost = packet_budget(modem, 12, region("US915").sub_band(915_000_000, bandwidth_hz))
    verdict = cost.verdicts["dwell"]
    assert verdict.state == "not permitted"
    assert verdict.description.startswith(
        f"a single fixed channel of {bandwidth_hz // 1000} kHz: not permitted in 902-928 MHz"
    )
    assert f"hopping (at least {50 if bandwidth_hz == 125_000 else 25} channels)" in verdict.description
    assert "wideband (a bandwidth of at least 500 kHz)" in verdict.description
    assert cost.period is None


def test_hopping_over_6_to_49_channels_is_hybrid_and_fewer_are_not_permitted() -> None:
    few = packet_budget(LoRa(spreading_factor=7), 12, US_125, channels=5)
    assert "5 channels in turn" in few.verdicts["dwell"].description
    assert "hybrid (at least 6 channels)" in few.verdicts["dwell"].description
    assert not few.permitted
    assert packet_budget(LoRa(spreading_factor=7), 12, US_125, channels=49).route.name == "hybrid"
    assert packet_budget(LoRa(spreading_factor=7), 12, US_125, channels=50).route.name == "hopping"


def test_hopping_divides_the_occupancy_of_each_channel_among_whole_packets_or_leaves_nothing_to_say() -> None:
    # SF8, 12 bytes takes 82.432 ms: 4 packets in 0.4 s on each of 50 channels in 20 s, one every 0.1 s. That is more than
    # half of all time on air: nothing that a tracker would want to know.
    cost = packet_budget(LoRa(spreading_factor=8), 12, US_125, channels=50)
    assert (cost.period, cost.telling) == (Fraction(20, 50 * 4), False)
    # SF10, 12 bytes takes 288.768 ms: one packet on each of six channels in 2.4 s.
    slow = packet_budget(LoRa(spreading_factor=10), 12, US_125, channels=6)
    assert (slow.period, slow.telling) == (Fraction("0.4"), False)
    # At that period each channel has one packet in any 2.4 s, and never two.
    assert fullest(Fraction("2.4"), slow.airtime, 6 * slow.period) <= Fraction("0.4")


def test_a_pause_that_a_route_asks_for_is_part_of_the_period() -> None:
    # ARIB STD-T108: 50 ms of pause (from memory).
    cost = packet_budget(LoRa(spreading_factor=7), 14, region("JP").sub_band(920_600_000, 125_000))
    assert (cost.period, cost.telling) == (cost.airtime + Fraction("0.05"), False)


def test_a_packet_longer_than_the_dwell_limit_exceeds_it_by_so_much() -> None:
    verdict = packet_budget(LoRa(spreading_factor=10), 25, US_125, channels=64).verdicts["dwell"]
    assert (verdict.state, verdict.excess) == ("exceeded", Fraction("0.411648") - Fraction("0.4"))
    assert verdict.description == "airtime 411.648 ms exceeds the 400 ms on one frequency in 20 s by 11.648 ms"
    asia = region("AS923-1").sub_band(923_200_000, 125_000)
    assert packet_budget(LoRa(spreading_factor=10), 24, asia).verdicts["dwell"].state == "within"
    words = packet_budget(LoRa(spreading_factor=10), 25, asia).verdicts["dwell"].description
    assert words == "airtime 411.648 ms exceeds the 400 ms for one transmission by 11.648 ms"


def test_digital_modulation_of_500_khz_has_no_dwell_limit() -> None:
    modem = LoRa(spreading_factor=12, bandwidth_hz=500_000)
    cost = packet_budget(modem, 255, region("US915").sub_band(903_000_000, 500_000))
    assert cost.verdicts["dwell"].state == "not applicable"


def test_lorawan_adds_13_bytes_and_checks_the_payload_of_the_data_rate() -> None:
    europe = region("EU868")
    cost = packet_budget(LoRa(spreading_factor=12), 51, EU_1_PERCENT, lorawan=europe)
    assert (cost.payload_bytes, cost.verdicts["payload"].state) == (64, "within")
    assert cost.airtime == LoRa(spreading_factor=12).airtime(64)
    beyond = packet_budget(LoRa(spreading_factor=12), 60, EU_1_PERCENT, lorawan=europe).verdicts["payload"]
    assert (beyond.state, beyond.excess) == ("exceeded", 9)
    assert beyond.description == "payload 60 bytes exceeds 51 bytes (DR0 of EU868) by 9"


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
        (LrFhss(coding_rate="2/3", headers=2), "EU868", "within", "payload 10 bytes is within 115 bytes (DR9 of EU868)"),
        (Fsk(), "EU868", "within", "payload 10 bytes is within 242 bytes (DR7 of EU868)"),
    ],
)
def test_lorawan_says_which_data_rate_it_is_or_that_there_is_none(
    modem: LoRa | Fsk, name: str, state: str, words: str
) -> None:
    verdict = packet_budget(modem, 10, EU_1_PERCENT, lorawan=region(name)).verdicts["payload"]
    assert (verdict.state, verdict.description) == (state, words)


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
        (12, {"channels": 0}, "channels: 0 is outside 1..10000"),
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
                for route in dict.fromkeys(route.name for route in band.routes if route.takes_bandwidth(modem.occupied_hz)):
                    cost = packet_budget(modem, 20, band, lorawan=known, channels=50, route=route)
                    assert cost.period is None or cost.period >= cost.airtime
                    assert cost.verdicts["dwell"].state in {"within", "not applicable"} or route == "hybrid"


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
