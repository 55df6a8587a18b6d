"""No invented position: a trail is not believed for a moment at which the tracker itself said that it had no position."""

import pytest

from packetcodec import TrailPoint
from packetcodec.receive import Contradiction, Position, Receiver, Reception, Report
from tests.receive.test_receiver import CODEC, SPACING, hear, packet, place, told


def nowhere(number):
    return CODEC.encode("track", {"collar": 7, "counter": number, "latitude": None, "longitude": None})


def careless(number, without):
    """A packet of a tracker that leaves out the slots without a position, in place of ending its list there."""
    moments = [30 * n for n in range(number - 1, -1, -1) if n not in without]
    points = [TrailPoint(*place(moment), None, SPACING * k) for k, moment in enumerate(moments[:10], 1)]
    latitude, longitude = place(30 * number)
    return CODEC.encode("track", {"collar": 7, "counter": number, "latitude": latitude, "longitude": longitude}, points)


def test_a_point_where_the_tracker_had_none_is_reported_and_neither_it_nor_an_older_one_is_told():
    receiver = Receiver(CODEC, interval=SPACING)
    hear(receiver, (packet(0), 0), (packet(1), 30), (nowhere(4), 120))
    events = receiver.feed(careless(6, {4}), 180)
    assert told(events)[:2] == ["Contradiction", (150, "trail")]
    assert events[0] == Contradiction(7, time=120, packet_counter=6, points=3, told=0)
    assert [event.age for event in events if isinstance(event, Position)] == [30, 0]
    again = receiver.feed(careless(7, {4}), 210)
    assert told(again) == [(210, "direct")]  # once for each moment


def test_it_is_noticed_too_where_the_packet_without_a_position_comes_late():
    receiver = Receiver(CODEC, interval=SPACING)
    hear(receiver, (packet(3), 90), (careless(6, {4}), 180))
    late, report, contradiction = receiver.feed(nowhere(4), 185)
    assert isinstance(report, Report)
    assert late.known is False
    assert contradiction == Contradiction(7, time=120, packet_counter=4, points=0, told=1)


@pytest.mark.parametrize("interval", [None, SPACING])
def test_a_list_that_ends_there_is_believed(interval):
    receiver = Receiver(CODEC, interval=interval)
    hear(receiver, *((packet(n), 30 * n) for n in range(5)), (nowhere(5), 150))
    latitude, longitude = place(240)
    ends = [TrailPoint(*place(240 - 30 * k), None, 30 * k) for k in (1, 2)]
    data = CODEC.encode("track", {"collar": 7, "counter": 8, "latitude": latitude, "longitude": longitude}, ends)
    assert told(receiver.feed(data, 240)) == [(180, "trail"), (210, "trail"), (240, "direct"), "Repaired"]


def test_an_event_says_how_its_packet_was_heard():
    receiver = Receiver(CODEC)
    receiver.feed(packet(0), 0, rssi=-90, snr=8.5)
    events = receiver.feed(packet(2), 60, rssi=-101, snr=-7.25)
    assert {event.reception for event in events} == {Reception(60, -101, -7.25)}
    (fault,) = receiver.feed(b"\xff", 61, rssi=-120)
    assert fault.reception == Reception(61, -120, None)


def test_without_times_of_reception_counters_and_trails_give_the_order():
    receiver = Receiver(CODEC)
    events = hear(receiver, *((packet(n), None) for n in (0, 1, 4, 3, 14)))
    positions = [event for event in events if isinstance(event, Position)]
    assert not any(event.time_known for event in positions)
    ordered = sorted(positions, key=lambda event: event.time)
    assert [item[0] for item in told(ordered)] == [30 * n for n in range(15)]
    assert positions[0].reception.time is None
