"""`decode --follow` as a user runs it: a process of its own, a file that grows, a pipe, a pseudo-terminal, a sudden end."""

import contextlib
import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import threading
import time
import tty

import gpxpy
import pytest
from cobs import cobs

from packetcodec import Codec, Schema
from packetcodec.cli import sources
from packetcodec.cli.app import run
from packetcodec.starter import schema_text
from tests.support.follower import ENVIRONMENT, PATIENCE, Follower, feed, holds, line, packet, positions

NO_TIME = (
    "packetcodec: the packets of this input carry no time of reception: those read at once get the moment of reading as "
    "their time, and the points of their trails come before all of them; for a stored log leave out --follow"
)


@pytest.fixture
def follow(tmp_path):
    with contextlib.ExitStack() as stack:

        def start(*arguments, **options):
            follower = Follower(tmp_path, *arguments, **options)
            stack.callback(follower.close)
            return follower

        yield start


@pytest.fixture
def once(tmp_path, monkeypatch, capfd):
    """The command in this process, with a stdin that ends: status, stdout, stderr."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")

    def call(data, *arguments):
        (tmp_path / "stdin").write_bytes(data)
        saved, given = os.dup(0), os.open(tmp_path / "stdin", os.O_RDONLY)
        os.dup2(given, 0)
        try:
            status = run(["decode", "pasture.toml", "--follow", *map(str, arguments)])
        finally:
            os.dup2(saved, 0)
            os.close(saved)
            os.close(given)
        out, err = capfd.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    return call


@pytest.mark.slow
def test_a_file_is_followed_as_it_grows_and_ctrl_c_ends_it_with_a_summary(follow, tmp_path):
    log = tmp_path / "radio.log"
    log.write_bytes(b"radio ready\n" + line(0))
    follower = follow("-i", log)
    follower.wait_for(lambda: len(follower.rows()) == 1)
    with log.open("ab", buffering=0) as handle:
        handle.write(line(1)[:20])
        handle.write(line(1)[20:] + line(4) + line(4))
    rows = follower.wait_for(lambda: len(follower.rows()) == 5 and follower.rows())
    assert [(row["direct"], row["packet_counter"]) for row in rows] == [
        (True, 0), (True, 1), (False, 4), (False, 4), (True, 4),
    ]  # fmt: skip
    follower.wait_for(lambda: "2 lost packets made good" in follower.text["err"])
    assert follower.end() == 0
    assert follower.text["err"].splitlines() == [
        NO_TIME,
        "packetcodec: tracker 7: gap repaired by 2 trail points, 2 lost packets made good",
        "packetcodec: 3 positions direct, 2 by trail, 1 duplicate, 1 line without a packet",
    ]


def test_a_file_that_is_replaced_or_cut_is_read_from_its_beginning(follow, tmp_path):
    log = tmp_path / "radio.log"
    log.write_bytes(line(0) + b"[rx] 1107")
    follower = follow("-i", log)
    follower.wait_for(lambda: len(follower.rows()) == 1)
    (tmp_path / "next.log").write_bytes(line(1))
    (tmp_path / "next.log").replace(log)
    follower.wait_for(lambda: len(follower.rows()) == 2)
    assert "replaced by another file" in follower.text["err"]
    log.write_bytes(b"")
    follower.wait_for(lambda: "cut shorter" in follower.text["err"])
    with log.open("ab") as handle:
        handle.write(line(2))
    follower.wait_for(lambda: len(follower.rows()) == 3)


def test_stdin_ends_the_job_by_ending(once):
    status, out, err = once(line(0) + line(1).rstrip())
    assert (status, [json.loads(row)["packet_counter"] for row in out.splitlines()]) == (0, [0, 1])
    assert err == f"{NO_TIME}\npacketcodec: 2 positions direct, 0 by trail\n"


@pytest.mark.slow
def test_that_stored_packets_carry_no_time_is_said_once_and_not_of_those_that_do(once, tmp_path):
    _, _, err = once(b"".join(map(line, range(6))) + line(0, collar=8) + line(1, collar=8), "-o", "herd.gpx")
    assert err.count(NO_TIME) == 1
    _, _, err = once(line(0) + line(1, collar=8), "-o", "two.gpx")
    assert NO_TIME not in err
    (tmp_path / "pasture.toml").write_text(
        'name = "hut"\nversion = 1\n[[layouts]]\nname = "spot"\nid = 1\n'
        'fields = [{ kind = "time", epoch = 2026-01-01T00:00:00Z }, { kind = "latitude" }, { kind = "longitude" }]\n',
        encoding="utf-8",
    )
    codec = Codec(Schema.load(tmp_path / "pasture.toml"))
    spots = [{"time": 1_784_000_000 + 30 * n, "latitude": 46.5, "longitude": 9.8 + n / 1000} for n in range(3)]
    (tmp_path / "spots.txt").write_text("\n".join(codec.encode("spot", spot).hex() for spot in spots), encoding="utf-8")
    with (tmp_path / "spots.txt").open() as stdin:
        done = subprocess.run(
            [sys.executable, "-m", "packetcodec", "decode", "pasture.toml", "--follow"], cwd=tmp_path, env=ENVIRONMENT,
            stdin=stdin, capture_output=True, text=True, check=False,
        )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "packetcodec: 3 positions direct, 0 by trail\n")
    times = [json.loads(row)["time"] for row in done.stdout.splitlines()]
    assert times == ["2026-07-14T03:33:20.000Z", "2026-07-14T03:33:50.000Z", "2026-07-14T03:34:20.000Z"]


def test_stdin_without_one_good_packet_is_the_datas_fault(once):
    status, out, err = once(b"hello\n" + line(0).replace(b"[rx] 1", b"[rx] f"))
    assert (status, out) == (1, "")
    assert "unknown_version" in err
    assert err.endswith("0 positions direct, 0 by trail, 1 faulty packet, 1 line without a packet\n")


@pytest.mark.parametrize(
    ("arguments", "status", "message"),
    [
        (["--pattern", "x"], 2, "--pattern 'x': has 0 groups; it must have one, which holds the hex digits, or named ones"),
        (["--pattern", "(?P<hex>x)(?P<cow>y)"], 2, "group 'cow' is none of hex, base64, time, rssi, snr"),
        (["--time-format", "%Q"], 2, "--time-format '%Q': %Q is none of %Y"),
        (["--pattern", "(x)", "--cobs"], 2, "--pattern is for lines of hex, not for --cobs"),
        (["--silent-after", "0"], 2, "--silent-after: 0.0 is not a finite number of seconds above 0"),
        (["--known", "7,cow"], 2, "--known: '7,cow' is not a list of whole numbers such as 7,8"),
        (["--tracker", "cow"], 2, "--tracker: no layout has a field 'cow'"),
        (["-o", "herd.txt"], 2, "--output: herd.txt ends in none of .jsonl .csv .gpx .geojson"),
        (["-i", "nowhere.log"], 2, "nowhere.log: No such file or directory"),
        (["-o", "nowhere/herd.csv"], 2, "nowhere/herd.csv: No such file or directory"),
        (["-o", "nowhere/herd.gpx"], 2, "No such file or directory"),
        (["-i", "herd.csv", "-o", "herd.csv"], 2, "--output: herd.csv is what --input names too"),
        (["-o", "herd.csv", "--state", "./herd.csv"], 2, "--state: ./herd.csv is what --output names too"),
        (["-o", "herd.csv", "--sync", "-1"], 2, "--sync"),
        (["--faults"], 2, "--faults goes without --follow and --output, which say faults on stderr"),
    ],
)
def test_an_option_that_cannot_be_is_one_line(once, arguments, status, message):
    got, out, err = once(line(0), *arguments)
    assert (got, out, err.count("\n")) == (status, "", 1)
    assert message in err


def test_options_of_following_are_refused_without_it(once, capfd):
    once(line(0))
    assert run(["decode", "pasture.toml", "--known", "7"]) == 2
    assert "--known goes with --follow or --output" in capfd.readouterr().err
    assert run(["decode", "pasture.toml", "--state", "x", "-o", "x.csv"]) == 2
    assert "--state goes with --follow" in capfd.readouterr().err


def test_what_else_happens_is_said(once):
    numbers = [200, 201, 215, 202, 0]
    status, _, err = once(b"".join(map(line, numbers)))
    assert status == 0
    assert "tracker 7: 3 packets lost, a hole of 2 min 00 s" in err
    assert "tracker 7: started anew, its counter is at 0" in err


@pytest.mark.slow
def test_only_known_trackers_are_told_and_silence_is(follow):
    follower = follow("--known", "8,9", "--silent-after", "0.05", stdin=subprocess.PIPE)
    follower.process.stdin.write(line(0, collar=7) + line(1, collar=7) + line(0, collar=8))
    follower.process.stdin.flush()
    follower.wait_for(lambda: follower.text["err"].count("silent since") == 2)
    assert [row["tracker"] for row in follower.rows()] == [8]
    assert follower.text["err"].count("tracker 7: not one of the known ones") == 1
    assert follower.end() == 0


class Port:
    """A serial port with us at the other end: a pseudo-terminal behind a name that we can take away."""

    def __init__(self, path):
        self.path = path
        self.ours, self.theirs = os.openpty()
        tty.setraw(self.theirs)
        path.symlink_to(os.ttyname(self.theirs))

    def write(self, data):
        os.write(self.ours, data)

    def unplug(self):
        self.path.unlink()
        os.close(self.ours)
        os.close(self.theirs)


@pytest.mark.slow
def test_a_serial_port_is_read_and_waited_for_when_it_goes_and_comes_back(follow, tmp_path):
    name = tmp_path / "port"
    port = Port(name)
    follower = follow("-i", name, "--baud", "9600")
    follower.wait_for(lambda: "open, 9600 baud" in follower.text["err"])
    port.write(line(0) + line(1)[:12])
    follower.wait_for(lambda: len(follower.rows()) == 1)
    port.unplug()
    follower.wait_for(lambda: "waiting for it" in follower.text["err"])
    port = Port(name)
    follower.wait_for(lambda: "back, 9600 baud" in follower.text["err"])
    port.write(line(2))
    follower.wait_for(lambda: len(follower.rows()) == 3)
    port.unplug()
    follower.wait_for(lambda: follower.text["err"].count("waiting for it") == 2)
    assert follower.end() == 0
    assert follower.process.returncode == 0


@pytest.mark.slow
def test_cobs_frames_come_through_noise_on_a_port(follow, tmp_path):
    port = Port(tmp_path / "port")
    follower = follow("-i", port.path, "--cobs")
    follower.wait_for(lambda: "open, 115200 baud" in follower.text["err"])
    for number in range(3):
        port.write(b"\x11\x13\x03noise\r\n\0" + cobs.encode(packet(number)) + b"\0")
    follower.wait_for(lambda: len(follower.rows()) == 3)
    assert follower.end() == 0
    assert "3 frames without a packet" in follower.text["err"]
    port.unplug()


def test_a_port_without_its_library_names_the_extra(once, monkeypatch):
    monkeypatch.setattr(sources, "serial", None)
    status, _, err = once(b"", "-i", "/dev/no-such-port")
    assert status == 2
    assert err == (
        "packetcodec decode: /dev/no-such-port: a serial port needs the extra `serial`: pip install 'packetcodec[serial]'\n"
    )


ENDINGS = ["jsonl", "csv", "gpx", "geojson"]
#: Of what takes a process each, one in every run.
ONE_QUICKLY = ["gpx", *(pytest.param(ending, marks=pytest.mark.slow) for ending in ("jsonl", "csv", "geojson"))]


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_file_holds_every_position_at_the_end_and_nothing_lies_beside_it(once, tmp_path, ending):
    path = tmp_path / f"herd.{ending}"
    status, out, _ = once(b"".join(line(number) for number in range(0, 30, 3)), "-o", path)
    assert (status, out, len(positions(path))) == (0, "", 28)
    assert {other.name for other in tmp_path.iterdir()} == {path.name, "pasture.toml", "stdin"}


@pytest.mark.slow
@pytest.mark.parametrize("ending", ONE_QUICKLY)
def test_a_reader_finds_a_whole_file_while_it_grows(follow, tmp_path, ending):
    path = tmp_path / f"herd.{ending}"
    follower = follow("-o", path, stdin=subprocess.PIPE)
    feeding = threading.Thread(target=feed, args=(follower.process.stdin, map(line, range(400))), daemon=True)
    feeding.start()
    follower.wait_for(lambda: path.exists() and path.stat().st_size > 5000)
    found = []
    while not found or found[-1] < 300:
        with contextlib.suppress(Exception):  # the kernel takes one write over page by page: a reader may meet its middle
            found.append(len(positions(path)))
            continue
        time.sleep(0.01)
        found.append(len(positions(path)))
    assert found == sorted(found)
    feeding.join(PATIENCE)
    assert follower.ended() == 0  # by itself: its input has ended
    assert len(positions(path)) == 400


@pytest.mark.parametrize("ending", ENDINGS)
def test_lines_go_on_in_a_file_that_is_there_and_a_document_is_left_alone(once, tmp_path, ending):
    path = tmp_path / f"herd.{ending}"
    document = ending in {"gpx", "geojson"}
    assert once(line(0), "-o", path)[0] == 0
    status, _, err = once(line(1), "-o", path)
    assert status == (1 if document else 0)
    assert ("exists already and is left alone" in err) == document
    assert len(positions(path)) == (
        1 if document else 3
    )  # the second run knows nothing of the first: its trail is new to it


def test_a_line_that_broke_off_before_is_cut_away(once, tmp_path):
    path = tmp_path / "herd.jsonl"
    path.write_text('{"event": "report"}\n{"event": "posi', encoding="utf-8")
    status, _, err = once(line(0), "-o", path)
    assert (status, "15 bytes of a line that broke off are cut away" in err) == (0, True)
    first, second = path.read_text(encoding="utf-8").splitlines()
    assert (first, json.loads(second)["packet_counter"]) == ('{"event": "report"}', 0)


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_file_of_another_kind_is_left_alone(once, tmp_path, ending):
    path = tmp_path / f"herd.{ending}"
    path.write_text("a,b\n1,2\n", encoding="utf-8")
    status, _, err = once(line(0), "-o", path)
    said = "its first line names other columns or is of another kind; give another file"
    assert (status, err) == (1, f"packetcodec: {path}: {said}\n")
    assert path.read_text(encoding="utf-8") == "a,b\n1,2\n"


@pytest.mark.parametrize("option", ["-o", "--state"])
def test_a_link_that_someone_planted_is_not_followed(once, tmp_path, option):
    (tmp_path / "other").write_text("mine", encoding="utf-8")
    (tmp_path / "herd.jsonl").symlink_to(tmp_path / "other")
    status, _, err = once(line(0), option, tmp_path / "herd.jsonl")
    assert (status, err.count("\n")) == (2, 1)
    assert "herd.jsonl" in err
    assert (tmp_path / "other").read_text(encoding="utf-8") == "mine"


def test_points_of_several_trackers_are_brought_together_in_the_end(once, tmp_path):
    path = tmp_path / "herd.gpx"
    arrivals = [line(number, collar) for number in (0, 2, 1) for collar in (7, 8)]
    assert once(b"".join(arrivals), "-o", path)[0] == 0
    tracks = gpxpy.parse(path.read_text(encoding="utf-8")).tracks
    assert [(track.name, len(track.segments[0].points)) for track in tracks] == [("tracker 7", 3), ("tracker 8", 3)]
    assert [point.time for point in tracks[0].segments[0].points] == sorted(
        point.time for point in tracks[0].segments[0].points
    )


@pytest.mark.parametrize("number", [signal.SIGTERM, pytest.param(signal.SIGHUP, marks=pytest.mark.slow)])
def test_a_signal_to_end_ends_it_with_everything_written(follow, tmp_path, number):
    path = tmp_path / "herd.gpx"
    follower = follow("-o", path, stdin=subprocess.PIPE)
    follower.process.stdin.write(b"".join(map(line, range(5))))
    follower.process.stdin.flush()
    follower.wait_for(lambda: holds(path, 5))
    assert follower.end(number) == 0
    assert len(positions(path)) == 5
    assert "5 positions direct" in follower.text["err"]


@pytest.mark.slow
def test_a_named_pipe_is_waited_for_and_a_signal_ends_the_wait(follow, tmp_path):
    os.mkfifo(tmp_path / "pipe")
    waiting = follow("-i", tmp_path / "pipe", "-o", tmp_path / "herd.csv")
    waiting.wait_for((tmp_path / "herd.csv").exists)
    assert waiting.end(signal.SIGTERM) == 0
    follower = follow("-i", tmp_path / "pipe")
    with (tmp_path / "pipe").open("wb") as pipe:
        pipe.write(line(0) + line(1))
    assert follower.ended() == 0
    assert len(follower.rows()) == 2


@pytest.mark.slow
@pytest.mark.parametrize("ending", ONE_QUICKLY)
def test_a_disk_that_is_full_is_said_with_the_files_name_and_no_half_line_stays(follow, tmp_path, ending):
    path, limit = tmp_path / f"herd.{ending}", 4000
    follower = follow(
        "-o", path, stdin=subprocess.PIPE, preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    )
    feed(follower.process.stdin, map(line, range(100)))
    assert follower.ended() == 2
    assert f"packetcodec: {path}: File too large" in follower.text["err"]
    assert "Traceback" not in follower.text["err"]
    assert len(positions(path)) >= 10
    assert limit - 500 < path.stat().st_size <= limit


@pytest.mark.slow
def test_an_output_that_is_taken_away_is_said(follow, tmp_path):
    folder = tmp_path / "out"
    folder.mkdir()
    follower = follow("-o", folder / "herd.csv", "--sync", "0", stdin=subprocess.PIPE)
    follower.process.stdin.write(line(0))
    follower.process.stdin.flush()
    follower.wait_for(lambda: len(positions(folder / "herd.csv")) == 1)
    shutil.rmtree(folder)
    assert follower.ended() == 2
    assert f"packetcodec: {folder / 'herd.csv'}: No such file or directory" in follower.text["err"]


@pytest.mark.slow
def test_a_reader_of_stdout_who_goes_is_no_fault(tmp_path):
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")
    (tmp_path / "packets").write_bytes(b"".join(map(line, range(2000))))
    command = f"{sys.executable} -m packetcodec decode pasture.toml --follow < packets | head -1; echo ${{PIPESTATUS[0]}}"
    done = subprocess.run(
        ["/bin/bash", "-c", command], cwd=tmp_path, capture_output=True, text=True, check=True, env=ENVIRONMENT,
    )  # fmt: skip
    assert done.stdout.splitlines()[1:] == ["0"]
    assert "Traceback" not in done.stderr


def test_faulty_packets_do_not_flood_the_screen(once):
    forged = b"".join(b"%032x\n" % number for number in range(500))
    status, _, err = once(line(0) + forged)
    assert status == 0
    assert len(err.splitlines()) < 10
    assert "495 more remarks of this kind in 60.0 s: faulty packet" in err
    assert "500 faulty packets" in err


@pytest.mark.slow
def test_strange_senders_do_not_flood_the_screen_either(once):
    status, _, err = once(b"".join(line(5 * number, collar % 200) for number in range(3) for collar in range(300)))
    assert status == 0
    assert len(err.splitlines()) < 20


@pytest.mark.parametrize("baud", ["0", "11520011520011520011"])
def test_a_speed_that_no_port_has_is_one_line(once, baud):
    status, _, err = once(b"", "-i", "/dev/ttyS99", "--baud", baud)
    assert (status, err.count("\n")) == (2, 1)
    assert "--baud" in err
