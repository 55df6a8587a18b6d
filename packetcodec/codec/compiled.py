"""Python functions compiled from a layout's plan: one to encode, one to decode.

They handle what is plainly good, and only that: for anything else the decoder goes `otherwise` and the encoder returns
None, and the plain way of `packetcodec.plan` is taken, where the faults have their home. So the fast way needs no
messages, and the two can be compared on every input.

The source of a decoder reads like this (a layout of one identifier and one altitude, with a CRC):

    def decode(data):
        if len(data) != 6 or crc(data) != 0: return otherwise(data)
        n = from_bytes(data)
        if n & 0x70000: return otherwise(data)
        r0 = n >> 32 & 255; r1 = n >> 19 & 8191
        if r1 > 8000: return otherwise(data)
        return new(Packet, ("beacon", 1, {"collar": r0, "altitude": (-50000.0 + r1 * 100.0) / 100.0}, (r0, r1), ()))
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import Any

from packetcodec.codec.packet import Packet
from packetcodec.plan import FieldPlan, LayoutPlan, Plan, to_base, to_value
from packetcodec.schema import KINDS

#: Values of a field of at most this many bits are looked up instead of computed.
_TABLED = 8

Decoder = Callable[[bytes], Packet]
Encoder = Callable[[Mapping[str, Any]], bytes | None]


def compile_decoder(plan: Plan, layout: LayoutPlan, otherwise: Decoder) -> Decoder:
    """A function from a packet of this layout (its header already known) to what it says; any fault goes `otherwise`."""
    names: dict[str, Any] = {
        "from_bytes": int.from_bytes,
        "new": tuple.__new__,
        "Packet": Packet,
        "otherwise": otherwise,
    }
    tests = [f"len(data) != {layout.size}"]
    if plan.crc:
        names["crc"], names["table"], start = plan.crc.engine(plan.start)
        tests.append(f"crc(data, {start}, table) != {plan.crc.residue() ^ plan.crc.xor_out}")
    lines = [f"if {' or '.join(tests)}: return otherwise(data)", "n = from_bytes(data)"]
    if layout.padding:
        lines.append(f"if n & {(1 << layout.padding) - 1 << 8 * layout.check_bytes:#x}: return otherwise(data)")
    values = []
    for number, field in enumerate(layout.fields):
        raw = f"r{number}"
        shift = layout.size * 8 - field.offset - field.bits
        lines.append(f"{raw} = n >> {shift} & {(1 << field.bits) - 1}")
        if not field.full:
            absent = "" if field.absent is None else f" and {raw} != {field.absent}"
            lines.append(f"if {raw} > {field.last}{absent}: return otherwise(data)")
        if (field.bits <= _TABLED and field.scale > 1) or field.choices:
            names[f"v{number}"] = [to_value(field, code) if _used(field, code) else None for code in range(1 << field.bits)]
            values.append(f"{field.name!r}: v{number}[{raw}]")
        else:
            values.append(f"{field.name!r}: {_value(field, raw)}")
    codes = ", ".join(f"r{number}" for number in range(len(layout.fields)))
    lines.append(f"return new(Packet, ({layout.name!r}, {plan.version}, {{{', '.join(values)}}}, ({codes},), ()))")
    decoder: Decoder = _function("decode", "data", lines, names)
    return decoder


def by_first_byte(plans: Iterable[Plan], otherwise: Decoder) -> dict[int, Decoder]:
    """The decoder for each first byte that a packet of these plans (all with the same header) can have."""
    table: dict[int, Decoder] = {}
    second: dict[int, dict[int, Decoder]] = {}
    for plan in plans:
        for layout in plan.layouts:
            decoder = compile_decoder(plan, layout, otherwise)
            head = plan.version << plan.layout_bits | layout.id
            spare = 8 - plan.header_bits
            if spare >= 0:
                table.update(dict.fromkeys(range(head << spare, head + 1 << spare), decoder))
                continue
            spare += 8  # a header longer than a byte: its second byte chooses further
            for lead in range(head << spare, head + 1 << spare):
                second.setdefault(lead >> 8, {})[lead & 255] = decoder
    table.update({first: partial(_second, rest, otherwise) for first, rest in second.items()})
    return table


def _second(rest: dict[int, Decoder], otherwise: Decoder, data: bytes) -> Packet:
    return rest.get(data[1] if len(data) > 1 else -1, otherwise)(data)


def _used(field: FieldPlan, code: int) -> bool:
    return code <= field.last or code == field.absent


def _value(field: FieldPlan, raw: str) -> str:
    """The expression of a field's physical value."""
    if field.kind == "flag":
        text = f"{raw} == 1"
    else:
        low = field.low + (field.origin if field.scale == 1 else 0)
        if field.scale == 1:
            text = raw if field.step == 1 else f"{raw} * {field.step}"
            text = f"{low} + {text}" if low else text
        else:
            # Floats hold these whole numbers exactly and are faster than integers of more than 30 bits.
            text = f"({low}.0 + {raw} * {field.step}.0) / {field.scale}.0"
        if field.low + field.last * field.step > field.high:
            top = field.high + field.origin if field.scale == 1 else field.high / field.scale
            text = f"{top!r} if {raw} == {field.last} else {text}"
    return text if field.absent is None else f"None if {raw} == {field.absent} else {text}"


def compile_encoder(plan: Plan, layout: LayoutPlan) -> Encoder:
    """A function from a layout's values (all keys present, None for absent) to a packet, or None for anything unusual."""
    names: dict[str, Any] = {"to_base": to_base}
    lines = [f"if len(values) != {len(layout.fields)}: return None", "try:"]
    head = str(plan.version << plan.layout_bits | layout.id)
    body: list[str] = []
    for number, field in enumerate(layout.fields):
        names[f"field{number}"] = field
        names[f"choices{number}"] = {name: code for code, name in enumerate(field.choices)}
        body.append(f"v = values[{field.name!r}]")
        code = _code(field, number)
        if field.absent is not None:
            code = [f"if v is None: r = {field.absent}", "else:", *(f" {line}" for line in code)]
        body += [*code, f"n = {head} << {field.bits} | r"]
        head = "n"
    lines += [f" {line}" for line in body]
    lines.append("except (KeyError, TypeError, ValueError, OverflowError): return None")
    shifted = f"(n << {layout.padding})" if layout.padding else "n"
    lines.append(f"data = {shifted}.to_bytes({layout.data_bytes}, 'big')")
    if plan.crc:
        names["crc"], names["table"], start = plan.crc.engine(plan.start)
        check = f"(crc(data, {start}, table) ^ {plan.crc.xor_out})" if plan.crc.xor_out else f"crc(data, {start}, table)"
        lines.append(f"return data + {check}.to_bytes({layout.check_bytes}, {plan.crc.append_order!r})")
    else:
        lines.append("return data")
    encoder: Encoder = _function("encode", "values", lines, names)
    return encoder


def _code(field: FieldPlan, number: int) -> list[str]:
    """The lines that turn the value v into the raw code r."""
    if field.kind == "choice":
        return [f"r = choices{number}[v]"]
    slow = f"to_base(field{number}, v)"
    if field.kind == "flag":
        return [f"r = 1 if v is True else 0 if v is False else {slow}", "if not 0 <= r <= 1: return None"]
    origin = f" - {field.origin}" if field.origin else ""
    whole = f"v * {field.scale}" if field.scale > 1 else "v"
    if KINDS[field.kind].counting:
        lines = [f"x = v if v.__class__ is int else {slow}"]
    else:
        real = f"v * {float(field.scale)!r}" if field.scale > 1 else "v"
        lines = [f"x = round({real}){origin} if v.__class__ is float else {whole}{origin} if v.__class__ is int else {slow}"]
    if field.policy == "wrap":
        shift = f"(x - {field.low})" if field.low else "x"
        lines.append(f"x = {shift} % {field.circle}" + (f" + {field.low}" if field.low else ""))
    elif field.policy == "refuse":
        lines.append(f"if not {field.low} <= x <= {field.high}: return None")
    else:
        lines += [f"if x < {field.low}: x = {field.low}", f"elif x > {field.high}: x = {field.high}"]
    add = field.step // 2 - field.low
    text = f"x + {add}" if add else "x"
    lines.append(f"r = {text}" if field.step == 1 else f"r = ({text}) // {field.step}")
    if field.circle:
        lines.append(f"if r > {field.last}: r = 0")
    return lines


def _function(name: str, argument: str, lines: list[str], names: dict[str, Any]) -> Any:
    source = f"def {name}({argument}):\n" + "\n".join(f" {line}" for line in lines)
    scope = dict(names)
    exec(compile(source, f"<{name} of packetcodec>", "exec"), scope)  # noqa: S102  # made of a plan's numbers and names
    return scope[name]
