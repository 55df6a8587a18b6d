"""`decode --output` without `--follow`, and the files of a replay: what a receiver heard becomes a file of tracks, in the
order of time.

Owns one rule: the times are those of the log. Where a line has none, that of the line before it counts; where no line has
one, counters and trails say in which order positions were passed, and they are written without a time, which is said.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import click

from packetcodec.bench.passage import Passage
from packetcodec.cli.files import demand_different, write_file
from packetcodec.cli.options.hearing import Hearing
from packetcodec.cli.ordering import Sorter
from packetcodec.cli.streams import blocks, say
from packetcodec.cli.tables.follow_report import FollowReport
from packetcodec.codec import Codec
from packetcodec.logs.heard import Reception
from packetcodec.receive.events import Event, Position, Report
from packetcodec.receive.framing import Framing
from packetcodec.receive.outputs import OUTPUTS
from packetcodec.receive.outputs.track_format import Entry, TrackFormat, name_of
from packetcodec.spelling import counted
from packetcodec.wire import LayoutPlan

_NO_TIME = "no line has a time: positions are put in order by counters and trails, and written without a time"
_NO_DAY = "the times of the log have no day: they are counted from 1970-01-01"


def output_format(name: str, option: str = "--output") -> TrackFormat:
    """The format of an output that an option names, by the ending of its name."""
    found = OUTPUTS.get(Path(name).suffix.lower())
    if found is None:
        raise click.UsageError(f"{option}: {name} ends in none of {' '.join(OUTPUTS)}")
    return found


def field_names(codec: Codec) -> list[str]:
    """Names of the fields of all layouts and versions."""
    return [field.name for plan in codec.plans.values() for layout in plan.layouts for field in layout.fields]


def convert(codec: Codec, source: str, output: str, hearing: Hearing) -> int:
    """Read a log to its end and write what it tells; the exit status: 1 where it held not one good packet.

    Raises:
        click.UsageError: an option that cannot be.
        OSError: a log or an output that cannot be had.
    """
    entry = output_format(output)
    demand_different({"--input": source, "--output": output})
    frames, receiver, report = hearing.frames(codec), hearing.receiver(codec), FollowReport(codec, hearing.places)
    names = field_names(codec)
    latest: float | None = None
    with Sorter(tracks=entry.tracks) as sorter:
        try:
            for data, heard in _heard(frames, source):
                latest = latest if heard.time is None else heard.time
                for event in receiver.feed(data, latest, rssi=heard.rssi, snr=heard.snr):
                    report.take(event)
                    keep(event, sorter, entry, names)
        finally:
            report.close("frame" if hearing.cobs else "line", frames.noise, frames.dropped)
        if not report.good:
            return 1
        write_sorted(output, entry, sorter, names)
    if latest is None and report.undated:
        say(_NO_TIME)
    elif hearing.time_format and not hearing.time_format.dated:
        say(_NO_DAY)
    say(f"wrote {output}")
    return 0


def write_sorted(output: str, entry: TrackFormat, sorter: Sorter, fields: Sequence[str]) -> None:
    """Write what was taken in, in order, into a file."""
    sorter.finish()
    write_file(Path(output), entry.compose(entry.writer(fields).head, sorter))


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


def write_passage(
    passage: Passage, layout: LayoutPlan, packets: str | None, track: str | None, entry: TrackFormat | None
) -> None:
    """Write the packets of a replay, as the schema has them, and what the receiver made of those that arrived, in order.

    Raises:
        OSError: a file that cannot be written.
    """
    sent = counted(len(passage.packets), "packet")
    if packets is not None:
        write_file(Path(packets), "".join(f"{packet.hex()}\n" for packet in passage.packets))
        say(f"wrote {packets}: {sent}")
    if track is not None and entry is not None:
        fields = [field.name for field in layout.fields]
        told = [event for event in passage.events if isinstance(event, Position)]
        with Sorter(tracks=entry.tracks) as sorter:
            for event in passage.events:
                keep(event, sorter, entry, fields)
            write_sorted(track, entry, sorter, fields)
        by_trail = sum(not event.direct for event in told)
        said = (
            f"{counted(len(told), 'position')}, {by_trail:,} of them by trails; {sent} sent, {passage.received:,} received"
        )
        say(f"wrote {track}: {said}")
