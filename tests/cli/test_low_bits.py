"""Fields sent by their low bits on the command line: `decode --near`, a restart with `--state`, and `replay`."""

import json
import os
from pathlib import Path

import pytest

from packetcodec import Codec, Schema
from packetcodec.cli.app import run

SCHEMA = """
name = "pasture"
version = 1
[[layouts]]
name = "track"
id = 1
fields = [
    { kind = "identifier", name = "collar" },
    { kind = "counter", bits = 31, low_bits = 8 },
    { kind = "latitude", resolution_m = 2.5, within_m = 20000, optional = true },
    { kind = "longitude", resolution_m = 2.5, within_m = 20000, max_latitude = 70, optional = true },
]
trail = { points = 5, resolution_m = 2.5, spacing = 30 }
"""
CODEC = Codec(Schema.parse(SCHEMA))


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("low.toml").write_text(SCHEMA, encoding="utf-8")


def line(number, north=46.5):
    values = {"collar": 7, "counter": number, "latitude": north, "longitude": 9.8}
    return f"2026-07-01T12:{number % 60:02}:00Z {CODEC.encode('track', values).hex()}\n"


def decode(capfd, text, *options):
    Path("radio.log").write_text(text, encoding="utf-8")
    status = run(["decode", "low.toml", "-i", "radio.log", *options])
    return status, *capfd.readouterr()


def test_check_says_the_interval_in_metres_too_and_what_the_check_does_not_notice(capfd):
    assert run(["check", "low.toml"]) == 0
    said = " ".join(capfd.readouterr().out.split())
    assert "latitude by 14 of 23, for a receiver that knows it within 0.1826592 ° (20,197 m)" in said
    assert "longitude by 16 of 24, for a receiver that knows it within 0.7339583 ° (27,933 m up to 70° of latitude)" in said
    assert "of such packets 1 in 65,536 passes the check" in said
    assert run(["check", "low.toml", "--json"]) == 0
    fields = json.loads(capfd.readouterr().out)["layouts"][0]["fields"]
    assert [field.get("within_m") for field in fields] == [None, None, 20_197, 27_933]
    Path("low.toml").write_text(SCHEMA.replace("within_m = 20000, max_latitude = 70", "low_bits = 16"), encoding="utf-8")
    assert run(["check", "low.toml"]) == 0
    assert "(81,429 m on the equator)" in " ".join(capfd.readouterr().out.split())


def test_near_a_place_it_is_decoded_and_without_one_it_says_what_lacks(capfd):
    status, out, err = decode(capfd, line(1))
    assert (status, out) == (1, "")
    assert "cannot be verified without a reference for latitude" in err or "no reference is known" in err
    status, out, _ = decode(capfd, line(1) + line(2, 46.6), "--near", "40,9", "--near", "46.6,9.9")
    assert status == 0
    assert [round(json.loads(row)["values"]["latitude"], 2) for row in out.splitlines()] == [46.5, 46.6]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--near", "cow"], "--near: 'cow' is not like 46.5,9.8"),
        (["--near", "46.5"], "--near: '46.5' is not like 46.5,9.8: latitude first, a comma, no blank"),
        (
            ["--near", "91,9"],
            "--near: 91, 9 is no latitude -90..90 and longitude -180..180 in degrees: latitude comes first\n",
        ),
        (["--near", "9,181"], "--near: 9, 181 is no latitude -90..90 and longitude -180..180 in degrees\n"),
        (["--clock", "noon"], "--clock: 'noon' is neither ISO 8601 nor Unix seconds"),
    ],
)
def test_what_cannot_be_is_one_line(capfd, options, message):
    status, out, err = decode(capfd, line(1), *options)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert message in err


def test_a_restart_knows_what_was_known(capfd):
    far = [line(number, 46.5 + number / 10) for number in range(12)]  # 130 km off at the end
    options = ["--follow", "-o", "herd.jsonl", "--state", "st", "--near", "46.5,9.8"]
    for lines in (far[:6], far[6:]):
        Path("radio.log").write_text("".join(lines), encoding="utf-8")
        stdin = Path("radio.log").read_text(encoding="utf-8")
        assert follow(stdin, options) == 0
    rows = [json.loads(row) for row in Path("herd.jsonl").read_text(encoding="utf-8").splitlines()]
    assert [round(row["latitude"], 1) for row in rows] == [round(46.5 + number / 10, 1) for number in range(12)]
    capfd.readouterr()


def follow(text, options):
    Path("stdin").write_text(text, encoding="utf-8")
    saved, given = os.dup(0), os.open("stdin", os.O_RDONLY)
    os.dup2(given, 0)
    try:
        return run(["decode", "low.toml", *options])
    finally:
        os.dup2(saved, 0)
        os.close(saved)
        os.close(given)


@pytest.mark.slow
def test_replay_says_what_is_gained_and_how_often_references_fail(capfd):
    assert run(["replay", "-s", "low.toml", "--json", "--loss", "30%", "--reorder", "2"]) == 0
    report = json.loads(capfd.readouterr().out)
    assert report["low_bits"]["fields"] == ["counter", "latitude", "longitude"]
    assert report["low_bits"]["saved_bits"] > 30
    assert (report["low_bits"]["standing"], report["low_bits"]["moving"]) == (0, 0)
    assert all(trail["refused"] == 0 and trail["repeated"] == 0 for trail in report["link"]["trails"])


@pytest.mark.slow
def test_a_tracker_that_leaves_is_not_understood_from_where_it_began(capfd):
    rows = "".join(f"{30 * n},{46.5 + n * 0.01},9.8\n" for n in range(100))  # 110 km
    Path("trip.csv").write_text(f"time,lat,lon\n{rows}", encoding="utf-8")
    assert run(["replay", "trip.csv", "-s", "low.toml", "--json"]) == 0
    found = json.loads(capfd.readouterr().out)["low_bits"]
    assert 60 < found["standing"] < 90
    assert found["moving"] == 0


def test_without_any_reference_the_option_that_gives_one_is_named_for_a_packet_without_a_position_too(capfd):
    hint = "no reference is known; --near LAT,LON gives the place of the receiver as one"
    empty = CODEC.encode("track", {"collar": 7, "counter": 1}).hex()
    for text in (line(1), f"{empty}\n"):
        assert hint in decode(capfd, text)[2]
        assert hint in decode(capfd, text, "-o", "herd.csv")[2]
    assert "--near" not in decode(capfd, line(1), "--near", "40,9")[2]


def test_where_no_packet_fits_the_place_it_is_asked_whether_its_latitude_comes_first(capfd):
    words = "does its latitude come first?"
    for options in ((), ("-o", "herd.csv")):
        assert words in decode(capfd, line(1), "--near", "9.8,46.5", *options)[2]
        assert words not in decode(capfd, line(1), "--near", "46.5,9.8", *options)[2]
        assert words not in decode(capfd, line(1), *options)[2]


def test_damaged_packets_are_counted_apart_from_those_without_a_reference(capfd):
    good = line(1)
    damaged = good.strip()[:-2] + ("00" if good.strip()[-2:] != "00" else "11")
    summary = decode(capfd, good + damaged, "-o", "herd.csv", "--near", "46.5,9.8")[2]
    assert "1 position direct, 0 by trail, 1 packet damaged or too far from what is known" in summary
    assert "without a reference" not in summary
    summary = decode(capfd, good + damaged, "-o", "herd.csv")[2]
    assert "2 packets without a reference" in summary
    assert "damaged" not in summary.splitlines()[-1]
