"""`decode --follow` in a process of its own, and what its outputs hold."""

import contextlib
import csv
import io
import json
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import gpxpy

from packetcodec import Codec, Schema
from packetcodec.starter import schema_text

CODEC = Codec(Schema.parse(schema_text()))
PATIENCE = 20.0
#: Of a process that runs the package from here.
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}


def packet(number, collar=7):
    points = [(46.5 + n * 1e-4, 9.8 + n * 2e-4) for n in range(number, max(-1, number - 11), -1)]
    values = {"collar": collar, "counter": number, "altitude": 2104.0, "battery": 3.7, "fix_quality": 1}
    return CODEC.encode("track", {**values, "latitude": points[0][0], "longitude": points[0][1]}, points[1:])


def line(number, collar=7):
    return f"[rx] {packet(number, collar).hex()} rssi -101\r\n".encode()


class Follower:
    """The command in a process of its own; what it prints is gathered as it comes."""

    def __init__(self, folder, *arguments, **options):
        (folder / "pasture.toml").write_text(schema_text(), encoding="utf-8")
        command = [sys.executable, "-m", "packetcodec", "decode", "pasture.toml", "--follow", *map(str, arguments)]
        self.process = subprocess.Popen(
            command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=ENVIRONMENT, **options
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


def holds(path, count):
    """Whether a file that grows holds so many positions. No, where a reader meets the middle of a write."""
    with contextlib.suppress(Exception):
        return len(positions(path)) == count
    return False


def positions(path):
    """What a file holds, in its order: (tracker, latitude, longitude, time); it fails where the file is not whole."""
    text = path.read_bytes().decode() if path.exists() else ""
    if not text:
        return []
    found = []
    if path.suffix == ".jsonl":
        assert text.endswith("\n")
        rows = map(json.loads, text.splitlines())
        found = [
            (row["tracker"], row["latitude"], row["longitude"], row["time"]) for row in rows if row["event"] == "position"
        ]
    elif path.suffix == ".csv":
        assert text.endswith("\n")
        rows = list(csv.reader(io.StringIO(text)))
        assert len({len(row) for row in rows}) == 1
        found = [(int(row[1]), float(row[2]), float(row[3]), row[0]) for row in rows[1:]]
    elif path.suffix == ".gpx":
        for track in gpxpy.parse(text).tracks:
            points = [point for segment in track.segments for point in segment.points]
            found += [(int(track.name.split()[1]), point.latitude, point.longitude, point.time) for point in points]
    else:
        features = [feature for feature in json.loads(text)["features"] if feature["geometry"]["type"] == "Point"]
        found = [
            (feature["properties"]["tracker"], *feature["geometry"]["coordinates"][1::-1], feature["properties"]["time"])
            for feature in features
        ]
    return found


def feed(stream, lines):
    """Write lines one by one, as a radio module does, and close."""
    with contextlib.suppress(BrokenPipeError):
        for text in lines:
            stream.write(text)
            stream.flush()
            time.sleep(0.0005)
    with contextlib.suppress(BrokenPipeError):
        stream.close()
