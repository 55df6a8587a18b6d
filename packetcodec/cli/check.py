"""The command `check`: what a schema sends, in how many bits, and what it promises."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from typing import Any

import click

from packetcodec.cli.files import load_plan
from packetcodec.cli.options.modem import factors_option, lora_of
from packetcodec.cli.tables.check_choices import WORDS, choices_json, choices_table
from packetcodec.cli.tables.figures import describe_size, weak_checks
from packetcodec.cli.tables.sheet import Sheet, console, put_json, remark, table
from packetcodec.crc import MODEM_NOTE, MODEM_POLYNOMIAL
from packetcodec.crc.distance import packet_distance
from packetcodec.emit.spec.text import exact
from packetcodec.radio import LoRa
from packetcodec.schema import DEGREE, METRE, METRES_PER_DEGREE_NORTH, Form, Role, Trail
from packetcodec.spelling import counted
from packetcodec.wire import (
    FieldPlan,
    LayoutPlan,
    Plan,
    bounds,
    decimal,
    max_error,
    metres_bound,
    position_bound,
    promised,
    trail_bound,
)
from packetcodec.wire.advice import advise
from packetcodec.wire.compare import describe_check
from packetcodec.wire.low_bits import reach_metres, reach_of

#: Most names of a choice that its row shows.
_NAMED = 4


@click.command(short_help="Validate a schema; fields, sizes, what is promised.")
@click.argument("schema", type=click.Path(dir_okay=False))
@factors_option("7,10,12")
@click.option("--json", "as_json", is_flag=True, help="A report for programs.")
def check(schema: str, *, spreading_factor: list[int], as_json: bool) -> None:
    """Validate a schema and print each layout: fields, bits, steps, largest errors, size, what the check detects."""
    modems = lora_of(spreading_factor)
    plan = load_plan(schema)
    if as_json:
        put_json(check_json(plan, modems) | {"notes": check_remarks(plan)})
        return
    out = console()
    words = f"{plan.name}, version {plan.version}: fingerprint {plan.fingerprint}, {describe_check(plan)}"
    out.lines(words + (" (chosen for this length)" if plan.crc_chosen else ""), "")
    for layout in plan.layouts:
        out.print(fields_table(layout, plan))
        out.lines(*layout_words(layout, plan), "")
    for layout in plan.layouts:
        out.print(choices_table(layout, plan, modems))
    out.lines(*general_words(plan), *WORDS)
    for words in check_remarks(plan):
        remark(words)


def fields_table(layout: LayoutPlan, plan: Plan) -> Sheet:
    """Each field of a layout: where it stands, its step, its range, its largest error."""
    rows: list[tuple[object, ...]] = [
        ("(header)", "version, layout", f"0..{plan.header_bits - 1}", plan.header_bits, "", "", "", "", "")
    ]
    rows += [_row(field) for field in layout.fields]
    title = f'layout "{layout.name}", id {layout.id}: {describe_size(layout)}'
    columns = ("field", "kind", "bits", "width", "requested", "step", "range", "largest\nerror", "on the\nground")
    return table(title, columns, rows, left=2, groups=(3, 3, 2))


def _row(field: FieldPlan) -> tuple[object, ...]:
    unit = f" {field.unit.symbol}".rstrip()
    counting = field.kind.counting
    bound = None if field.unit.symbol == "m" else metres_bound(field)
    return (
        f"{field.name}?" if field.absent_code is not None else field.name,
        field.kind,
        field.place.split()[1],
        field.bits,
        field.field.requested,
        "1" if counting else f"{decimal(field, field.step)}{unit}",
        _range(field),
        "exact" if counting else f"{exact(max_error(field))}{unit}",
        "" if bound is None else f"{promised(bound, 3)} m",
    )


def _range(field: FieldPlan) -> str:
    """The range in a cell: names, dates, or numbers."""
    if field.choices:
        return ", ".join(field.choices) if len(field.choices) <= _NAMED else f"{len(field.choices)} names"
    if field.kind.form is Form.TIME and not field.modulus:
        first, last = (datetime.fromtimestamp(field.origin + base, UTC) for base in (field.low, field.high))
        return f"{first:%Y-%m-%dT%H:%MZ}..{last:%Y-%m-%dT%H:%MZ}"
    return bounds(field).replace("degrees", "°")


def layout_words(layout: LayoutPlan, plan: Plan) -> Iterator[str]:
    """What holds for one layout."""
    if layout.trail is None:
        data = f"{counted(layout.bits, 'bit')} and {layout.padding} of padding: {counted(layout.data_bytes, 'byte')}"
        yield f"Size: {data}, and {layout.check_bytes} of check."
    else:
        yield from _trail_words(layout, layout.trail)
    if (bound := position_bound(layout)) is not None:
        yield f"Position: at most {promised(bound)} m from the one that was encoded."
    if layout.low_fields:
        yield f"Low bits: {'; '.join(map(_low_words, (field for _, field, _ in layout.low_fields)))}."
    if plan.crc:
        distance = packet_distance(plan.crc, layout.longest)
        detected = f"every error of up to {counted(distance.value - 1, 'wrong bit')}"
        yield f"Check: Hamming distance {distance}: it detects {detected}."
        if layout.low_fields:
            yield (
                "Wrong bits that push a value past the end of the interval around its reference also change the bits that "
                f"are not sent: of such packets 1 in {2**plan.crc.width:,} passes the check, however few bits are wrong."
            )


def _low_words(field: FieldPlan) -> str:
    """How a field is sent by its low bits, and how far off a receiver may be that finds the rest."""
    reach = f"{decimal(field, reach_of(field))} {field.unit.symbol}".rstrip()
    if (metres := reach_metres(field)) is not None:
        limit = field.low_bits.max_latitude if field.low_bits else 0
        parallel = f" up to {limit:g}° of latitude" if limit else " on the equator"
        reach += f" ({metres:,} m{parallel if field.kind.role is Role.EAST else ''})"
    return f"{field.name} by {field.bits} of {field.field.grid.bits}, for a receiver that knows it within {reach}"


def _trail_words(layout: LayoutPlan, trail: Trail) -> Iterator[str]:
    spacing = (
        f"{trail.spacing_seconds} s apart" if trail.spacing_seconds else "with the time between them coded in the trail"
    )
    if trail.spacing_field:
        spacing = f"as many seconds apart as the field {trail.spacing_field} says"
    too_long = "all points move to a coarser grid" if trail.coarsenings else "the oldest points are left out"
    height = f", altitude in steps of {trail.altitude.step / METRE:g} m" if trail.altitude else ""
    cell = trail.step / DEGREE * METRES_PER_DEGREE_NORTH
    yield f"Trail: {layout.bits} bits of fields, then up to {trail.points} earlier points, {spacing}."
    yield (
        f"Its points are rounded to cells of {cell:.3g} m{height}: each at most {promised(trail_bound(layout) or 0)} m "
        "from the one that was encoded."
    )
    yield (
        f"Its coding{' expects wandering moves and' if trail.wandering else ''} starts from initial_scale = "
        f"{trail.initial_scale} and scale_rate = {trail.scale_rate} cells. A packet is at most {trail.packet_bytes} bytes: "
        f"where it would be longer, {too_long}."
    )


def general_words(plan: Plan) -> Iterator[str]:
    """What holds for all layouts."""
    fields = [field for layout in plan.layouts for field in layout.fields]
    if any(not field.kind.counting for field in fields):
        yield "Largest error: half a step, plus half a base unit where the value is first rounded to whole base units."
    if any(field.absent_code is not None for field in fields):
        yield "A field marked ? is optional: its highest code means that the value is absent."
    if any(field.kind.role is Role.EAST and field.modulus for field in fields):
        yield "A longitude of 180 degrees is the same place as -180 degrees, and comes back as -180."
    if plan.crc:
        yield (
            f"The check also detects every error burst of up to {plan.crc.width} bits, and all but 1 in "
            f"{2**plan.crc.width:,} packets of random bits."
        )


def check_remarks(plan: Plan) -> list[str]:
    """What a reader of the report should not overlook."""
    said = [f"{advice}." for advice in advise(plan)]
    if plan.crc is None:
        return ["no check: on the serial line between radio and host nothing detects a wrong bit.", *said]
    if plan.crc.polynomial == MODEM_POLYNOMIAL and plan.crc.width == 16:
        said.append(MODEM_NOTE)
    return [*said, *weak_checks(plan)]


def check_json(plan: Plan, modems: Sequence[LoRa]) -> dict[str, Any]:
    """The report; `modems` are those whose airtime each width of check has."""
    layouts = [_layout_json(plan, layout) | {"checks": choices_json(layout, plan, modems)} for layout in plan.layouts]
    return {
        "name": plan.name, "version": plan.version, "fingerprint": plan.fingerprint, "check": describe_check(plan),
        "header_bits": {"version": plan.version_bits, "layout": plan.layout_bits}, "layouts": layouts,
    }  # fmt: skip


def _layout_json(plan: Plan, layout: LayoutPlan) -> dict[str, Any]:
    distance = packet_distance(plan.crc, layout.longest) if plan.crc else None
    bound, trail = position_bound(layout), trail_bound(layout)
    found = {
        "name": layout.name, "id": layout.id, "bytes": layout.size, "max_bytes": layout.longest, "bits": layout.bits,
        "padding_bits": layout.padding, "check_bytes": layout.check_bytes,
        "hamming_distance": distance.value if distance else None,
        "hamming_distance_exact": distance.exact if distance else None,
        "position_bound_m": None if bound is None else float(promised(bound)),
        "fields": [_field_json(field) for field in layout.fields], "trail": None,
    }  # fmt: skip
    if (sent := layout.trail) is not None and trail is not None:
        found["trail"] = {
            "points": sent.points, "spacing_s": sent.spacing_seconds, "cell": sent.step, "initial_scale": sent.initial_scale,
            "scale_rate": sent.scale_rate, "coarsenings": sent.coarsenings, "bound_m": float(promised(trail)),
            "wandering": sent.wandering,
        }  # fmt: skip
    return found


def _field_json(field: FieldPlan) -> dict[str, Any]:
    found = {
        "name": field.name, "kind": field.kind.name, "unit": field.unit.symbol, "offset": field.offset, "bits": field.bits,
        "requested": field.field.requested, "scale": field.scale, "low": field.low, "high": field.high, "step": field.step,
        "max_code": field.max_code, "absent_code": field.absent_code, "policy": field.policy,
        "max_error": float(max_error(field)), "max_error_m": metres_bound(field),
    }  # fmt: skip
    if field.low_bits:
        within = float(decimal(field, reach_of(field)))
        found |= {"code_bits": field.field.grid.bits, "within": within, "within_m": reach_metres(field)}
    return found
