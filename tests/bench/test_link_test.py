"""The bench test of a link: counted against what the losses themselves say must arrive, and on recorded tracks."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from benchmarks import unknown_interval
from packetcodec import frozen
from packetcodec.bench import every
from packetcodec.bench.link_test import link_test, with_trail
from packetcodec.bench.lossy_link import Link
from packetcodec.bench.lossy_link import LinkConditions as Conditions
from packetcodec.errors import PacketcodecError
from packetcodec.logs import Fix
from packetcodec.radio import LoRa
from packetcodec.schema import Schema
from packetcodec.starter import schema_text
from tests.support import recordings
from tests.support.effort import few

STARTER = Schema.parse(schema_text())
ROOMY_TEXT = schema_text().replace("packet_bytes = 32", "packet_bytes = 200")
ROOMY = Schema.parse(ROOMY_TEXT)
UNCHECKED = Schema.parse(
    schema_text().replace('"CRC-16/M17"', '"none"').replace("bind_schema = true", "bind_schema = false")
)
WALK = tuple(Fix(30.0 * number, 46.5 + number * 2e-4, 9.9 + (number % 7) * 1e-4, 2000.0) for number in range(250))


def run(conditions, schema=ROOMY, fixes=WALK, interval_s=30.0, **options):
    return link_test(schema, "track", fixes, interval=interval_s, conditions=conditions, **options)


def test_without_harm_every_point_arrives_by_its_own_packet():
    for report in run(Conditions()):
        assert (report.sent, report.received, report.lost, report.damaged, report.refused) == (250, 250, 0, 0, 0)
        assert (report.points, report.direct, report.by_trail, report.missing, report.repeated) == (250, 250, 0, 0, 0)
        assert (report.between, report.pending, report.longest_hole) == (0, 0, 0.0)


@pytest.mark.slow
@pytest.mark.parametrize(
    "conditions",
    [
        Conditions(loss=0.4, burst=5, seed=1),
        Conditions(loss=0.7, burst=12, seed=2),
        Conditions(loss=0.5, seed=3),
    ],
)
def test_exactly_the_points_that_a_packet_within_reach_carries_arrive_by_trail(conditions):
    # The oracle knows the losses alone: point i is told by trail if one of the next `length` packets arrives.
    link = Link(conditions)
    arrives = [bool(link.send(b"?")) for _ in WALK]
    for report in run(conditions, lengths=(0, 1, 10, 25)):
        ahead = [any(arrives[number + 1 : number + 1 + report.trail]) for number in range(len(WALK))]
        told = [direct or near for direct, near in zip(arrives, ahead, strict=True)]
        assert report.lost == arrives.count(False)
        assert report.direct == arrives.count(True)
        assert report.by_trail == told.count(True) - report.direct
        assert report.missing == told.count(False)
        assert report.repeated == report.between == 0
        places = [number for number, known in enumerate(told) if known]
        gaps = [30.0 * (after - before) for before, after in zip([0, *places], places, strict=False)]
        assert report.longest_hole == max((gap for gap in gaps if gap > 30.0), default=0.0)
        assert report.pending == len(WALK) - 1 - places[-1]


def test_duplicates_and_packets_out_of_order_lose_nothing_and_tell_nothing_twice():
    for report in run(Conditions(duplicates=0.3, reorder=3, seed=4)):
        assert report.received > 300
        assert report.missing == report.repeated == report.between == 0


@pytest.mark.slow
def test_the_same_seed_gives_the_same_report_and_another_one_another():
    conditions = Conditions(loss=0.3, burst=3, bit_errors=1e-3, duplicates=0.1, reorder=2, seed=11)
    assert run(conditions) == run(conditions)
    assert run(conditions) != run(replace(conditions, seed=12))


@pytest.mark.slow
def test_the_check_refuses_damaged_packets_and_without_one_they_are_counted_as_accepted():
    for report in run(Conditions(bit_errors=2e-3, seed=6)):
        assert report.damaged == report.refused > 25
        assert report.unnoticed == 0
    none, *_, ten = run(Conditions(bit_errors=2e-3, seed=6), schema=UNCHECKED)
    assert none.unnoticed > 0 < ten.unnoticed
    assert none.direct < none.sent - none.refused  # what an unnoticed error says is no point


def test_packets_without_a_position_are_sent_and_are_no_points():
    fixes = tuple(fix if number % 4 else Fix(fix.time, fix_quality=0) for number, fix in enumerate(WALK))
    for report in run(Conditions(loss=0.2, seed=1), fixes=fixes):
        assert (report.sent, report.points) == (250, 187)
        assert report.direct + report.by_trail + report.missing == 187


def test_points_between_packets_are_counted_apart():
    # Packets every 60 s carry points every 30 s: every second one is of a moment without a packet.
    recording = tuple(Fix(10.0 * number, 46.5 + number * 1e-5, 9.9) for number in range(600))
    none, ten = link_test(
        ROOMY,
        "track",
        tuple(every(recording, 60.0)),
        interval=60.0,
        conditions=Conditions(),
        recording=recording,
        lengths=(0, 10),
    )
    assert (none.points, none.between) == (100, 0)
    assert (ten.points, ten.direct, ten.between, ten.repeated) == (100, 100, 99, 0)


@pytest.mark.slow
@pytest.mark.parametrize("interval", [10.0, 15.0, 45.0, 60.0, 90.0])
def test_what_is_given_of_the_interval_keeps_points_apart_as_well_as_a_field_of_time(interval):
    head, layout = ROOMY_TEXT.split('name = "track"')
    field = '{ kind = "time", resolution = 1, epoch = 1970-01-01T00:00:00Z, bits = 32 },'
    timed = Schema.parse(f'{head}name = "track"{layout.replace("fields = [", f"fields = [{field}", 1)}')
    recording = tuple(Fix(5.0 * number, 46.5 + number * 5e-5, 9.9) for number in range(2000))
    fixes = tuple(every(recording, interval))[:300]
    conditions = Conditions(loss=0.3, duplicates=0.1, reorder=2, seed=1)
    (blind,), (told,) = (
        link_test(schema, "track", fixes, recording=recording, interval=interval, conditions=conditions, lengths=(10,))
        for schema in (ROOMY, timed)
    )
    assert blind.repeated == told.repeated == 0
    assert (blind.missing, blind.between) == (told.missing, told.between)


@pytest.mark.network
@pytest.mark.parametrize("source", [recordings.rides, recordings.hikes, recordings.soundings], ids=lambda it: it.__name__)
def test_a_longer_trail_never_leaves_more_of_a_recorded_track_missing(source):
    # Recorded outings and soundings, see tests/support/recordings.py for where they come from.
    conditions = Conditions(loss=0.4, burst=5, bit_errors=1e-4, duplicates=0.05, reorder=2, seed=1)
    for name, recording in list(source().items())[:3]:
        reports = run(
            conditions, schema=STARTER, fixes=tuple(every(recording, 30.0))[:200], recording=recording, lengths=(0, 5, 10)
        )
        none, five, ten = reports
        assert none.missing >= five.missing >= ten.missing, name
        assert none.lost == five.lost == ten.lost, name
        assert all(report.repeated == 0 for report in reports), name
        assert all(report.direct + report.by_trail + report.missing == report.points for report in reports), name


def test_mean_bytes_and_airtime_are_those_of_the_packets_sent():
    (report,) = run(Conditions(), fixes=WALK[:3], lengths=(10,))
    modem = LoRa(spreading_factor=10)
    sizes = [size for size, count in report.sizes for _ in range(count)]
    assert len(sizes) == 3
    assert report.mean_bytes == sum(sizes) / 3
    assert report.mean_airtime(modem.airtime) == sum(map(modem.airtime, sizes), Fraction()) / 3


def test_a_shorter_trail_changes_nothing_else_of_the_schema():
    shorter = with_trail(STARTER, "track", 5)
    assert shorter.layouts[1].trail == frozen.replace(STARTER.layouts[1].trail, points=5)
    assert (shorter.layouts[0], shorter.layouts[2]) == (STARTER.layouts[0], STARTER.layouts[2])
    assert with_trail(STARTER, "track", 10) == STARTER
    assert with_trail(STARTER, "track", 0).layouts[1].trail is None


@pytest.mark.parametrize(
    ("layout", "points", "limit", "message"),
    [
        ("position", 5, 32, 'layout "position" carries no trail'),
        ("track", 64, 32, "trail: 64 is outside 0..63 points"),
        ("track", -1, 32, "trail: -1 is outside 0..63 points"),
        ("track", 63, 15, 'trail: with 63 points an empty one takes 16 bytes, layout "track" allows 15'),
    ],
)
def test_a_trail_that_cannot_be_is_refused(layout, points, limit, message):
    # With 14 bits of counter an empty trail of up to ten points ends with its byte.
    text = (
        schema_text()
        .replace("packet_bytes = 32", f"packet_bytes = {limit}")
        .replace('"counter", bits = 8', '"counter", bits = 14')
    )
    schema = Schema.parse(text)
    with pytest.raises(PacketcodecError) as caught:
        with_trail(schema, layout, points)
    assert str(caught.value) == message


@pytest.mark.parametrize("link", unknown_interval.LINKS, ids=["in order", "late by 2", "late by 8"])
@pytest.mark.parametrize("interval", few([10.0, 45.0, 90.0], 3))
@pytest.mark.parametrize("kind", ["grazes", "stands"])
def test_where_the_interval_is_not_known_and_the_link_reorders_no_point_is_told_twice_with_a_time(
    monkeypatch, kind, interval, link
):
    monkeypatch.setattr(unknown_interval, "PACKETS", 100)
    found = unknown_interval.measure(kind, interval, link, seed=4)
    assert found["repeated"] == 0
    assert found["missing"] <= found["points"] * 0.2
    assert found["undated"] < found["dated"]


@pytest.mark.slow
@pytest.mark.parametrize("interval", unknown_interval.INTERVALS)
@pytest.mark.parametrize("kind", unknown_interval.KINDS)
def test_no_point_is_told_twice_with_a_time_on_any_link_and_most_have_one(kind, interval):
    runs = [unknown_interval.measure(kind, interval, link, n) for n, link in enumerate(unknown_interval.LINKS, 1)]
    assert [found["repeated"] for found in runs] == [0, 0, 0]
    assert sum(found["undated"] for found in runs) < sum(found["dated"] for found in runs) * 0.15


@pytest.mark.parametrize(("kind", "link", "most"), [("walks", 0, 5), ("stands", 0, 8), ("walks", 1, 45), ("grazes", 2, 100)])
def test_an_interval_out_of_step_with_the_points_brings_few_rows_too_many(monkeypatch, kind, link, most):
    monkeypatch.setattr(unknown_interval, "PACKETS", 100)
    found = unknown_interval.measure(kind, 47.0, unknown_interval.LINKS[link], seed=4)
    assert found["repeated"] + found["undated"] <= most
    assert found["missing"] <= found["points"] * 0.2
