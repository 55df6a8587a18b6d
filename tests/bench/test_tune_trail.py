"""Starting values for a trail: exactly the best of those tried, counted as trails are really written."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packetcodec.bench import every
from packetcodec.bench.sender import Sender
from packetcodec.bench.tune_trail import INITIAL_SCALES, SCALE_RATES, tune_trail, windows
from packetcodec.codec import Codec
from packetcodec.frozen import replace
from packetcodec.logs import Fix
from packetcodec.schema import AltitudeSteps, CodedSpacing, ConstantSpacing, Schema, Trail
from packetcodec.starter import schema_text
from packetcodec.wire import Point, residuals, write_trail
from tests.support import recordings

NO_LIMIT = 1 << 20
HEAD = Point(465_000_000, 98_000_000, 210_000)
TRAILS = {
    "constant": Trail(points=10, step=223, initial_scale=16, scale_rate=3, spacing=ConstantSpacing(10)),
    "with altitude": Trail(points=10, step=223, initial_scale=16, scale_rate=3, altitude=AltitudeSteps(500)),
    "coded spacing": Trail(points=10, step=223, initial_scale=16, scale_rate=3, spacing=CodedSpacing(30)),
    "coarsening": Trail(points=10, step=223, initial_scale=16, scale_rate=3, spacing=ConstantSpacing(10), coarsenings=4),
}


def mean_bits(trail, some):
    return sum(write_trail(trail, anchor, points, room=NO_LIMIT)[0].length for anchor, points in some) / len(some)


def walk(moves):
    north, east, climb, found = HEAD.latitude, HEAD.longitude, HEAD.altitude, []
    for age, (up, right, higher) in enumerate(moves, 1):
        north, east, climb = north + up, east + right, climb + higher
        found.append(Point(north, east, climb, age * 30))
    return HEAD, found


MOVES = st.lists(
    st.tuples(st.integers(-50_000, 50_000), st.integers(-50_000, 50_000), st.integers(-3_000, 3_000)),
    min_size=1,
    max_size=10,
)


@pytest.mark.parametrize("trail", TRAILS.values(), ids=TRAILS)
@settings(deadline=None, max_examples=15)
@given(
    some=st.lists(MOVES.map(walk), min_size=1, max_size=3),
    first=st.sampled_from(INITIAL_SCALES),
    change=st.sampled_from(SCALE_RATES),
)
def test_the_bits_are_those_of_trails_really_written_and_no_other_pair_is_shorter(trail, some, first, change):
    found = tune_trail(trail, some, compare=True)
    assert found.present_bits == pytest.approx(mean_bits(trail, some))
    assert found.bits == pytest.approx(
        mean_bits(replace(trail, initial_scale=found.initial_scale, scale_rate=found.scale_rate), some)
    )
    assert found.bits <= mean_bits(replace(trail, initial_scale=first, scale_rate=change), some) + 1e-9
    assert found.gain_bytes == pytest.approx((found.present_bits - found.bits) / 8)
    wandering = replace(trail, wandering=True)
    assert found.wandering_bits <= mean_bits(replace(wandering, initial_scale=first, scale_rate=change), some) + 1e-9
    assert tune_trail(wandering, some, compare=True).wandering_bits is None
    assert tune_trail(trail, some).wandering_bits is None  # not asked, so not computed


@given(moves=MOVES, first=st.integers(1, 4096), change=st.integers(1, 4096))
def test_what_is_left_to_code_does_not_depend_on_the_starting_values(moves, first, change):
    trail = TRAILS["with altitude"]
    left = residuals(trail, *walk(moves))
    assert left == residuals(replace(trail, initial_scale=first, scale_rate=change), *walk(moves))
    assert len(left) == 2 * len(moves)


def test_present_values_that_nothing_beats_are_kept():
    standing = [(HEAD, [HEAD._replace(age=None)] * 10)]
    found = tune_trail(Trail(points=10, step=223, initial_scale=1, scale_rate=1, spacing=ConstantSpacing(10)), standing)
    assert (found.initial_scale, found.scale_rate, found.gain_bytes) == (1, 1, 0.0)


def test_no_point_no_suggestion():
    assert tune_trail(TRAILS["constant"], []) is None
    assert tune_trail(TRAILS["constant"], [(HEAD, [])]) is None


def test_the_speed_is_the_one_that_a_schema_turns_into_the_same_first_value():
    # A schema's rule: first = speed * spacing / resolution, see packetcodec.schema.trail.
    fast = [walk([(20_000, 0, 0)] * 10)]
    found = tune_trail(TRAILS["constant"], fast)
    text = schema_text().replace("spacing = 30", "spacing = 10").replace("speed = 0.5", f"speed = {found.speed:.3f}")
    assert Schema.parse(text).layouts[1].trail.initial_scale == found.initial_scale > 16


def test_windows_are_what_the_packets_carry_spread_over_the_whole_log():
    codec = Codec(Schema.parse(schema_text().replace("packet_bytes = 32", "packet_bytes = 200")))
    fixes = tuple(Fix(30.0 * number, 46.5 + number * 1e-4, 9.9, fix_quality=1) for number in range(1000))
    sender = Sender(codec, "track", fixes)
    some = windows(sender, fixes, limit=100)
    assert len(some) == 99  # the first fix has none before it
    anchor, points = some[-1]
    packet = codec.decode(sender.packet(990, fixes[990]))
    assert anchor.latitude == round(packet.values["latitude"] * 1e7)
    assert len(points) == len(packet.trail) == 10
    half = sender.layout.trail.step // 2 + 1
    assert all(abs(point.latitude - got.latitude * 1e7) <= half for point, got in zip(points, packet.trail, strict=True))
    assert windows(Sender(codec, "position", fixes), fixes) == []


@pytest.mark.network
def test_a_recorded_ride_gets_shorter_trails_than_a_schema_for_cows_gives_it():
    # Source: a ride at 1 Hz, see tests/support/recordings.py; the starter expects 0.5 m/s.
    ride = recordings.rides()["4078723797.fit"]
    codec = Codec(Schema.parse(schema_text()))
    fixes = tuple(every(ride, 30.0))
    found = tune_trail(codec.plan.layout("track").trail, windows(Sender(codec, "track", ride), fixes))
    assert found.windows >= 95
    assert found.gain_bytes > 0.5
    assert 2 < found.speed < 12
