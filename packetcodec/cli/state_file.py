"""The state file of `decode --follow --state`: what a restart needs to go on where it stopped.

Owns one rule: a packet is written down here before what it tells is. Each line is a JSON list: a packet as it came, with its
time, how long the output was before it, and how far the input was read with it; the input itself, where it is another one;
or a mark, how far both were at a moment without a packet. A restart gives the packets to a receiver again. Those whose
positions the output already holds tell nothing; the others are written now. So no position is told twice, and none is left
out, wherever the program was stopped.

The file is kept short: when it has grown fourfold, the last packets of each tracker are written beside it and swapped in.
They are twice as many as a receiver remembers of a tracker.
"""

from __future__ import annotations

import json
import os
from collections import Counter
from typing import Any, NamedTuple

from packetcodec.cli.files import named, write_file
from packetcodec.cli.streams import DataFault

try:
    import fcntl
except ImportError:  # a system without it: two programs with one state file are not noticed there
    fcntl = None  # type: ignore[assignment]
from collections.abc import Iterable
from pathlib import Path

_HEAD = ["packetcodec state", 1]
#: Packets of each tracker that are kept, and trackers.
_PACKETS = 128
_TRACKERS = 1024
#: Bytes below which the file is left as it is.
_SMALL = 1 << 18


class Record(NamedTuple):
    """A packet or a mark.

    Attributes:
        now, steady: Unix seconds, and seconds of the steady clock; None for that where the input says the time.
        body: bytes of the output before it.
        read: bytes of the input up to and with it; None where the input cannot be read again.
        data: the packet; None for a mark.
        tracker: whose packet it is.
        rssi, snr: how it was heard, as far as that is known.
        reference: what is known behind it of its tracker's fields that are sent by their low bits.
    """

    now: float
    steady: float | None
    body: int
    read: int | None
    data: bytes | None = None
    tracker: int | None = None
    rssi: float | None = None
    snr: float | None = None
    reference: dict[str, Any] | None = None


def _line(row: Record | list[Any]) -> str:
    if isinstance(row, Record):
        row = ["mark", *row[:4]] if row.data is None else ["packet", *row[:4], row.data.hex(), *row[5:]]
    return json.dumps(row, separators=(",", ":")) + "\n"


class StateFile:
    """A state file under way.

    Attributes:
        source: the input that was read last, as `Source.identity` says it, or None.
        read: bytes of it that are done with.
        records: what it held when it was opened; taken away by `take`.
        swapping: size of an output that may have been swapped in just before the end, and its body then; or None.
    """

    def __init__(self, path: Path) -> None:
        """Open it, or begin a new one.

        Raises:
            DataFault: it is no state file, is damaged, or is in use.
            OSError: it cannot be opened.
        """
        self._path = path
        self.source: Any = None
        self.read = 0
        self.records: list[Record] = []
        self.swapping: tuple[int, int] | None = None
        self._open()
        try:
            self._load()
        except BaseException:
            os.close(self._descriptor)
            raise

    def _open(self) -> None:
        flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
        self._descriptor = os.open(self._path, flags, 0o666)
        try:
            if fcntl is not None:
                fcntl.flock(self._descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            os.close(self._descriptor)
            raise DataFault(f"{self._path}: is in use by another program that follows") from None

    def _load(self) -> None:
        size = 0
        with open(self._descriptor, "rb", closefd=False) as handle:  # a descriptor has no path
            for number, line in enumerate(handle, 1):
                if not line.endswith(b"\n"):
                    break  # a sudden end cut it: what it was about has not happened
                size += len(line)
                try:
                    self._take_in(number, json.loads(line))
                except (ValueError, TypeError, IndexError):
                    raise DataFault(f"{self._path}: line {number} is none of a state file; give another file") from None
        os.ftruncate(self._descriptor, size)
        self._size = self._floor = size
        if not size:
            self._write(_line(_HEAD))

    def _take_in(self, number: int, row: list[Any]) -> None:
        kind, *fields = row
        if number == 1:
            if row != _HEAD:
                raise ValueError(row)
        elif kind == "source":
            self.source, self.read = fields[0], int(fields[1])
        elif kind == "swap":
            size, body = fields
            self.swapping = int(size), int(body)
        else:
            now, steady, body, read, *packet = fields
            data, tracker, *heard = packet or (None, None)
            steady = None if steady is None else float(steady)
            self.swapping = None
            self.read = self.read if read is None else int(read)
            self.records.append(
                Record(float(now), steady, int(body), read, None if data is None else bytes.fromhex(data), tracker, *heard)
            )

    def take(self) -> list[Record]:
        """The records, which are not kept any longer."""
        found, self.records = self.records, []
        return found

    def add(self, record: Record) -> None:
        """Write a packet or a mark down."""
        self._write(_line(record))
        if self._size > max(_SMALL, 4 * self._floor):
            self._shorten()

    def set_source(self, identity: Any, read: int) -> None:
        """Say that the input is another one from now on, and how much of that is done with."""
        self._write(_line(["source", identity, read]))
        self.source, self.read = identity, read

    def set_swap(self, size: int, body: int) -> None:
        """Say that an output of that size is being swapped in."""
        self._write(_line(["swap", size, body]))

    def _write(self, text: str) -> None:
        data = text.encode()
        with named(self._path):
            try:
                if os.write(self._descriptor, data) < len(data):
                    raise OSError(28, os.strerror(28))  # noqa: TRY301  # part of a line fitted: the disk is full
            except OSError:
                os.ftruncate(self._descriptor, self._size)
                raise
        self._size += len(data)

    def _shorten(self) -> None:
        """Swap in the same file without the packets that no receiver remembers."""
        self.records = []
        os.lseek(self._descriptor, 0, os.SEEK_SET)
        self._load()
        text = _line(_HEAD) + "".join(map(_line, _latest(self.take())))
        text += _line(["source", self.source, self.read])
        write_file(self._path, text)
        os.close(self._descriptor)
        self._open()
        self._size = self._floor = len(text.encode())

    def sync(self) -> None:
        """Bring it to the disk.

        Raises:
            OSError: it cannot be, or was removed.
        """
        with named(self._path):
            os.fsync(self._descriptor)
            self._path.lstat()

    def close(self) -> None:
        """Close it."""
        os.close(self._descriptor)


def _latest(records: Iterable[Record]) -> list[Record]:
    """The last packets of each tracker heard last, and the last record."""
    kept: list[Record] = []
    counts: Counter[int | None] = Counter()
    for record in reversed(list(records)):
        known = record.tracker in counts or len(counts) < _TRACKERS
        if record.data is None:
            if not kept:
                kept.append(record)
        elif known and counts[record.tracker] < _PACKETS:
            counts[record.tracker] += 1
            kept.append(record)
    return kept[::-1]
