"""Entries of a track file in the order of time, in little memory.

Owns one rule: what does not fit into memory is sorted in parts, which lie in a temporary file each and are merged. An outage
of a tracker is a step in time more than three times its usual one, the median. Kept of each position for that: eight bytes.
A document holds the points of one tracker at a time in memory.
"""

from __future__ import annotations

import heapq
import json
import tempfile
from array import array
from collections.abc import Iterator
from itertools import pairwise
from math import inf, isfinite
from statistics import median
from typing import IO, Any, Self

from packetcodec.receive.outputs.track_format import Entry

#: Entries sorted in memory at a time: some 30 MB.
_PART = 100_000
#: Usual steps above which there is an outage between two positions.
_OUTAGE = 3


class Sorter:
    """Entries put in order; used with `with`, so that its files go."""

    def __init__(self, *, tracks: bool, part: int = _PART) -> None:
        """Begin with none; `tracks` says whether the entries of a tracker stand together, the first one heard first."""
        self.outages: dict[str, float] = {}
        self._tracks = tracks
        self._size = part
        self._part: list[tuple[Any, ...]] = []
        self._files: list[IO[str]] = []
        self._times: dict[str, array[float]] = {}
        self._places: dict[str, int] = {}
        self._latest: dict[str, float] = {}
        self._count = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for file in self._files:
            file.close()

    def add(self, entry: Entry) -> None:
        """Take an entry in; one without a time stays behind the one before it of its tracker."""
        if entry.tracker not in self._times:
            self._times[entry.tracker] = array("d")
        time = entry.time if isfinite(entry.time) else self._latest.get(entry.tracker, -inf)
        if isfinite(entry.time):
            self._latest[entry.tracker] = time
            self._times[entry.tracker].append(time)
        place = self._places.setdefault(entry.tracker, len(self._places)) if self._tracks else 0
        self._part.append((place, time, self._count, entry.tracker, entry.text))
        self._count += 1
        if len(self._part) == self._size:
            self._spill()

    def _spill(self) -> None:
        file = tempfile.TemporaryFile("w+", encoding="utf-8")  # noqa: SIM115  # closed at the end
        self._files.append(file)
        for row in sorted(self._part):
            file.write(json.dumps(row) + "\n")
        self._part.clear()

    def finish(self) -> None:
        """All are taken in: find out what an outage is."""
        self._part.sort()
        for tracker, times in self._times.items():
            steps = [late - soon for soon, late in pairwise(sorted(times)) if late > soon]
            self.outages[tracker] = _OUTAGE * median(steps) if steps else inf
            del times[:]

    def __iter__(self) -> Iterator[Entry]:
        for _, time, _, tracker, text in heapq.merge(self._part, *(_rows(file) for file in self._files)):
            yield Entry(tracker, time, text)


def _rows(file: IO[str]) -> Iterator[tuple[Any, ...]]:
    file.seek(0)
    for line in file:
        yield tuple(json.loads(line))
