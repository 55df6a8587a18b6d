"""The written specification of a plan: the text from which a stranger writes a decoder and an encoder.

Owns one rule: the numbers of its sections. Reports cite a rule by its number ("spec 6.5"), so a section may grow but
never moves: 1 scope, 2 conventions, 3 header, 4 layouts, 5 check, 6 decoding, 7 encoding, 8 worked examples, 9 bad
packets and vectors, 10 airtime, 11 cautions, 12 history, 13 the line protocol.

>>> from packetcodec.wire import compile_plan
>>> from packetcodec.schema import Schema
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "latitude" }, { kind = "longitude" }]
... '''))
>>> write_spec(plan)["pasture-v1.md"].splitlines()[0]
'# pasture, version 1: packet specification'
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from packetcodec.emit.render import Templates
from packetcodec.emit.spec.airtime_section import airtime_parts
from packetcodec.emit.spec.check_section import check_parts
from packetcodec.emit.spec.trail_text import trail_example, trail_parts
from packetcodec.emit.text import Piece, diagram, exact, keys, one_line, reflowed, table
from packetcodec.schema import KINDS, Form, Role
from packetcodec.vectors.examples import Example, value_of
from packetcodec.vectors.malformed import malformed
from packetcodec.vectors.valid import worked_examples
from packetcodec.wire import (
    FieldPlan,
    LayoutPlan,
    Plan,
    Value,
    bounds,
    from_raw,
    in_range,
    metres_bound,
    position_bound,
    promised,
    to_raw,
    to_value,
    worst_error,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

_TEMPLATES = Templates("spec", escape=str, one_line=one_line)


def write_spec(
    plan: Plan,
    *,
    region_name: str = "EU868",
    frequency_hz: int = 868_100_000,
    bandwidth_hz: int = 125_000,
    coding_rate: int = 5,
    preamble: int = 8,
) -> dict[str, str]:
    """The specification of a plan: file name to Markdown text.

    Args:
        plan: from `packetcodec.wire.compile_plan`.
        region_name: whose limits the airtime table uses, a name of `packetcodec.radio.load_regions`.
        frequency_hz: centre of the channel in hertz.
        bandwidth_hz: LoRa bandwidth in hertz, as the datasheet prints it.
        coding_rate: 5..8, meaning 4/5..4/8.
        preamble: programmed preamble symbols, 1..65535.

    Raises:
        RadioFault: a radio setting that the modem does not have, or a channel that fits no sub-band of the region.
    """
    trails = [layout.trail for layout in plan.layouts if layout.trail]
    told: set[str] = set()
    layouts = [_layout(plan, layout, number, told) for number, layout in enumerate(plan.layouts, 1)]
    text = _TEMPLATES.render(
        "spec.md.j2",
        plan=plan,
        table=table,
        header_table=_header_table(plan),
        counting=_listed(kind.name for kind in KINDS.values() if kind.form is Form.COUNT),
        layouts=layouts,
        vectors=f"{plan.name}-v{plan.version}.vectors.json",
        header_bytes=-(-plan.header_bits // 8),
        bounds=_layout_bounds(plan),
        refuse=_refusing(plan),
        whole=_whole_numbers(plan),
        paces={trail.spacing_seconds for trail in trails},
        spoken=[line for layout in plan.layouts for line in _spoken(plan, layout)],
        trails=trails,
        climb=any(trail.altitude for trail in trails),
        gap=any(trail.interval_seed for trail in trails),
        shifts=any(trail.coarsenings for trail in trails),
        header=diagram([*_header(plan), Piece("..", "fields", -plan.header_bits % 8)]),
        policies={field.policy for layout in plan.layouts for field in layout.fields},
        longitude=any(layout.role(Role.EAST) for layout in plan.layouts),
        forms={field.kind.form.value for layout in plan.layouts for field in layout.fields},
        circles=any(field.modulus for layout in plan.layouts for field in layout.fields),
        optional=any(field.absent_code is not None for layout in plan.layouts for field in layout.fields),
        scaled=any(field.scale > 1 for layout in plan.layouts for field in layout.fields),
        check=check_parts(plan, plan.crc) if plan.crc else None,
        bad=_bad(plan),
        airtime=airtime_parts(plan, region_name, frequency_hz, bandwidth_hz, coding_rate, preamble),
    )
    return {f"{plan.name}-v{plan.version}.md": reflowed(text)}


def _header(plan: Plan) -> list[Piece]:
    return [Piece("v", "version", plan.version_bits), Piece("i", "layout id", plan.layout_bits)]


def _header_table(plan: Plan) -> str:
    rows: list[tuple[object, ...]] = [("key", "field", "bits", "width", "in this version")]
    rows.append(("v", "version", _span(0, plan.version_bits), plan.version_bits, plan.version))
    if plan.layout_bits:
        rows.append(("i", "layout id", _span(plan.version_bits, plan.layout_bits), plan.layout_bits, "see section 4"))
    return table(rows)


def _span(first: int, width: int) -> str:
    return str(first) if width == 1 else f"{first}..{first + width - 1}"


def _listed(words: Iterable[str]) -> str:
    *most, last = words
    return f"{', '.join(most)} and {last}"


def pieces(plan: Plan, layout: LayoutPlan) -> list[Piece]:
    """Everything that stands in a packet of a layout, in order; of a trail, whose length varies, the first bits."""
    found = _header(plan)
    named = zip(keys(len(layout.fields)), layout.fields, strict=True)
    found += [Piece(key, field.name, field.bits) for key, field in named]
    if layout.trail:
        return [*found, Piece("T", "trail", -layout.bits % 8 or 8)]
    found.append(Piece("0", "padding", layout.padding))
    found.append(Piece("x", "check", layout.check_bytes * 8, low_first=plan.crc is not None and plan.crc.reflected))
    return [piece for piece in found if piece.width]


def _layout(plan: Plan, layout: LayoutPlan, number: int, told: set[str]) -> dict[str, Any]:
    """All about a layout; remarks and sums that are `told` already are not told again."""
    named = list(zip(keys(len(layout.fields)), layout.fields, strict=True))
    bound = position_bound(layout)
    notes = [(key, field.name, one_line("; ".join(_notes(field)))) for key, field in named]
    return {
        "plan": layout,
        "number": number,
        "like": _like(plan, layout),
        "diagram": diagram(pieces(plan, layout)),
        "wire": table([_WIRE, *([key, *_wire(field)] for key, field in named)]),
        "meaning": table([_MEANING, *([key, *_meaning(field)] for key, field in named)]),
        "notes": [note for note in notes if _fresh(f"{note[1]}: {note[2]}", told)],
        "choices": [
            (key, field, table([("code", "name"), *enumerate(field.choices)]))
            for key, field in named
            if field.kind.form is Form.CHOICE
        ],
        "position": None if bound is None else promised(bound),
        "trail": trail_parts(layout, layout.trail) if layout.trail else None,
        "examples": [_example(plan, case, told) for case in worked_examples(plan, layout)],
    }


def _like(plan: Plan, layout: LayoutPlan) -> dict[str, Any] | None:
    """The first layout before this one with the very same fields, which need not be told again."""
    for number, other in enumerate(plan.layouts, 1):
        if other is layout:
            return None
        if other.fields == layout.fields:
            return {"name": other.name, "number": number}
    return None


def _fresh(words: str, told: set[str]) -> bool:
    """Whether these words have not been said; now they are."""
    fresh = words not in told
    told.add(words)
    return fresh


def _refusing(plan: Plan) -> dict[str, bool]:
    """Which sorts of fields refuse values beyond their range."""
    fields = [field for layout in plan.layouts for field in layout.fields if field.policy == "refuse"]
    return {
        "line": any(not field.modulus for field in fields),
        "scaled": any(field.modulus and field.scale > 1 for field in fields),
        "whole": any(field.modulus and field.scale == 1 for field in fields),
    }


def _whole_numbers(plan: Plan) -> dict[str, bool]:
    """What is to be said about numbers in 32 bits."""
    fields = [field for layout in plan.layouts for field in layout.fields]
    masks = [
        field.low == 0 and field.modulus.bit_count() == 1 for field in fields if field.policy == "wrap" and field.modulus
    ]
    return {
        "fit": all(field.low > -(2**31) and field.high < 2**31 - 1 for field in fields),
        "wide": any((field.modulus or 0) >= 2**31 for field in fields),
        "masked": any(masks),
        "turned": not all(masks),
    }


def _spoken(plan: Plan, layout: LayoutPlan) -> list[tuple[str, str]]:
    """The first example of a layout as a question of the line protocol, and its answer."""
    case = worked_examples(plan, layout)[0]
    groups: list[tuple[int | None, ...]] = [(layout.id, *case.codes), *case.trail]
    words = " | ".join(" ".join("-" if number is None else str(number) for number in group) for group in groups)
    return [(f"decode {case.data.hex()}", f"ok {words}")]


def _layout_bounds(plan: Plan) -> str:
    """The constants of each layout that a decoder needs before it knows a field."""
    rows: list[tuple[object, ...]] = [
        ("layout", "id", "least bytes", "most bytes", "first bit behind the fields", "first padding bit", "first check bit")
    ]
    for layout in plan.layouts:
        least, most = layout.sizes()
        padding: object = layout.bits if layout.padding else "none"
        check: object = (least - layout.check_bytes) * 8 if layout.check_bytes else "none"
        if layout.trail:
            padding = "behind the trail"
            check = f"8 * (bytes - {layout.check_bytes})" if layout.check_bytes else "none"
        rows.append((layout.name, layout.id, least, most, layout.bits, padding, check))
    return table(rows)


_WIRE = ("key", "field", "bits", "width", "low", "high", "step", "last", "absent", "circle", "beyond")


def _wire(field: FieldPlan) -> list[object]:
    absent = "-" if field.absent_code is None else field.absent_code
    rest = (field.low, field.high, field.step, field.max_code, absent, field.modulus or "-", field.policy)
    return [field.name, _span(field.offset, field.bits), field.bits, *rest]


_MEANING = ("key", "kind", "base unit", "scale", "origin", "range of the value", "worst error of the value")


def _meaning(field: FieldPlan) -> list[object]:
    if field.kind.form is Form.CHOICE:
        return [field.kind, field.unit.base, "-", "-", "the names below", "none"]
    if field.kind.form is Form.FLAG:
        return [field.kind, field.unit.base, "-", "-", "no, yes", "none"]
    error = worst_error(field)
    words = f"{exact(error)} {field.unit.symbol}".rstrip() if error else "none"
    metres = metres_bound(field) if field.unit.symbol != "m" else None
    if metres is not None:
        words += f" ({promised(metres, 3)} m)"
    return [field.kind, field.unit.base, field.scale, field.origin, bounds(field), words]


def _notes(field: FieldPlan) -> Iterator[str]:
    yield field.kind.doc if not field.kind.own_unit else "a number in " + (field.unit.symbol or "no unit")
    if field.field.doc:
        yield field.field.doc.strip()
    if not field.kind.counting and field.field.requested != "default":
        yield f"asked for {field.field.requested}"
    if field.kind.form is Form.TIME:
        if field.modulus:
            yield f"the value is the Unix time (seconds since 1970-01-01T00:00:00Z) modulo {field.modulus}"
        else:
            first, last = (_moment(field.origin + base) for base in (field.low, field.high))
            yield f"the value is a Unix time (seconds since 1970-01-01T00:00:00Z); this field holds {first} to {last}"
    if field.modulus and field.kind.role is Role.EAST:
        yield "+180 and -180 degrees are one place (section 2.5)"
    elif field.kind.role is Role.EAST:
        yield "this range does not close the circle: it is an ordinary line"


def _moment(seconds: int) -> str:
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _shown(value: Value) -> str:
    """A value as a table of examples shows it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "absent" if value is None else str(value)


def _example(plan: Plan, case: Example, told: set[str]) -> dict[str, Any]:
    rows: list[list[object]] = [["key", "field", "value", "base", "base in range", "raw", "binary", "arrives as"]]
    layout = case.layout
    rows.append(["v", "version", "", "", "", plan.version, f"{plan.version:0{plan.version_bits}b}", ""])
    if plan.layout_bits:
        rows.append(["i", "layout id", "", "", "", layout.id, f"{layout.id:0{plan.layout_bits}b}", ""])
    columns = zip(keys(len(layout.fields)), layout.fields, case.values, case.bases, case.codes, strict=True)
    for key, field, value, base, raw in columns:
        within: object = "-" if base is None else in_range(field, base)
        arrived = _shown(to_value(field, raw))
        shown = "-" if base is None else base
        rows.append([key, field.name, _shown(value), shown, within, raw, f"{raw:0{field.bits}b}", arrived])
    body = case.data[: len(case.data) - layout.check_bytes]
    bits = "".join(f"{byte:08b}" for byte in body)[layout.bits :]
    taken = trail_example(layout, case) if layout.trail else None
    if taken:
        rows.append(["T", "trail", "", "", "", "", bits[: taken["bits"]], taken["points"]])
        bits = bits[taken["bits"] :]
    if bits:
        rows.append(["0", "padding", "", "", "", 0, bits, ""])
    return {
        "note": case.note,
        "table": table(rows),
        "sums": [words for words in _sums(layout, case) if _fresh(words, told)],
        "trail": taken if taken and taken["rows"] else None,
        "bits": _lines(f"{byte:08b}" for byte in body),
        "body": _lines(f"{byte:02x}" for byte in body),
        "check": case.data[len(body) :].hex(" "),
        "hex": case.data.hex(),
    }


def _lines(words: Iterable[str]) -> str:
    """Words, eight to a line, the lines after the first indented to stand below it."""
    every = list(words)
    return "\n        ".join(" ".join(every[index : index + 8]) for index in range(0, len(every), 8))


def _sums(layout: LayoutPlan, case: Example) -> Iterator[str]:
    for field, base, raw in zip(layout.fields, case.bases, case.codes, strict=True):
        if base is None or field.step == 1:
            continue
        yield _sum(field, in_range(field, base), raw)
        past = field.high - 10 if field.low + field.max_code * field.step + (field.step + 1) // 2 <= field.high - 10 else 0
        if field.modulus and base == field.high and past:
            yield f"{_sum(field, past, to_raw(field, past))} (for the value {value_of(field, past)})"


def _sum(field: FieldPlan, base: int, raw: int) -> str:
    """The way of a base in range to its raw code, and back."""
    code = (base - field.low + field.step // 2) // field.step
    low = f"- {field.low}" if field.low >= 0 else f"+ {-field.low}"
    past = f", past the last code: {raw}" if code != raw else ""
    back = f"{field.low} + {raw} * {field.step}"
    if field.low + raw * field.step > field.high:
        back = f"min({back}, {field.high})"
    there = f"({base} {low} + {field.step // 2}) / {field.step} = {code}{past}"
    return f"{field.name}: {there}; {back} = {from_raw(field, raw)}"


_ROWS = 6  # of each table of bad packets; all of them stand in the vectors
_TELLING = ("bad_trail", "out_of_range", "bad_padding", "bad_check", "too_short", "unknown_version", "unknown_layout")


def _bad(plan: Plan) -> dict[str, str]:
    """A few bad packets of each sort, the most telling ones, in decoding order."""
    head = ("packet", "status", "field", "offset", "what is wrong")
    found = list(malformed(plan))
    tables = {}
    for name, pair in (("single", False), ("pairs", True)):
        firsts: dict[str, tuple[object, ...]] = {}
        for case in found:
            if case.pair == pair and case.data and (case.status != "bad_trail" or "trail" in case.note):
                row = (case.data.hex(), case.status, case.field or "-", case.offset, case.note)
                firsts.setdefault(case.status, row)
        chosen = [status for status in _TELLING if status in firsts][:_ROWS]
        tables[name] = table([head, *(row for status, row in firsts.items() if status in chosen)])
    return tables
