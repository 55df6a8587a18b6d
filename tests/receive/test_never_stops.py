"""Any sequence of any packets: the receiver raises nothing, stays bounded, and says what it cannot handle."""

from __future__ import annotations

import gc
import math
import tracemalloc

import pytest
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from packetcodec import Codec, PacketcodecError
from packetcodec.receive import Failure, Forgotten, Late, Position, Receiver, Report, Silent
from packetcodec.receive.tracker_state import TrackerState
from tests.receive.test_receiver import CODEC, NUMBERED, TIME, hear, packet, place, points, schema, status, told
from tests.support.effort import examples

WINDOW = 64


def test_a_tracker_that_restarts_with_a_packet_without_position_goes_on():
    receiver = Receiver(CODEC)
    events = hear(receiver, (packet(100), 0.0), (packet(101), 30.0), (status(0), 60.0), (packet(1, moment=90), 90.0))
    assert told(events)[-1] == (90, "direct")
    assert "Restarted" in told(events)


def test_a_window_of_packets_without_position_between_two_positions_is_no_end():
    receiver = Receiver(CODEC)
    sent = [(packet(0), 0.0), (packet(1), 30.0)]
    sent += [(status(number), 30.0 + number) for number in range(2, 2 + WINDOW + 6)]
    events = hear(receiver, *sent, (packet(100, moment=120, trail=False), 120.0))
    assert told(events)[-2:] == [(120, "direct"), "Lost"]
    assert sum(isinstance(event, Report) for event in events) == WINDOW + 6


def test_a_window_of_late_packets_and_then_the_next_one_is_no_end():
    receiver = Receiver(CODEC)
    late = [(packet(200 - back, trail=False), 6001.0) for back in range(WINDOW, 0, -1)]
    events = hear(receiver, (packet(200, trail=False), 6000.0), *late, (packet(201, trail=False), 6030.0))
    assert sum(isinstance(event, Late) for event in events) == WINDOW
    assert told(events)[-1] == (30 * 201, "direct")


def test_an_error_in_handling_a_packet_is_an_event_and_only_its_tracker_starts_anew(monkeypatch):
    receiver = Receiver(CODEC)
    hear(receiver, (packet(0), 0.0), (packet(0, collar=8), 1.0))
    right = TrackerState.feed

    def wrong(self, *given, **options):
        if self._tracker == 7:
            raise ZeroDivisionError("as never expected")
        return right(self, *given, **options)

    monkeypatch.setattr(TrackerState, "feed", wrong)
    data = packet(1)
    assert receiver.feed(data, 30.0) == [Failure(7, "ZeroDivisionError: as never expected", data)]
    assert told(receiver.feed(packet(2, collar=8), 61.0)) == [(30, "trail"), (60, "direct"), "Repaired"]
    monkeypatch.undo()
    assert told(receiver.feed(packet(2), 60.0)) == [(0, "trail"), (30, "trail"), (60, "direct")]


def test_the_tracker_least_recently_heard_goes_where_there_are_more_than_a_limit():
    receiver = Receiver(CODEC, max_trackers=2, silent_after=100)
    hear(receiver, (packet(0, collar=1), 0.0), (packet(0, collar=2), 10.0), (packet(1, collar=1), 30.0))
    events = receiver.feed(packet(0, collar=3), 40.0)
    assert events[0] == Forgotten(2, 10.0)
    assert told(events[1:]) == [(0, "direct")]
    assert [event.tracker for event in receiver.tick(1000.0)] == [1, 3]
    assert receiver.tick(2000.0) == []


@pytest.mark.parametrize("count", [0, 1_000_001])
def test_a_limit_that_cannot_be_is_one_line(count):
    with pytest.raises(PacketcodecError, match=rf"max_trackers: {count} is outside 1\.\.1000000 trackers"):
        Receiver(CODEC, max_trackers=count)


def test_a_tick_looks_only_at_those_that_fell_silent():
    receiver = Receiver(CODEC, silent_after=10, known=range(30))
    hear(receiver, *((packet(0, collar=number), float(number)) for number in range(30)))
    assert [event.tracker for event in receiver.tick(29.0)] == list(range(20))
    assert len(receiver._awake) == 10
    hear(receiver, (packet(1, collar=0), 29.5))
    assert list(receiver._awake)[-1] == 0
    assert receiver.tick(30.0) == [Silent(20, 20.0)]


@pytest.mark.slow
def test_a_counter_that_never_changes_takes_no_more_memory_however_long_it_lasts():
    codec = Codec(schema(NUMBERED))
    receiver = Receiver(codec, window=8)

    def send(number):
        latitude, longitude = place(40 * number)
        values = {"collar": 7, "counter": 5, "latitude": latitude, "longitude": longitude}
        return receiver.feed(codec.encode("track", values, points(40 * number, 30)), 40.0 * number)

    for number in range(500):
        send(number)
    state = receiver._trackers[7]
    tracemalloc.start()
    for number in range(500, 1500):
        send(number)
    gc.collect()
    grown = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    assert len(state._places) <= 8 * 16
    assert grown < 200_000


def test_a_clock_that_is_set_back_or_forward_tells_no_place_twice():
    for step in (-86_400.0, 86_400.0):
        receiver = Receiver(CODEC)
        events = []
        for number in range(20):
            wall = 1e9 + 30 * number + (step if number >= 10 else 0.0)
            events += receiver.feed(packet(number), wall, steady=100.0 + 30 * number)
        positions = [event for event in events if isinstance(event, Position)]
        assert [event.time for event in positions] == [1e9 + 30 * n + (step if n >= 10 else 0.0) for n in range(20)]
        assert "Restarted" not in told(events)


def test_without_a_steady_clock_one_that_is_set_back_is_survived():
    receiver = Receiver(CODEC, silent_after=50)
    events = hear(receiver, *((packet(n), 1e9 + 30 * n - (7200 if n >= 5 else 0)) for n in range(12)))
    assert [item for item in told(events) if item[-1] == "direct"] == [(30 * n, "direct") for n in range(12)]
    assert receiver.tick(1e9 - 7200 + 30 * 11 + 49.0) == []
    assert [event.tracker for event in receiver.tick(1e9 - 7200 + 30 * 11 + 51.0)] == [7]


TIMED = Codec(schema(f"{TIME}, {NUMBERED}, {{ kind = 'number', name = 'gap', minimum = 0, maximum = 99, resolution = 1 }}",
                     trail="spacing = 'gap'"))  # fmt: skip
BARE = Codec(schema("{ kind = 'latitude', bits = 28, optional = true }, { kind = 'longitude', bits = 28, optional = true }"))


class AnyPackets(RuleBasedStateMachine):
    """Any packets of any trackers at any times, through receivers of any options."""

    @initialize(
        codec=st.sampled_from([CODEC, TIMED, BARE]),
        interval=st.sampled_from([None, 0.001, 30.0, 1e9]),
        window=st.sampled_from([4, 8]),
        silent=st.sampled_from([None, 5.0]),
    )
    def begin(self, codec, interval, window, silent):
        self.codec = codec
        self.window = window
        self.receiver = Receiver(codec, interval=interval, window=window, silent_after=silent, max_trackers=3)
        self.now = 1e9
        self.heard = []

    def feed(self, data):
        self.heard = [*self.heard[-20:], data]
        for event in self.receiver.feed(data, self.now):
            assert not isinstance(event, Failure), event
            if isinstance(event, Position):
                assert math.isfinite(event.time)
                assert -90 <= event.latitude <= 90

    @rule(
        collar=st.integers(0, 4),
        counter=st.one_of(st.integers(0, 255), st.integers(0, 3)),
        moment=st.integers(0, 600).map(lambda n: n * 10),
        count=st.integers(0, 10),
        fix=st.booleans(),
        gap=st.integers(0, 99),
        time=st.sampled_from([0, 1_767_225_600, 1_767_225_630, 1_900_000_000]),
    )
    def position(self, collar, counter, moment, count, fix, gap, time):
        latitude, longitude = place(moment) if fix else (None, None)
        values = {
            "collar": collar, "counter": counter, "latitude": latitude, "longitude": longitude, "gap": gap, "time": time,
        }  # fmt: skip
        names = {field.name for field in self.codec.plan.layout("track").fields}
        trail = points(moment, 30, count) if fix else ()
        try:
            data = self.codec.encode("track", {name: value for name, value in values.items() if name in names}, trail)
        except PacketcodecError:
            return
        self.feed(data)

    @rule(collar=st.integers(0, 4), counter=st.integers(0, 255))
    def without_position(self, collar, counter):
        if self.codec is CODEC:
            self.feed(status(counter, collar))

    @rule(collar=st.integers(0, 1), counter=st.integers(0, 255), many=st.integers(1, 12), what=st.sampled_from([1, -1, 0]))
    def a_run(self, collar, counter, many, what):
        for number in range(many):
            self.position(collar, (counter + what * number) % 256, number * 30, 0, fix=what != 0, gap=30, time=0)
            self.without_position(collar, (counter + 100 + number) % 256)

    @rule(seconds=st.one_of(st.floats(0, 100), st.floats(-1e6, 1e6), st.just(0.0)))
    def time_passes(self, seconds):
        self.now += seconds

    @rule(place=st.integers(0, 30))
    def again(self, place):
        if self.heard:
            self.feed(self.heard[place % len(self.heard)])

    @rule(data=st.binary(max_size=40))
    def noise(self, data):
        self.feed(data)

    @rule()
    def tick(self):
        self.receiver.tick(self.now)

    @invariant()
    def stays_bounded(self):
        if not hasattr(self, "receiver"):
            return
        assert len(self.receiver._trackers) <= 3
        for state in self.receiver._trackers.values():
            assert len(state._order) <= self.window
            assert len(state._places) <= 16 * self.window
            assert len(state._gaps) <= self.window + 1


TestAnyPackets = AnyPackets.TestCase
TestAnyPackets.settings = examples(60, stateful_step_count=30)
