"""`decode --follow`: packets as they arrive, put together into tracks and written down.

Owns two rules. Positions are data (stdout, or the file), all else is a remark on stderr. And an end is an end: Ctrl-C, the
signals of a supervisor and of a closed terminal, the end of a stream and a fault all leave whole files behind.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from math import inf
from pathlib import Path

from packetcodec.cli.convert import field_names, output_format
from packetcodec.cli.files import demand_different
from packetcodec.cli.options.hearing import Hearing
from packetcodec.cli.sources import Clock, Port, Source, open_source
from packetcodec.cli.state_file import Record, StateFile
from packetcodec.cli.streams import say
from packetcodec.cli.tables.figures import seconds
from packetcodec.cli.tables.follow_report import FollowReport
from packetcodec.cli.track_file import Printed, TrackFile
from packetcodec.codec import Codec
from packetcodec.receive import events
from packetcodec.receive.framing import Framing
from packetcodec.receive.outputs import OUTPUTS
from packetcodec.receive.receiver import Receiver

#: Seconds between looks at a source that is quiet, and between two marks in the state file.
_PATIENCE = 0.1
_REST = 1.0
#: Events of packets that change nothing in what a receiver remembers, or of none.
_NOT_TAKEN = (
    events.Fault, events.Failure, events.Unknown, events.Unexplained, events.Duplicate, events.Forgotten, events.Silent,
)  # fmt: skip


def follow(
    codec: Codec, source: str, hearing: Hearing, *, baud: int | None, output: str | None, state: str | None,
    sync: float | None,
) -> int:  # fmt: skip
    """Follow a source until it ends or a signal comes; the exit status: 1 where a stream held not one good packet.

    Args:
        codec: of the schemas.
        source: a name, as `open_source` takes it.
        hearing: how packets are found and put together.
        baud: speed of a serial port; None for 115200.
        output: file to write, or None for JSON lines on stdout.
        state: file that remembers where it stopped, or None.
        sync: seconds after which files are brought to the disk; None for 10.

    Raises:
        click.UsageError: an option that cannot be.
        DataFault, OSError: a source or an output that cannot be had.
    """
    frames, receiver = hearing.frames(codec), hearing.receiver(codec)
    demand_different({"--input": source, "--output": output, "--state": state})
    report = FollowReport(codec, hearing.places)
    with ExitStack() as stack:
        stop = stack.enter_context(_asked_to_stop())
        kept = StateFile(Path(state)) if state else None
        if kept:
            stack.callback(kept.close)
        stopped = (kept.source, kept.read) if kept else (None, 0)
        opened = open_source(source, baud or 115_200, frames.reset, stopped)
        stack.callback(opened.close)
        records = kept.take() if kept else []
        out = _output(codec, output, resumes=bool(records))
        stack.callback(out.close)
        clock = Clock(records[-1].steady or -inf) if records else Clock()
        if kept and records:
            resume(receiver, out, records, kept.swapping)
        run = _Run(receiver, frames, opened, out, kept, report, clock, 10.0 if sync is None else sync)
        try:
            ended = run.follow(stop)
            run.put_in_order()
        finally:
            report.close("frame" if hearing.cobs else "line", frames.noise, frames.dropped)
    return 0 if report.good or not ended else 1


def _output(codec: Codec, output: str | None, *, resumes: bool) -> TrackFile | Printed:
    if output is None:
        return Printed(OUTPUTS[".jsonl"].writer(()))
    return TrackFile(Path(output), output_format(output), field_names(codec), resumes=resumes)


def resume(
    receiver: Receiver, out: TrackFile | Printed, records: Sequence[Record], swapping: tuple[int, int] | None
) -> None:
    """Give the packets of a state file to a receiver again, and write what the output lacks of what they tell.

    No position stands in the output twice, and none is left out, wherever the program was stopped.
    """
    first = out.resume([record.body for record in records], swapping)
    for number, record in enumerate(records):
        if record.data is not None:
            if record.reference:
                receiver.learn(record.tracker, record.reference)
            for event in receiver.feed(record.data, record.now, steady=record.steady, rssi=record.rssi, snr=record.snr):
                if number >= first and isinstance(event, events.Position | events.Report):
                    out.put(event)


@dataclass
class _Run:
    """A source being followed."""

    _receiver: Receiver
    _frames: Framing
    _source: Source
    _out: TrackFile | Printed
    _state: StateFile | None
    _report: FollowReport
    _clock: Clock
    _every: float
    _next_mark = 0.0
    _ahead: float | None = None  # seconds by which the times of the lines are ahead of the clock; None for no times
    _marked: tuple[int | None, int] | None = None

    def __post_init__(self) -> None:
        self._next_sync = self._clock.steady() + self._every

    def follow(self, stop: threading.Event) -> bool:
        """Take in what comes until the source ends, or until asked to stop; whether it ended."""
        try:
            return self._follow(stop)
        finally:
            self._mark()
            self._sync()

    def _follow(self, stop: threading.Event) -> bool:
        self._mark()
        while not stop.is_set():
            data = self._source.read(_PATIENCE)
            if data:
                self._report.read()
            if step := self._clock.stepped():
                way = "forward" if step > 0 else "back"
                say(f"the clock was set {way} by {seconds(abs(step))}; times told from now on are by the new time")
            if self._state and self._source.identity not in (None, self._state.source):
                done = self._source.read_so_far - len(data or b"") - self._frames.unfinished
                self._state.set_source(self._source.identity, done)
            for packet in self._frames.close() if data is None else self._frames.packets(data):
                self._take(packet)
            self._rest()
            if data is None:
                return True
        return False

    def _take(self, packet: bytes) -> None:
        heard, steady = self._frames.reception, None
        now, clock = self._clock.read()
        if heard.time is not None:  # the log is dated by itself, however long ago that was
            self._ahead = heard.time - now
        elif self._ahead is None:
            steady = clock
        now += self._ahead or 0.0
        told = self._receiver.feed(packet, now, steady=steady, rssi=heard.rssi, snr=heard.snr)
        taken = next((event for event in told if not isinstance(event, _NOT_TAKEN)), None)
        if self._state and taken:
            reference = self._receiver.references(taken.tracker) or None
            how = heard.rssi, heard.snr, reference
            self._state.add(Record(now, steady, self._out.body, self._read, packet, taken.tracker, *how))
        if heard.time is None and not isinstance(self._source, Port):
            self._report.date(told, now)
        self._tell(told)

    def _tell(self, told: Sequence[events.Event]) -> None:
        for event in told:
            self._report.take(event)
            if isinstance(event, events.Position | events.Report):
                self._out.put(event)

    @property
    def _read(self) -> int | None:
        """Bytes of the input up to the end of the last line or frame."""
        return None if self._source.identity is None else self._source.read_so_far - self._frames.unfinished

    def _rest(self) -> None:
        """What is done now and then."""
        now, steady = self._clock.read()
        ahead = self._ahead
        self._tell(self._receiver.tick(now, steady=steady) if ahead is None else self._receiver.tick(now + ahead))
        self._report.tick(steady)
        if steady >= self._next_mark:
            self._next_mark = steady + _REST
            self._mark()
        if steady >= self._next_sync:
            self._next_sync = steady + self._every
            self._sync()

    def _mark(self) -> None:
        """Write down how far the input was read and the output written, if that is something new."""
        here = self._read, self._out.body
        if self._state and here != self._marked:
            self._state.add(Record(*self._clock.read(), self._out.body, self._read))
            self._marked = here

    def _sync(self) -> None:
        if self._state:
            self._state.sync()
        self._out.sync()

    def put_in_order(self) -> None:
        """Bring the points of each tracker together, where the output has such an order."""
        self._out.put_in_order(self._state.set_swap if self._state else lambda _size, _body: None)
        self._mark()
        self._sync()


@contextmanager
def _asked_to_stop() -> Iterator[threading.Event]:
    """Set by a signal to end, so that what was begun is finished first; a second one is not waited for."""
    stop = threading.Event()
    signals = [number for name in ("SIGINT", "SIGTERM", "SIGHUP") if (number := getattr(signal, name, None)) is not None]

    def ask(number: int, _frame: object) -> None:
        stop.set()
        signal.signal(number, before[number] or signal.SIG_DFL)

    before = {number: signal.signal(number, ask) for number in signals}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler or signal.SIG_DFL)
