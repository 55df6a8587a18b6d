"""The lossy link: rates and runs as asked, the same on every run, and never a matter of what the packets hold."""

from __future__ import annotations

from itertools import groupby

import pytest

from packetcodec.bench.lossy_link import Arrival, Link
from packetcodec.bench.lossy_link import LinkConditions as Conditions
from packetcodec.errors import PacketcodecError


def sent(conditions: Conditions, packets: list[bytes]) -> list[list[Arrival]]:
    link = Link(conditions)
    return [*(link.send(packet) for packet in packets), link.end()]


def lost(conditions: Conditions, count: int, size: int = 1) -> list[bool]:
    heard = {arrival.number for arrivals in sent(conditions, [bytes(size)] * count) for arrival in arrivals}
    return [number not in heard for number in range(count)]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("loss", "burst", "mean_run"),
    [
        # Mean run of independent losses: 1 / (1 - loss). Of a chain of two states: 1 / P(bad to good).
        (0.4, None, 1 / 0.6),
        (0.1, None, 1 / 0.9),
        (0.4, 5.0, 5.0),
        (0.1, 20.0, 20.0),
        (0.1, 1.0, 1.0),
        (0.8, 4.0, 4.0),  # the shortest mean run at this loss: packets arrive one at a time
    ],
)
def test_the_mean_loss_and_the_mean_run_are_what_was_asked_for(loss, burst, mean_run):
    pattern = lost(Conditions(loss=loss, burst=burst, seed=7), 20_000)
    runs = [len(list(run)) for is_lost, run in groupby(pattern) if is_lost]
    # Four standard errors: runs are geometric, so as long in deviation as in the mean.
    assert sum(pattern) / len(pattern) == pytest.approx(loss, abs=8 * (mean_run * loss / len(pattern)) ** 0.5)
    assert sum(runs) / len(runs) == pytest.approx(mean_run, rel=4 / len(runs) ** 0.5)


def test_losses_duplicates_and_delays_do_not_depend_on_length_content_or_other_harm():
    conditions = Conditions(loss=0.3, burst=4, duplicates=0.2, reorder=3, bit_errors=1e-3, seed=5)
    short = sent(conditions, [bytes(3)] * 500)
    long = sent(conditions, [bytes([number % 256]) * (number % 60) for number in range(500)])
    assert [[arrival.number for arrival in each] for each in short] == [
        [arrival.number for arrival in each] for each in long
    ]
    assert lost(conditions, 500) == lost(Conditions(loss=0.3, burst=4, seed=5), 500)


def test_a_longer_packet_has_the_same_errors_in_the_bits_that_both_have():
    conditions = Conditions(bit_errors=0.02, duplicates=0.5, seed=9)
    short, long = sent(conditions, [bytes(10)] * 100), sent(conditions, [bytes(25)] * 100)
    pairs = [pair for left, right in zip(short, long, strict=True) for pair in zip(left, right, strict=True)]
    assert len(pairs) > 130
    for left, right in pairs:
        assert left.data == right.data[:10]
        assert left.flipped == int.from_bytes(left.data, "big").bit_count() <= right.flipped
    assert any(left.flipped for left, _ in pairs)


def test_bit_errors_and_duplicates_come_at_their_rates():
    arrivals = [
        arrival
        for each in sent(Conditions(bit_errors=1e-3, duplicates=0.25, seed=3), [bytes(50)] * 4000)
        for arrival in each
    ]
    assert len(arrivals) == pytest.approx(5000, abs=4 * (4000 * 0.25 * 0.75) ** 0.5)
    bits = len(arrivals) * 400
    assert sum(arrival.flipped for arrival in arrivals) == pytest.approx(bits * 1e-3, abs=4 * (bits * 1e-3) ** 0.5)


def test_a_packet_is_late_by_each_number_up_to_the_limit_and_none_is_lost_by_it():
    delays = [
        slot - arrival.number
        for slot, each in enumerate(sent(Conditions(reorder=2, seed=1), [b"x"] * 3000)[:-1])
        for arrival in each
    ]
    assert set(delays) == {0, 1, 2}
    assert all(delays.count(delay) == pytest.approx(1000, abs=110) for delay in (0, 1, 2))
    assert not any(lost(Conditions(reorder=2, seed=1), 3000))


def test_a_perfect_link_gives_back_what_was_sent_at_once():
    packets = [bytes([number]) for number in range(50)]
    assert [[arrival.data for arrival in each] for each in sent(Conditions(), packets)] == [
        [packet] for packet in packets
    ] + [[]]


def test_the_same_seed_gives_the_same_bytes_on_every_machine():
    # A pattern written down once: Python promises that random.Random gives the same numbers for a seed everywhere.
    conditions = Conditions(loss=0.4, burst=3, bit_errors=0.01, duplicates=0.3, reorder=1, seed=1)
    heard = [(arrival.number, arrival.data.hex()) for each in sent(conditions, [b"abcdef"] * 12) for arrival in each]
    assert heard == [
        (1, "61626364656e"),
        (2, "616263646566"),
        (3, "616263646566"),
        (3, "616263646566"),
        (4, "616263646566"),
        (9, "616263646566"),
        (10, "616263646566"),
        (10, "616263646566"),
        (11, "616263646566"),
        (11, "612263646566"),
    ]
    assert sent(conditions, [b"abcdef"] * 12) != sent(Conditions(loss=0.4, burst=3, seed=2), [b"abcdef"] * 12)


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"loss": 1.0}, "loss: 1 is outside 0 up to (not including) 1"),
        ({"loss": -0.1}, "loss: -0.1 is outside 0 up to (not including) 1"),
        ({"loss": float("nan")}, "loss: nan is outside 0 up to (not including) 1"),
        ({"loss": 0.4, "burst": 0.5}, "burst: 0.5 is below 1 packets, the least at this loss"),
        ({"loss": 0.8, "burst": 3.9}, "burst: 3.9 is below 4 packets, the least at this loss"),
        ({"loss": 0.4, "burst": float("inf")}, "burst: inf is not a finite number"),
        ({"bit_errors": 1.5}, "bit errors: 1.5 is outside 0..1"),
        ({"duplicates": float("nan")}, "duplicates: nan is outside 0..1"),
        ({"reorder": -1}, "reorder: -1 is outside 0..1000 packets"),
    ],
)
def test_an_impossible_harm_is_refused_with_bound_and_value(settings, message):
    with pytest.raises(PacketcodecError) as caught:
        Conditions(**settings)
    assert str(caught.value) == message
