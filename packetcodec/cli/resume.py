"""A restart of `decode --follow`: the packets of the state file told again, and what the output lacks of them written.

Owns one rule: no position stands in the output twice, and none is left out, wherever the program was stopped.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.cli.streams import DataFault, say
from packetcodec.cli.track_file import Printed, TrackFile
from packetcodec.receive.events import Position, Report

if TYPE_CHECKING:
    from collections.abc import Sequence

    from packetcodec.cli.state_file import Record
    from packetcodec.receive.receiver import Receiver


def resume(
    receiver: Receiver, out: TrackFile | Printed, records: Sequence[Record], swapping: tuple[int, int] | None
) -> None:
    """Give the packets of a state file to a receiver again, and write what the output lacks of what they tell."""
    first = _first_to_tell(out, records, swapping) if isinstance(out, TrackFile) else len(records)
    for number, record in enumerate(records):
        if record.data is not None:
            if record.reference:
                receiver.learn(record.tracker, record.reference)
            for event in receiver.feed(record.data, record.now, steady=record.steady, rssi=record.rssi, snr=record.snr):
                if number >= first and isinstance(event, Position | Report):
                    out.put(event)


def _first_to_tell(out: TrackFile, records: Sequence[Record], swapping: tuple[int, int] | None) -> int:
    """The number of the first record that the output lacks, up to which it is cut."""
    bodies = [record.body for record in records]
    if swapping and swapping[0] == out.size:
        bodies[-1] = swapping[1]
    if out.is_empty and bodies[-1] > out.body:
        say(f"{out.path}: begins anew; what was told before is not told again")
        return len(records)
    # Behind a power failure it may be shorter than it was.
    first = max((number for number, body in enumerate(bodies) if body <= out.size), default=None)
    if first is None:
        raise DataFault(f"{out.path}: is shorter than the state file says; give another output, or another state file")
    out.cut(bodies[first])
    return first
