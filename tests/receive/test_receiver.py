"""The receiver: every place once, whatever the link does; and everything else that can happen is said.

There is no outside reference for putting tracks together: what must come out is what was sent, and the tests know that.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packetcodec import Codec, PacketcodecError, Schema, TrailPoint
from packetcodec.receive.events import Duplicate, Fault, Late, Lost, Position, Repaired, Report, Restarted, Silent, Unknown
from packetcodec.receive.receiver import Receiver

SPACING = 30
PLACE = "{ kind = 'latitude', bits = 28, optional = true }, { kind = 'longitude', bits = 28, optional = true }"
NUMBERED = f"{{ kind = 'identifier', name = 'collar' }}, {{ kind = 'counter', bits = 8 }}, {PLACE}"


def schema(fields, trail="spacing = 30", version=1, extra=""):
    trail = f"trail = {{ points = 10, resolution_m = 2.5, {trail} }}\n" if trail else ""
    head = f'name = "pasture"\nversion = {version}\n[check]\ncrc = "none"\n'
    return Schema.parse(f'{head}[[layouts]]\nname = "track"\nid = 1\nfields = [{fields}]\n{trail}{extra}')


STATUS = """
[[layouts]]
name = "status"
id = 2
fields = [{ kind = "identifier", name = "collar" }, { kind = "counter", bits = 8 }, { kind = "flag", name = "gate_open" }]
"""
CODEC = Codec(schema(NUMBERED, extra=STATUS))


def place(moment):
    """Where the cow is, far enough on each second that no two places are taken for each other."""
    return 46.5 + moment * 2e-5, 9.8 + moment * 3e-5


def moment_of(position):
    """When the cow was where a position says, from latitude and longitude alone."""
    assert (position.longitude - 9.8) / 3e-5 == pytest.approx((position.latitude - 46.5) / 2e-5, abs=3)
    return 10 * round((position.latitude - 46.5) / 2e-4)  # a trail's cell takes up to a second of it away


def points(moment, spacing=SPACING, count=10):
    return [
        TrailPoint(*place(moment - number * spacing), None, number * spacing)
        for number in range(1, count + 1)
        if moment >= number * spacing
    ]


def packet(number, *, moment=None, spacing=SPACING, codec=CODEC, collar=7, trail=True, **values):
    moment = SPACING * number if moment is None else moment
    latitude, longitude = place(moment)
    given = {"collar": collar, "counter": number, "latitude": latitude, "longitude": longitude, **values}
    names = [field.name for field in codec.plan.layout("track").fields]
    given = {name: value for name, value in given.items() if name in names}
    return codec.encode("track", given, points(moment, spacing) if trail else ())


def status(number, collar=7):
    return CODEC.encode("status", {"collar": collar, "counter": number, "gate_open": True})


def told(events):
    """Positions as (where the cow was then, by which way); all else by its name."""
    return [
        (moment_of(e), "direct" if e.direct else "trail") if isinstance(e, Position) else type(e).__name__ for e in events
    ]


def hear(receiver, *arrivals):
    return [event for data, now in arrivals for event in receiver.feed(data, now)]


def test_a_gap_is_filled_from_the_trail_oldest_first_and_said():
    receiver = Receiver(CODEC)
    assert told(receiver.feed(packet(0), 1000)) == [(0, "direct")]
    events = receiver.feed(packet(3), 1091)
    assert told(events) == [(30, "trail"), (60, "trail"), (90, "direct"), "Repaired"]
    assert [event.time for event in events[:3]] == [1031, 1061, 1091]
    assert events[3] == Repaired(7, points=2, lost_packets=2)
    assert events[0].values == {}
    assert events[2].values["collar"] == 7
    assert {event.packet_counter for event in events[:3]} == {3}


def test_what_the_trail_does_not_reach_is_told_as_lost():
    receiver = Receiver(CODEC)
    receiver.feed(packet(0), 0)
    events = receiver.feed(packet(14), 420)
    assert told(events) == [*((30 * n, "trail") for n in range(4, 14)), (420, "direct"), "Repaired", "Lost"]
    assert events[-2:] == [Repaired(7, 10, 10), Lost(7, 3, 120.0)]


def test_without_a_trail_lost_packets_are_counted():
    codec = Codec(schema(NUMBERED, trail=""))
    receiver = Receiver(codec)
    receiver.feed(packet(0, codec=codec, trail=False), 0)
    assert receiver.feed(packet(3, codec=codec, trail=False), 90)[1:] == [Lost(7, 2, 90.0)]


def test_a_late_packet_of_a_known_place_is_late_and_of_an_unknown_one_a_position_too():
    receiver = Receiver(CODEC)
    hear(receiver, (packet(0), 0), (packet(3), 90))
    assert receiver.feed(packet(1), 95) == [Late(7, 1, known=True)]
    codec = Codec(schema(NUMBERED, trail=""))
    bare = Receiver(codec)
    hear(bare, *((packet(n, codec=codec, trail=False), 30 * n) for n in (0, 3)))
    late, position = bare.feed(packet(2, codec=codec, trail=False), 95)
    assert (late, moment_of(position), position.direct) == (Late(7, 2, known=False), 60, True)
    assert position.time == pytest.approx(60)  # in proportion to its number, not when it came


def test_an_echo_is_a_duplicate_now_and_later():
    receiver = Receiver(CODEC)
    events = hear(receiver, (packet(0), 0), (packet(0), 1), (packet(1), 30), (packet(0), 31), (packet(1), 32))
    assert told(events) == [(0, "direct"), "Duplicate", (30, "direct"), "Duplicate", "Duplicate"]
    assert events[1] == Duplicate(7, 0)


def test_counters_wrap():
    receiver = Receiver(CODEC)
    events = hear(receiver, *((packet(n), 30 * n) for n in (254, 255, 256, 259, 515)))
    assert told(events)[10:] == [
        (254 * 30, "direct"), (255 * 30, "direct"), (256 * 30, "direct"), (257 * 30, "trail"), (258 * 30, "trail"),
        (259 * 30, "direct"), "Repaired", *((n * 30, "trail") for n in range(505, 515)), (515 * 30, "direct"), "Repaired",
        "Lost",
    ]  # fmt: skip
    assert events[-1].packets == 245


def test_a_small_counter_that_wraps_unheard_is_counted_by_the_clock():
    codec = Codec(schema(NUMBERED.replace("bits = 8", "bits = 4")))
    receiver = Receiver(codec)
    hear(receiver, *((packet(n, codec=codec), 30 * n) for n in range(6)))
    events = receiver.feed(packet(45, codec=codec), 45 * 30)
    assert sum(isinstance(event, Position) for event in events) == 11
    assert events[-2:] == [Repaired(7, 10, 10), Lost(7, 29, 900.0)]


@pytest.mark.parametrize(("before", "after"), [(200, 0), (200, 3), (30, 0), (5, 0), (120, 0)], ids=str)
def test_a_tracker_that_restarts_is_noticed(before, after):
    receiver = Receiver(CODEC)
    moments = [(before + n) * 30 for n in range(3)]
    hear(receiver, *((packet(before + n), moments[n]) for n in range(3)))
    now = moments[-1] + 60
    events = receiver.feed(packet(after, moment=now, trail=False), now)
    assert told(events) == ["Restarted", (now, "direct")]
    assert events[0] == Restarted(7, after)
    assert told(receiver.feed(packet(after + 1, moment=now + 30, trail=False), now + 30)) == [(now + 30, "direct")]


def test_a_long_loss_is_no_restart():
    receiver = Receiver(CODEC)
    hear(receiver, *((packet(n), 30 * n) for n in range(200, 203)))
    assert "Restarted" not in told(receiver.feed(packet(257), 257 * 30))


def test_a_wide_counter_that_jumps_has_restarted():
    codec = Codec(schema(NUMBERED.replace("bits = 8", "bits = 16")))
    receiver = Receiver(codec)
    hear(receiver, *((packet(n, codec=codec, moment=30 * n), 30 * n) for n in range(5)))
    assert told(receiver.feed(packet(30_000, codec=codec, moment=180, trail=False), 180)) == ["Restarted", (180, "direct")]


def test_trackers_do_not_mix_and_unknown_ones_are_left_out():
    receiver = Receiver(CODEC, known=[7, 8])
    events = hear(receiver, (packet(0), 0), (packet(0, collar=8), 1), (packet(1, collar=8), 31), (packet(1), 32))
    assert [event.tracker for event in events] == [7, 8, 8, 7]
    stray = receiver.feed(packet(5, collar=9), 70)
    assert stray == [Unknown(9, CODEC.decode(packet(5, collar=9)))]


def test_several_versions_are_heard_at_once_and_one_tracker_may_change():
    newer = Codec(schema(NUMBERED.replace("bits = 28", "bits = 27"), version=2))
    receiver = Receiver(Codec([schema(NUMBERED), schema(NUMBERED.replace("bits = 28", "bits = 27"), version=2)]))
    events = hear(receiver, (packet(0), 0), (packet(2, codec=newer), 60))
    assert told(events) == [(0, "direct"), (30, "trail"), (60, "direct"), "Repaired"]


def test_faults_carry_their_name_and_the_bytes():
    data = packet(0)
    assert Receiver(CODEC).feed(data[:-1] + b"\xff\xff\xff", 0)[0].status in {"bad_trail", "bad_padding", "too_long"}
    (fault,) = Receiver(CODEC).feed(b"", 0)
    assert isinstance(fault, Fault)
    assert (fault.status, fault.data) == ("too_short", b"")
    assert Receiver(CODEC).feed(b"\xf1" + data[1:], 0)[0].status == "unknown_version"


def test_a_packet_without_position_is_a_report():
    receiver = Receiver(CODEC)
    (event,) = receiver.feed(status(0), 5.0)
    assert event == Report(7, 5.0, 0, {"collar": 7, "counter": 0, "gate_open": True}, "status")
    nowhere = CODEC.encode("track", {"collar": 7, "counter": 1, "latitude": None, "longitude": None})
    assert told(receiver.feed(nowhere, 35.0)) == ["Report"]


def test_packets_without_a_position_take_no_place_in_the_trail():
    receiver = Receiver(CODEC)
    sent = [(packet(n, moment=30 * n), 30.0 * n) for n in range(4)]
    sent += [(status(4), 95.0), (packet(5, moment=120), 120.0), (packet(6, moment=150), 150.0)]
    # A position lost, and a status before it that was lost too: two numbers, one place.
    sent += [(packet(9, moment=210), 210.0)]
    events = hear(receiver, *sent)
    assert [item for item in told(events) if item[-1] == "trail"] == [(180, "trail")]
    assert len({moment_of(e) for e in events if isinstance(e, Position)}) == 8


@pytest.mark.parametrize("interval", [60, 90, 300])
def test_points_between_packets_sent_more_seldom_are_told_once(interval):
    receiver = Receiver(CODEC)
    sent = [n * interval for n in range(12) if n != 6]
    events = hear(receiver, *((packet(m // interval, moment=m), 1000 + m + (m * 7 % 5)) for m in sent))
    places = [moment_of(event) for event in events if isinstance(event, Position)]
    wanted = {m - age for m in sent for age in range(0, 301, 30) if m >= age}
    assert sorted(places) == sorted(wanted)


def test_a_log_read_at_one_go_is_put_together_by_the_counter():
    receiver = Receiver(CODEC)
    events = hear(receiver, *((packet(n), 5000.0) for n in (0, 1, 2, 5, 6, 4, 9)))
    places = [moment_of(event) for event in events if isinstance(event, Position)]
    assert sorted(places) == [30 * n for n in range(10)]


TIME = "{ kind = 'time', epoch = 2026-01-01T00:00:00Z, bits = 28, resolution = 1 }"
EPOCH = 1_767_225_600


def test_a_time_field_says_when_whatever_the_link_delays():
    codec = Codec(schema(f"{TIME}, {NUMBERED}"))
    receiver = Receiver(codec)
    made = {n: packet(n, codec=codec, time=EPOCH + 30 * n) for n in range(5)}
    events = hear(receiver, (made[0], EPOCH + 500), (made[2], EPOCH + 501), (made[1], EPOCH + 502), (made[4], EPOCH + 9000))
    assert told(events) == [
        (0, "direct"), (30, "trail"), (60, "direct"), "Repaired", "Late", (90, "trail"), (120, "direct"), "Repaired",
    ]  # fmt: skip
    assert [e.time - EPOCH for e in events if isinstance(e, Position)] == [0, 30, 60, 90, 120]


def test_a_restart_is_seen_by_time_going_on_while_the_counter_goes_back():
    codec = Codec(schema(f"{TIME}, {NUMBERED}"))
    receiver = Receiver(codec)
    hear(receiver, *((packet(n, codec=codec, time=EPOCH + 30 * n), 30 * n) for n in (10, 11, 12)))
    events = receiver.feed(packet(9, codec=codec, moment=390, time=EPOCH + 390, trail=False), 390)
    assert told(events) == ["Restarted", (390, "direct")]


def test_a_time_of_a_period_is_the_one_nearest_to_now():
    codec = Codec(schema("{ kind = 'time', period = 3600 }, " + NUMBERED, trail=""))
    receiver = Receiver(codec)
    now = 1_783_000_000 - 1_783_000_000 % 3600 + 10.0  # ten seconds past the hour
    (event,) = receiver.feed(packet(0, codec=codec, trail=False, time=3590), now)
    assert event.time == now - 20
    (event,) = receiver.feed(packet(1, codec=codec, trail=False, time=15), now + 1)
    assert event.time == now + 5


def test_without_counter_and_identifier_one_tracker_is_heard_and_echoes_are_known_by_their_bytes():
    codec = Codec(schema(PLACE))
    receiver = Receiver(codec)
    made = {m: packet(0, moment=m, codec=codec) for m in (0, 30, 120)}
    events = hear(receiver, (made[0], 0), (made[0], 3), (made[30], 30), (made[120], 121), (made[120], 122))
    assert told(events) == [
        (0, "direct"), "Duplicate", (30, "direct"), (60, "trail"), (90, "trail"), (120, "direct"), "Duplicate",
    ]  # fmt: skip
    assert {event.tracker for event in events} == {None}


def test_a_cow_that_stands_still_is_told_each_time_although_the_bytes_are_the_same():
    codec = Codec(schema(PLACE, trail=""))
    still = packet(0, moment=60, codec=codec, trail=False)
    assert told(hear(Receiver(codec), (still, 0), (still, 30), (still, 31))) == [(60, "direct"), (60, "direct"), "Duplicate"]


@pytest.mark.parametrize(
    ("trail", "fields"),
    [
        ("spacing = 'coded', usual_spacing = 30", ""),
        ("spacing = 'gap'", "{ kind = 'number', name = 'gap', minimum = 0, maximum = 255, resolution = 1 }, "),
    ],
    ids=["coded", "a field"],
)
def test_a_spacing_that_the_packet_tells_is_taken_from_it(trail, fields):
    codec = Codec(schema(fields + NUMBERED, trail=trail))
    receiver = Receiver(codec)
    moments = [0, 20, 40, 80, 100]
    numbers = [0, 1, 2, 4, 5]
    sent = [(packet(n, moment=m, spacing=20, codec=codec, gap=20), m) for n, m in zip(numbers, moments, strict=True)]
    assert told(hear(receiver, *sent)) == [
        (0, "direct"), (20, "direct"), (40, "direct"), (60, "trail"), (80, "direct"), "Repaired", (100, "direct"),
    ]  # fmt: skip


def test_silence_is_told_once_for_each_tracker_until_it_is_heard_again():
    receiver = Receiver(CODEC, known=[7, 8], silent_after=100)
    assert receiver.tick(0) == []
    receiver.feed(packet(0), 50)
    assert receiver.tick(100) == [Silent(8, 0)]
    assert receiver.tick(150) == [Silent(7, 50)]
    assert receiver.tick(151) == []
    receiver.feed(packet(4), 170)
    assert receiver.tick(269) == []
    assert receiver.tick(270) == [Silent(7, 170)]


def test_silence_of_everyone_is_told_too():
    receiver = Receiver(CODEC, silent_after=10)
    receiver.tick(0)
    assert receiver.tick(10) == [Silent(None, 0)]
    receiver.feed(packet(0), 20)
    assert receiver.tick(30) == [Silent(7, 20)]
    assert Receiver(CODEC).tick(1e9) == []


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"silent_after": 0}, "silent_after: 0 is not a finite number of seconds above 0"),
        ({"interval": math.nan}, "interval: nan is not a finite number of seconds above 0"),
        ({"window": 3}, r"window: 3 is outside 4\.\.1024 packets"),
        ({"tracker": "cow"}, "tracker: no layout has a field 'cow'"),
    ],
)
def test_an_option_that_cannot_be_is_one_line(options, message):
    with pytest.raises(PacketcodecError, match=message):
        Receiver(CODEC, **options)


def test_any_field_may_tell_trackers_apart():
    codec = Codec(schema(NUMBERED + ", { kind = 'choice', name = 'herd', choices = ['low', 'high'] }"))
    receiver = Receiver(codec, tracker="counter")
    events = hear(receiver, *((packet(n, codec=codec, herd="low", trail=False), n) for n in range(3)))
    assert [event.tracker for event in events] == [0, 1, 2]


@pytest.mark.slow
@given(
    heard=st.lists(st.booleans(), min_size=1, max_size=50),
    jitter=st.lists(st.floats(0, SPACING / 4), min_size=50, max_size=50),
    start=st.integers(0, 300),
)
def test_in_step_exactly_what_was_sent_is_told_whatever_is_lost(heard, jitter, start):
    receiver = Receiver(CODEC)
    numbers = [start + n for n, there in enumerate(heard) if there]
    events = hear(receiver, *((packet(n), 1e9 + 30 * n + jitter[n - start]) for n in numbers))
    positions = [event for event in events if isinstance(event, Position)]
    wanted = {n - back for n in numbers for back in range(11) if n >= back}
    assert sorted(moment_of(event) for event in positions) == [30 * n for n in sorted(wanted)]
    assert {moment_of(event) // 30 for event in positions if event.direct} >= set(numbers[:1])
    assert all(abs(event.time - 1e9 - moment_of(event)) <= SPACING / 4 for event in positions)
    missed = sum(event.packets for event in events if isinstance(event, Lost))
    made_good = sum(event.lost_packets for event in events if isinstance(event, Repaired))
    if numbers:
        assert missed + made_good == numbers[-1] - numbers[0] + 1 - len(numbers)
        assert missed == len(set(range(numbers[0], numbers[-1])) - wanted)


@pytest.mark.slow
@given(
    delays=st.lists(st.one_of(st.none(), st.floats(0, 5), st.floats(0, 2.9 * SPACING)), min_size=1, max_size=40),
    echoes=st.sets(st.integers(0, 39)),
)
def test_delays_echoes_and_losses_together_tell_no_place_twice(delays, echoes):
    receiver = Receiver(CODEC, interval=SPACING)
    arrivals = [(30 * n + delay, n) for n, delay in enumerate(delays) if delay is not None]
    arrivals += [(when + 2, n) for when, n in arrivals if n in echoes]
    events = hear(receiver, *((packet(n), when) for when, n in sorted(arrivals)))
    places = [moment_of(event) for event in events if isinstance(event, Position)]
    assert len(places) == len(set(places))
    wanted = {n - back for _, n in arrivals for back in range(11) if n >= back}
    assert set(places) == {30 * n for n in wanted}
    assert sum(isinstance(event, Duplicate) for event in events) == len(arrivals) - len({n for _, n in arrivals})


@pytest.mark.slow
def test_memory_stays_bounded_and_old_places_stay_told():
    receiver = Receiver(CODEC, window=8)
    for n in range(2000):
        receiver.feed(packet(n), 30 * n)
    state = receiver._trackers[7]
    assert len(state._order) == 8
    assert len(state._places) <= 20
