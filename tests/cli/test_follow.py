"""`decode --follow` as a user runs it: a process of its own, a file that grows, a pipe, a pseudo-terminal, a sudden end."""

import contextlib
import csv
import io
import itertools
import json
import mmap
import os
import random
import signal
import subprocess
import sys
import threading
import time
import tty
from pathlib import Path

import gpxpy
import pytest
from cobs import cobs

from packetcodec import Codec, Schema
from packetcodec.cli import sources
from packetcodec.cli.app import run
from packetcodec.starter import schema_text

CODEC = Codec(Schema.parse(schema_text()))
PATIENCE = 20.0


def packet(number, collar=7):
    points = [(46.5 + n * 1e-4, 9.8 + n * 2e-4) for n in range(number, max(-1, number - 11), -1)]
    values = {"collar": collar, "counter": number, "altitude": 2104.0, "battery": 3.7, "fix_quality": 1}
    return CODEC.encode("track", {**values, "latitude": points[0][0], "longitude": points[0][1]}, points[1:])


def line(number, collar=7):
    return f"[rx] {packet(number, collar).hex()} rssi -101\r\n".encode()


#: The command, writing a document as often as it can.
HURRIED = "from packetcodec.cli import follow, main; follow._REST = 0.0; main()"


class Follower:
    """The command in a process of its own; what it prints is gathered as it comes."""

    def __init__(self, folder, *arguments, hurried=False, **options):
        (folder / "pasture.toml").write_text(schema_text(), encoding="utf-8")
        command = [sys.executable, "-c", HURRIED] if hurried else [sys.executable, "-m", "packetcodec"]
        command += ["decode", "pasture.toml", "--follow", *map(str, arguments)]
        environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
        self.process = subprocess.Popen(
            command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment, **options
        )
        self.text = {"out": "", "err": ""}
        self.threads = [
            threading.Thread(target=self._gather, args=(name, stream), daemon=True)
            for name, stream in (("out", self.process.stdout), ("err", self.process.stderr))
        ]
        for thread in self.threads:
            thread.start()

    def _gather(self, name, stream):
        for got in stream:
            self.text[name] += got.decode()

    def rows(self):
        return [json.loads(text) for text in self.text["out"].splitlines()]

    def wait_for(self, what):
        deadline = time.monotonic() + PATIENCE
        while not (found := what()):
            assert time.monotonic() < deadline, self.text
            time.sleep(0.01)
        return found

    def end(self, number=signal.SIGINT):
        self.process.send_signal(number)
        return self.ended()

    def close(self):
        self.process.kill()
        self.ended()
        for stream in (self.process.stdin, self.process.stdout, self.process.stderr):
            if stream:
                with contextlib.suppress(BrokenPipeError):
                    stream.close()

    def ended(self):
        status = self.process.wait(PATIENCE)
        for thread in self.threads:
            thread.join(PATIENCE)
        return status


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
    assert err == "packetcodec: 2 positions direct, 0 by trail\n"


def test_stdin_without_one_good_packet_is_the_datas_fault(once):
    status, out, err = once(b"hello\n" + line(0).replace(b"[rx] 1", b"[rx] f"))
    assert (status, out) == (1, "")
    assert "unknown_version" in err
    assert err.endswith("0 positions direct, 0 by trail, 1 faulty packet, 1 line without a packet\n")


@pytest.mark.parametrize(
    ("arguments", "status", "message"),
    [
        (["--pattern", "x"], 2, "--pattern 'x': 0 groups, not the one that holds the hex"),
        (["--pattern", "(x)", "--cobs"], 2, "--pattern is for lines of hex, not for --cobs"),
        (["--silent-after", "0"], 2, "--silent-after: 0.0 is not a finite number of seconds above 0"),
        (["--known", "7,cow"], 2, "--known: '7,cow' is not a list of whole numbers such as 7,8"),
        (["--tracker", "cow"], 2, "--tracker: no layout has a field 'cow'"),
        (["-o", "herd.txt"], 2, "--output: herd.txt ends in none of .jsonl .csv .gpx .geojson"),
        (["-i", "nowhere.log"], 2, "nowhere.log: No such file or directory"),
        (["-o", "nowhere/herd.csv"], 2, "nowhere/herd.csv: No such file or directory"),
        (["-o", "nowhere/herd.gpx"], 2, "No such file or directory"),
        (["--faults"], 2, "--faults goes without --follow, which says faults on stderr"),
    ],
)
def test_an_option_that_cannot_be_is_one_line(once, arguments, status, message):
    got, out, err = once(line(0), *arguments)
    assert (got, out, err.count("\n")) == (status, "", 1)
    assert message in err


def test_options_of_following_are_refused_without_it(once, capfd):
    once(line(0))
    assert run(["decode", "pasture.toml", "--known", "7"]) == 2
    assert "--known goes with --follow" in capfd.readouterr().err


def test_what_else_happens_is_said(once):
    numbers = [200, 201, 215, 202, 0]
    status, _, err = once(b"".join(map(line, numbers)))
    assert status == 0
    assert "tracker 7: 3 packets lost, a hole of 2 min 00 s" in err
    assert "tracker 7: started anew, its counter is at 0" in err


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
    assert status == 1
    assert err == (
        "packetcodec: /dev/no-such-port: a serial port needs the extra `serial`: pip install 'packetcodec[serial]'\n"
    )


def read_back(path, *, growing=False):
    """How many positions a file holds; it fails where the file is not whole.

    A reader of a `growing` file may find one write of the writer half done, but only where a page of the file ends: the
    kernel (ext4, seen) takes a write over page by page. Nowhere else may a line be cut.
    """
    if not path.exists():
        return 0
    text = path.read_bytes().decode()
    if growing and path.suffix in {".jsonl", ".csv"} and len(text.encode()) % mmap.PAGESIZE == 0:
        text = text[: text.rfind("\n") + 1]
    if path.suffix == ".jsonl":
        assert text == "" or text.endswith("\n")
        return len([json.loads(row) for row in text.splitlines()])
    if path.suffix == ".csv":
        assert text == "" or text.endswith("\n")
        rows = list(csv.reader(io.StringIO(text)))
        assert len({len(row) for row in rows}) <= 1
        return max(0, len(rows) - 1)
    if path.suffix == ".gpx":
        return sum(len(segment.points) for track in gpxpy.parse(text).tracks for segment in track.segments)
    return sum(feature["geometry"]["type"] == "Point" for feature in json.loads(text)["features"])


ENDINGS = ["jsonl", "csv", "gpx", "geojson"]


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_file_holds_every_position_at_the_end_and_nothing_lies_beside_it(once, tmp_path, ending):
    path = tmp_path / f"herd.{ending}"
    status, out, _ = once(b"".join(line(number) for number in range(0, 30, 3)), "-o", path)
    assert (status, out, read_back(path)) == (0, "", 28)
    assert {other.name for other in tmp_path.iterdir()} == {path.name, "pasture.toml", "stdin"}


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_sudden_end_at_any_moment_leaves_a_whole_file(follow, tmp_path, ending):
    chance = random.Random(ending)  # noqa: S311  # a moment, not a secret
    lines = [line(number) for number in range(200)]
    path = tmp_path / f"herd.{ending}"
    follower = follow("-o", path, hurried=True, stdin=subprocess.PIPE)
    feeding = threading.Thread(target=feed, args=(follower.process.stdin, itertools.cycle(lines)), daemon=True)
    feeding.start()
    follower.wait_for(lambda: path.exists() and path.stat().st_size > 5000)
    until = time.monotonic() + chance.uniform(0.5, 0.7)
    while time.monotonic() < until:
        read_back(path, growing=True)  # what a reader finds at a moment is what an end at that moment would leave
    assert follower.end(signal.SIGKILL) == -signal.SIGKILL
    feeding.join(PATIENCE)
    assert read_back(path) > 10


def feed(stream, lines):
    with contextlib.suppress(BrokenPipeError):
        for text in lines:
            stream.write(text)
            stream.flush()
            time.sleep(0.0005)
    with contextlib.suppress(BrokenPipeError):
        stream.close()


@pytest.mark.parametrize("ending", ENDINGS)
def test_lines_go_on_in_a_file_that_is_there_and_a_document_is_left_alone(once, tmp_path, ending):
    path = tmp_path / f"herd.{ending}"
    document = ending in {"gpx", "geojson"}
    assert once(line(0), "-o", path)[0] == 0
    status, _, err = once(line(1), "-o", path)
    assert status == (1 if document else 0)
    assert ("exists already and is left alone" in err) == document
    assert read_back(path) == (1 if document else 3)  # the second run knows nothing of the first: its trail is new to it


def test_a_line_that_broke_off_before_is_ended_first(once, tmp_path):
    path = tmp_path / "herd.jsonl"
    path.write_text('{"event": "posi', encoding="utf-8")
    assert once(line(0), "-o", path)[0] == 0
    first, second = path.read_text(encoding="utf-8").splitlines()
    assert (first, json.loads(second)["packet_counter"]) == ('{"event": "posi', 0)


def test_a_table_of_other_columns_is_left_alone(once, tmp_path):
    path = tmp_path / "herd.csv"
    path.write_text("a,b\n1,2\n", encoding="utf-8")
    status, _, err = once(line(0), "-o", path)
    assert (status, err) == (1, f"packetcodec: {path}: its first line names other columns; give another file\n")
    assert path.read_text(encoding="utf-8") == "a,b\n1,2\n"
