"""Bit packing against two other packers: ASN.1 UPER (asn1tools) and big-endian CAN signals (cantools).

Both pack constrained integers most significant bit first and back to back, which is what a packet without a check is.
Source of the expected bits: computed by asn1tools and cantools.
"""

from __future__ import annotations

from typing import Any

import asn1tools
import cantools
from hypothesis import given
from hypothesis import strategies as st

from packetcodec import Codec, Schema
from tests.support.effort import examples
from tests.support.random_schemas import toml

occasionally = examples(50)


@st.composite
def wholes(draw: st.DrawFn) -> tuple[dict[str, Any], int, int]:
    """A field of whole numbers with step 1, and its least and largest value."""
    kind = draw(st.sampled_from(["identifier", "number", "flag"]))
    if kind == "flag":
        return {"kind": "flag"}, 0, 1
    if kind == "identifier":
        bits = draw(st.integers(1, 32))
        return {"kind": "identifier", "bits": bits}, 0, 2**bits - 1
    low = draw(st.integers(-(2**31), 2**31 - 2))
    high = draw(st.integers(low + 1, min(2**31 - 1, low + 2**32 - 1)))
    return {"kind": "number", "minimum": low, "maximum": high, "resolution": 1}, low, high


def layout_of(rows: list[dict[str, Any]], *, version: int, ident: int, version_bits: int, layout_bits: int) -> Codec:
    fields = ", ".join(toml({"name": f"f{number}", **row}) for number, row in enumerate(rows))
    return Codec(
        Schema.parse(
            f'name = "pasture"\nversion = {version}\ncheck = {{ crc = "none" }}\n'
            f"header = {{ version_bits = {version_bits}, layout_bits = {layout_bits} }}\n"
            f'[[layouts]]\nname = "beacon"\nid = {ident}\nfields = [{fields}]\n'
        )
    )


@st.composite
def layouts(draw: st.DrawFn, most: int) -> tuple[Codec, list[tuple[dict[str, Any], int, int]], list[int]]:
    """A codec for a random layout, its fields, and a value for each."""
    version_bits, layout_bits = draw(st.integers(1, 8)), draw(st.integers(1, 8))
    version, ident = draw(st.integers(0, 2**version_bits - 1)), draw(st.integers(0, 2**layout_bits - 1))
    rows = draw(st.lists(wholes(), min_size=1, max_size=most))
    codec = layout_of(
        [row for row, _, _ in rows], version=version, ident=ident, version_bits=version_bits, layout_bits=layout_bits
    )
    return codec, rows, [draw(st.integers(low, high) | st.sampled_from([low, high])) for _, low, high in rows]


@occasionally
@given(layouts(20))
def test_a_packet_is_the_unaligned_per_encoding_of_its_sequence(drawn: Any) -> None:
    codec, rows, values = drawn
    plan = codec.plan
    lines = [f"version INTEGER (0..{2**plan.version_bits - 1})", f"layout INTEGER (0..{2**plan.layout_bits - 1})"]
    sequence: dict[str, Any] = {"version": plan.version, "layout": plan.layouts[0].id}
    for number, ((row, low, high), value) in enumerate(zip(rows, values, strict=True)):
        flag = row["kind"] == "flag"
        lines.append(f"f{number} BOOLEAN" if flag else f"f{number} INTEGER ({low}..{high})")
        sequence[f"f{number}"] = bool(value) if flag else value
    module = f"M DEFINITIONS AUTOMATIC TAGS ::= BEGIN P ::= SEQUENCE {{ {', '.join(lines)} }} END"
    expected = asn1tools.compile_string(module, "uper").encode("P", sequence)
    sent = {f"f{number}": value for number, value in enumerate(values)}
    assert codec.encode("beacon", sent) == expected
    assert codec.decode(expected).values == sent


@occasionally
@given(layouts(14))
def test_a_packet_is_the_can_frame_of_its_big_endian_signals(drawn: Any) -> None:
    codec, rows, values = drawn
    layout = codec.plan.layouts[0]
    assert layout.size <= 64
    signals = {"version": (0, codec.plan.version_bits, 0), "layout": (codec.plan.version_bits, codec.plan.layout_bits, 0)}
    offset = codec.plan.header_bits
    for number, (_, low, high) in enumerate(rows):
        bits = (high - low).bit_length()
        signals[f"f{number}"] = (offset, bits, low)
        offset += bits
    # A DBC file numbers the bits of each byte from its lowest; a big-endian signal starts at its highest bit.
    lines = [
        f' SG_ {name} : {8 * (first // 8) + 7 - first % 8}|{bits}@0+ (1,{low}) [0|0] "" Receiver'
        for name, (first, bits, low) in signals.items()
    ]
    database = cantools.database.load_string(
        "\n".join(["BU_: Receiver", f"BO_ 100 Beacon: {layout.size} Receiver", *lines, ""]), "dbc"
    )
    sent = {f"f{number}": value for number, value in enumerate(values)}
    frame = {"version": codec.plan.version, "layout": layout.id, **sent}
    message = database.get_message_by_name("Beacon")
    expected = message.encode(frame, strict=False)
    assert codec.encode("beacon", sent) == expected
    assert message.decode(codec.encode("beacon", sent)) == frame
