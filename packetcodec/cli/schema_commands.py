"""Commands about a schema: new, check, compare, spec."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from packetcodec.cli.files import DataFault, load_schema
from packetcodec.cli.tables.check_choices import FACTORS, WORDS, choices_table
from packetcodec.cli.tables.sheet import console, metres, put_json, remark, size_words, table
from packetcodec.crc import MODEM_NOTE, MODEM_POLYNOMIAL
from packetcodec.crc.distance import distance_at
from packetcodec.emit.spec import write_spec
from packetcodec.radio import LoRa
from packetcodec.schema import KINDS, METRES_PER_DEGREE, Trail
from packetcodec.starter import schema_text
from packetcodec.vectors import write_vectors
from packetcodec.wire import (
    FieldPlan,
    LayoutPlan,
    Plan,
    bounds,
    compile_plan,
    decimal,
    metres_bound,
    position_bound,
    trail_bound,
    worst_error,
)
from packetcodec.wire.compare import check_words
from packetcodec.wire.compare import compare as plan_compare

#: Most names of a choice that its row shows.
_NAMED = 4


@click.command(short_help="Write a commented starter schema to edit.")
@click.argument("file", type=click.Path(dir_okay=False))
def new(file: str) -> None:
    """Write a commented starter schema to FILE, to edit. A file that exists is left alone."""
    try:
        with Path(file).open("x", encoding="utf-8") as handle:
            handle.write(schema_text())
    except FileExistsError:
        raise DataFault(f"{file}: exists already and is left alone") from None
    click.echo(f"Wrote {file}. Edit it, then: packetcodec check {file}", err=True)


@click.command(short_help="Validate a schema; fields, sizes, what is promised.")
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--json", "as_json", is_flag=True, help="A report for programs.")
def check(file: str, *, as_json: bool) -> None:
    """Validate a schema and print each layout: fields, bits, steps, worst errors, size, what the check detects."""
    plan = compile_plan(load_schema(file))
    if as_json:
        put_json(_plan_json(plan))
        return
    out = console()
    words = f"{plan.name}, version {plan.version}: fingerprint {plan.fingerprint}, {check_words(plan)}"
    out.print(words + (" (chosen for this length)" if plan.crc_chosen else ""), markup=False)
    for layout in plan.layouts:
        out.print()
        out.print(_layout_table(layout, plan))
        for line in _layout_words(layout, plan):
            out.print(line, markup=False)
    for layout in plan.layouts:
        out.print()
        out.print(choices_table(layout, plan))
    for line in WORDS:
        out.print(line, markup=False)
    for words in _remarks(plan):
        remark(words)


def _layout_table(layout: LayoutPlan, plan: Plan) -> Any:
    rows: list[tuple[object, ...]] = [
        ("(header)", "version, layout", f"0..{plan.header_bits - 1}", plan.header_bits, "", "", "", "", "")
    ]
    rows += [_row(field) for field in layout.fields]
    title = f'layout "{layout.name}", id {layout.id}: {size_words(layout)}'
    columns = ("field", "kind", "bits", "width", "asked", "step", "range", "worst error", "on the ground")
    return table(title, columns, rows, left=2)


def _row(field: FieldPlan) -> tuple[object, ...]:
    unit = f" {field.symbol}".rstrip()
    counting = KINDS[field.kind].counting
    ground = "" if field.kind == "altitude" else metres(bound) if (bound := metres_bound(field)) is not None else ""
    name = f"{field.name}?" if field.absent_code is not None else field.name
    return (
        name,
        field.kind,
        field.place.split()[1],
        field.bits,
        field.requested,
        "1" if counting else f"{decimal(field, field.step)}{unit}",
        _range(field),
        "exact" if counting else f"{float(worst_error(field)):.3g}{unit}",
        ground,
    )


def _range(field: FieldPlan) -> str:
    """The range in a cell: names, dates, or numbers."""
    if field.choices:
        return ", ".join(field.choices) if len(field.choices) <= _NAMED else f"{len(field.choices)} names"
    if field.kind == "time" and not field.modulus:
        first, last = (datetime.fromtimestamp(field.origin + base, UTC) for base in (field.low, field.high))
        return f"{first:%Y-%m-%dT%H:%MZ}..{last:%Y-%m-%dT%H:%MZ}"
    return bounds(field).replace("degrees", "°")


def _layout_words(layout: LayoutPlan, plan: Plan) -> list[str]:
    said = []
    if any(not KINDS[field.kind].counting for field in layout.fields):
        said.append("Worst error: half a step, and half a base unit where the number that was given is rounded to it.")
    if any(field.absent_code is not None for field in layout.fields):
        said.append("A field with ? may be absent, for its highest code.")
    if layout.trail is None:
        data = f"{layout.bits} bits and {layout.padding} of padding: {layout.data_bytes} bytes"
        said.append(f"{data}, and {layout.check_bytes} of check.")
    else:
        said += _trail_words(layout, layout.trail)
    if (bound := position_bound(layout)) is not None:
        said.append(f"Position: never more than {metres(bound)} from where it was.")
    if plan.crc:
        distance = distance_at(plan.crc.polynomial, plan.crc.width, layout.longest * 8)
        said.append(
            f"The check notices every error of up to {distance.value - 1} bits (Hamming distance {distance}), every burst "
            f"of up to {plan.crc.width} bits, and all but 1 in {2**plan.crc.width:,} packets of noise."
        )
    return said


def _trail_words(layout: LayoutPlan, trail: Trail) -> list[str]:
    spacing = f"{trail.spacing} s apart" if trail.spacing else "apart as its own numbers say"
    if trail.spacing_field:
        spacing = f"apart as {trail.spacing_field} says"
    too_long = "all points move to a coarser grid" if trail.coarsenings else "the oldest points are left out"
    height = f", altitude in steps of {trail.altitude_step / 100:g} m" if trail.altitude_step else ""
    cell = trail.step / 10_000_000 * METRES_PER_DEGREE["latitude"]
    what = f"{layout.bits} bits of fields, then the trail: up to {trail.points} earlier points, {spacing}"
    grid = f"in cells of {metres(cell)}{height}, each never more than {metres(trail_bound(layout))} from where it was"
    start = f"Coding starts from FIRST {trail.initial_scale} and CHANGE {trail.scale_rate} cells"
    return [f"{what}, {grid}.", f"{start}. A packet is never longer than {trail.packet_bytes} bytes: {too_long}."]


def _remarks(plan: Plan) -> list[str]:
    if plan.crc is None:
        return ["no check: on the serial line between radio and host nothing notices a wrong bit."]
    said = []
    if plan.crc.polynomial == MODEM_POLYNOMIAL and plan.crc.width == 16:
        said.append(MODEM_NOTE)
    said += [
        f'{check_words(plan)} is too weak for {layout.longest} bytes (layout "{layout.name}"): two wrong bits can '
        "escape it. Leave out the name and give width alone: a polynomial for this length is then chosen."
        for layout in plan.layouts
        if distance_at(plan.crc.polynomial, plan.crc.width, layout.longest * 8).value <= 2
    ]
    return said


def _plan_json(plan: Plan) -> dict[str, Any]:
    layouts = []
    for layout in plan.layouts:
        distance = distance_at(plan.crc.polynomial, plan.crc.width, layout.longest * 8) if plan.crc else None
        layouts.append(
            {
                "name": layout.name,
                "id": layout.id,
                "bytes": layout.size,
                "most_bytes": layout.longest,
                "bits": layout.bits,
                "padding_bits": layout.padding,
                "check_bytes": layout.check_bytes,
                "hamming_distance": distance.value if distance else None,
                "hamming_distance_exact": distance.exact if distance else None,
                "position_bound_m": position_bound(layout),
                "fields": [_field_json(field) for field in layout.fields],
            }
        )
    return {
        "name": plan.name,
        "version": plan.version,
        "fingerprint": plan.fingerprint,
        "check": check_words(plan),
        "layouts": layouts,
        "notes": _remarks(plan),
    }


def _field_json(field: FieldPlan) -> dict[str, Any]:
    return {
        "name": field.name,
        "kind": field.kind,
        "unit": field.symbol,
        "offset": field.offset,
        "bits": field.bits,
        "asked": field.requested,
        "scale": field.scale,
        "low": field.low,
        "high": field.high,
        "step": field.step,
        "last": field.max_code,
        "absent": field.absent_code,
        "policy": field.policy,
        "worst_error": float(worst_error(field)),
        "worst_error_m": metres_bound(field),
    }


@click.command(short_help="Which differences of two schemas change the wire.")
@click.argument("old", type=click.Path(dir_okay=False))
@click.argument("new", type=click.Path(dir_okay=False))
@click.option("--json", "as_json", is_flag=True, help="A report for programs.")
def compare(old: str, new: str, *, as_json: bool) -> None:
    """Compare two versions of a schema: what changes the wire, what does not, what a receiver of both will do.

    OLD is the schema already in the field. The exit status is 0 whatever differs.
    """
    from_plan, to_plan = compile_plan(load_schema(old)), compile_plan(load_schema(new))
    outcome = plan_compare(from_plan, to_plan)
    sizes = _sizes(from_plan, to_plan)
    if as_json:
        put_json(
            {
                "changes_wire": outcome.wire,
                "differences": [{"place": d.place, "what": d.what, "wire": d.wire} for d in outcome.differences],
                "receivers": outcome.receivers,
                "warnings": outcome.warnings,
                "sizes": sizes,
            }
        )
        return
    out = console()
    for wire, title in ((True, "Changes the wire"), (False, "Does not change the wire")):
        rows = [(item.place, item.what) for item in outcome.differences if item.wire is wire]
        out.print(table(title, ("where", "what"), rows, left=2, prose=True) if rows else f"{title}: nothing.")
    if sizes:
        columns = ("layout", "bytes", *(f"SF{factor}" for factor in FACTORS))
        rows = [(item["layout"], _change(item["bytes"]), *map(_change, item["airtime"].values())) for item in sizes]
        out.print(table("Longest packet, old -> new, airtime at 125 kHz", columns, rows))
    for line in outcome.receivers:
        out.print(line, markup=False)
    for words in outcome.warnings:
        remark(words)


def _sizes(old: Plan, new: Plan) -> list[dict[str, Any]]:
    """Layouts whose longest packet changes: bytes, and airtime in milliseconds per spreading factor, old and new."""
    before = {layout.id: layout for layout in old.layouts}
    found = []
    for layout in new.layouts:
        was = before.get(layout.id)
        if was is not None and was.longest != layout.longest:
            both = was.longest, layout.longest
            modems = {f"SF{factor}": LoRa(spreading_factor=factor) for factor in FACTORS}
            airtimes = {name: tuple(map(modem.airtime_ms, both)) for name, modem in modems.items()}
            found.append({"layout": layout.name, "bytes": both, "airtime": airtimes})
    return found


def _change(pair: tuple[float, float]) -> str:
    """Old and new figure in a cell; airtimes grow in steps, so two may be the same."""
    old, new = (f"{value:,}" if isinstance(value, int) else f"{value:,.1f}" for value in pair)
    unit = "" if isinstance(pair[0], int) else " ms"
    return f"{old}{unit}, the same" if old == new else f"{old} -> {new}{unit}"


@click.command(short_help="Write the specification and its test vectors.")
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("-o", "--output", type=click.Path(file_okay=False), help="Write specification and vectors into this folder.")
@click.option("--vectors", is_flag=True, help="Print the test vectors (JSON) instead of the text.")
def spec(file: str, output: str | None, *, vectors: bool) -> None:
    """Write the text specification of a schema, and its test vectors, so that anyone can write the other side."""
    plan = compile_plan(load_schema(file))
    if output is None:
        for text in (write_vectors(plan) if vectors else write_spec(plan)).values():
            click.echo(text, nl=False)
        return
    folder = Path(output)
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in {**write_spec(plan), **write_vectors(plan)}.items():
        (folder / name).write_text(text, encoding="utf-8")
        click.echo(f"Wrote {folder / name}", err=True)
