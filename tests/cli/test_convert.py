"""`decode --output`: a log of what was heard becomes a map in the order of time, whatever was lost or late."""

import json
from pathlib import Path
from random import Random

import gpxpy
import pytest

from packetcodec.cli.app import run
from packetcodec.starter import schema_text
from tests.support.effort import few
from tests.support.follower import packet, positions

NOON = 1_782_907_200
ENDINGS = ["jsonl", "csv", "gpx", "geojson"]


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")


def convert(capfd, lines, name, *options):
    Path("radio.log").write_text("radio ready\n" + "".join(f"{line}\n" for line in lines), encoding="utf-8")
    status = run(["decode", "pasture.toml", "-i", "radio.log", "-o", name, *options])
    out, err = capfd.readouterr()
    assert out == ""
    assert "Traceback" not in err
    return status, err


def heard(seed=1, count=60, collars=(7, 8)):
    """Lines of packets, one every 30 s: some lost, some late; and the newest of each tracker's that was heard."""
    chance, arrivals = Random(seed), []  # noqa: S311  # a repeatable test
    for number in range(count):
        times = [(NOON + 30 * number + chance.choice((0, 0, 1, 2)), number, collar) for collar in collars]
        arrivals += [arrival for arrival in times if chance.random() < 0.6]
    arrivals.sort()
    return arrivals


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("seed", few(range(3), 3))
def test_each_position_once_in_the_order_of_time(capfd, tmp_path, ending, seed):
    arrivals = heard(seed)
    lines = [f"{time} rx {packet(number, collar).hex(' ')} rssi -{90 + number % 30}" for time, number, collar in arrivals]
    status, err = convert(capfd, lines, f"herd.{ending}")
    assert (status, err.splitlines()[-1]) == (0, f"packetcodec: wrote herd.{ending}")
    found = positions(tmp_path / f"herd.{ending}")
    for collar in (7, 8):
        numbers = [round((north - 46.5) / 1e-4) for tracker, north, _, _ in found if tracker == collar]
        told = {n for _, number, who in arrivals if who == collar for n in range(max(0, number - 10), number + 1)}
        assert numbers == sorted(told)
    times = [time for _, _, _, time in found]
    if ending in {"jsonl", "csv"}:
        assert times == sorted(times)


def test_a_log_without_times_says_so_and_is_in_order(capfd, tmp_path):
    lines = [packet(number).hex() for number in (0, 1, 5, 4, 9)]
    status, err = convert(capfd, lines, "herd.gpx")
    assert (status, "no line has a time: positions are put in order by counters and trails" in err) == (0, True)
    points = [point for part in gpxpy.parse((tmp_path / "herd.gpx").read_text()).tracks[0].segments for point in part.points]
    assert [round((point.latitude - 46.5) / 1e-4) for point in points] == list(range(10))
    assert {point.time for point in points} == {None}


def test_following_a_stored_log_takes_its_times_too(capfd, tmp_path):
    log = "".join(f"2026-07-01T12:{2 * n:02}:00Z {packet(n).hex()} rssi -99\n" for n in (0, 1, 4))
    (tmp_path / "radio.log").write_text(log, encoding="utf-8")
    status = run(["decode", "pasture.toml", "-i", "radio.log", "-o", "a.jsonl", "--interval", "30"])
    assert status == 0
    rows = [json.loads(line) for line in (tmp_path / "a.jsonl").read_text().splitlines()]
    assert [row["time"][11:16] for row in rows if row["direct"]] == ["12:00", "12:02", "12:08"]
    assert {row["rssi"] for row in rows} == {-99.0}
    capfd.readouterr()


def test_plain_decoding_reads_such_lines_too(capfd, tmp_path):
    (tmp_path / "radio.log").write_text(f"2026-07-01T12:00:00Z {packet(0).hex()} rssi -99\nnothing\n", encoding="utf-8")
    assert run(["decode", "pasture.toml", "-i", "radio.log"]) == 1
    out, err = capfd.readouterr()
    row = json.loads(out)
    assert (row["time"], row["rssi"], row["layout"]) == ("2026-07-01T12:00:00.000Z", -99.0, "track")
    assert "line 2: not hex: 'n' at column 1" in err


@pytest.mark.parametrize(
    ("lines", "options", "status", "message"),
    [
        (["hello"], ("a.gpx",), 1, "0 positions direct, 0 by trail, 2 lines without a packet"),
        ([], ("a.txt",), 2, "--output: a.txt ends in none of .jsonl .csv .gpx .geojson"),
        ([], ("nowhere/a.gpx",), 1, "0 positions direct"),
        ([packet(0).hex()], ("nowhere/a.gpx",), 2, "nowhere/a.gpx: No such file or directory"),
        ([], ("radio.log",), 2, "--output: radio.log ends in none of"),
        ([], ("a.gpx", "--baud", "9600"), 2, "--baud goes with --follow"),
        ([], ("a.gpx", "--time-format", "cow"), 2, "--time-format 'cow': has no directive such as %H"),
    ],
)
def test_what_cannot_be_is_one_clear_line(capfd, lines, options, status, message):
    got, err = convert(capfd, lines, *options)
    assert (got, err.splitlines()[-1].count(message)) == (status, 1)
