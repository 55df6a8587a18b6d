"""The file that `decode --follow` writes tracks into.

Owns one rule: it is whole after each entry, and what could not be written whole is taken back. A file of ours goes on where
it ended; half a line that a sudden end left is cut away. Another one is left alone.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Sequence
from pathlib import Path

import click

from packetcodec.cli.files import named, write_file
from packetcodec.cli.ordering import Sorter
from packetcodec.cli.streams import DataFault, json_printable, say
from packetcodec.receive.events import Position, Report
from packetcodec.receive.outputs import TrackFormat, Writer


class TrackFile:
    """A file under way.

    Attributes:
        path: its name.
        body: bytes of it without its tail: the next entry begins there.
    """

    def __init__(self, path: Path, entry: TrackFormat, fields: Sequence[str], *, resumes: bool) -> None:
        """Open a file, or make it.

        Args:
            path: its name.
            entry: its format.
            fields: names of the fields of all layouts.
            resumes: whether a state file says how far it was written; then `cut` is called before anything is put in.

        Raises:
            DataFault: it is there and cannot be gone on with.
            OSError: it cannot be opened.
        """
        self.path = path
        self._format = entry
        self._writer = entry.writer(fields)
        self._head = self._writer.head.encode()
        # A link that someone planted under this name is not followed.
        flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
        self._descriptor = os.open(path, flags, 0o666)
        self._regular = stat.S_ISREG(os.fstat(self._descriptor).st_mode)
        try:
            self.body = self._begin(resumes=resumes)
        except BaseException:
            os.close(self._descriptor)
            raise

    @property
    def is_empty(self) -> bool:
        """Whether it holds no entry."""
        return self.size <= len(self._head) + len(self._writer.tail(empty=True))

    @property
    def size(self) -> int:
        """Bytes of the file as it lies there."""
        return os.fstat(self._descriptor).st_size

    def _begin(self, *, resumes: bool) -> int:
        empty = self._head + self._writer.tail(empty=True).encode()
        start = self._read(0, len(empty) + 1)
        if empty.startswith(start):
            # New, or stopped in its first moment.
            self._write(0, empty)
            return len(self._head)
        if not start.startswith(self._head or self._format.begins.encode()):
            raise DataFault(f"{self.path}: its first line names other columns or is of another kind; give another file")
        if resumes:
            return len(self._head)
        if self._format.tracks:
            raise DataFault(f"{self.path}: exists already and is left alone; a state file (--state) would go on with it")
        return self._whole_lines()

    def _whole_lines(self) -> int:
        """The end of the last whole line; what broke off behind it is cut away."""
        end = size = self.size
        while end and (block := self._read(max(0, end - 4096), min(4096, end))).rfind(b"\n") < 0:
            end -= len(block)
        if end:
            end = end - len(block) + block.rfind(b"\n") + 1
        if end < size:
            say(f"{self.path}: {size - end} bytes of a line that broke off are cut away")
            os.ftruncate(self._descriptor, end)
        return end

    def resume(self, bodies: list[int], swapping: tuple[int, int] | None) -> int:
        """Cut it to where a state file is sure of it: the number of the first record that it then lacks.

        Args:
            bodies: of each record, bytes of the body before it.
            swapping: its size and its body, if it may have been swapped in just before the end.

        Raises:
            DataFault: it is shorter than all of them.
        """
        if swapping and swapping[0] == self.size:
            bodies[-1] = swapping[1]
        if self.is_empty and bodies[-1] > self.body:
            say(f"{self.path}: begins anew; what was told before is not told again")
            return len(bodies)
        # Behind a power failure it may be shorter than it was.
        first = max((number for number, body in enumerate(bodies) if body <= self.size), default=None)
        if first is None:
            raise DataFault(f"{self.path}: is shorter than the state file says; give another output, or another state file")
        self.cut(bodies[first])
        return first

    def cut(self, body: int) -> None:
        """Take back what stands behind so many bytes of it."""
        self.body = max(body, len(self._head))
        self._write(self.body, self._tail())
        os.ftruncate(self._descriptor, self.body + len(self._tail()))

    def put(self, event: Position | Report) -> None:
        """Add an event.

        Raises:
            OSError: it could not be written; the file is as it was before.
        """
        text = self._writer.entry(event, first=self._empty).encode()
        if not text:
            return
        before = self.body
        try:
            self._write(before, text + self._writer.tail(empty=False).encode())
        except OSError:
            if self._regular:
                self.cut(before)
            raise
        self.body = before + len(text)

    @property
    def _empty(self) -> bool:
        return self.body == len(self._head)

    def _tail(self) -> bytes:
        return self._writer.tail(empty=self._empty).encode()

    def _write(self, place: int, data: bytes) -> None:
        with named(self.path):
            if self._regular:
                os.lseek(self._descriptor, place, os.SEEK_SET)
            while data:
                data = data[os.write(self._descriptor, data) :]

    def _read(self, place: int, length: int) -> bytes:
        os.lseek(self._descriptor, place, os.SEEK_SET)
        return os.read(self._descriptor, length)

    def sync(self) -> None:
        """Bring it to the disk, and see that it is still there.

        Raises:
            OSError: it cannot be, or was removed or replaced by another file.
        """
        with named(self.path):
            if self._regular:
                os.fsync(self._descriptor)
            mine, there = os.fstat(self._descriptor), self.path.lstat()
        if (mine.st_ino, mine.st_dev) != (there.st_ino, there.st_dev):
            raise OSError(0, "was replaced by another file while it was written", str(self.path))

    def put_in_order(self, written: Callable[[int, int], None]) -> None:
        """Bring its entries into the order of time; `written` is told its new size and body just before it is swapped in."""
        if self._empty or not self._regular:
            return
        tail = len(self._tail())
        with Sorter(tracks=self._format.tracks) as sorter:
            # What follows is read by its name: this descriptor is written with.
            with self.path.open(encoding="utf-8", newline="") as lines:
                for entry in self._format.parse(lines):
                    sorter.add(entry)
            sorter.finish()
            size = 0

            def told(found: int) -> None:
                nonlocal size
                size = found
                written(found, found - tail)

            write_file(self.path, self._format.compose(self._writer.head, sorter), written=told)
        os.close(self._descriptor)
        self._descriptor = os.open(self.path, os.O_RDWR | getattr(os, "O_NOFOLLOW", 0))
        self.body = size - tail

    def close(self) -> None:
        """Close it."""
        os.close(self._descriptor)


class Printed:
    """JSON lines on stdout: what was told there cannot be taken back."""

    body = 0

    def __init__(self, writer: Writer) -> None:
        self._writer = writer

    def put(self, event: Position | Report) -> None:
        """Print an event."""
        click.echo(json_printable(self._writer.entry(event, first=False)), nl=False)

    def resume(self, bodies: list[int], _swapping: object) -> int:
        """Nothing of what was told is told again."""
        return len(bodies)

    def put_in_order(self, _written: object) -> None:
        """Nothing."""

    def sync(self) -> None:
        """Nothing is held back."""

    def close(self) -> None:
        """Nothing."""
