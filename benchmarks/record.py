"""The one record of the speed comparison, and every library that carries it, each behind the same four facts.

Owns one rule: what is compared. The bits are those of the starter schema's layout "position": version, layout id,
device, counter, latitude, longitude, altitude, battery, fix quality, CRC-16. Ours turns them from and into degrees,
metres and volts; every other library gets the raw codes for nothing, in the widths of our plan (or the nearest
thing that it can express), and mostly no check. Each decoding ends with every value read, by name where the library
has names. The animal is invented.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import asn1tools
import bitstruct
import bitstruct.c
import construct
import msgpack
from google.protobuf import descriptor_pb2, descriptor_pool, message_factory
from google.protobuf.internal import api_implementation

from packetcodec import Codec, Packet, Schema
from packetcodec.starter import schema_text

if TYPE_CHECKING:
    from collections.abc import Callable

LAYOUT = "position"
VALUES = {
    "collar": 7,
    "counter": 200,
    "latitude": 46.51234,
    "longitude": 9.87654,
    "altitude": 2045.0,
    "battery": 3.71,
    "fix_quality": 1,
}
OURS = "packetcodec"
CONSTRUCT = "construct"
PROTOBUF = "protobuf"


@dataclass(frozen=True)
class Row:
    """One way to carry the record.

    Attributes:
        name: library, and how it is used.
        includes: what one encoding and one decoding do beyond moving bits.
        data: the record on the wire.
        encode, decode: statements that `timeit` runs; in `decode` every value is read.
        names: what the statements refer to.
        codes: the raw codes of `data`, header included, by the row's own decoding.
    """

    name: str
    includes: str
    data: bytes
    encode: str
    decode: str
    names: dict[str, Any]
    codes: tuple[int, ...]


@cache
def codec() -> Codec:
    """Ours, with the starter schema."""
    return Codec(Schema.parse(schema_text()))


@cache
def columns() -> dict[str, int]:
    """Name to width in bits, in wire order, header first."""
    plan = codec().plan
    fields = {field.name: field.bits for field in plan.layout(LAYOUT).fields}
    return {"version": plan.version_bits, "layout": plan.layout_bits, **fields}


@cache
def wanted() -> dict[str, int]:
    """Name to raw code: what each row must carry, header included."""
    plan = codec().plan
    codes = dict(zip(VALUES, codec().quantize(LAYOUT, VALUES), strict=True))
    return {"version": plan.version, "layout": plan.layout(LAYOUT).id, **codes}


def rows() -> list[Row]:
    """Every row, ours first; each has carried the record and brought it back.

    Raises:
        AssertionError: a row gives back something else.
    """
    made = [build() for build in BUILDERS]
    for row in made:
        if row.codes != tuple(wanted().values()):
            raise AssertionError(f"{row.name}: {row.codes} came back, not {tuple(wanted().values())}")
    return made


def _ours() -> Row:
    data = codec().encode(LAYOUT, VALUES)
    packet = codec().decode(data)
    for field in codec().plan.layout(LAYOUT).fields:
        value = packet.values[field.name]
        if not isinstance(value, int | float) or abs(value - VALUES[field.name]) * field.scale > field.step / 2 + 1:
            raise AssertionError(f"{OURS}: {field.name} came back as {value}")
    codes = (packet.version, wanted()["layout"], *packet.raw.values())
    reads = "; ".join(f"v[{name!r}]" for name in VALUES)
    return Row(
        OURS,
        "check, ranges, units, names",
        data,
        f"encode({LAYOUT!r}, values)",
        f"p = decode(data); p.version; v = p.values; {reads}",
        {
            "encode": codec().encode,
            "decode": codec().decode,
            "data": data,
            "values": VALUES,
            "Packet": Packet,
        },
        codes,
    )


def _construct(*, compiled: bool) -> Row:
    # Whole bytes, as construct demands: the padding bits are there, the check is not.
    padding = codec().plan.layout(LAYOUT).padding
    fields = [name / construct.BitsInteger(bits) for name, bits in columns().items()]
    kind = construct.BitStruct(*fields, *([construct.Padding(padding)] if padding else []))
    if compiled:
        kind = kind.compile()
    data = kind.build(wanted())
    if data != codec().encode(LAYOUT, VALUES)[: len(data)]:
        raise AssertionError(f"{CONSTRUCT}: other bits than ours: {data.hex()}")
    name = f"{CONSTRUCT}, compiled" if compiled else CONSTRUCT
    return _named(name, "names", data, kind.build, kind.parse)


def _bitstruct(module: Any, name: str) -> Row:
    packed = module.compile("".join(f"u{bits}" for bits in columns().values()))
    data = packed.pack(*wanted().values())
    if data != codec().encode(LAYOUT, VALUES)[: len(data)]:
        raise AssertionError(f"{name}: other bits than ours: {data.hex()}")
    return _listed(name, "", data, packed.pack, packed.unpack)


def _asn1() -> Row:
    members = ", ".join(f"{_hyphens(name)} INTEGER (0..{(1 << bits) - 1})" for name, bits in columns().items())
    text = f"Pasture DEFINITIONS AUTOMATIC TAGS ::= BEGIN Position ::= SEQUENCE {{ {members} }} END"
    specification = asn1tools.compile_string(text, "uper")
    record = {_hyphens(name): code for name, code in wanted().items()}
    kind = specification.types["Position"]
    data = bytes(kind.encode(record))
    return _named("asn1tools, UPER", "names, ranges when encoding", data, kind.encode, kind.decode, record)


def _protobuf() -> Row:
    # The schema is made at run time, so that no compiler is needed. The check travels as one more field, read like the
    # others and verified by nobody.
    record = {**wanted(), "check": int.from_bytes(codec().encode(LAYOUT, VALUES)[-2:], "big")}
    file = descriptor_pb2.FileDescriptorProto(name="pasture.proto", package="pasture", syntax="proto3")
    kind = file.message_type.add(name="Position")
    uint32 = descriptor_pb2.FieldDescriptorProto.TYPE_UINT32
    single = descriptor_pb2.FieldDescriptorProto.LABEL_OPTIONAL
    for number, name in enumerate(record, 1):
        kind.field.add(name=name, number=number, type=uint32, label=single)
    pool = descriptor_pool.DescriptorPool()
    pool.Add(file)
    position = message_factory.GetMessageClass(pool.FindMessageTypeByName("pasture.Position"))
    data = position(**record).SerializeToString()
    back = position.FromString(data)
    reads = "; ".join(f"m.{name}" for name in record)
    arguments = ", ".join(f"{name}=record[{name!r}]" for name in record)
    return Row(
        f"{PROTOBUF}, {api_implementation.Type()}",
        "names",
        data,
        f"Position({arguments}).SerializeToString()",
        f"m = parse(data); {reads}",
        {"Position": position, "parse": position.FromString, "data": data, "record": record},
        tuple(getattr(back, name) for name in wanted()),
    )


def _msgpack() -> Row:
    codes = tuple(wanted().values())
    data = msgpack.packb(codes)
    names = {"pack": msgpack.packb, "unpack": msgpack.unpackb, "codes": codes, "data": data}
    return Row(
        "msgpack, list",
        "",
        data,
        "pack(codes)",
        f"{_targets()} = unpack(data)",
        names,
        tuple(msgpack.unpackb(data)),
    )


def _struct() -> Row:
    packed = struct.Struct(_whole_bytes())
    data = packed.pack(*wanted().values())
    return _listed("struct, whole bytes", "", data, packed.pack, packed.unpack)


def _struct_checked() -> Row:
    crc = codec().plan.crc
    if crc is None:
        raise AssertionError("the starter schema has no check")
    function = crc.function()
    packed = struct.Struct(_whole_bytes())
    body = packed.pack(*wanted().values())
    data = body + function(body).to_bytes(2, crc.append_order)
    arguments = ", ".join(f"record[{name!r}]" for name in wanted())
    names = {
        "pack": packed.pack,
        "unpack": packed.unpack_from,
        "crc": function,
        "data": data,
        "record": wanted(),
    }
    if function(data) != crc.residue():
        raise AssertionError("struct and crcmod: no code word")
    return Row(
        "struct and crcmod, whole bytes",
        "check",
        data,
        f"body = pack({arguments}); body + crc(body).to_bytes(2, {crc.append_order!r})",
        f"ok = crc(data) == {crc.residue()}; {_targets()} = unpack(data)",
        names,
        packed.unpack_from(data),
    )


def _named(
    name: str,
    includes: str,
    data: bytes,
    build: Callable[[dict[str, int]], bytes],
    parse: Callable[[bytes], Any],
    record: dict[str, int] | None = None,
) -> Row:
    record = record or wanted()
    back = parse(data)
    names = {"build": build, "parse": parse, "record": record, "data": data}
    reads = "; ".join(f"v[{key!r}]" for key in record)
    return Row(
        name,
        includes,
        data,
        "build(record)",
        f"v = parse(data); {reads}",
        names,
        tuple(back[k] for k in record),
    )


def _listed(name: str, includes: str, data: bytes, pack: Any, unpack: Any) -> Row:
    arguments = ", ".join(f"record[{key!r}]" for key in wanted())
    names = {"pack": pack, "unpack": unpack, "record": wanted(), "data": data}
    return Row(name, includes, data, f"pack({arguments})", f"{_targets()} = unpack(data)", names, tuple(unpack(data)))


def _targets() -> str:
    return ", ".join(f"v{number}" for number in range(len(columns())))


def _whole_bytes() -> str:
    """The struct format with the smallest whole-byte number for each value."""
    return ">" + "".join("B" if bits <= 8 else "H" if bits <= 16 else "I" for bits in columns().values())


def _hyphens(name: str) -> str:
    return name.replace("_", "-")


BUILDERS: tuple[Callable[[], Row], ...] = (
    _ours,
    lambda: _construct(compiled=False),
    lambda: _construct(compiled=True),
    lambda: _bitstruct(bitstruct, "bitstruct"),
    lambda: _bitstruct(bitstruct.c, "bitstruct, C extension"),
    _asn1,
    _protobuf,
    _msgpack,
    _struct,
    _struct_checked,
)
