"""The packets and the track of a replay as files.

Owns one rule: what is written. The packets are those of the schema as it is; the track is what the receiver made of those
that arrived, in the order of time.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from packetcodec.bench.lossy_link import LinkConditions
from packetcodec.bench.passage import Passage, send
from packetcodec.bench.sender import Sender
from packetcodec.cli.convert import keep, output_format, write_sorted
from packetcodec.cli.files import demand_different, write_file
from packetcodec.cli.options.link import LinkTest
from packetcodec.cli.options.usage import added
from packetcodec.cli.ordering import Sorter
from packetcodec.cli.streams import say
from packetcodec.logs import Fix
from packetcodec.receive.events import Position
from packetcodec.receive.outputs import OUTPUTS
from packetcodec.spelling import counted


def passage_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options; the command takes them as keyword arguments for `passage_of`."""
    return added(
        command,
        click.option(
            "--packets", type=click.Path(dir_okay=False), help="Write each packet sent, lost ones too, as a line of hex."
        ),
        click.option(
            "--track", type=click.Path(dir_okay=False),
            help=f"Write the positions that arrive, over the lossy link if one is tested: {' '.join(OUTPUTS)}.",
        ),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class PassageFiles:
    """The files that the options ask for."""

    packets: str | None
    track: str | None

    def write(self, sender: Sender, fixes: Sequence[Fix], interval: float, link: LinkTest | None) -> None:
        """Send the fixes, over the link if there is one, and write the files.

        Raises:
            OSError: a file that cannot be written.
        """
        if self.packets is None and self.track is None:
            return
        passage = send(sender, fixes, interval=interval, conditions=link.conditions if link else LinkConditions())
        if self.packets is not None:
            write_file(Path(self.packets), "".join(f"{packet.hex()}\n" for packet in passage.packets))
            say(f"wrote {self.packets}: {counted(len(passage.packets), 'packet')}")
        if self.track is not None:
            _write_track(self.track, passage, [field.name for field in sender.layout.fields])


def _write_track(name: str, passage: Passage, fields: Sequence[str]) -> None:
    entry = output_format(name, "--track")
    told = [event for event in passage.events if isinstance(event, Position)]
    with Sorter(tracks=entry.tracks) as sorter:
        for event in passage.events:
            keep(event, sorter, entry, fields)
        write_sorted(name, entry, sorter, fields)
    by_trail = sum(not event.direct for event in told)
    packets = f"{counted(len(passage.packets), 'packet')} sent, {passage.received:,} received"
    say(f"wrote {name}: {counted(len(told), 'position')}, {by_trail:,} of them by trails; {packets}")


def passage_of(
    log: str | None, *, packets: str | None, track: str | None, **others: Any
) -> tuple[PassageFiles, dict[str, Any]]:
    """The files that the options ask for, and the options that are not theirs."""
    if track is not None:
        output_format(track, "--track")
    demand_different({"LOG": log, "--packets": packets, "--track": track})
    return PassageFiles(packets, track), others
