"""Fields that are sent by their low bits: what the receiver knows, how it learns it, and what it does without."""

from random import Random

import pytest

from packetcodec import Codec, PacketcodecError, Schema
from packetcodec.receive import Duplicate, Late, Lost, Position, Receiver, Restarted, Unexplained
from packetcodec.receive.references import References

CODEC = Codec(
    Schema.parse("""
name = "pasture"
version = 1
[[layouts]]
name = "beacon"
id = 1
fields = [
    { kind = "identifier", name = "collar" },
    { kind = "counter", bits = 31, low_bits = 8 },
    { kind = "time", epoch = 2026-01-01T00:00:00Z, resolution = 1, bits = 32, within = 600 },
    { kind = "latitude", resolution_m = 2.5, within_m = 20000, optional = true },
    { kind = "longitude", resolution_m = 2.5, within_m = 20000, max_latitude = 70, optional = true },
    { kind = "altitude", within = 500 },
]
""")
)
HUT = (46.5, 9.8, 2000.0)
FAR = (40.0, 9.0, 100.0)
NOON = 1_782_907_200


def packet(counter, place=HUT, collar=7, now=NOON):
    north, east, height = place
    values = {"collar": collar, "counter": counter, "time": now, "latitude": north, "longitude": east, "altitude": height}
    return CODEC.encode("beacon", values)


def names(events):
    return [type(event).__name__ for event in events]


def test_a_place_of_the_receivers_explains_the_first_packet_and_the_last_one_the_next():
    receiver = Receiver(CODEC, places=[FAR, HUT])
    (first,) = receiver.feed(packet(3), NOON)
    assert (first.latitude, first.packet_counter) == (pytest.approx(46.5, abs=3e-5), 3)
    for number in range(4, 400, 50):  # it goes away by 10 km a step, far beyond what the place alone explains
        event = receiver.feed(
            packet(number, (46.5 + number * 0.0018, 9.8, 2000.0), now=NOON + 30 * number), NOON + 30 * number
        )[0]
        assert isinstance(event, Position)
        assert event.values["counter"] == number


def test_a_packet_that_no_reference_explains_is_one_event_kept_and_told_when_one_is_known():
    receiver = Receiver(CODEC)
    assert names(receiver.feed(packet(1), NOON, rssi=-90)) == ["Unexplained"]
    (event,) = receiver.feed(packet(2), NOON + 30)
    assert isinstance(event, Unexplained)
    assert (event.tracker, event.data) == (7, packet(2))
    receiver.learn(7, {"latitude": 46.4, "longitude": 9.9, "altitude": 2100.0, "counter": 0})
    events = receiver.feed(packet(3), NOON + 60)
    assert sorted(event.packet_counter for event in events if isinstance(event, Position)) == [1, 2, 3]
    assert {event.reception.rssi for event in events if isinstance(event, Position)} == {None, -90}
    assert names(receiver.feed(packet(1), NOON + 61)) == ["Duplicate"]


def test_after_a_jump_all_places_are_tried():
    receiver = Receiver(CODEC, places=[HUT, FAR])
    receiver.feed(packet(1), NOON)
    (event,) = receiver.feed(packet(2, FAR), NOON + 30)
    assert event.latitude == pytest.approx(40.0, abs=3e-5)


def test_late_packets_and_duplicates_do_not_move_the_counter_back():
    receiver = Receiver(CODEC, places=[HUT])
    for number in range(0, 1000, 100):
        receiver.feed(packet(number, now=NOON + 30 * number), NOON + 30 * number)
    now = NOON + 30 * 901
    assert isinstance(receiver.feed(packet(880, now=now - 630), now)[0], Late)
    assert receiver.references(7)["counter"] == 900
    assert isinstance(receiver.feed(packet(900, now=NOON + 27_000), now)[0], Duplicate)
    now = NOON + 30 * 1020
    (event, *rest) = receiver.feed(packet(1020, now=now), now)
    assert (event.values["counter"], names(rest)) == (1020, ["Lost"])


def test_a_counter_goes_on_over_a_long_silence_and_a_restart_is_noticed():
    receiver = Receiver(CODEC, places=[HUT], interval=30)
    receiver.learn(7, {"counter": 990})
    receiver.feed(packet(1000), NOON)
    assert isinstance(receiver.feed(packet(1600, now=NOON + 18_000), NOON + 18_000)[-1], Lost)
    assert receiver.references(7)["counter"] == 1600
    events = receiver.feed(packet(2, now=NOON + 18_060), NOON + 18_060)
    assert isinstance(events[0], Restarted)
    assert receiver.references(7)["counter"] == 2


def test_trackers_have_references_of_their_own():
    receiver = Receiver(CODEC, places=[HUT, FAR])
    receiver.feed(packet(5), NOON)
    receiver.feed(packet(5, FAR, collar=8), NOON)
    assert receiver.references(7)["latitude"] != receiver.references(8)["latitude"]
    assert names(receiver.feed(packet(6, collar=9, place=(0.0, 0.0, 0.0)), NOON)) == ["Unexplained"]


@pytest.mark.slow
def test_damaged_packets_are_hardly_ever_believed():
    receiver, chance, believed = Receiver(CODEC, places=[HUT]), Random(1), 0  # noqa: S311  # a repeatable test
    receiver.feed(packet(1), NOON)
    data = int.from_bytes(packet(2), "big")
    for _ in range(60):
        wrong = data ^ (chance.getrandbits(8) or 1) << chance.randrange(8, 60)
        events = receiver.feed(wrong.to_bytes(len(packet(2)), "big"), NOON + 30)
        believed += not isinstance(events[0], Unexplained) and names(events) != ["Fault"]
    assert believed == 0


def test_places_that_cannot_be_are_refused():
    for wrong in [(91.0, 9.8), (46.5, 181.0), (46.5,), (46.5, 9.8, float("nan"))]:
        with pytest.raises(PacketcodecError, match="is no latitude"):
            References(CODEC, places=[wrong])


@pytest.mark.parametrize("known", [[], [5]])
def test_a_counter_far_from_what_is_known_is_found_by_two_packets(known):
    receiver = Receiver(CODEC, places=[FAR, HUT])
    for number in known:
        receiver.feed(packet(number), NOON)
    assert names(receiver.feed(packet(15_000, now=NOON + 60), NOON + 60)) == ["Unexplained"]
    events = receiver.feed(packet(15_001, now=NOON + 90), NOON + 90)
    assert {event.values["counter"] for event in events if isinstance(event, Position)} == {15_000, 15_001}
    assert names(receiver.feed(packet(15_003, now=NOON + 150), NOON + 150)) == ["Position", "Lost"]


@pytest.mark.parametrize(
    ("bits", "begun", "found"), [(16, 40_001, True), (16, 65_530, True), (20, 65_400, True), (20, 66_000, False)]
)
def test_a_receiver_that_begins_late_finds_a_counter_by_two_packets(bits, begun, found):
    codec = Codec(
        Schema.parse(f"""
name = "pasture"
version = 1
[[layouts]]
name = "beacon"
id = 1
fields = [
    {{ kind = "identifier", name = "collar" }},
    {{ kind = "counter", bits = {bits}, low_bits = 6 }},
    {{ kind = "latitude" }},
    {{ kind = "longitude" }},
]
""")
    )
    receiver, told = Receiver(codec), []
    for number in range(40):
        values = {"collar": 7, "counter": (begun + number) % (1 << bits), "latitude": 46.5 + number * 1e-3, "longitude": 9.8}
        told += receiver.feed(codec.encode("beacon", values), NOON + 30 * number)
    places = sorted(round((event.latitude - 46.5) * 1e3) for event in told if isinstance(event, Position))
    assert places == (list(range(40)) if found else [])
