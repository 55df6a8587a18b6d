"""Schedules, shared channels and batteries: every figure computed a second time by brute force or simulation."""

from __future__ import annotations

import math
from fractions import Fraction
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packetcodec.errors import RadioFault
from packetcodec.radio import Fsk, LoRa, region
from packetcodec.radio.contention import contention
from packetcodec.radio.energy import DEFAULTS, Draw, energy
from packetcodec.radio.lora import gain_db, sensitivity_dbm
from packetcodec.radio.schedule import Load, Sending, largest_payload, schedule_load

EU = region("EU868").sub_band(868_100_000, 125_000)
SF9 = LoRa(spreading_factor=9)


def on_air(start: Fraction, airtime: Fraction, begin: Fraction, end: Fraction) -> Fraction:
    return max(Fraction(0), min(end, start + airtime) - max(begin, start))


@pytest.mark.slow
@settings(max_examples=25)
@given(
    sf=st.integers(7, 12),
    sizes=st.lists(st.integers(1, 60), min_size=1, max_size=3),
    periods=st.lists(st.integers(30, 5000), min_size=3, max_size=3),
    phases=st.lists(st.integers(0, 5000), min_size=3, max_size=3),
)
def test_no_hour_of_any_phases_holds_more_than_the_worst_hour(
    sf: int, sizes: list[int], periods: list[int], phases: list[int]
) -> None:
    modem = LoRa(spreading_factor=sf)
    sent = [Sending(f"layout{n}", size, every=Fraction(periods[n])) for n, size in enumerate(sizes)]
    load = schedule_load(modem, sent, EU)
    starts = [
        (Fraction(phases[n]) + k * item.every, modem.airtime(item.payload_bytes))
        for n, item in enumerate(sent)
        for k in range(int(14_000 / item.every) + 1)
    ]
    edges = [start for start, _ in starts] + [start + airtime - 3600 for start, airtime in starts]
    for begin in (edge for edge in edges if 5000 <= edge <= 9000):
        hour = sum((on_air(start, airtime, begin, begin + 3600) for start, airtime in starts), Fraction(0))
        assert hour <= load.seconds
    # In phase at the beginning of the hour the bound is reached.
    hour = Fraction(3600)
    together = [
        on_air(k * item.every, modem.airtime(item.payload_bytes), Fraction(0), hour) for item in sent for k in range(121)
    ]
    assert sum(together, Fraction(0)) == load.seconds


def test_packets_that_come_as_they_please_may_all_come_at_once() -> None:
    load = schedule_load(SF9, [Sending("alarm", 9, per_hour=5)], EU)
    assert load.seconds == 5 * SF9.airtime(9)
    assert load.share == load.seconds / 36
    assert (load.costliest, load.permitted) == ("alarm", True)


def test_a_schedule_beyond_the_limit_is_not_permitted_and_names_what_costs_most() -> None:
    sent = [Sending("status", 12, every=Fraction(600)), Sending("position", 14, every=Fraction(10))]
    load = schedule_load(SF9, sent, EU)
    assert not load.permitted
    assert load.costliest == "position"
    assert sum(load.each) == load.seconds


def test_where_nothing_limits_how_often_the_worst_hour_is_still_told() -> None:
    load = schedule_load(SF9, [Sending("position", 14, every=Fraction(20))], region("IN865").sub_band(866_000_000, 125_000))
    assert (load.allowance, load.share, load.permitted) == (None, None, True)
    assert load.seconds == 180 * SF9.airtime(14)


def test_a_pause_that_is_too_short_is_not_permitted() -> None:
    # SF7, 14 bytes: 46.336 ms, and 50 ms of pause behind it.
    band = region("JP").sub_band(920_600_000, 125_000)

    def load(every: str) -> Load:
        return schedule_load(LoRa(spreading_factor=7), [Sending("position", 14, every=Fraction(every))], band)

    assert [load(every).permitted for every in ("0.06", "0.0963", "0.0964")] == [False, False, True]


@pytest.mark.parametrize("sf", range(7, 13))
@pytest.mark.parametrize("every", [5, 20, 60, 600])
def test_the_largest_payload_keeps_the_limit_and_one_byte_more_does_not(sf: int, every: int) -> None:
    modem = LoRa(spreading_factor=sf)
    others = [Sending("status", 12, every=Fraction(1800))]
    size = largest_payload(modem, [Sending("position", 1, every=Fraction(every)), *others], EU)

    def keeps(payload: int) -> bool:
        return schedule_load(modem, [Sending("position", payload, every=Fraction(every)), *others], EU).permitted

    assert size is None or keeps(size)
    more = 0 if size is None else size + 1
    if more < 256 and modem.airtime(more) <= every:
        assert not keeps(more)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Sending("position", 14), "position: give either an interval or a number of packets an hour"),
        (lambda: Sending("position", 14, every=Fraction(0)), "position: an interval of 0 s is outside 0..604800 s"),
        (lambda: Sending("position", 14, per_hour=0), "position: 0 packets an hour are outside 1..100000"),
        (lambda: schedule_load(SF9, [], EU), "a schedule needs at least one layout"),
        (
            lambda: schedule_load(SF9, [Sending("position", 14, every=Fraction(1, 10))], EU),
            "position: an interval of 0.1 s is shorter than the packet's airtime",
        ),
        (lambda: contention(SF9, [Sending("position", 14, per_hour=5)], trackers=0), "trackers: 0 is outside 1..100000"),
        (lambda: Draw(sleep_ua=-1), "sleep_ua: -1 is not a number of 0 or more"),
        (lambda: energy(Draw(), SF9, []).days(0), "battery: 0 mAh is not above 0"),
        (lambda: energy(Draw(), SF9, []).days(100, derating=1.5), "derating: 1.5 is outside 0..1"),
    ],
)
def test_a_setting_out_of_range_is_refused(make: object, message: str) -> None:
    with pytest.raises(RadioFault) as fault:
        make()
    assert str(fault.value).startswith(message)


def simulated(trackers: int, airtimes: list[float], periods: list[float], rounds: int, seed: int) -> float:
    """Share of one tracker's first packets that overlap another tracker's packet, phases drawn anew for each packet."""
    random = Random(seed)  # noqa: S311  # a simulation, no secret
    lost = 0
    for _ in range(rounds):
        mine = airtimes[0]
        hit = False
        for _ in range(trackers - 1):
            for airtime, period in zip(airtimes, periods, strict=True):
                start = random.uniform(-period, 0)  # the last packet before mine begins, and the one behind it
                hit = hit or start + airtime > 0 or start + period < mine
        lost += hit
    return lost / rounds


@pytest.mark.slow
def test_the_chance_of_an_overlap_is_that_of_a_simulation() -> None:
    sent = [Sending("position", 14, every=Fraction(20)), Sending("status", 24, every=Fraction(600))]
    cost = contention(SF9, sent, trackers=12)
    airtimes = [float(SF9.airtime(item.payload_bytes)) for item in sent]
    found = simulated(12, airtimes, [20.0, 600.0], 40_000, seed=1)
    expected = float(cost.loss)
    assert abs(found - expected) < 4 * math.sqrt(expected * (1 - expected) / 40_000)
    assert float(cost.channel_load) == pytest.approx(12 * (airtimes[0] / 20 + airtimes[1] / 600))
    assert contention(SF9, sent, trackers=1).loss == 0
    assert cost.missed(10) == cost.loss**11


def test_charge_is_current_times_time() -> None:
    draw = Draw(sleep_ua=10, gnss_ma=30, gnss_seconds=2, transmit_ma=40, receive_ma=5, receive_seconds=1)
    use = energy(draw, SF9, [Sending("position", 14, every=Fraction(60))])
    packet = 30 * 2 + 40 * 0.164864 + 5 * 1
    assert use.mas_per_packet == (pytest.approx(packet),)
    # Second by second over a day.
    day = sum(0.010 + (packet if second % 60 == 0 else 0) for second in range(86_400)) / 3600
    assert use.mah_per_day == pytest.approx(day)
    assert use.days(1000, derating=0.5) == pytest.approx(500 / day)
    assert use.sleep_share == pytest.approx(0.010 * 86_400 / 3600 / day)


def test_every_default_current_says_where_it_comes_from() -> None:
    assert all("no source" in source or "from memory" in source or "only sends" in source for _, source in DEFAULTS.values())


def test_a_spreading_factor_gains_two_and_a_half_decibels_and_half_the_bandwidth_three() -> None:
    for sf in range(7, 12):
        assert gain_db(LoRa(spreading_factor=sf), LoRa(spreading_factor=sf + 1)) == pytest.approx(2.5)
    wide = LoRa(spreading_factor=9, bandwidth_hz=250_000)
    assert gain_db(wide, SF9) == pytest.approx(10 * math.log10(2))
    # SX1276 datasheet, table of sensitivities: about -123 dBm at SF7 and -136 dBm at SF12, 125 kHz (from memory).
    assert sensitivity_dbm(LoRa(spreading_factor=7)) == pytest.approx(-124.5, abs=2)
    assert sensitivity_dbm(LoRa(spreading_factor=12)) == pytest.approx(-137, abs=2)


def test_fsk_schedules_work_as_well() -> None:
    load = schedule_load(Fsk(), [Sending("position", 14, every=Fraction(1))], region("EU868").sub_band(868_300_000, 100_000))
    assert load.seconds == 3600 * Fsk().airtime(14)
