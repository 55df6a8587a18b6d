"""`decode --output` without `--follow`: a log of what a receiver heard becomes a file of tracks, in the order of time.

Owns one rule: the times are those of the log. Where a line has none, that of the line before it counts; where no line has
one, counters and trails say in which order positions were passed, and they are written without a time, which is said.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from packetcodec.cli.files import write_file
from packetcodec.cli.ordering import Sorter
from packetcodec.cli.streams import blocks, say
from packetcodec.cli.tables.follow_report import FollowReport
from packetcodec.receive.events import Event, Position, Report
from packetcodec.receive.outputs import OUTPUTS
from packetcodec.receive.outputs.track_format import Entry, TrackFormat, name_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from packetcodec.cli.hearing import Hearing
    from packetcodec.codec import Codec
    from packetcodec.logs.heard import Reception
    from packetcodec.receive.framing import Framing

_NO_TIME = "no line has a time: positions are put in order by counters and trails, and written without a time"
_NO_DAY = "the times of the log have no day: they are counted from 1970-01-01"


def output_format(name: str, option: str = "--output") -> TrackFormat:
    """The format of an output that an option names, by the ending of its name.

    Raises:
        click.UsageError: it has none of the endings.
    """
    found = OUTPUTS.get(Path(name).suffix.lower())
    if found is None:
        raise click.UsageError(f"{option}: {name} ends in none of {' '.join(OUTPUTS)}")
    return found


@dataclass(frozen=True, slots=True)
class Converting:
    """What the options ask for: the file to write, and how packets are found and put together."""

    output: str
    hearing: Hearing

    def run(self, codec: Codec, source: str) -> int:
        """Read a log to its end; the exit status: 1 where it held not one good packet.

        Raises:
            click.UsageError: an option that cannot be.
            OSError: a log or an output that cannot be had.
        """
        entry = output_format(self.output)
        if source != "-" and Path(source).absolute() == Path(self.output).absolute():
            raise click.UsageError(f"--output: {self.output} is what --input names too")
        frames, receiver, report = self.hearing.frames(codec), self.hearing.receiver(codec), FollowReport()
        fields = [field.name for plan in codec.plans.values() for layout in plan.layouts for field in layout.fields]
        latest: float | None = None
        with Sorter(tracks=entry.tracks) as sorter:
            try:
                for data, heard in _heard(frames, source):
                    latest = latest if heard.time is None else heard.time
                    for event in receiver.feed(data, latest, rssi=heard.rssi, snr=heard.snr):
                        report.take(event)
                        keep(event, sorter, entry, fields)
            finally:
                report.close("frame" if self.hearing.cobs else "line", frames.noise, frames.dropped)
            if not report.good:
                return 1
            sorter.finish()
            write_file(Path(self.output), entry.compose(entry.writer(fields).head, sorter))
        if latest is None and report.undated:
            say(_NO_TIME)
        elif self.hearing.time_format and not self.hearing.time_format.dated:
            say(_NO_DAY)
        say(f"wrote {self.output}")
        return 0


def _heard(frames: Framing, source: str) -> Iterator[tuple[bytes, Reception]]:
    for block in blocks(source):
        for data in frames.packets(block):
            yield data, frames.reception
    for data in frames.close():
        yield data, frames.reception


def keep(event: Event, sorter: Sorter, entry: TrackFormat, fields: Sequence[str]) -> None:
    """Take a position or a report into what is to be put in order."""
    if isinstance(event, Position | Report) and (text := entry.line(event, fields)):
        # A time that is not known still tells the order.
        sorter.add(Entry(name_of(event.tracker), event.time, text))
