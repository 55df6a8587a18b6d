"""The command `kinds`: what a field can measure, and all keys of a schema.

Owns no rule: every row is a row of `packetcodec.schema.KINDS` or of `packetcodec.schema.keys.TABLES`.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import click

from packetcodec.cli.tables.sheet import console, put_json, table
from packetcodec.schema import KINDS, Form, Kind, Unit
from packetcodec.schema.json_schema import json_schema
from packetcodec.schema.keys import COMMON, TABLES, Key, field_keys


@click.command(short_help="What a field can measure, and all keys of a schema.")
@click.option("--json", "as_json", is_flag=True, help="A report for programs.")
@click.option("--json-schema", "as_schema", is_flag=True, help="The keys as a JSON Schema, for editors.")
def kinds(*, as_json: bool, as_schema: bool) -> None:
    """List the kinds of field and all keys of a schema.

    Of a kind: its units, the range and the step of a field that gives none, its policy, and its keys. Of a key:
    its type, unit, bounds, default and meaning.
    """
    if as_schema:
        put_json(json_schema())
        return
    if as_json:
        put_json({"kinds": [_kind_json(kind) for kind in KINDS.values()], "keys": _keys_json()})
        return
    out = console()
    rows = [row for kind in KINDS.values() for row in _rows(kind)]
    out.print(table("Kinds", ("kind", "unit", "default range", "default step", "policy"), rows, left=5, prose=True))
    keyed = [(kind.name, kind.doc, ", ".join(_own(kind)) or "-") for kind in KINDS.values()]
    title = f"Keys of a field, beside {', '.join(COMMON[:-1])} and {COMMON[-1]}"
    out.print(table(title, ("kind", "what it is", "keys"), keyed, left=3, prose=True))
    columns = ("key", "type", "bounds", "default", "meaning")
    for keys in TABLES.values():
        cells = [_cells(key) for key in keys.keys.values()]
        out.print(table(f"Keys of {keys.what}: {keys.written}", columns, cells, left=5, prose=True))


def _own(kind: Kind) -> list[str]:
    return [key for key in field_keys(kind) if key not in COMMON]


def _cells(key: Key) -> tuple[str, ...]:
    unit = f" [{key.unit}]" if key.unit else ""
    default = "required" if key.required else "" if key.default is None else str(key.default).lower()
    return key.name, key.type + unit, key.bounds, default, key.meaning


def _keys_json() -> list[dict[str, Any]]:
    names = ("type", "unit", "default", "required", "minimum", "maximum", "choices", "meaning")
    return [
        {"table": keys.written, "key": key.name} | {name: getattr(key, name) for name in names}
        for keys in TABLES.values()
        for key in keys.keys.values()
    ]


def _rows(kind: Kind) -> Iterator[tuple[str, ...]]:
    if kind.own_unit:
        yield kind.name, "its own", "none: give one", "none: give one", kind.policy
    for number, (name, unit) in enumerate(kind.units.items()):
        yield "" if number else kind.name, name, _range(kind, unit), _step(kind, unit), kind.policy


def _range(kind: Kind, unit: Unit) -> str:
    if kind.form is Form.CHOICE:
        return "its names"
    if kind.form is Form.TIME:
        return "32 bits from its epoch"
    return f"{_decimal(unit.low, unit)}..{_decimal(unit.high, unit)}"


def _step(kind: Kind, unit: Unit) -> str:
    return "1" if kind.counting else _decimal(unit.step, unit)


def _decimal(base: int, unit: Unit) -> str:
    return f"{(Decimal(base) / unit.scale).normalize():f}"


def _kind_json(kind: Kind) -> dict[str, Any]:
    units = [
        {"unit": name, "symbol": unit.symbol}
        | {
            key: getattr(unit, found) / unit.scale
            for key, found in (("minimum", "low"), ("maximum", "high"), ("step", "step"))
        }
        for name, unit in kind.units.items()
    ]
    return {"kind": kind.name, "doc": kind.doc, "policy": kind.policy, "keys": _own(kind), "units": units}
