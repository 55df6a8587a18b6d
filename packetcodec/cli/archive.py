"""`decode --from`: a file of packets to a file of values, millions at once, in memory that does not grow.

Owns one rule: a file of values stands in its place when it is whole, and not before.
"""

from __future__ import annotations

import importlib
import logging
import os
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from types import ModuleType
from typing import Any, Self

import click

from packetcodec.cli.files import named
from packetcodec.cli.options.hearing import Hearing
from packetcodec.cli.options.usage import added, known_layout, wrong_option
from packetcodec.cli.streams import DataFault, say
from packetcodec.cli.tables.sheet import progress
from packetcodec.codec import Codec
from packetcodec.errors import FAULTS, OK, PacketFault
from packetcodec.receive.references import References
from packetcodec.spelling import counted
from packetcodec.wire import LayoutPlan
from packetcodec.wire.packing import identified

#: What a packet can be before its tracker is known.
_NAMELESS = FAULTS[: FAULTS.index("bad_check")]
#: What helps where no packet was found.
_BARE = "; --from reads lines of bare hex, decode without it reads logs"


class _Remarks(logging.Handler):
    """Says on stderr what the arrays remark."""

    def emit(self, record: logging.LogRecord) -> None:
        """Say it."""
        say(record.getMessage())


@dataclass(frozen=True, slots=True)
class Archive:
    """What the options ask for: the file of packets, where they stand in it, and the layout that they have."""

    source: str
    column: str
    layout: str | None
    record: str | None

    def run(self, codec: Codec, output: str | None, hearing: Hearing) -> int:
        """Decode the file; the exit status: 1 where a packet was refused, or a line is no hex.

        Raises:
            click.UsageError: no output, no such layout, no place that is needed, or the libraries are not installed.
            OSError: a file that cannot be had.
        """
        if output is None:
            raise click.UsageError("--from needs -o FILE, ending in .parquet or .csv")
        if Path(output).suffix not in {".parquet", ".csv"}:
            raise click.UsageError(f"--output: {output} ends in neither .parquet nor .csv")
        layouts = [layout for plan in codec.plans.values() for layout in plan.layouts]
        if self.layout is not None:
            layouts = [known_layout(codec.plan, self.layout)]
        counts: Counter[str | None] = Counter()
        reference = self._references(codec, layouts, hearing)
        outputs = _Outputs(output, single=len(layouts) == 1)
        remarks = logging.getLogger("packetcodec.arrays")
        remarks.setLevel(logging.INFO)
        remarks.handlers = [_Remarks()]
        with outputs, Path(self.source).open("rb") as source, progress("Decoding", None) as tell:
            for name, status, batch in self._decoded(codec, layouts, reference, source, counts):
                outputs.write(name, batch)
                statuses = batch.column(status).value_counts().to_pylist()
                counts.update({item["values"]: item["counts"] for item in statuses})
                tell(counts.total())
        good, lines = counts.pop(OK, 0), counts.pop(_room(".files").NOT_HEX, 0)
        other = counts.pop(None, 0) - lines
        if not outputs.written:
            raise DataFault(f"{self.source}: no packet in it{_BARE}")
        rest = f", {counted(lines, 'line')} not hex{'' if good else _BARE}" if lines else ""
        rest += f", {other:,} null or of other layouts" if other else ""
        say(f"wrote {' '.join(outputs.written)}: {good:,} packets done, {counts.total():,} refused{rest}")
        return 1 if counts or lines or not good else 0

    def _decoded(
        self, codec: Codec, layouts: Sequence[LayoutPlan], reference: Any, source: Any, counts: Counter[str | None]
    ) -> Iterator[tuple[str, str, Any]]:
        """Batches of values, each with what its file's name says of it and its column of the status."""
        rooms = _room(""), _room(".files")
        decoder = rooms[0].ColumnDecoder(codec)
        with wrong_option() if self.record else nullcontext():
            reader = rooms[1].read_packets(source, self.source, record=self.record, counts=counts)
        if self.column not in reader.schema.names:
            raise click.UsageError(f"--column: {self.column!r} is none of {', '.join(reader.schema.names)}")
        if len(layouts) == 1:
            for batch in decoder.decode_batches(reader, self.column, layouts[0].name, reference=reference):
                yield "", decoder.schema(layouts[0].name).names[0], batch
            return
        for key, batch in rooms[1].split(decoder, reader, self.column, reference, counts):
            version, name = key or (0, "unknown")
            status = decoder.schema(name, version).names[0] if key else "status"
            yield f"v{version}.{name}" if key and len(codec.plans) > 1 else name, status, batch

    def _references(
        self, codec: Codec, layouts: Sequence[LayoutPlan], hearing: Hearing
    ) -> Callable[[Any], dict[str, list[Any]]] | None:
        """What gives the references of a batch, for fields that are sent by their low bits: learned as by `decode`.

        Packets pass one by one here: what one says is what the next one of its tracker is read by.
        """
        known = hearing.references(codec)
        names = dict.fromkeys(field.name for layout in layouts for _, field, _ in layout.low_fields)
        for layout in layouts:
            if layout.low_fields and not known.of_stranger(layout, hearing.clock):
                fields = ", ".join(field.name for _, field, _ in layout.low_fields)
                raise click.UsageError(f'--from needs --near: layout "{layout.name}" sends low bits of {fields}')

        def of_batch(batch: Any) -> dict[str, list[Any]]:
            rows = [_known_of(codec, known, data, hearing.clock) for data in batch.column(self.column).to_pylist()]
            return {name: [row.get(name) for row in rows] for name in names}

        return of_batch if names else None


class _Outputs:
    """The files of values, each of which stands in its place when all are whole.

    Attributes:
        written: their names.
    """

    def __init__(self, output: str, *, single: bool) -> None:
        self._path, self._single = Path(output), single
        self._open: dict[str, tuple[Path, Any, Any]] = {}
        self._files = _room(".files")
        self.written: list[str] = []

    def __enter__(self) -> Self:
        return self

    def write(self, name: str, batch: Any) -> None:
        """Write a batch to the file of that name."""
        if name not in self._open:
            path = self._path if self._single else self._path.with_suffix(f".{name}{self._path.suffix}")
            beside, descriptor = _beside(path)
            handle = open(descriptor, "wb")  # noqa: PTH123, SIM115  # a descriptor has no path; closed below
            self._open[name] = beside, handle, None
            self._open[name] = beside, handle, self._files.Writer(handle, str(path), batch.schema)
            self.written.append(str(path))
        self._open[name][2].write(batch)

    def __exit__(self, kind: type[BaseException] | None, *_rest: object) -> None:
        try:
            for _, handle, writer in self._open.values():
                if writer is not None:
                    writer.close()
                handle.close()
            if kind is None:
                for (beside, _, _), path in zip(self._open.values(), self.written, strict=True):
                    beside.replace(path)
        finally:
            for beside, _, _ in self._open.values():
                beside.unlink(missing_ok=True)


def _known_of(codec: Codec, known: References, data: bytes | None, now: float | None) -> Mapping[str, Any]:
    """The reference by which a packet is read: what it says itself, or else what is known of its tracker."""
    if data is None:
        return {}
    try:
        packet, _ = known.decode(data, now)
    except PacketFault as fault:
        if fault.status in _NAMELESS:
            return {}
        tracker, layout = known.said(data), identified(codec.plans, data)[1]
        return known.of_stranger(layout, now) | known.of(tracker)
    known.learn(known.said(data), packet.values)
    return packet.values


def _beside(path: Path) -> tuple[Path, int]:
    """A new file in the folder of an output, and its descriptor."""
    with named(path):
        descriptor, beside = tempfile.mkstemp(prefix=f".{path.name[:80]}.", dir=path.parent)
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
    click.option(
        "--layout", help="With --from: whose fields the columns are (default: a file for each, FILE.LAYOUT.csv)."
    ),
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
