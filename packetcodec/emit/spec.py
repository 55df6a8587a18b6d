"""The written specification of a plan: the text from which a stranger writes a decoder and an encoder.

Owns one rule: the numbers of its sections. Reports cite a rule by its number ("spec 6.5"), so a section may grow but
never moves: 1 scope, 2 conventions, 3 header, 4 layouts, 5 check, 6 decoding, 7 encoding, 8 worked examples, 9 bad
packets and vectors, 10 airtime, 11 cautions, 12 history.

>>> from packetcodec.plan import compile_plan
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
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from packetcodec.crc import CHECK_INPUT, MODEM_NOTE, Crc
from packetcodec.crc.distance import distance_at, joint_check_bits
from packetcodec.emit import cases
from packetcodec.emit.bad import bad_packets
from packetcodec.emit.text import Piece, diagram, exact, keys, one_line, rounded_up, table
from packetcodec.plan import (
    FieldPlan,
    LayoutPlan,
    Plan,
    Value,
    bounds,
    decimal,
    from_raw,
    metres_bound,
    position_bound,
    to_value,
    worst_error,
)
from packetcodec.radio import CAUTION, LoRa, packet_budget, region
from packetcodec.schema import KINDS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

_SPREADING_FACTORS = range(7, 13)


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
        plan: from `packetcodec.plan.compile_plan`.
        region_name: whose limits the airtime table uses, a name of `packetcodec.radio.load_regions`.
        frequency_hz: centre of the channel in hertz.
        bandwidth_hz: LoRa bandwidth in hertz, as the datasheet prints it.
        coding_rate: 5..8, meaning 4/5..4/8.
        preamble: programmed preamble symbols, 1..65535.

    Raises:
        RadioFault: a radio setting that the modem does not have, or a channel that fits no sub-band of the region.
    """
    environment = Environment(
        loader=PackageLoader("packetcodec.emit"), undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
        keep_trailing_newline=True, autoescape=False,  # noqa: S701  # plain text, no HTML
    )  # fmt: skip
    environment.filters["one_line"] = one_line
    layouts = [_layout(plan, layout, number) for number, layout in enumerate(plan.layouts, 1)]
    text = environment.get_template("spec.md.j2").render(
        plan=plan,
        table=table,
        header_table=_header_table(plan),
        counting=_listed(kind.name for kind in KINDS.values() if kind.counting and kind.name not in ("flag", "choice")),
        layouts=layouts,
        vectors=f"{plan.name}-v{plan.version}.vectors.json",
        header_bytes=-(-plan.header_bits // 8),
        header=diagram([*_header(plan), Piece("..", "fields", -plan.header_bits % 8)]),
        policies={field.policy for layout in plan.layouts for field in layout.fields},
        kinds={field.kind for layout in plan.layouts for field in layout.fields},
        circles=any(field.circle for layout in plan.layouts for field in layout.fields),
        optional=any(field.absent is not None for layout in plan.layouts for field in layout.fields),
        scaled=any(field.scale > 1 for layout in plan.layouts for field in layout.fields),
        check=_check(plan, plan.crc) if plan.crc else None,
        bad=_bad(plan),
        airtime=_airtime(plan, region_name, frequency_hz, bandwidth_hz, coding_rate, preamble),
        caution=CAUTION,
    )
    return {f"{plan.name}-v{plan.version}.md": text}


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
    """Everything that stands in a packet of a layout, in order."""
    found = _header(plan)
    named = zip(keys(len(layout.fields)), layout.fields, strict=True)
    found += [Piece(key, field.name, field.bits) for key, field in named]
    found.append(Piece("0", "padding", layout.padding))
    found.append(Piece("x", "check", layout.check_bytes * 8, low_first=plan.crc is not None and plan.crc.reflected))
    return [piece for piece in found if piece.width]


def _layout(plan: Plan, layout: LayoutPlan, number: int) -> dict[str, Any]:
    named = list(zip(keys(len(layout.fields)), layout.fields, strict=True))
    bound = position_bound(layout)
    return {
        "plan": layout,
        "number": number,
        "diagram": diagram(pieces(plan, layout)),
        "wire": table([_WIRE, *([key, *_wire(field)] for key, field in named)]),
        "meaning": table([_MEANING, *([key, *_meaning(field)] for key, field in named)]),
        "notes": [(key, field.name, one_line("; ".join(_notes(field)))) for key, field in named],
        "choices": [
            (key, field, table([("code", "name"), *enumerate(field.choices)]))
            for key, field in named
            if field.kind == "choice"
        ],
        "position": None if bound is None else rounded_up(bound, 2),
        "examples": [_example(plan, case) for case in cases.examples(plan, layout)],
    }


_WIRE = ("key", "field", "bits", "width", "low", "high", "step", "last", "absent", "circle", "beyond")


def _wire(field: FieldPlan) -> list[object]:
    absent = "-" if field.absent is None else field.absent
    rest = (field.low, field.high, field.step, field.last, absent, field.circle or "-", field.policy)
    return [field.name, _span(field.offset, field.bits), field.bits, *rest]


_MEANING = ("key", "kind", "base unit", "scale", "origin", "range of the value", "worst error of the value")


def _meaning(field: FieldPlan) -> list[object]:
    if field.kind == "choice":
        return [field.kind, field.base, "-", "-", "the names below", "none"]
    if field.kind == "flag":
        return [field.kind, field.base, "-", "-", "no, yes", "none"]
    error = worst_error(field)
    words = f"{exact(error)} {field.symbol}".rstrip() if error else "none"
    metres = metres_bound(field) if field.symbol != "m" else None
    if metres is not None:
        words += f" ({rounded_up(metres, 3)} m)"
    return [field.kind, field.base, field.scale, field.origin, bounds(field), words]


def _notes(field: FieldPlan) -> Iterator[str]:
    yield KINDS[field.kind].doc if field.kind != "number" else "a number in " + (field.symbol or "no unit")
    if field.doc:
        yield field.doc.strip()
    if field.kind in ("flag", "choice") or KINDS[field.kind].counting:
        pass
    elif field.asked != "default":
        step = f"{decimal(field, field.step)} {field.symbol}".rstrip()
        yield f"asked for {field.asked}; chosen: {field.bits} bits, step {step}"
    if field.kind == "time":
        if field.circle:
            yield f"the value is the Unix time (seconds since 1970-01-01T00:00:00Z) modulo {field.circle}"
        else:
            first, last = (_moment(field.origin + base) for base in (field.low, field.high))
            yield f"the value is a Unix time (seconds since 1970-01-01T00:00:00Z); this field holds {first} to {last}"
    if field.circle and field.kind == "longitude":
        yield "+180 and -180 degrees are one place (section 2.5)"
    elif field.kind == "longitude":
        yield "this range does not close the circle: it is an ordinary line"


def _moment(seconds: int) -> str:
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _shown(value: Value) -> str:
    """A value as a table of examples shows it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "absent" if value is None else str(value)


def _example(plan: Plan, case: cases.Encoding) -> dict[str, Any]:
    rows: list[list[object]] = [["key", "field", "value", "base", "base in range", "raw", "binary", "arrives as"]]
    layout = case.layout
    rows.append(["v", "version", "", "", "", plan.version, f"{plan.version:0{plan.version_bits}b}", ""])
    if plan.layout_bits:
        rows.append(["i", "layout id", "", "", "", layout.id, f"{layout.id:0{plan.layout_bits}b}", ""])
    columns = zip(keys(len(layout.fields)), layout.fields, case.values, case.bases, case.raws, strict=True)
    for key, field, value, base, raw in columns:
        within: object = "-"
        if base is not None:
            within = field.low + (base - field.low) % field.circle if field.policy == "wrap" else base
        arrived = _shown(to_value(field, raw))
        shown = "-" if base is None else base
        rows.append([key, field.name, _shown(value), shown, within, raw, f"{raw:0{field.bits}b}", arrived])
    if layout.padding:
        rows.append(["0", "padding", "", "", "", 0, "0" * layout.padding, ""])
    body, check = case.data[: layout.data_bytes], case.data[layout.data_bytes :]
    return {
        "note": case.note,
        "table": table(rows),
        "sums": list(_sums(layout, case)),
        "bits": _lines(f"{byte:08b}" for byte in body),
        "body": _lines(f"{byte:02x}" for byte in body),
        "check": check.hex(" "),
        "hex": case.data.hex(),
    }


def _lines(words: Iterable[str]) -> str:
    """Words, eight to a line, the lines after the first indented to stand below it."""
    every = list(words)
    return "\n        ".join(" ".join(every[index : index + 8]) for index in range(0, len(every), 8))


def _sums(layout: LayoutPlan, case: cases.Encoding) -> Iterator[str]:
    for field, base, raw in zip(layout.fields, case.bases, case.raws, strict=True):
        if base is None or field.step == 1:
            continue
        within = field.low + (base - field.low) % field.circle if field.policy == "wrap" else base
        code = (within - field.low + field.step // 2) // field.step
        low = f"- {field.low}" if field.low >= 0 else f"+ {-field.low}"
        past = f", past the last code: {raw}" if code != raw else ""
        back = f"{field.low} + {raw} * {field.step}"
        if field.low + raw * field.step > field.high:
            back = f"min({back}, {field.high})"
        there = f"({within} {low} + {field.step // 2}) / {field.step} = {code}{past}"
        yield f"{field.name}: {there}; {back} = {from_raw(field, raw)}"


def _check(plan: Plan, crc: Crc) -> dict[str, Any]:
    digits = crc.width // 4 + 2
    mask = (1 << crc.width) - 1

    def word(number: int) -> str:
        return f"{number:#0{digits}x}"

    def mirrored(number: int) -> int:
        return int(f"{number:0{crc.width}b}"[::-1], 2)

    first = cases.examples(plan, plan.layouts[0])[0]
    body = first.data[: first.layout.data_bytes]
    function = crc.function(plan.start)
    states = [word(function(body[:count]) ^ crc.xor_out) for count in range(1, len(body) + 1)]
    running = zip((f"{byte:02x}" for byte in body), states, strict=True)
    direction = "lowest" if crc.reflected else "highest"
    parameters: list[tuple[object, ...]] = [
        ("parameter", "value", "remark"),
        ("name", crc.name or "none", "of the public catalogue" if crc.name else "given by its parameters"),
        ("width", crc.width, f"bits; {crc.size} byte{'s' * (crc.size > 1)}"),
        ("polynomial", word(crc.polynomial), "normal form: highest power first, its top bit not written"),
        ("reflected", "yes" if crc.reflected else "no", f"bytes enter {direction} bit first"),
        ("initial register", word(crc.initial), "of the CRC as named; for the check value"),
        ("start register", word(plan.start), "of a packet's check (section 5.2)"),
        ("final XOR", word(crc.xor_out), ""),
        ("check value", word(crc.check_value()), 'ASCII "123456789" from the initial register'),
        ("the same from start", word(crc.of(CHECK_INPUT, plan.start)), 'ASCII "123456789" from the start register'),
        ("covers", "all before it", "header, fields and padding"),
        ("sent", f"{direction} byte first", "so that the whole packet is a code word"),
    ]
    return {
        "crc": crc,
        "parameters": table(parameters),
        "bytes": crc.size,
        "type": {8: "uint8_t", 16: "uint16_t"}.get(crc.width, "uint32_t"),
        "polynomial": word(crc.polynomial),
        "initial": word(crc.initial),
        "start": word(plan.start),
        "xor_out": word(crc.xor_out),
        "weak": any(distance_at(crc.polynomial, crc.width, item.size * 8).value <= 2 for item in plan.layouts),
        "top": word(1 << crc.width - 1),
        "mask": word(mask),
        "polynomial_mirrored": word(mirrored(crc.polynomial)),
        "initial_mirrored": word(mirrored(crc.initial)),
        "start_mirrored": word(mirrored(plan.start)),
        "residue": word(crc.residue(plan.start)),
        "check_value": word(crc.check_value()),
        "bound_value": word(crc.of(CHECK_INPUT, plan.start)),
        "fingerprint_bytes": bytes.fromhex(plan.fingerprint).hex(" "),
        "example_layout": first.layout.name,
        "running": table([("byte", "state after it"), *running]),
        "value": word(crc.of(body, plan.start)),
        "appended": first.data[first.layout.data_bytes :].hex(" "),
        "distances": table(
            [
                ("layout", "packet bytes", "packet bits", "Hamming distance", "any so many wrong bits are noticed"),
                *_distances(plan, crc),
            ]
        ),
        "one_in": 1 << crc.width,
        "joint": joint_check_bits(crc.polynomial, crc.width),
        "modem_note": MODEM_NOTE,
    }


def _distances(plan: Plan, crc: Crc) -> Iterator[tuple[object, ...]]:
    for layout in plan.layouts:
        distance = distance_at(crc.polynomial, crc.width, layout.size * 8)
        yield layout.name, layout.size, layout.size * 8, distance, f"up to {distance.value - 1}"


def _bad(plan: Plan) -> dict[str, str]:
    head = ("packet", "status", "field", "offset", "what is wrong")
    single: list[tuple[object, ...]] = []
    pairs: list[tuple[object, ...]] = []
    shown: set[tuple[object, ...]] = set()
    for case in bad_packets(plan):
        row = (case.data.hex() or "(no byte)", case.status, case.field or "-", case.offset, case.note)
        kind = (case.status, case.field, case.field and case.offset, case.status == "too_short" and len(case.data))
        if case.pair:
            pairs.append(row)
        elif kind not in shown:
            shown.add(kind)
            single.append(row)
    return {"single": table([head, *single]), "pairs": table([head, *pairs])}


def _airtime(
    plan: Plan, region_name: str, frequency_hz: int, bandwidth_hz: int, coding_rate: int, preamble: int
) -> dict[str, Any]:
    where = region(region_name)
    head = ("layout", "bytes", "spreading factor", "airtime ms", "shortest average interval s", "packets in any hour")
    rows: list[tuple[object, ...]] = [(*head, "one transmission")]
    for layout in plan.layouts:
        for factor in _SPREADING_FACTORS:
            modem = LoRa(spreading_factor=factor, bandwidth_hz=bandwidth_hz, coding_rate=coding_rate, preamble=preamble)
            budget = packet_budget(modem, layout.size, where.sub_band(frequency_hz, modem.occupied_hz))
            interval = "no limit" if budget.interval is None else rounded_up(budget.interval, 1)
            hourly = "no limit" if budget.packets_per_hour is None else budget.packets_per_hour
            verdict = budget.dwell if budget.dwell.state != "not applicable" else budget.single
            row = (layout.name, layout.size, f"SF{factor}", f"{modem.airtime_ms(layout.size):.3f}")
            rows.append((*row, interval, hourly, verdict.state))
    band = where.sub_band(frequency_hz, LoRa(spreading_factor=7, bandwidth_hz=bandwidth_hz).occupied_hz)
    duty = "no duty cycle limit"
    if band.duty_cycle is not None:
        duty = f"duty cycle {exact(band.duty_cycle * 100)} % of any continuous hour"
    megahertz = exact(Fraction(frequency_hz, 10**6))
    return {
        "table": table(rows),
        "words": (
            f"Limits at {megahertz} MHz: {where.title}, sub-band {band.name}: {duty}. "
            f"Source: {band.source}, {band.date} (verification: {band.verified})."
        ),
        "bandwidth": exact(Fraction(bandwidth_hz, 1000)),
        "coding_rate": coding_rate,
        "preamble": preamble,
    }
