"""Commands on streams of packets: encode (JSON lines to hex lines) and decode (hex lines to JSON lines).

Owns one rule: a stream goes on past a bad line. The bad line is named on stderr with its number and its fault, it is
counted, and the exit status is 1 at the end.
"""

from __future__ import annotations

import json
import sys
from typing import Any

import click

from packetcodec.cli.files import DataFault, lines, load_schema
from packetcodec.codec import Codec
from packetcodec.errors import PacketcodecError, PacketFault

_HEX = "0123456789abcdefABCDEF"


@click.command()
@click.argument("schema", type=click.Path(dir_okay=False))
@click.argument("file", type=click.Path(dir_okay=False, allow_dash=True), default="-")
@click.option("--layout", help="The layout of lines that name none.")
def encode(schema: str, file: str, layout: str | None) -> int:
    """JSON lines from FILE (default: stdin) to hex lines, one packet a line.

    A line is {"layout": NAME, "values": {FIELD: VALUE, ...}}, or with --layout just {FIELD: VALUE, ...}. Beside "values"
    may stand "trail": [{"latitude": ..., "longitude": ...}, ...], newest first.
    """
    codec = Codec(load_schema(schema))
    tally = _Tally("packets")
    for number, text in lines(file):
        try:
            name, values, trail = _json_line(text, layout, codec)
            click.echo(codec.encode(name, values, trail).hex())
            tally.good += 1
        except PacketcodecError as fault:
            tally.refuse(number, str(fault))
    return tally.close()


def _json_line(text: str, layout: str | None, codec: Codec) -> tuple[str, dict[str, Any], list[Any]]:
    try:
        row = json.loads(text)
    except json.JSONDecodeError as fault:
        raise PacketcodecError(f"not JSON: {fault.msg} at column {fault.colno}") from None
    if not isinstance(row, dict):
        raise PacketcodecError(f"not a JSON object: {text[:40]}")
    if "values" in row:
        values, named, trail = row["values"], row.get("layout", layout), row.get("trail", [])
    else:
        values, named, trail = row, layout, []
    if not isinstance(named, str):
        known = ", ".join(item.name for item in codec.plan.layouts)
        raise PacketcodecError(f'no layout: {{"layout": NAME, "values": {{...}}}} or --layout NAME, one of {known}')
    if not isinstance(values, dict):
        raise PacketcodecError(f"values: not a JSON object: {json.dumps(values)[:40]}")
    if not isinstance(trail, list):
        raise PacketcodecError(f"trail: not a JSON list: {json.dumps(trail)[:40]}")
    return named, values, trail


@click.command()
@click.argument("schemas", type=click.Path(dir_okay=False), nargs=-1, required=True)
@click.option(
    "-i", "--input", "file", type=click.Path(dir_okay=False, allow_dash=True), default="-", help="File of hex lines."
)
@click.option("--faults", is_flag=True, help="Write a JSON line for a refused packet too.")
def decode(schemas: tuple[str, ...], file: str, *, faults: bool) -> int:
    """Hex lines from stdin (or -i FILE) to JSON lines, one packet a line.

    With several SCHEMAS, versions of one another, each packet is decoded by the version in its header.
    """
    codec = Codec([load_schema(path) for path in schemas])
    tally = _Tally("packets")
    for number, text in lines(file):
        try:
            packet = codec.decode(_bytes(text))
        except PacketFault as fault:
            tally.refuse(number, str(fault))
            if faults:
                row = {"status": fault.status, "field": fault.field, "bit": fault.offset, "line": number, "hex": text}
                click.echo(json.dumps(row))
        except PacketcodecError as fault:
            tally.refuse(number, str(fault))
            if faults:
                click.echo(json.dumps({"status": None, "message": str(fault), "line": number}))
        else:
            said = {"layout": packet.layout, "version": packet.version, "values": packet.values, "raw": packet.raw}
            if packet.trail:
                said["trail"] = [point._asdict() for point in packet.trail]
            click.echo(json.dumps({"status": "ok", **said}, ensure_ascii=False))
            tally.good += 1
    return tally.close()


def _bytes(text: str) -> bytes:
    digits = "".join(text.split()).removeprefix("0x")
    for column, letter in enumerate(text, 1):
        if letter not in _HEX and not letter.isspace() and text[:column].strip() != "0x":
            raise PacketcodecError(f"not hex: {letter!r} at column {column}")
    if len(digits) % 2:
        raise PacketcodecError(f"not whole bytes: {len(digits)} hex digits")
    return bytes.fromhex(digits)


class _Tally:
    """Counts good and refused lines, and says so at the end."""

    def __init__(self, what: str) -> None:
        self.what = what
        self.good = 0
        self.refused = 0

    def refuse(self, number: int, message: str) -> None:
        self.refused += 1
        sys.stdout.flush()  # keep the two streams in the order of the input
        click.echo(f"packetcodec: line {number}: {message}", err=True)

    def close(self) -> int:
        """The exit status."""
        if self.refused:
            click.echo(f"packetcodec: {self.good} {self.what} done, {self.refused} refused", err=True)
        elif not self.good:
            raise DataFault("no line of input")
        return 1 if self.refused else 0
