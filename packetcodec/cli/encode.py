"""The command `encode`: JSON lines to hex lines, one packet a line.

Owns one rule: what may stand in a line. Lines that `decode` wrote are taken as they are.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime
from typing import Any

import click

from packetcodec.cli.files import load_schema
from packetcodec.cli.options.usage import known_layout
from packetcodec.cli.streams import Tally, lines
from packetcodec.codec import Codec
from packetcodec.errors import PacketcodecError
from packetcodec.schema import Form, Role
from packetcodec.spelling import counted
from packetcodec.wire import FieldPlan, clipped, clipping, to_base

_KEYS = ("layout", "values", "trail", "version", "raw", "status")


@click.command(short_help="JSON lines to hex lines, one packet a line.")
@click.argument("schema", type=click.Path(dir_okay=False))
@click.argument("file", type=click.Path(dir_okay=False, allow_dash=True), default="-")
@click.option("--layout", help="The layout of lines that name none.")
def encode(schema: str, file: str, layout: str | None) -> int:
    """Encode JSON lines from FILE (default: stdin) as hex lines, one packet a line.

    A line is {"layout": NAME, "values": {FIELD: VALUE, ...}}, or with --layout just {FIELD: VALUE, ...}. Beside "values"
    may stand "trail": [{"latitude": ..., "longitude": ...}, ...], newest first. A time is a number of seconds since 1970,
    or a date and time with offset such as "2026-07-14T06:30:00Z". A value beyond a range that clips is sent as the end of
    the range: the first one of each field is told, and all are counted.
    """
    codec = Codec(load_schema(schema))
    if layout is not None:
        known_layout(codec.plan, layout)
    tally = Tally()
    for number, text in lines(file, tally):
        try:
            name, values, trail = _row(text, layout, codec)
            data = codec.encode(name, values, trail)
            click.echo(data.hex())
            tally.good += 1
            for field, words in _clipped(codec, name, values):
                tally.clip(number, field, words)
            for what, words in _lost(codec, name, values, trail, data):
                tally.tell_once(number, what, words)
        except PacketcodecError as fault:
            tally.refuse(number, str(fault))
    return tally.close()


def _row(text: str, layout: str | None, codec: Codec) -> tuple[str, dict[str, Any], list[Any]]:
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
    for what, kind, value in (("values", dict, values), ("trail", list, trail)):
        if not isinstance(value, kind):
            raise PacketcodecError(f"{what}: not a JSON {'object' if kind is dict else 'list'}: {_short(value)}")
    return named, {name: _value(codec, named, name, value) for name, value in values.items()}, trail


def _json(text: str) -> Any:
    """The JSON of a line. Whatever stands in it, one line is at fault and not the stream."""
    try:
        return json.loads(text, object_pairs_hook=_once)
    except json.JSONDecodeError as fault:
        raise PacketcodecError(f"not JSON: {fault.msg} at column {fault.colno}") from None
    except RecursionError:
        raise PacketcodecError("JSON that cannot be read: brackets are nested too deeply") from None
    except PacketcodecError:
        raise
    except ValueError:  # more digits than Python reads
        raise PacketcodecError("JSON that cannot be read: a number has too many digits") from None


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
    if not isinstance(value, str) or field is None or field.kind.form is not Form.TIME:
        return value
    try:
        moment = datetime.fromisoformat(value)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        wanted = "neither a number of seconds nor a date and time with offset such as 2026-07-14T06:30:00Z"
        raise PacketcodecError(f"{name}: {_short(value)} is {wanted}")
    return moment.timestamp()


def _clipped(codec: Codec, layout: str, values: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """The fields whose values are beyond their range and were sent as its end, and what became of each."""
    fields = _fields(codec, layout)
    for name, value in values.items():
        field = fields[name]
        if value is not None and clipped(field, base := to_base(field, value)):
            yield name, clipping(field, base)


def _lost(codec: Codec, layout: str, values: dict[str, Any], trail: list[Any], data: bytes) -> Iterator[tuple[str, str]]:
    """What a packet does not carry of what was given, and how to say it."""
    north, east = (codec.plan.layout(layout).role(role) for role in (Role.NORTH, Role.EAST))
    if north is None or east is None:
        return
    there = [field.name for field in (north, east) if values.get(field.name) is not None]
    if len(there) == 1:
        absent = north.name if there == [east.name] else east.name
        yield "half", f"{there[0]} without {absent}: the packet holds half a position"
    if trail and len(there) < 2:
        yield "trail", f"a trail of {counted(len(trail), 'point')} without a position to count it from: it is not sent"
    elif trail and (sent := len(codec.decode(data, reference=values).trail)) < len(trail):
        why = "the next one is too far away, or finds no room"
        yield "points", f"a trail of {counted(len(trail), 'point')}: {sent} sent, {why}"
