"""A follower that is stopped, killed or cut off at any moment and started again: every position once, in every format."""

from __future__ import annotations

import itertools
import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter

import pytest

from packetcodec.cli.sources import Clock
from packetcodec.cli.state_file import Record, StateFile, _latest
from packetcodec.cli.streams import DataFault
from packetcodec.receive import Position, Receiver
from packetcodec.starter import schema_text
from tests.cli.test_follow import ONE_QUICKLY, Port
from tests.support.follower import CODEC, ENVIRONMENT, Follower, holds, line, packet, positions


@pytest.fixture
def follow(tmp_path):
    started = []

    def start(*arguments, **options):
        # Packets come much faster here than the points of their trail lie apart: the interval has to be given.
        arguments += ("--state", tmp_path / "state", "--interval", 30)
        started.append(Follower(tmp_path, *arguments, **options))
        return started[-1]

    yield start
    for follower in started:
        follower.close()


def places(path):
    """How often each place of each tracker stands in a file."""
    return Counter((tracker, round((north - 46.5) / 1e-4)) for tracker, north, _, _ in positions(path))


def wanted(sent):
    """The places that packets (number, collar) tell: their own, and those of their trails."""
    return {(collar, n) for number, collar in sent for n in range(max(0, number - 10), number + 1)}


@pytest.mark.slow
@pytest.mark.parametrize("ending", ONE_QUICKLY)
def test_a_restart_goes_on_where_it_stopped(follow, tmp_path, ending):
    log, path = tmp_path / "radio.log", tmp_path / f"herd.{ending}"
    log.write_bytes(b"".join(line(n) for n in (0, 1, 4)))
    for more in ([5, 8], [9], [12, 12, 13]):
        follower = follow("-i", log, "-o", path)
        with log.open("ab") as handle:
            handle.write(b"".join(map(line, more)))
        follower.wait_for(lambda more=more: holds(path, more[-1] + 1))
        assert follower.end() == 0
    assert places(path) == Counter(wanted([(13, 7), (8, 7), (4, 7)]))
    assert {other.name for other in tmp_path.iterdir()} == {"radio.log", path.name, "state", "pasture.toml"}


@pytest.mark.slow
@pytest.mark.parametrize("ending", ONE_QUICKLY)
def test_a_restart_on_a_serial_port_tells_no_position_twice(follow, tmp_path, ending):
    port, path = Port(tmp_path / "port"), tmp_path / f"herd.{ending}"
    for numbers in ([0, 1, 2], [5, 6], [9]):
        follower = follow("-i", port.path, "-o", path)
        follower.wait_for(lambda follower=follower: "115200 baud" in follower.text["err"])
        port.write(b"".join(map(line, numbers)))
        follower.wait_for(lambda numbers=numbers: holds(path, numbers[-1] + 1))
        follower.process.kill()
        follower.ended()
    assert places(path) == Counter(wanted([(9, 7)]))
    port.unplug()


#: Starts the command again and again and ends it at a random moment, mostly by a kill: a fork, since to start Python anew
#: takes longer than what is looked at.
KILLER = """
import os, random, signal, sys, time
from packetcodec.cli.app import run
times, seed, *arguments = sys.argv[1:]
chance = random.Random(seed)
for _ in range(int(times)):
    child = os.fork()
    if not child:
        os._exit(run(arguments))
    time.sleep(chance.uniform(0.0, 0.2))
    if chance.random() < 0.3:
        os.kill(child, signal.SIGTERM)
        time.sleep(chance.uniform(0.0, 0.05))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
"""


def through_kills(tmp_path, ending, times):
    """Have a growing log followed through kills and restarts; what was sent, and the file."""
    chance = random.Random(ending)  # noqa: S311  # a moment, not a secret
    log, path = tmp_path / "radio.log", tmp_path / f"herd.{ending}"
    log.write_bytes(b"")
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")
    arguments = ["decode", "pasture.toml", "--follow", "-i", log, "-o", path, "--state", "state", "--interval", "30"]
    command = [sys.executable, "-c", KILLER, times, ending, *arguments]
    with (tmp_path / "said").open("wb") as said:
        killer = subprocess.Popen([*map(str, command)], cwd=tmp_path, env=ENVIRONMENT, stderr=said)
        sent = []
        with log.open("ab", buffering=0) as handle:
            for number in itertools.count():
                if killer.poll() is not None:
                    break
                for collar in (7, 8, 9):
                    if chance.random() < 0.7:
                        sent.append((number, collar))
                        text = line(number, collar) * chance.choice((1, 1, 1, 2))
                        cut = chance.randrange(len(text))
                        handle.write(text[:cut])
                        handle.write(text[cut:])
                time.sleep(0.01)
    assert killer.returncode == 0
    assert run_to_the_end(tmp_path, arguments) == 0
    return sent, path


def run_to_the_end(tmp_path, arguments):
    """Follow what is left, until nothing more is noted for a while; at its start it notes where it stands."""
    command = [sys.executable, "-m", "packetcodec", *map(str, arguments)]
    state = tmp_path / "state"
    before = state.stat().st_size if state.exists() else 0
    with subprocess.Popen(command, cwd=tmp_path, env=ENVIRONMENT) as process:
        size, still = before, 0
        while still < 20:
            time.sleep(0.1)
            now = state.stat().st_size if state.exists() else 0
            size, still = now, still + 1 if now == size != before else 0
        process.send_signal(signal.SIGTERM)
    return process.returncode


@pytest.mark.parametrize("ending", ONE_QUICKLY)
@pytest.mark.slow
@pytest.mark.parametrize("times", [8, 200])
def test_every_position_stands_once_in_the_file_after_kills(tmp_path, ending, times):
    sent, path = through_kills(tmp_path, ending, times)
    found = places(path)
    assert "Traceback" not in (tmp_path / "said").read_text(encoding="utf-8")
    assert [place for place, count in found.items() if count > 1] == []
    assert sorted(wanted(sent) - set(found)) == []
    assert set(found) == wanted(sent)


@pytest.mark.slow
def test_what_is_read_is_told_only_once_though_files_are_replaced_while_it_is_stopped(follow, tmp_path):
    log, path = tmp_path / "radio.log", tmp_path / "herd.jsonl"
    log.write_bytes(b"".join(map(line, range(4))))
    follower = follow("-i", log, "-o", path)
    follower.wait_for(lambda: holds(path, 4))
    assert follower.end() == 0
    log.rename(tmp_path / "radio.log.1")
    log.write_bytes(b"".join(map(line, range(3, 6))))
    follower = follow("-i", log, "-o", path)
    follower.wait_for(lambda: holds(path, 6))
    assert follower.end() == 0
    assert "another file than before, or cut shorter; read from its beginning" in follower.text["err"]
    assert places(path) == Counter(wanted([(5, 7)]))


@pytest.mark.slow
def test_an_output_that_was_taken_away_meanwhile_begins_anew_without_what_was_told(follow, tmp_path):
    log, path = tmp_path / "radio.log", tmp_path / "herd.gpx"
    log.write_bytes(b"".join(map(line, range(4))))
    follower = follow("-i", log, "-o", path)
    follower.wait_for(lambda: holds(path, 4))
    assert follower.end() == 0
    path.rename(tmp_path / "monday.gpx")
    with log.open("ab") as handle:
        handle.write(line(5))
    follower = follow("-i", log, "-o", path)
    follower.wait_for(lambda: holds(path, 2))
    assert follower.end() == 0
    assert places(path) + places(tmp_path / "monday.gpx") == Counter(wanted([(5, 7)]))
    assert "begins anew; what was told before is not told again" in follower.text["err"]


@pytest.mark.slow
def test_what_a_power_failure_took_from_the_output_is_told_again(follow, tmp_path):
    log, path = tmp_path / "radio.log", tmp_path / "herd.geojson"
    log.write_bytes(b"".join(map(line, range(8))))
    follower = follow("-i", log, "-o", path)
    follower.wait_for(lambda: holds(path, 8))
    follower.process.kill()
    follower.ended()
    size = path.stat().st_size
    os.truncate(path, size // 2)
    follower = follow("-i", log, "-o", path)
    follower.wait_for(lambda: path.stat().st_size == size)
    assert follower.end() == 0
    assert places(path) == Counter(wanted([(7, 7)]))


@pytest.mark.slow
def test_two_programs_do_not_share_a_state_file(follow, tmp_path):
    log = tmp_path / "radio.log"
    log.write_bytes(line(0))
    first = follow("-i", log)
    first.wait_for(lambda: len(first.rows()) == 1)
    second = follow("-i", log)
    assert second.ended() == 1
    assert "state: is in use by another program that follows" in second.text["err"]


@pytest.mark.parametrize(
    "text", ["cow\n", "[1,2]\n", '["packetcodec state",1]\n["mark",1]\n', "\n", '["packetcodec state",2]\n']
)
def test_a_file_that_is_no_state_file_is_one_line_and_left_alone(tmp_path, text):
    path = tmp_path / "state"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DataFault, match=r"state: line \d is none of a state file; give another file"):
        StateFile(path)
    assert path.read_text(encoding="utf-8") == text


@pytest.mark.slow
def test_a_state_file_stays_short_and_keeps_what_a_receiver_remembers(tmp_path):
    state = StateFile(tmp_path / "state")
    state.set_source([1, 2, "00"], 0)
    for number in range(20_000):
        state.add(Record(1e9 + number, 5.0 + number, 100 * number, 50 * number, bytes(30), number % 3))
    assert (tmp_path / "state").stat().st_size < 400_000
    state.close()
    again = StateFile(tmp_path / "state")
    records = again.take()
    assert (again.source, again.read) == ([1, 2, "00"], 50 * 19_999)
    assert records[-1] == Record(1e9 + 19_999, 5.0 + 19_999, 1_999_900, 999_950, bytes(30), 19_999 % 3)
    assert min(Counter(record.tracker for record in records).values()) >= 128


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(6))
def test_a_receiver_that_hears_the_last_packets_again_goes_on_as_one_that_never_stopped(seed):
    chance = random.Random(seed)  # noqa: S311
    steadfast, records, arrivals = Receiver(CODEC), [], []
    for number in range(600):
        for collar in (7, 8):
            if chance.random() < 0.6:
                arrivals += [(1e9 + 30 * number + chance.choice((0, 0, 1, 65)), packet(number, collar))]
    arrivals.sort()
    stop = len(arrivals) - 200
    for now, data in arrivals[:stop]:
        if events := steadfast.feed(data, now):
            records.append(Record(now, now, 0, None, data, events[0].tracker))
    restarted = Receiver(CODEC)
    kept = _latest(records)
    assert len(kept) == 256
    for record in kept:
        restarted.feed(record.data, record.now)
    for now, data in arrivals[stop:]:
        old, new = steadfast.feed(data, now), restarted.feed(data, now)
        assert [event for event in new if isinstance(event, Position)] == [
            event for event in old if isinstance(event, Position)
        ]


def test_the_clock_is_not_misled_when_the_time_of_the_day_is_set(monkeypatch):
    now = {"day": 1e9, "steady": 50.0}
    monkeypatch.setattr(time, "time", lambda: now["day"])
    monkeypatch.setattr(time, "clock_gettime", lambda _: now["steady"], raising=False)
    clock = Clock()
    assert clock.read() == (1e9, 1e9)
    assert clock.stepped() == 0.0
    now.update(day=1e9 - 3590, steady=60.0)
    assert clock.read() == (1e9 - 3590, 1e9 + 10)
    assert clock.stepped() == -3600.0
    assert clock.stepped() == 0.0
    now.update(day=1e9 - 3590 + 0.4, steady=60.0)
    assert clock.stepped() == 0.0
    assert Clock(after=2e9).steady() == 2e9
