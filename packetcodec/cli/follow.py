"""`decode --follow`: packets as they arrive, put together into tracks and written down.

Owns two rules. What is written is whole at every moment: JSON lines and CSV grow by one write for each line, GPX and GeoJSON
are written beside the file and swapped in. And positions are data (stdout, or the file), all else is a remark on stderr.
"""

from __future__ import annotations

import os
import signal
import threading
import time
from collections import Counter
from contextlib import contextmanager
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import click

from packetcodec.cli.sources import open_source
from packetcodec.cli.streams import DataFault
from packetcodec.cli.tables.figures import seconds
from packetcodec.errors import PacketcodecError
from packetcodec.receive.events import Event, Fault, Late, Lost, Position, Repaired, Report, Restarted, Silent, Unknown
from packetcodec.receive.framing import CobsFrames, Framing, HexLines
from packetcodec.receive.receiver import Receiver
from packetcodec.receive.writers import DOCUMENTS, LINES, CsvLines, GeoJson, Gpx, JsonLines

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from packetcodec.codec import Codec

#: Seconds between looks at a source that is quiet, and between two writings of a whole document.
_PATIENCE = 0.1
_REST = 1.0


class _Output(Protocol):
    def put(self, event: Position | Report) -> None: ...
    def settle(self, *, now: bool = False) -> None: ...


class _Stdout:
    """JSON lines on stdout."""

    def __init__(self) -> None:
        self._writer = JsonLines()

    def put(self, event: Position | Report) -> None:
        click.echo(self._writer.line(event), nl=False)

    def settle(self, *, now: bool = False) -> None:
        """Nothing is held back."""


class _LineFile:
    """A file that grows by a line with one write, so that it ends in a whole line whenever we are killed.

    Someone who reads along may find the last line cut where a page of the file ends: the kernel takes a write over page
    by page. The rest of it is there a moment later.
    """

    def __init__(self, path: Path, writer: JsonLines | CsvLines) -> None:
        self._writer = writer
        head = writer.head().encode()
        if head and path.exists() and path.stat().st_size:
            with path.open("rb") as handle:
                if handle.readline() != head:
                    raise DataFault(f"{path}: its first line names other columns; give another file")
            head = b""
        self._descriptor = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o666)
        size = os.fstat(self._descriptor).st_size
        if size and os.pread(self._descriptor, 1, size - 1) != b"\n":
            head = b"\n"  # whatever wrote it before broke off
        self._write(head)

    def _write(self, data: bytes) -> None:
        while data:
            data = data[os.write(self._descriptor, data) :]

    def put(self, event: Position | Report) -> None:
        self._write(self._writer.line(event).encode())

    def settle(self, *, now: bool = False) -> None:
        """Nothing is held back."""


class _Document:
    """A file that is swapped for a new one, at most once a second while positions pour in."""

    def __init__(self, path: Path, writer: Gpx | GeoJson) -> None:
        if path.exists():
            raise DataFault(f"{path}: exists already and is left alone")
        self._path = path
        self._writer = writer
        self._dirty = True
        self._next = 0.0
        self.settle()

    def put(self, event: Position | Report) -> None:
        if isinstance(event, Position):
            self._writer.add(event)
            self._dirty = True

    def settle(self, *, now: bool = False) -> None:
        """Write what is new, if it is time to."""
        if not self._dirty or (time.monotonic() < self._next and not now):
            return
        beside = self._path.with_name(f".{self._path.name}.new")
        with beside.open("w", encoding="utf-8", newline="\n") as handle:
            handle.write(self._writer.text())
            handle.flush()
            os.fsync(handle.fileno())
        beside.replace(self._path)
        self._dirty = False
        self._next = time.monotonic() + _REST


def _output(path: str | None, codec: Codec) -> _Output:
    if path is None:
        return _Stdout()
    ending = Path(path).suffix.lower()
    if ending in DOCUMENTS:
        return _Document(Path(path), DOCUMENTS[ending]())
    if ending not in LINES:
        raise click.UsageError(f"--output: {path} ends in none of {' '.join((*LINES, *DOCUMENTS))}")
    if ending == ".jsonl":
        return _LineFile(Path(path), JsonLines())
    names = [field.name for plan in codec.plans.values() for layout in plan.layouts for field in layout.fields]
    return _LineFile(Path(path), CsvLines(names))


@dataclass(frozen=True, slots=True, kw_only=True)
class Following:
    """What the options of `decode --follow` ask for.

    Attributes:
        baud: speed of a serial port.
        cobs, pattern: COBS frames, else lines of hex; how to find the hex in a line.
        output: file to write, or None for JSON lines on stdout.
        known, silent_after, interval, tracker: as `Receiver` takes them.
    """

    baud: int
    cobs: bool
    pattern: str | None
    output: str | None
    known: tuple[int, ...] | None
    silent_after: float | None
    interval: float | None
    tracker: str | None

    def run(self, codec: Codec, source: str) -> int:
        """Follow a source until it ends or Ctrl-C; the exit status: 1 where a stream ended without one good packet.

        Raises:
            click.UsageError: an option that cannot be.
            DataFault, OSError: a source or an output that cannot be had.
        """
        try:
            frames: Framing = CobsFrames() if self.cobs else HexLines(self.pattern)
            receiver = Receiver(
                codec,
                known=self.known,
                silent_after=self.silent_after,
                interval=self.interval,
                tracker=self.tracker,
            )
        except PacketcodecError as fault:
            raise click.UsageError(f"--{str(fault).replace('silent_after', 'silent-after')}") from None
        opened = open_source(source, self.baud, _say, frames.reset)
        tally = Tally()
        try:
            out = _output(self.output, codec)
            with _asked_to_stop() as stop:
                ended = False
                while not ended and not stop.is_set():
                    data = opened.read(_PATIENCE)
                    ended = data is None
                    now = time.time()
                    for packet in frames.close() if data is None else frames.feed(data):
                        tally.take(receiver.feed(packet, now), out)
                    tally.take(receiver.tick(now), out)
                    out.settle()
                out.settle(now=True)
        finally:
            opened.close()
        tally.close(frames)
        return 0 if tally.good or not ended else 1


_OPTIONS = (
    click.option("--follow", is_flag=True, help="Wait for more, and put the packets together into tracks."),
    click.option("--baud", type=click.IntRange(min=1), help="Bits a second of a serial port (default: 115200)."),
    click.option("--cobs", is_flag=True, help="The input is COBS frames between zero bytes, not lines of hex."),
    click.option("--pattern", help="Regular expression whose one group is the hex in a line."),
    click.option("-o", "--output", type=click.Path(dir_okay=False), help="File to write: .jsonl, .csv, .gpx or .geojson."),
    click.option("--known", help="Numbers of the trackers to listen to, such as 7,8."),
    click.option("--silent-after", type=float, metavar="SECONDS", help="Say so when a tracker is silent for so long."),
    click.option("--interval", type=float, metavar="SECONDS", help="From packet to packet (default: learned)."),
    click.option("--tracker", metavar="FIELD", help="What tells trackers apart (default: the identifier)."),
)


def follow_options(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the options of `--follow`; it gets them as `following`, a `Following`, or None without `--follow`."""

    @wraps(command)
    def with_options(*args: Any, follow: bool, known: str | None, baud: int | None, **given: Any) -> int:
        mine = {name: given.pop(name) for name in ("cobs", "pattern", "output", "silent_after", "interval", "tracker")}
        if not follow:
            for name, value in {**mine, "known": known, "baud": baud}.items():
                if value:
                    raise click.UsageError(f"--{name.replace('_', '-')} goes with --follow")
            return command(*args, following=None, **given)
        if given.get("faults"):
            raise click.UsageError("--faults goes without --follow, which says faults on stderr")
        if mine["cobs"] and mine["pattern"]:
            raise click.UsageError("--pattern is for lines of hex, not for --cobs")
        return command(*args, following=Following(known=_numbers(known), baud=baud or 115_200, **mine), **given)

    for option in reversed(_OPTIONS):
        with_options = option(with_options)
    return with_options


def _numbers(known: str | None) -> tuple[int, ...] | None:
    if known is None:
        return None
    try:
        return tuple(int(number) for number in known.split(","))
    except ValueError:
        raise click.UsageError(f"--known: {known!r} is not a list of whole numbers such as 7,8") from None


@contextmanager
def _asked_to_stop() -> Iterator[threading.Event]:
    """Set by Ctrl-C, so that what was begun is finished first; a second Ctrl-C is not waited for."""
    stop = threading.Event()

    def ask(_signal: int, _frame: object) -> None:
        stop.set()
        signal.signal(signal.SIGINT, signal.default_int_handler)

    before = signal.signal(signal.SIGINT, ask)
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)


def _say(remark: str) -> None:
    click.echo(f"packetcodec: {remark}", err=True)


class Tally:
    """Writes what is data, says what is not, and counts both."""

    def __init__(self) -> None:
        self._counts: Counter[str] = Counter()
        self._unknown: set[int | None] = set()
        self._faults = 0

    @property
    def good(self) -> int:
        """Packets that could be decoded, duplicates and those of unknown trackers included."""
        counted = ("direct", "report", "late", "duplicate", "unknown")
        return sum(self._counts[what] for what in counted)

    def take(self, events: Iterable[Event], out: _Output) -> None:
        """Events in their order."""
        for event in events:
            self._take(event, out)

    def _take(self, event: Event, out: _Output) -> None:
        match event:
            case Position():
                self._counts["direct" if event.direct else "trail"] += 1
                out.put(event)
            case Report():
                self._counts["report"] += 1
                out.put(event)
            case Late():
                # One whose place was not known comes again, as a position or a report.
                self._counts["late"] += event.known
            case _:
                self._counts[type(event).__name__.lower()] += 1
                if remark := self._remark(event):
                    _say(remark)

    def _remark(self, event: Event) -> str:
        match event:
            case Fault():
                return f"{event.message} (packet {event.data.hex()[:80]})"
            case Unknown():
                new = event.tracker not in self._unknown
                self._unknown.add(event.tracker)
                return f"{_who(event.tracker)}: not one of the known ones, left out" if new else ""
            case Repaired():
                lost = f", {_count(event.lost_packets, 'lost packet')} made good" if event.lost_packets else ""
                return f"{_who(event.tracker)}: gap repaired by {_count(event.points, 'trail point')}{lost}"
            case Lost():
                return f"{_who(event.tracker)}: {_count(event.packets, 'packet')} lost, a hole of {seconds(event.seconds)}"
            case Restarted():
                return f"{_who(event.tracker)}: started anew, its counter is at {event.packet_counter}"
            case Silent(tracker=None):
                return f"nothing heard since {_clock(event.since)}"
            case Silent():
                return f"{_who(event.tracker)}: silent since {_clock(event.since)}"
        return ""

    def close(self, frames: Framing) -> None:
        """The summary."""
        counts = self._counts
        parts = [f"{_count(counts['direct'], 'position')} direct, {counts['trail']} by trail"]
        words = {
            "report": "packet without a position", "late": "late packet", "duplicate": "duplicate", "fault": "faulty packet",
            "unknown": "packet of unknown trackers", "restarted": "restart",
        }  # fmt: skip
        parts += [_count(counts[what], word) for what, word in words.items() if counts[what]]
        what = "frame" if isinstance(frames, CobsFrames) else "line"
        parts += [_count(frames.noise, f"{what} without a packet")] if frames.noise else []
        parts += [f"{_count(frames.dropped, 'byte')} dropped"] if frames.dropped else []
        _say(", ".join(parts))


def _who(tracker: int | None) -> str:
    return "tracker" if tracker is None else f"tracker {tracker}"


def _count(number: int, what: str) -> str:
    noun, *rest = what.split(" ", 1)
    if rest and not rest[0].startswith(("without", "of")):
        noun, rest = what, []
    return " ".join([str(number), noun if number == 1 else f"{noun}s", *rest])


def _clock(moment: float) -> str:
    return time.strftime("%Y-%m-%d %H:%M:%S", time.localtime(moment))
