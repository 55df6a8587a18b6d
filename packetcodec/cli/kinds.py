"""The command `kinds`: what a field can measure, and the keys that each kind takes.

Owns no rule: every row is a row of `packetcodec.schema.KINDS`.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

import click

from packetcodec.cli.tables.sheet import console, put_json, table
from packetcodec.schema import KINDS, Form, Kind, Unit

if TYPE_CHECKING:
    from collections.abc import Iterator

#: Each key of a field in words, in the order of the list.
KEYS = {
    "name": "name of the field; default: its kind",
    "optional": "true: the value may be absent, for one code",
    "doc": "a remark for the specification",
    "bits": "width; a counting kind then counts from 0 to the last code, the others get a step",
    "resolution": "the step, in the unit; seconds for a time",
    "resolution_m": "the step in metres on the ground",
    "minimum": "lower end of the range, in the unit",
    "maximum": "upper end of the range, in the unit",
    "unit": 'one of the units listed; of a number: any text, such as "°C"',
    "policy": "what happens to a value beyond the range: clip, refuse, or wrap on a circle",
    "choices": "the names of a choice, in the order of their numbers: 2 to 256",
    "epoch": "a time counts seconds from here: a date and time with offset, 2026-01-01T00:00:00Z",
    "period": "or it counts modulo so many seconds since 1970: 3600 starts anew every hour",
}


@click.command(short_help="What a field can measure: units, ranges, keys.")
@click.option("--json", "as_json", is_flag=True, help="A report for programs.")
def kinds(*, as_json: bool) -> None:
    """List the kinds of field: units, the range and step of a field that gives none, policy, and keys."""
    if as_json:
        put_json([_json(kind) for kind in KINDS.values()])
        return
    out = console()
    rows = [row for kind in KINDS.values() for row in _rows(kind)]
    out.print(table("Kinds", ("kind", "unit", "default range", "default step", "policy"), rows, left=5, prose=True))
    keyed = [(kind.name, kind.doc, ", ".join(_keys(kind)) or "-") for kind in KINDS.values()]
    title = "Keys, beside kind, name, optional and doc"
    out.print(table(title, ("kind", "what it is", "keys"), keyed, left=3, prose=True))
    out.print(table("What a key says", ("key", "meaning"), KEYS.items(), left=2, prose=True))


def _keys(kind: Kind) -> list[str]:
    return [key for key in KEYS if key in kind.keys]


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


def _json(kind: Kind) -> dict[str, Any]:
    units = [
        {
            "unit": name,
            "symbol": unit.symbol,
            "minimum": unit.low / unit.scale,
            "maximum": unit.high / unit.scale,
            "step": unit.step / unit.scale,
        }
        for name, unit in kind.units.items()
    ]
    return {"kind": kind.name, "doc": kind.doc, "policy": kind.policy, "keys": _keys(kind), "units": units}
