"""`replay --packets --track`: what was sent and what arrived, as files."""

import csv
import json

import gpxpy
import pytest

from packetcodec.codec import Codec
from packetcodec.schema import Schema
from packetcodec.starter import schema_text

LINK = ("--loss", "40%", "--burst", "3", "--trails", "10")


@pytest.mark.slow
def test_every_packet_sent_is_a_line_of_hex_that_decode_reads(cli):
    status, out, err = cli("replay", "--packets", "out.hex")
    assert (status, err) == (0, "packetcodec: wrote out.hex: 180 packets\n")
    assert out == cli("replay")[1]
    text = (cli.folder / "out.hex").read_text(encoding="utf-8")
    codec = Codec(Schema.parse(schema_text()))
    packets = [codec.decode(bytes.fromhex(line)) for line in text.splitlines()]
    assert [packet.values["counter"] for packet in packets] == list(range(180))
    assert cli("decode", "pasture.toml", stdin=text)[0] == 0


@pytest.mark.slow
def test_what_arrives_is_what_the_report_of_the_link_counts(cli):
    status, out, err = cli("replay", *LINK, "--json", "--packets", "out.hex", "--track", "out.gpx")
    (report,) = json.loads(out)["link"]["trails"]
    assert status == 0
    points = [
        point
        for track in gpxpy.parse((cli.folder / "out.gpx").read_text(encoding="utf-8")).tracks
        for segment in track.segments
        for point in segment.points
    ]
    sources = [point.source for point in points]
    assert (sources.count("direct"), sources.count("trail")) == (report["direct"], report["by_trail"])
    assert report["direct"] > 50 < report["by_trail"]
    assert [point.time for point in points] == sorted(point.time for point in points)
    assert len((cli.folder / "out.hex").read_text(encoding="utf-8").splitlines()) == report["sent"] == 180
    told = f"{len(points)} positions, {report['by_trail']} of them by trails"
    assert f"{told}; 180 packets sent, {report['received']} received" in err


@pytest.mark.slow
@pytest.mark.parametrize("suffix", [".csv", ".jsonl", ".geojson"])
def test_a_track_is_of_any_format_and_without_a_link_all_arrives(cli, suffix):
    status, _, err = cli("replay", "--track", f"out{suffix}")
    assert status == 0
    assert "178 positions, 0 of them by trails; 180 packets sent, 180 received" in err
    text = (cli.folder / f"out{suffix}").read_text(encoding="utf-8")
    if suffix == ".csv":
        assert len(list(csv.DictReader(text.splitlines()))) == 178
    elif suffix == ".jsonl":
        events = [json.loads(line)["event"] for line in text.splitlines()]
        assert (events.count("position"), events.count("report")) == (178, 2)
    else:
        assert sum(item["geometry"]["type"] == "Point" for item in json.loads(text)["features"]) == 178


def test_a_track_of_nothing_is_a_whole_file_too(cli):
    (cli.folder / "t.csv").write_text("t,lat,lon\n0,46.5,9.9\n", encoding="utf-8")
    status, _, err = cli("replay", "t.csv", "--layout", "track", "--loss", "99.9%", "--track", "out.gpx")
    assert status == 0
    assert "wrote out.gpx: 0 positions, 0 of them by trails; 1 packet sent, 0 received" in err
    assert gpxpy.parse((cli.folder / "out.gpx").read_text(encoding="utf-8")).tracks == []


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--track", "out.kml"), "--track: out.kml ends in none of .jsonl .csv .gpx .geojson"),
        (("--track", "t.csv"), "--track: t.csv is what LOG names too"),
        (("--packets", "./t.csv"), "--packets: ./t.csv is what LOG names too"),
        (("--packets", "a.gpx", "--track", "a.gpx"), "--track: a.gpx is what --packets names too"),
    ],
)
def test_a_file_that_cannot_be_is_one_line_of_wrong_usage(cli, options, words):
    text = "t,lat,lon\n0,46.5,9.9\n30,46.5,9.9\n"
    (cli.folder / "t.csv").write_text(text, encoding="utf-8")
    assert cli("replay", "t.csv", *options) == (2, "", f"packetcodec replay: {words}\n")
    assert (cli.folder / "t.csv").read_text(encoding="utf-8") == text
