"""`decode --from`: a file of packets to a file of values, millions at once, in memory that does not grow.

Owns one rule: a file of values stands in its place when it is whole, and not before.
"""

from __future__ import annotations

import importlib
import os
import tempfile
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from packetcodec.cli.convert import Converting
from packetcodec.cli.options.usage import added, known_layout
from packetcodec.cli.streams import say
from packetcodec.cli.tables.sheet import progress
from packetcodec.errors import OK

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import ModuleType

    from packetcodec.cli.follow import Following
    from packetcodec.codec import Codec


@dataclass(frozen=True, slots=True)
class Archive:
    """What the options ask for: the file of packets, where they stand in it, and the layout that they have."""

    source: str
    column: str
    layout: str | None
    record: str | None

    def run(self, codec: Codec, tracks: Following | Converting | None) -> int:
        """Decode the file; the exit status: 1 where a packet was refused.

        Raises:
            click.UsageError: no output, no layout, or the libraries for columns are not installed.
            OSError: a file that cannot be had.
        """
        if not isinstance(tracks, Converting):
            raise click.UsageError("--from needs -o FILE, ending in .parquet or .csv")
        output = tracks.output
        names = [layout.name for layout in codec.plan.layouts]
        if self.layout is None and len(names) > 1:
            raise click.UsageError(f"--from needs --layout, one of {', '.join(names)}: the columns are its fields")
        layout = names[0] if self.layout is None else known_layout(codec.plan, self.layout).name
        good = refused = other = 0
        beside, descriptor = _beside(output)
        try:
            with (
                Path(self.source).open("rb") as source,
                open(descriptor, "wb") as target,  # noqa: PTH123  # a descriptor has no path
                progress("Decoding", None) as tell,
            ):
                for statuses in self._statuses(codec, layout, source, target, output):
                    good += statuses.get(OK, 0)
                    other += statuses.get(None, 0)
                    refused += sum(count for status, count in statuses.items() if status not in {OK, None})
                    tell(good + refused + other)
            beside.replace(output)
        finally:
            beside.unlink(missing_ok=True)
        others = f", {other:,} null or of other layouts" if other else ""
        say(f"wrote {output}: {good:,} packets done, {refused:,} refused{others}")
        return 1 if refused else 0

    def _statuses(self, codec: Codec, layout: str, source: Any, target: Any, output: str) -> Any:
        """The counts of statuses of each batch, once it is written; None is that of no packet of the layout."""
        rooms = _room(""), _room(".files")
        decoder = rooms[0].ColumnDecoder(codec)
        status = decoder.schema(layout).names[0]
        reader = rooms[1].read_packets(source, self.source, record=self.record)
        decoded = decoder.decode_batches(reader, self.column, layout)
        for batch in rooms[1].write_batches(target, output, decoded):
            yield {item["values"]: item["counts"] for item in batch.column(status).value_counts().to_pylist()}


def _beside(output: str) -> tuple[Path, int]:
    """A new file in the folder of the output, and its descriptor."""
    path = Path(output)
    try:
        descriptor, beside = tempfile.mkstemp(prefix=f".{path.name[:80]}.", dir=path.parent)
    except OSError as fault:
        raise type(fault)(fault.errno, fault.strerror, output) from None
    os.chmod(beside, 0o644)  # noqa: PTH101  # as any file that is meant to be read
    return Path(beside), descriptor


def _room(name: str) -> ModuleType:
    """A module of the arrays, which not everybody has the libraries for."""
    try:
        return importlib.import_module(f"packetcodec.arrays{name}")
    except ImportError as missing:
        raise click.UsageError(f"--from: {missing}") from None


_OPTIONS = (
    click.option(
        "--from", "source", metavar="FILE", type=click.Path(dir_okay=False),
        help="Decode a whole file of packets to -o FILE (.parquet, .csv): of Parquet, of hex lines, or of records. "
        "Needs the extra `arrays`.",
    ),
    click.option(
        "--column", default="packet", show_default=True, help="With --from: the column of packets. Other columns are kept."
    ),
    click.option("--layout", help="With --from: whose fields the columns are."),
    click.option(
        "--record", metavar="N|u8|u16le|u16be", help="With --from: records of N bytes, or with their length before each."
    ),
)  # fmt: skip


def archive_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command these options; it gets them as `archive`, an `Archive` or None."""

    @wraps(command)
    def with_options(
        *args: Any, source: str | None, column: str, layout: str | None, record: str | None, **given: Any
    ) -> Any:
        if source is None and (layout is not None or record is not None):
            raise click.UsageError(f"--{'layout' if layout is not None else 'record'} goes with --from")
        archive = None if source is None else Archive(source, column, layout, record)
        return command(*args, archive=archive, **given)

    return added(with_options, *_OPTIONS)
