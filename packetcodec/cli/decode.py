"""The command `decode`: what was heard to JSON lines, or with `--output` or `--follow` to tracks."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import click

from packetcodec.cli.archive import Archive, archive_options
from packetcodec.cli.convert import convert
from packetcodec.cli.files import load_schema
from packetcodec.cli.follow import follow as follow_source
from packetcodec.cli.options.hearing import Hearing, hearing_options
from packetcodec.cli.streams import DataFault, Tally, lines
from packetcodec.cli.tables.follow_report import place_hint, say_misplaced
from packetcodec.cli.tables.sheet import json_line
from packetcodec.codec import Codec, Packet
from packetcodec.errors import PacketcodecError, PacketFault
from packetcodec.logs.heard import LineReader, Reception
from packetcodec.receive.outputs.track_format import utc

#: The status of a line that is no packet at all.
NOT_HEX = "not_hex"
_NOT_HEX = re.compile(r"[^0-9a-fA-F:\s]")


@click.command(short_help="What was heard to JSON lines, or to tracks.")
@click.argument("schemas", type=click.Path(dir_okay=False), nargs=-1, required=True)
@click.option(
    "-i", "--input", "file", type=click.Path(dir_okay=False, allow_dash=True), default="-", help="Where packets come from."
)
@click.option("--faults", is_flag=True, help="Write a JSON line for a refused packet too.")
@hearing_options
@archive_options
def decode(
    schemas: tuple[str, ...], file: str, *, faults: bool, hearing: Hearing, archive: Archive | None, follow: bool,
    output: str | None, **live: Any,
) -> int:  # fmt: skip
    """Decode what a receiver heard, from stdin (or -i FILE), to JSON lines, one packet a line.

    A line holds a packet as hex or base64, with whatever a radio module or a logger prints around it: a time, RSSI and SNR
    are kept. It may be a JSON object. With several SCHEMAS, versions of one another, each packet is decoded by the version
    in its header.

    With -o FILE the packets are put together into tracks: each position once, also those that only a trail carries, in the
    order of time, by the times in the log. With --follow the input is a file as it grows, stdin or a serial port; what is
    printed then comes as it arrives, and the file is put in order at the end. What is followed gets the moment of reading
    as its time, where neither packets (kind = "time") nor lines carry one.

    With --from FILE a whole file of packets becomes a file of values, with a column of the status: millions at once. With
    --layout row by row, where a packet of another layout is a row of nulls; else a file for each layout, with the numbers
    of the rows, and one for packets of none.

    Anyone who receives a packet that is sent in clear can read it. Not for the safety of life.
    """
    codec = _codec(schemas)
    if archive:
        return archive.run(codec, None if follow else output, hearing)
    if follow:
        return follow_source(codec, file, hearing, output=output, **live)
    if output is not None:
        return convert(codec, file, output, hearing)
    reader, known, tally = hearing.reader(codec), hearing.references(codec), Tally()
    unfit = 0
    for number, text in lines(file, tally):
        row: dict[str, Any] = {"line": number}
        try:
            data, heard = _heard(text, reader, only=hearing.pattern is not None)
            packet, _ = known.decode(data, hearing.clock if heard.time is None else heard.time)
            known.learn(known.said(data), packet.values)
            click.echo(json_line(_row(packet) | _told(heard)))
            tally.good += 1
            continue
        except PacketFault as fault:
            unfit += fault.status == "bad_check"
            lacks = known.explains(data, fault)[0]
            tally.refuse(number, f"{fault}{place_hint(codec, hearing.places)}" if lacks else str(fault))
            row = {"status": fault.status, "field": fault.field, "offset": fault.offset, **row, "hex": text}
        except LookupError:
            tally.pass_over("--pattern finds no packet in it")
            row = {"status": NOT_HEX, "message": "the pattern finds no packet", **row}
        except PacketcodecError as fault:
            tally.refuse(number, str(fault))
            row = {"status": NOT_HEX, "message": str(fault), **row}
        if faults:
            click.echo(json_line(row))
    say_misplaced(codec, hearing.places, good=tally.good, unfit=unfit)
    return tally.close()


def _heard(text: str, reader: LineReader, *, only: bool) -> tuple[bytes, Reception]:
    """The packet of a line and how it was heard; `only` by the reader, else a line that is nothing but hex is that.

    Raises:
        LookupError: the reader alone was asked, and found none.
        PacketcodecError: why the line is not hex, where the reader finds nothing either.
    """
    fault: Exception = LookupError()
    if not only:
        try:
            return _bytes(text), Reception()
        except PacketcodecError as problem:
            fault = problem
    if (found := reader.read(text)) is None:
        raise fault
    return found


def _told(heard: Reception) -> dict[str, Any]:
    said = {"time": None if heard.time is None else utc(heard.time), "rssi": heard.rssi, "snr": heard.snr}
    return {name: value for name, value in said.items() if value is not None}


def _codec(paths: tuple[str, ...]) -> Codec:
    """A codec of several schema files; a version that two of them have is said with both names."""
    for path in paths[1:]:  # a likely slip is to name the packets there
        if Path(path).suffix != ".toml" and Path(path).is_file():
            raise click.UsageError(f"{path}: a schema's name ends in .toml; packets are read from stdin, or with -i {path}")
    schemas = [load_schema(path) for path in paths]
    seen: dict[int, str] = {}
    for path, schema in zip(paths, schemas, strict=True):
        first = seen.setdefault(schema.version, path)
        if first is not path:
            raise DataFault(f"{first} and {path}: both are version {schema.version}, which is what tells packets apart")
    return Codec(schemas)


def _bytes(text: str) -> bytes:
    """The bytes of a line of hex; colons, blanks and 0x before it are left out."""
    digits = text.removeprefix("0x")
    if wrong := _NOT_HEX.search(digits):
        raise PacketcodecError(f"not hex: {wrong[0]!a} at column {len(text) - len(digits) + wrong.start() + 1}")
    digits = "".join(digits.replace(":", " ").split())
    if len(digits) % 2:
        raise PacketcodecError(f"not whole bytes: {len(digits)} hex digits")
    return bytes.fromhex(digits)


def _row(packet: Packet) -> dict[str, Any]:
    row = {"status": "ok", "layout": packet.layout, "version": packet.version, "values": packet.values, "raw": packet.raw}
    return row | ({"trail": [point._asdict() for point in packet.trail]} if packet.trail else {})
