"""Python functions compiled from a layout's plan: one to encode, one to decode.

They handle what is plainly good, and only that: for anything else the decoder goes `fallback` and the encoder returns
None, and the plain way of `packetcodec.wire` is taken, where the faults have their home. So the fast way needs no
messages, and the two can be compared on every input.

The bits are taken apart by `bitstruct`, in C where its extension is there: one call for all fields. The source of a
decoder reads like this (a layout of one identifier and one altitude, with a CRC):

    def decode(data):
        try: head = data[0]
        except IndexError: return fallback(data)
        if head == 17:
            if len(data) != 6: return fallback(data)
            if crc1_1(data, 0, table1_1) != 41830: return fallback(data)
            if data[3] & 7: return fallback(data)
            r0, r1, = codes = unpack1_1(data)
            if r1 <= 8189: v1 = (-50000.0 + r1 * 116.0) / 100.0
            elif r1 == 8190: v1 = 9000.0
            else: return fallback(data)
            return new(Packet, ("beacon", 1, {"collar": r0, "altitude": v1}, codes, ()))
        return fallback(data)
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

try:
    import bitstruct.c as bits
except ImportError:  # a machine for which it has no wheel: the same, slower
    import bitstruct as bits

from packetcodec.codec.packet import Packet
from packetcodec.schema import Form
from packetcodec.wire import FieldPlan, LayoutPlan, Plan, to_base, to_value

#: Values of a field of at most this many bits are looked up instead of computed.
_TABLED = 12
#: Values that are looked up both ways: there is nothing to compute.
_NAMED = (Form.CHOICE, Form.FLAG)

Decoder = Callable[[bytes], Packet]
Encoder = Callable[[Mapping[str, Any]], bytes | None]


def compile_decoder(plans: Iterable[Plan], fallback: Decoder) -> Decoder:
    """A function from a packet of these plans (all with the same header) to what it says; faults go `fallback`.

    The packet comes as `bytes` and nothing else: of a buffer with larger items the lengths would not be bytes.
    One function for all layouts: a second call would cost more than the tests that tell them apart.
    """
    names: dict[str, Any] = {"new": tuple.__new__, "Packet": Packet, "fallback": fallback}
    bodies: list[str] = []
    header_bits = 0
    for plan in plans:
        header_bits = plan.header_bits
        for layout in plan.layouts:
            if layout.trail is not None or layout.low_fields:
                continue  # a length of its own in every packet, or a check that needs a reference: taken the plain way
            bodies.append(f"if head == {plan.version << plan.layout_bits | layout.id}:")
            bodies += [f" {line}" for line in _decoding(plan, layout, names)]
    first = "data[0]" if header_bits <= 8 else "(data[0] << 8 | data[1])"
    spare = -header_bits % 8
    lines = [
        f"try: head = {first}{f' >> {spare}' if spare else ''}",
        "except IndexError: return fallback(data)",  # not even a header
        *bodies,
        "return fallback(data)",
    ]
    decoder: Decoder = _function("decode", "data", lines, names)
    return decoder


def _decoding(plan: Plan, layout: LayoutPlan, names: dict[str, Any]) -> list[str]:
    """The lines that decode a packet of one layout, its header already known."""
    mark = f"{plan.version}_{layout.id}"
    form = f"p{plan.header_bits}" + "".join(f"u{field.bits}" for field in layout.fields)
    names[f"unpack{mark}"] = bits.compile(form).unpack
    lines = [f"if len(data) != {layout.size}: return fallback(data)"]
    if plan.crc:
        names[f"crc{mark}"], names[f"table{mark}"], start = plan.crc.engine(plan.seed)
        wanted = plan.crc.residue() ^ plan.crc.xor_out
        lines.append(f"if crc{mark}(data, {start}, table{mark}) != {wanted}: return fallback(data)")
    if layout.padding:
        lines.append(f"if data[{layout.data_bytes - 1}] & {(1 << layout.padding) - 1}: return fallback(data)")
    codes = "".join(f"r{number}, " for number in range(len(layout.fields)))
    lines.append(f"{codes}= codes = unpack{mark}(data)")
    values = []
    for number, field in enumerate(layout.fields):
        raw, value = f"r{number}", f"v{number}"
        plain = field.max_code  # up to this code a value is a plain product
        if (field.bits <= _TABLED and field.scale > 1) or field.kind.form in _NAMED:
            names[f"values{mark}_{number}"] = [to_value(field, code) for code in range(field.max_code + 1)]
            text = f"values{mark}_{number}[{raw}]"
        else:
            text = _value(field, raw)
            plain -= field.low + field.max_code * field.step > field.high
        if field.uses_every_code and field.absent_code is None and plain == field.max_code:
            if text == raw:
                value = raw
            else:
                lines.append(f"{value} = {text}")
        else:
            # The common case first, with one comparison.
            lines.append(f"if {raw} <= {plain}: {value} = {text}")
            if plain < field.max_code:
                lines.append(f"elif {raw} == {field.max_code}: {value} = {to_value(field, field.max_code)!r}")
            if field.absent_code is not None:
                lines.append(f"elif {raw} == {field.absent_code}: {value} = None")
            lines.append("else: return fallback(data)")
        values.append(f"{field.name!r}: {value}")
    lines.append(f"return new(Packet, ({layout.name!r}, {plan.version}, {{{', '.join(values)}}}, codes, ()))")
    return lines


def _value(field: FieldPlan, raw: str) -> str:
    """The expression of the physical value of a code in use, except a last one that the range cuts short."""
    if field.scale > 1:
        # Floats hold these whole numbers exactly and are faster than integers of more than 30 bits.
        return f"({field.low}.0 + {raw} * {field.step}.0) / {field.scale}.0"
    low = field.low + field.origin
    text = raw if field.step == 1 else f"{raw} * {field.step}"
    return f"{low} + {text}" if low else text


def compile_encoder(plan: Plan, layout: LayoutPlan) -> Encoder:
    """A function from a layout's values (all keys present, None for absent) to a packet, or None for anything unusual."""
    names: dict[str, Any] = {"to_base": to_base}
    lines = [*["h = 0"] * bool(layout.low_fields), "try:", f" if len(values) != {len(layout.fields)}: return None"]
    head = str(plan.version << plan.layout_bits | layout.id)
    body: list[str] = []
    for number, field in enumerate(layout.fields):
        names[f"field{number}"] = field
        if field.kind.form in _NAMED:
            names[f"codes{number}"] = {to_value(field, code): code for code in range(field.max_code + 1)}
        body.append(f"v = values[{field.name!r}]")
        code = _code(field, number)
        absent = field.absent_code
        if low := field.low_bits:
            code += [f"h = h << {low.high_bits} | r // {low.modulus}", f"r %= {low.modulus}"]
            absent = low.absent
        if absent is not None:
            unsent = f"; h <<= {low.high_bits}" if low else ""
            code = [f"if v is None: r = {absent}{unsent}", "else:", *(f" {line}" for line in code)]
        body += [*code, f"n = {head} << {field.bits} | r"]
        head = "n"
    lines += [f" {line}" for line in body]
    lines.append("except (KeyError, TypeError, ValueError, OverflowError): return None")
    shifted = f"(n << {layout.padding})" if layout.padding else "n"
    lines.append(f"data = {shifted}.to_bytes({layout.data_bytes}, 'big')")
    if plan.crc:
        names["crc"], names["table"], start = plan.crc.engine(plan.seed)
        high_bits = sum(low.high_bits for _, _, low in layout.low_fields)
        high = f"(h << {-high_bits % 8}).to_bytes({-(-high_bits // 8)}, 'big') + " if high_bits else ""
        check = f"crc({high}data, {start}, table)"
        check = f"({check} ^ {plan.crc.xor_out})" if plan.crc.xor_out else check
        lines.append(f"return data + {check}.to_bytes({layout.check_bytes}, {plan.crc.append_order!r})")
    else:
        lines.append("return data")
    encoder: Encoder = _function("encode", "values", lines, names)
    return encoder


def _code(field: FieldPlan, number: int) -> list[str]:
    """The lines that turn the value v, within the range of its field, into the raw code r."""
    if field.kind.form in _NAMED:
        return [f"r = codes{number}[v]"]
    slow = f"to_base(field{number}, v)"
    if field.kind.counting:
        lines = [f"x = v if v.__class__ is int else {slow}"]
    else:
        origin = f" - {field.origin}" if field.origin else ""
        real, whole = (f"v * {float(field.scale)!r}", f"v * {field.scale}") if field.scale > 1 else ("v", "v")
        lines = [f"x = round({real}){origin} if v.__class__ is float else {whole}{origin} if v.__class__ is int else {slow}"]
    # The end of a circle is its beginning, which is not said here.
    lines.append(f"if not {field.low} <= x <= {field.high - (field.modulus is not None)}: return None")
    add = field.step // 2 - field.low
    text = f"x + {add}" if add else "x"
    lines.append(f"r = {text}" if field.step == 1 else f"r = ({text}) // {field.step}")
    if field.modulus:
        lines.append(f"if r > {field.max_code}: r = 0")
    return lines


def _function(name: str, argument: str, lines: list[str], names: dict[str, Any]) -> Any:
    source = f"def {name}({argument}):\n" + "\n".join(f" {line}" for line in lines)
    scope = dict(names)
    exec(compile(source, f"<{name} of packetcodec>", "exec"), scope)  # noqa: S102  # made of a plan's numbers and names
    return scope[name]
