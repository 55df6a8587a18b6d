"""The command `compare`: which differences of two schemas change the wire, and whether the version says so."""

from __future__ import annotations

from typing import Any

import click

from packetcodec.cli.files import load_plan
from packetcodec.cli.options.modem import factors_option, lora_of
from packetcodec.cli.streams import verdict
from packetcodec.cli.tables.sheet import console, put_json, remark, table
from packetcodec.radio import LoRa
from packetcodec.wire import Plan
from packetcodec.wire.compare import Comparison
from packetcodec.wire.compare import compare as compare_plans


@click.command(short_help="Which differences of two schemas change the wire.")
@click.argument("old", type=click.Path(dir_okay=False))
@click.argument("new", type=click.Path(dir_okay=False))
@factors_option("7,10,12")
@click.option("--json", "as_json", is_flag=True, help="A report for programs.")
def compare(old: str, new: str, *, spreading_factor: list[int], as_json: bool) -> int:
    """Compare two versions of a schema: what changes the wire, what does not, what a receiver of both will do.

    OLD is the schema already in the field. Exit status 1 means that the wire changes, or that codes come to mean other
    names, and the version does not say so, so that a build can fail on it: raise the version. Layouts that are only added
    need no new version, unless the check is bound to the schema. 0: the wire is the same, or its change has a new version.
    """
    modems = lora_of(spreading_factor)
    from_plan, to_plan = load_plan(old), load_plan(new)
    outcome = compare_plans(from_plan, to_plan)
    sizes = _sizes(from_plan, to_plan, modems)
    status = verdict(1 if outcome.unversioned else 0)
    if as_json:
        differences = [{"place": item.place, "what": item.what, "wire": item.wire} for item in outcome.differences]
        put_json({
            "changes_wire": outcome.wire, "unversioned": outcome.unversioned, "differences": differences,
            "receivers": outcome.receivers, "warnings": outcome.warnings, "sizes": sizes,
        })  # fmt: skip
    else:
        _print(outcome, sizes, modems)
    return status


def _print(outcome: Comparison, sizes: list[dict[str, Any]], modems: tuple[LoRa, ...]) -> None:
    out = console()
    for wire, title in ((True, "Changes the wire"), (False, "Does not change the wire")):
        rows = [(item.place, item.what) for item in outcome.differences if item.wire is wire]
        out.print(table(title, ("where", "what"), rows, left=2, prose=True) if rows else f"{title}: nothing.")
    if sizes:
        columns = ("layout", "bytes", *(f"SF{modem.spreading_factor}" for modem in modems))
        rows = [(item["layout"], _change(item["bytes"]), *map(_change, item["airtime"].values())) for item in sizes]
        out.print(table("Longest packet, old -> new, airtime at 125 kHz", columns, rows))
    out.lines(*outcome.receivers)
    for words in outcome.warnings:
        remark(words)


def _sizes(old: Plan, new: Plan, modems: tuple[LoRa, ...]) -> list[dict[str, Any]]:
    """Layouts whose longest packet changes: bytes, and airtime in milliseconds per spreading factor, old and new."""
    before = {layout.id: layout for layout in old.layouts}
    found = []
    for layout in new.layouts:
        was = before.get(layout.id)
        if was is not None and was.longest != layout.longest:
            both = was.longest, layout.longest
            airtimes = {f"SF{modem.spreading_factor}": tuple(map(modem.airtime_ms, both)) for modem in modems}
            found.append({"layout": layout.name, "bytes": both, "airtime": airtimes})
    return found


def _change(pair: tuple[float, float]) -> str:
    """Old and new figure in a cell; airtimes grow in steps, so two may be the same."""
    old, new = (f"{value:,}" if isinstance(value, int) else f"{value:,.1f}" for value in pair)
    unit = "" if isinstance(pair[0], int) else " ms"
    return f"{old}{unit}, the same" if old == new else f"{old} -> {new}{unit}"
