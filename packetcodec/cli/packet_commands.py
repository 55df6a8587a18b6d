"""Commands on streams of packets: encode (JSON lines to hex lines) and decode (hex lines to JSON lines).

Owns one rule: a stream goes on past a bad line. The bad line is named on stderr with its number and its fault, it is
counted, and the exit status is 1 at the end.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from datetime import datetime
from typing import Any

import click

from packetcodec.cli.files import DataFault, lines, load_schema
from packetcodec.cli.follow import Following, follow_options
from packetcodec.cli.tables.sheet import json_line, times
from packetcodec.codec import Codec
from packetcodec.errors import PacketcodecError, PacketFault, nearest
from packetcodec.wire import FieldPlan, clipped, to_base

_HEX = "0123456789abcdefABCDEF"
#: The status of a line that is no packet at all.
NOT_HEX = "not_hex"
#: What may stand in a line to encode. Lines that `decode` wrote are taken as they are.
_KEYS = ("layout", "values", "trail", "version", "raw", "status")


@click.command(short_help="JSON lines to hex lines, one packet a line.")
@click.argument("schema", type=click.Path(dir_okay=False))
@click.argument("file", type=click.Path(dir_okay=False, allow_dash=True), default="-")
@click.option("--layout", help="The layout of lines that name none.")
def encode(schema: str, file: str, layout: str | None) -> int:
    """JSON lines from FILE (default: stdin) to hex lines, one packet a line.

    A line is {"layout": NAME, "values": {FIELD: VALUE, ...}}, or with --layout just {FIELD: VALUE, ...}. Beside "values"
    may stand "trail": [{"latitude": ..., "longitude": ...}, ...], newest first. A time is a number of seconds since 1970
    or a text with offset like "2026-07-14T06:30:00Z". Values beyond a range that clips are sent as its end, and counted.
    """
    codec = Codec(load_schema(schema))
    known = [item.name for item in codec.plan.layouts]
    if layout is not None and layout not in known:
        near = nearest(layout, known)
        hint = f" (did you mean {near}?)" if near else ""
        raise click.UsageError(f"--layout: {layout!r} is none of {', '.join(known)}{hint}")
    tally = _Tally("packet")
    for number, text in lines(file):
        try:
            name, values, trail = _json_line(text, layout, codec)
            click.echo(codec.encode(name, values, trail).hex())
            tally.good += 1
            tally.clipped.update(_clipped(codec, name, values))
        except PacketcodecError as fault:
            tally.refuse(number, str(fault))
    return tally.close()


def _json_line(text: str, layout: str | None, codec: Codec) -> tuple[str, dict[str, Any], list[Any]]:
    row = _json(text)
    if not isinstance(row, dict):
        raise PacketcodecError(f"not a JSON object: {_short(row)}")
    if "values" in row:
        if unknown := [key for key in row if key not in _KEYS]:
            raise PacketcodecError(f'{_short(unknown[0])}: stands beside "values" and is none of {", ".join(_KEYS)}')
        values, named, trail = row["values"], row.get("layout", layout), row.get("trail", [])
    elif "layout" in row and "layout" not in _fields(codec, layout or ""):
        raise PacketcodecError(f'values: missing beside "layout"; the line has {_short(list(row))}')
    else:
        values, named, trail = row, layout, []
    if not isinstance(named, str):
        known = ", ".join(item.name for item in codec.plan.layouts)
        raise PacketcodecError(f'no layout: {{"layout": NAME, "values": {{...}}}} or --layout NAME, one of {known}')
    if not isinstance(values, dict):
        raise PacketcodecError(f"values: not a JSON object: {_short(values)}")
    if not isinstance(trail, list):
        raise PacketcodecError(f"trail: not a JSON list: {_short(trail)}")
    return named, {name: _value(codec, named, name, value) for name, value in values.items()}, trail


def _json(text: str) -> Any:
    """The JSON of a line. Whatever stands in it, one line is at fault and not the stream."""
    try:
        return json.loads(text, object_pairs_hook=_once)
    except json.JSONDecodeError as fault:
        raise PacketcodecError(f"not JSON: {fault.msg} at column {fault.colno}") from None
    except RecursionError:
        raise PacketcodecError("not JSON to be read: brackets are nested too deeply") from None
    except PacketcodecError:
        raise
    except ValueError:  # more digits than Python reads
        raise PacketcodecError("not JSON to be read: a number has too many digits") from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    row = dict(pairs)
    if len(row) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise PacketcodecError(f"{_short(twice)}: stands twice in one object")
    return row


def _short(value: Any) -> str:
    """A JSON value as a message shows it."""
    text = json.dumps(value)
    return text if len(text) <= 40 else f"{text[:37]}..."


def _fields(codec: Codec, layout: str) -> dict[str, FieldPlan]:
    """The fields of a layout by name; none for a layout that the codec does not know."""
    return {field.name: field for item in codec.plan.layouts if item.name == layout for field in item.fields}


def _value(codec: Codec, layout: str, name: str, value: Any) -> Any:
    """A value from JSON; a date and time with offset becomes seconds, as `kind = "time"` counts them."""
    field = _fields(codec, layout).get(name)
    if not isinstance(value, str) or field is None or field.kind != "time":
        return value
    try:
        moment = datetime.fromisoformat(value)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        wanted = "neither a number of seconds nor a date and time with offset like 2026-07-14T06:30:00Z"
        raise PacketcodecError(f"{name}: {_short(value)} is {wanted}")
    return moment.timestamp()


def _clipped(codec: Codec, layout: str, values: dict[str, Any]) -> list[str]:
    """The fields whose values are beyond their range and were sent as its end."""
    fields = _fields(codec, layout)
    given = ((fields[name], value) for name, value in values.items() if value is not None)
    return [field.name for field, value in given if clipped(field, to_base(field, value))]


@click.command(short_help="Hex lines to JSON lines, or to tracks.")
@click.argument("schemas", type=click.Path(dir_okay=False), nargs=-1, required=True)
@click.option(
    "-i", "--input", "file", type=click.Path(dir_okay=False, allow_dash=True), default="-", help="Where packets come from."
)
@click.option("--faults", is_flag=True, help="Write a JSON line for a refused packet too.")
@follow_options
def decode(schemas: tuple[str, ...], file: str, *, faults: bool, following: Following | None) -> int:
    """Hex lines from stdin (or -i FILE) to JSON lines, one packet a line.

    With several SCHEMAS, versions of one another, each packet is decoded by the version in its header.

    With --follow the input is a file as it grows, stdin or a serial port. What arrives is put together into tracks: each
    position once, those that a trail brings included. Whoever hears packets sent in clear can read them; not for the
    safety of life.
    """
    codec = _codec(schemas)
    if following:
        return following.run(codec, file)
    tally = _Tally("packet")
    for number, text in lines(file):
        try:
            packet = codec.decode(_bytes(text))
        except PacketFault as fault:
            tally.refuse(number, str(fault))
            if faults:
                row = {"status": fault.status, "field": fault.field, "offset": fault.offset, "line": number, "hex": text}
                click.echo(json.dumps(row))
        except PacketcodecError as fault:
            tally.refuse(number, str(fault))
            if faults:
                click.echo(json.dumps({"status": NOT_HEX, "message": str(fault), "line": number}))
        else:
            said = {"layout": packet.layout, "version": packet.version, "values": packet.values, "raw": packet.raw}
            if packet.trail:
                said["trail"] = [point._asdict() for point in packet.trail]
            click.echo(json_line({"status": "ok", **said}))
            tally.good += 1
    return tally.close()


def _codec(paths: tuple[str, ...]) -> Codec:
    """A codec of several schema files; a version that two of them have is said with both names."""
    schemas = [load_schema(path) for path in paths]
    seen: dict[int, str] = {}
    for path, schema in zip(paths, schemas, strict=True):
        first = seen.setdefault(schema.version, path)
        if first is not path:
            raise DataFault(f"{first} and {path}: both are version {schema.version}, which is what tells packets apart")
    return Codec(schemas)


def _bytes(text: str) -> bytes:
    digits = "".join(text.replace(":", " ").split()).removeprefix("0x")
    for column, letter in enumerate(text, 1):
        if letter not in _HEX and letter != ":" and not letter.isspace() and text[:column].strip() != "0x":
            raise PacketcodecError(f"not hex: {letter!a} at column {column}")
    if len(digits) % 2:
        raise PacketcodecError(f"not whole bytes: {len(digits)} hex digits")
    return bytes.fromhex(digits)


class _Tally:
    """Counts good and refused lines, and says so at the end."""

    def __init__(self, what: str) -> None:
        self.what = what
        self.good = 0
        self.refused = 0
        self.clipped: Counter[str] = Counter()

    def refuse(self, number: int, message: str) -> None:
        self.refused += 1
        sys.stdout.flush()  # keep the two streams in the order of the input
        click.echo(f"packetcodec: line {number}: {message}", err=True)

    def close(self) -> int:
        """The exit status."""
        if self.clipped:
            fields = ", ".join(f"{name} {count}" for name, count in self.clipped.items())
            total = times(self.clipped.total(), "value")
            click.echo(f"packetcodec: {total} clipped to the end of a range: {fields}", err=True)
        if self.refused:
            click.echo(f"packetcodec: {times(self.good, self.what)} done, {self.refused} refused", err=True)
        elif not self.good:
            raise DataFault("no line of input")
        return 1 if self.refused else 0
