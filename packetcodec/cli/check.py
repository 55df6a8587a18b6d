"""The command `check`: what a schema sends, in how many bits, and what it promises."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import click

from packetcodec.cli.files import load_plan
from packetcodec.cli.tables.check_choices import WORDS, choices_table
from packetcodec.cli.tables.figures import metres, size_words
from packetcodec.cli.tables.sheet import console, put_json, remark, table
from packetcodec.crc import MODEM_NOTE, MODEM_POLYNOMIAL
from packetcodec.crc.distance import distance_at
from packetcodec.schema import KINDS, METRES_PER_DEGREE, Trail
from packetcodec.wire import (
    FieldPlan,
    LayoutPlan,
    Plan,
    bounds,
    decimal,
    metres_bound,
    position_bound,
    trail_bound,
    worst_error,
)
from packetcodec.wire.compare import check_words

#: Most names of a choice that its row shows.
_NAMED = 4


@click.command(short_help="Validate a schema; fields, sizes, what is promised.")
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--json", "as_json", is_flag=True, help="A report for programs.")
def check(file: str, *, as_json: bool) -> None:
    """Validate a schema and print each layout: fields, bits, steps, worst errors, size, what the check detects."""
    plan = load_plan(file)
    if as_json:
        put_json(_plan_json(plan))
        return
    out = console()
    words = f"{plan.name}, version {plan.version}: fingerprint {plan.fingerprint}, {check_words(plan)}"
    out.put(words + (" (chosen for this length)" if plan.crc_chosen else ""))
    for layout in plan.layouts:
        out.put()
        out.print(_layout_table(layout, plan))
        for line in _layout_words(layout, plan):
            out.put(line)
    for layout in plan.layouts:
        out.put()
        out.print(choices_table(layout, plan))
    for line in WORDS:
        out.put(line)
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
