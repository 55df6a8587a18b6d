"""Which places are the same: of a tracker off its tick, of one that stands still, on a link that delays.

There is no outside reference: what was sent is known here, and so is what must be told of it.
"""

from __future__ import annotations

import pytest

from packetcodec import TrailPoint
from packetcodec.receive.dedup import KnownPlaces, Place, differ, outside
from packetcodec.receive.events import Late, Position
from packetcodec.receive.receiver import Receiver
from tests.receive.test_receiver import CODEC, SPACING, hear, moment_of, packet, place


def at(north, east, *, line=0.0, late=0.0, step=225, direct=True):
    return Place(line, line, line + late, north, east, step, direct=direct)


@pytest.mark.parametrize(
    ("north", "east", "differs"),
    [(46.5 + 224e-7, 9.8, False), (46.5 + 228e-7, 9.8, True), (46.5, 9.8 + 323e-7, False), (46.5, 9.8 + 330e-7, True)],
)
def test_two_trail_points_differ_by_a_cell_at_most_which_is_wider_in_degrees_east(north, east, differs):
    # 225 base units from south to north are 324 from west to east at 46 degrees: see packetcodec.wire.trail.cells.
    assert differ(at(46.5, 9.8), at(north, east)) is differs


def test_places_on_both_sides_of_the_antimeridian_are_near():
    assert not differ(at(10.0, 179.99999), at(10.0, -179.99999))


def test_a_place_is_outside_only_where_no_path_of_that_length_leads():
    path = [at(46.5, 9.8), at(46.501, 9.8)]
    assert not outside(at(46.5005, 9.8012), path)
    assert outside(at(46.5005, 9.802), path)


def test_old_places_are_forgotten():
    places = KnownPlaces(limit=100)
    for line in (0.0, 30.0, 60.0):
        places.learn(at(46.5, 9.8, line=line))
    places.forget(30.0)
    assert len(places) == 2
    assert places.near(0.0, 15.0) is None


def test_a_late_packet_off_its_tick_is_no_restart():
    # The trail has tick 2 where the cow was before it; the packet was sent 20 s after it, beside the path.
    receiver = Receiver(CODEC, interval=SPACING)
    hear(receiver, *((packet(n), 30 * n) for n in (0, 1, 3)))
    latitude, longitude = place(80)
    assert receiver.feed(packet(2, latitude=latitude, longitude=longitude + 2e-4, trail=False), 91) == [
        Late(7, 2, known=True)
    ]


def test_a_trail_point_of_a_packet_off_its_tick_is_known_by_its_place_where_the_counter_cannot_tell():
    # Every 60 s; packet 2 was sent 20 s after its tick, packet 3 50 s: 90 s lie between, by the counter 60.
    receiver = Receiver(CODEC, interval=60)
    sent = [(packet(n, moment=moment), moment) for n, moment in enumerate((0, 60, 140, 230))]
    places = [moment_of(event) for event in hear(receiver, *sent) if isinstance(event, Position)]
    assert places.count(140) == 1


@pytest.mark.parametrize("interval", [10, 15, 60])
def test_a_cow_that_stands_still_loses_no_point_to_its_place_although_packets_are_late(interval):
    receiver = Receiver(CODEC, interval=interval)
    still = [TrailPoint(*place(0), None, 30 * k) for k in range(1, 11)]
    values = {"collar": 7, "latitude": place(0)[0], "longitude": place(0)[1]}
    told = []
    for number in (*range(20, 30), 32, 31, *range(40, 60), 62, 60, 61):
        data = CODEC.encode("track", {**values, "counter": number}, still)
        told += receiver.feed(data, 62 * interval if number > 59 else number * interval)
    wanted = {n * interval - 30 * k for n in (*range(20, 30), 31, 32, *range(40, 63)) for k in range(11)}
    assert sum(isinstance(event, Position) for event in told) == len(wanted)
