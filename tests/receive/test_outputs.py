"""What the writers write is read by others: json, csv, gpxpy (GPX), and the rules of RFC 7946 (GeoJSON)."""

import csv
import io
import json
from dataclasses import replace
from datetime import UTC, datetime
from random import Random

import gpxpy
import pytest

from packetcodec.cli.ordering import Sorter
from packetcodec.logs import read_log
from packetcodec.logs.heard import Reception
from packetcodec.receive.events import Position, Report
from packetcodec.receive.outputs import OUTPUTS
from packetcodec.receive.outputs.track_format import utc

NOON = 1_782_907_200.0  # 2026-07-01T12:00:00Z


def position(tracker, time, *place, direct=True, counter=None, layout="track", **values):
    return Position(tracker, time, *place, direct, counter, values, layout)


DIRECT = position(7, NOON, 46.51234, 9.87654, 2104.5, counter=5, battery=3.7, activity="grazing")
BEFORE = position(7, NOON - 30, 46.5123, 9.8765, None, direct=False, counter=5)
OTHER = position(None, NOON + 0.25, -0.0000001, -180.0, -0.5, layout="beacon", battery=None)


def test_times_are_iso_8601_in_utc():
    assert utc(NOON) == "2026-07-01T12:00:00.000Z"
    assert utc(NOON + 0.0004) == "2026-07-01T12:00:00.000Z"
    assert utc(-1.5) == "1969-12-31T23:59:58.500Z"
    assert utc(1e15) == ""
    assert datetime.fromisoformat(utc(4e9)).timestamp() == 4e9


def test_json_lines_hold_everything_and_reports_too():
    writer = OUTPUTS[".jsonl"].writer()
    lines = [writer.entry(DIRECT), writer.entry(BEFORE), writer.entry(Report(7, NOON, 6, {"gate_open": True}, "status"))]
    assert writer.head == ""
    assert all(line.endswith("\n") and line.count("\n") == 1 for line in lines)
    first, second, third = map(json.loads, lines)
    assert first == {
        "event": "position", "tracker": 7, "time": "2026-07-01T12:00:00.000Z", "latitude": 46.51234, "longitude": 9.87654,
        "altitude": 2104.5, "direct": True, "packet_counter": 5, "layout": "track", "rssi": None, "snr": None,
        "values": {"battery": 3.7, "activity": "grazing"},
    }  # fmt: skip
    assert (second["direct"], second["altitude"], second["values"]) == (False, None, {})
    assert (third["event"], third["values"]) == ("report", {"gate_open": True})


def test_csv_has_a_column_for_each_field_and_leaves_reports_out():
    writer = OUTPUTS[".csv"].writer(["battery", "activity", "latitude", "battery"])
    text = writer.head + "".join(map(writer.entry, (DIRECT, BEFORE, OTHER, Report(7, NOON, 6, {}, "status"))))
    rows = list(csv.DictReader(io.StringIO(text)))
    assert list(rows[0])[-5:] == ["layout", "rssi", "snr", "battery", "activity"]
    assert [row["battery"] for row in rows] == ["3.7", "", ""]
    assert [row["direct"] for row in rows] == ["true", "false", "true"]
    assert [row["tracker"] for row in rows] == ["7", "7", ""]
    assert rows[0]["time"] == "2026-07-01T12:00:00.000Z"


def test_csv_quotes_what_needs_it():
    writer = OUTPUTS[".csv"].writer(["remark"])
    row = position(1, NOON, 0.0, 0.0, None, remark='a,"b')
    assert next(csv.reader([writer.entry(row)]))[-1] == 'a,"b'


def grown(suffix, *positions):
    """The file as it grows: after each entry."""
    writer = OUTPUTS[suffix].writer(())
    body, empty = writer.head, True
    files = [body + writer.tail(empty=True)]
    for position in positions:
        if text := writer.entry(position, first=empty):
            body, empty = body + text, False
        files.append(body + writer.tail(empty=empty))
    return files


def in_order(suffix, text, part=100_000):
    entry = OUTPUTS[suffix]
    with Sorter(tracks=entry.tracks, part=part) as sorter:
        for found in entry.parse(text.splitlines(keepends=True)):
            sorter.add(found)
        sorter.finish()
        return "".join(entry.compose(entry.writer(()).head, sorter))


def written(suffix, *positions):
    return in_order(suffix, grown(suffix, *positions)[-1])


@pytest.mark.parametrize("suffix", OUTPUTS)
def test_a_file_is_whole_after_each_entry(suffix):
    for number, text in enumerate(grown(suffix, DIRECT, OTHER, Report(7, NOON, 6, {}, "status"), BEFORE, DIRECT)):
        wanted = [0, 1, 2, 2, 3, 4][number]
        if suffix == ".gpx":
            tracks = gpxpy.parse(text).tracks
            assert sum(len(segment.points) for track in tracks for segment in track.segments) == wanted
            assert [track.name for track in tracks] == ["tracker 7", "tracker", "tracker 7"][: [0, 1, 2, 2, 3, 3][number]]
        elif suffix == ".geojson":
            assert len(json.loads(text)["features"]) == wanted
        else:
            assert text.count("\n") == wanted + (suffix == ".csv") + (suffix == ".jsonl" and number >= 3)


@pytest.mark.parametrize("suffix", [".gpx", ".geojson"])
def test_a_file_in_order_stays_so_and_can_be_gone_on_with(suffix):
    text = written(suffix, DIRECT, OTHER, BEFORE)
    assert in_order(suffix, text) == text
    writer = OUTPUTS[suffix].writer(())
    body = text.removesuffix(writer.tail(empty=False)) + writer.entry(OTHER, first=False)
    again = in_order(suffix, body + writer.tail(empty=False))
    point = "<trkpt " if suffix == ".gpx" else '"Point"'
    assert (text.count(point), again.count(point)) == (3, 4)
    assert (text.count("tracker 7"), again.count("tracker 7")) == (1, 1)


def test_gpx_is_read_by_gpxpy_point_for_point_in_the_order_of_time():
    parsed = gpxpy.parse(written(".gpx", DIRECT, OTHER, BEFORE))
    assert (parsed.version, [track.name for track in parsed.tracks]) == ("1.1", ["tracker 7", "tracker"])
    old, new = parsed.tracks[0].segments[0].points
    assert (old.latitude, old.longitude, old.elevation, old.source) == (46.5123, 9.8765, None, "trail")
    assert (new.latitude, new.longitude, new.elevation, new.source) == (46.51234, 9.87654, 2104.5, "direct")
    assert new.time == datetime(2026, 7, 1, 12, tzinfo=UTC)
    log = read_log([written(".gpx", DIRECT, OTHER).encode()])
    assert (log.sentences, log.fixes[1].latitude, log.fixes[1].longitude) == (2, -1e-7, -180.0)
    assert "e-" not in written(".gpx", OTHER).split("<trkpt")[1].split(">")[0]


def test_an_empty_document_is_whole_too():
    assert gpxpy.parse(written(".gpx")).tracks == []
    assert json.loads(written(".geojson")) == {"type": "FeatureCollection", "features": []}


def test_geojson_has_points_and_a_line_longitude_first():
    line, old, new = json.loads(written(".geojson", DIRECT, BEFORE))["features"]
    assert line["geometry"] == {"type": "MultiLineString", "coordinates": [[[9.8765, 46.5123], [9.87654, 46.51234, 2104.5]]]}
    assert old["geometry"] == {"type": "Point", "coordinates": [9.8765, 46.5123]}
    assert new["properties"] == {
        "tracker": 7, "time": "2026-07-01T12:00:00.000Z", "source": "direct", "packet_counter": 5, "layout": "track",
        "rssi": None, "snr": None, "battery": 3.7, "activity": "grazing",
    }  # fmt: skip


def test_one_position_makes_no_line():
    features = json.loads(written(".geojson", DIRECT))["features"]
    assert [feature["geometry"]["type"] for feature in features] == ["Point"]


# RFC 7946, section 3.1.9: a line that crosses the antimeridian is cut there. From memory.
@pytest.mark.parametrize("side", [1, -1])
def test_a_line_across_180_degrees_is_cut_there(side):
    places = [(10.0, 179.0), (10.2, 179.8), (10.4, -179.8), (10.5, -179.0)]
    positions = [position(1, NOON + number, north, side * east, None) for number, (north, east) in enumerate(places)]
    line = json.loads(written(".geojson", *positions))["features"][0]["geometry"]["coordinates"]
    assert line == [
        [[side * 179.0, 10.0], [side * 179.8, 10.2], [side * 180.0, 10.3]],
        [[side * -180.0, 10.3], [side * -179.8, 10.4], [side * -179.0, 10.5]],
    ]


HEARD = replace(position(7, NOON + 60, 46.5, 9.8, None), reception=Reception(NOON + 60, -101.0, 7.5))
NEVER = replace(position(7, NOON, 46.6, 9.9, None, direct=False), time_known=False)


def test_how_a_packet_was_heard_is_kept():
    assert gpxpy.parse(written(".gpx", HEARD)).tracks[0].segments[0].points[0].comment == "RSSI -101 dBm, SNR 7.5 dB"
    assert json.loads(written(".geojson", HEARD))["features"][0]["properties"]["snr"] == 7.5
    row = next(csv.DictReader(io.StringIO(written(".csv", HEARD))))
    assert (row["rssi"], row["snr"]) == ("-101.0", "7.5")
    assert json.loads(written(".jsonl", HEARD))["rssi"] == -101.0


@pytest.mark.parametrize("suffix", OUTPUTS)
def test_what_has_no_time_stays_behind_the_one_before_it(suffix):
    text = written(suffix, HEARD, NEVER, DIRECT)
    assert text.rfind("46.6") > text.rfind("46.51234")
    assert ("<time>" in text.split("46.6")[-1]) is False


@pytest.mark.parametrize("suffix", OUTPUTS)
@pytest.mark.parametrize("part", [1, 7, 100])
def test_any_number_of_parts_gives_the_same_order(suffix, part):
    chance = Random(part)  # noqa: S311  # a repeatable test
    places = [
        position(chance.choice((7, 8)), NOON + 30 * chance.randrange(100), 46.5, 9.8, None, counter=n) for n in range(50)
    ]
    assert in_order(suffix, grown(suffix, *places)[-1], part) == written(suffix, *places)


def test_a_track_is_cut_at_an_outage():
    walk = [position(7, NOON + 30 * n, 46.5 + n / 1000, 9.8, None) for n in (*range(5), *range(8, 12), *range(13, 15))]
    assert [len(part.points) for part in gpxpy.parse(written(".gpx", *walk)).tracks[0].segments] == [5, 6]
    lines = json.loads(written(".geojson", *walk))["features"][0]["geometry"]["coordinates"]
    assert [len(line) for line in lines] == [5, 6]
