"""Raw codes to bytes and back, in plain words: the order of decoding and every fault stand here.

Owns rule 8 of the wire, the decoding order: header complete, version, layout, length, check, padding, ranges in field
order; the first fault wins. The compiled codec takes this way for every packet that is not plainly good, so the faults
and their messages have one home.

>>> from packetcodec.plan.plan import compile_plan
>>> from packetcodec.schema import Schema
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... check = { crc = "CRC-8/AUTOSAR" }
... [[layouts]]
... name = "gate"
... id = 2
... fields = [{ kind = "identifier" }, { kind = "flag", name = "open" }]
... '''))
>>> pack(plan, plan.layouts[0], (7, 1)).hex()
'12078048'
>>> unpack({1: plan}, bytes.fromhex("12078048"))[1:]
(LayoutPlan(...), (7, 1))
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.errors import PacketFault

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from packetcodec.plan.plan import LayoutPlan, Plan


def pack(plan: Plan, layout: LayoutPlan, raws: Sequence[int]) -> bytes:
    """The packet of a layout's raw codes, header and check included."""
    number = plan.version << plan.layout_bits | layout.id
    for field, raw in zip(layout.fields, raws, strict=True):
        number = number << field.bits | raw
    data = (number << layout.padding).to_bytes(layout.data_bytes, "big")
    if plan.crc is None:
        return data
    return data + plan.crc.of(data, plan.start).to_bytes(layout.check_bytes, plan.crc.append_order)


def unpack(plans: Mapping[int, Plan], data: bytes) -> tuple[Plan, LayoutPlan, tuple[int, ...]]:
    """What a packet says: its plan, its layout, its raw codes.

    Args:
        plans: schema version to plan; all of them with the same header.
        data: the whole packet.

    Raises:
        PacketFault: the first fault in decoding order.
    """
    head = next(iter(plans.values()))
    if len(data) * 8 < head.header_bits:
        raise PacketFault("too_short", f"{_bytes(len(data))}, the header takes {head.header_bits} bits", offset=0)
    number = int.from_bytes(data, "big")
    total = len(data) * 8
    version = number >> total - head.version_bits
    plan = plans.get(version)
    if plan is None:
        known = ", ".join(map(str, sorted(plans)))
        raise PacketFault("unknown_version", f"version {version}, known here: {known}", offset=0)
    ident = number >> total - head.header_bits & (1 << head.layout_bits) - 1
    layout = next((item for item in plan.layouts if item.id == ident), None)
    if layout is None:
        known = ", ".join(str(item.id) for item in plan.layouts)
        raise PacketFault("unknown_layout", f"layout id {ident}, version {version} has {known}", offset=head.version_bits)
    if len(data) != layout.size:
        raise PacketFault(
            "too_short" if len(data) < layout.size else "too_long",
            f'{_bytes(len(data))}, layout "{layout.name}" of version {version} has {layout.size}',
            offset=min(len(data), layout.size) * 8,
        )
    _verify(plan, layout, data)
    number >>= layout.check_bytes * 8
    if number & (1 << layout.padding) - 1:
        raise PacketFault(
            "bad_padding",
            f"the last {layout.padding} bits before the check are not all zero",
            offset=layout.bits,
        )
    raws = []
    for field in layout.fields:
        raw = number >> layout.data_bytes * 8 - field.offset - field.bits & (1 << field.bits) - 1
        if raw > field.last and raw != field.absent:
            absent = "" if field.absent is None else f", {field.absent} for absent"
            raise PacketFault(
                "out_of_range",
                f'{field.name}: raw code {raw} is outside 0..{field.last}{absent} (layout "{layout.name}", {field.place})',
                field=field.name,
                offset=field.offset,
            )
        raws.append(raw)
    return plan, layout, tuple(raws)


def _verify(plan: Plan, layout: LayoutPlan, data: bytes) -> None:
    if plan.crc is None:
        return
    body, tail = data[: layout.data_bytes], data[layout.data_bytes :]
    wanted, found = plan.crc.of(body, plan.start), int.from_bytes(tail, plan.crc.append_order)
    if wanted != found:
        digits = 2 * layout.check_bytes
        name = plan.crc.name or f"CRC-{plan.crc.width}"
        raise PacketFault(
            "bad_check",
            f"{name} over {_bytes(len(body))} is {wanted:#0{digits + 2}x}, the packet carries {found:#0{digits + 2}x}",
            offset=layout.data_bytes * 8,
        )


def _bytes(count: int) -> str:
    return f"{count} byte{'s' * (count != 1)}"
