"""Raw codes to bytes and back, in plain words: the order of decoding and every fault stand here.

Owns rule 8 of the wire, the decoding order: header complete, version, layout, length, check, padding, ranges in field
order, trail; the first fault wins. The compiled codec takes this way for every packet that is not plainly good, so the
faults and their messages have one home.

>>> from packetcodec.wire.plan import compile_plan
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
(LayoutPlan(...), (7, 1), ())
"""

from __future__ import annotations

from operator import lshift
from typing import TYPE_CHECKING

from packetcodec.errors import PacketFault
from packetcodec.wire.low_bits import high_bytes, remainders, resolved, unknown
from packetcodec.wire.quantize import from_raw
from packetcodec.wire.trail.coding import Point, read_trail, write_trail
from packetcodec.wire.trail.numbers import BadTrailFault

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from packetcodec.wire.low_bits import References
    from packetcodec.wire.plan import LayoutPlan, Plan
    from packetcodec.wire.trail.numbers import Bits


def pack(plan: Plan, layout: LayoutPlan, codes: Sequence[int], trail: Sequence[Point] = ()) -> bytes:
    """The packet of a layout's raw codes, header and check included.

    A layout with a trail carries as many of the points, newest first, as `write_trail` keeps within the packet's limit;
    none where the packet itself has no position to count from.
    """
    bits = None
    if layout.trail and (anchor := anchor_of(layout, codes)):
        room = (layout.longest - layout.check_bytes) * 8 - layout.bits
        bits, _ = write_trail(layout.trail, anchor, trail, room=room)
    return assemble(plan, layout, codes, bits)


def assemble(plan: Plan, layout: LayoutPlan, codes: Sequence[int], bits: Bits | None = None) -> bytes:
    """The packet of raw codes with any bits behind its fields, padded, under a good check."""
    low, length = layout.low_fields, layout.bits
    sent = remainders(layout, codes) if low else codes
    if len(sent) != len(layout.shifts):
        raise ValueError(f"{len(sent)} codes for the {len(layout.shifts)} fields of layout {layout.name!r}")
    number = (plan.version << plan.layout_bits | layout.id) << length - plan.header_bits | sum(
        map(lshift, sent, layout.shifts)
    )
    if bits:
        number, length = number << bits.length | bits.number, length + bits.length
    return plan.seal((number << -length % 8).to_bytes(-(-length // 8), "big"), high_bytes(layout, codes) if low else b"")


def anchor_of(layout: LayoutPlan, codes: Sequence[int]) -> Point | None:
    """The position of a packet in base units, or None where it has none: what the points of a trail count from.

    >>> from packetcodec.starter import example_plan
    >>> layout = example_plan().layout("position")
    >>> anchor_of(layout, (7, 42, 6121673, 8474942, 1117, 61, 1))
    Point(latitude=465133079, longitude=98387008, altitude=210261, age=None)
    """
    north, east, height = layout.anchor_places
    latitude, longitude = _base_at(layout, codes, north), _base_at(layout, codes, east)
    if latitude is None or longitude is None:
        return None
    return Point(latitude, longitude, _base_at(layout, codes, height))


def _base_at(layout: LayoutPlan, codes: Sequence[int], place: int | None) -> int | None:
    """The base units of the field at a place; None where there is none, or it is absent."""
    if place is None or codes[place] == layout.fields[place].absent_code:
        return None
    return from_raw(layout.fields[place], codes[place])


def interval_of(layout: LayoutPlan, codes: Sequence[int]) -> int | None:
    """Seconds from point to point of a packet's trail, or None where each point carries its own, or they are not known."""
    if layout.trail is None:
        return None
    if layout.trail.spacing_field is None:
        return layout.trail.spacing_seconds
    named = {field.name: (field, code) for field, code in zip(layout.fields, codes, strict=True)}
    field, code = named[layout.trail.spacing_field]
    return None if code == field.absent_code else from_raw(field, code) // field.scale


def ages_of(layout: LayoutPlan, codes: Sequence[int], points: Sequence[Point]) -> tuple[int | None, ...]:
    """The age of each point in seconds: its own, else its number times the spacing; None where that is not known."""
    interval = interval_of(layout, codes)
    return tuple(point.age if interval is None else number * interval for number, point in enumerate(points, 1))


def unpack(
    plans: Mapping[int, Plan], data: bytes, references: References = unknown
) -> tuple[Plan, LayoutPlan, tuple[int, ...], tuple[Point, ...]]:
    """What a packet says: its plan, its layout, its raw codes, the points of its trail (newest first).

    Args:
        plans: schema version to plan; all of them with the same header.
        data: the whole packet.
        references: of a field that is sent by its low bits, about what it must be, in base units.

    Raises:
        PacketFault: the first fault in decoding order.
    """
    plan, layout = identified(plans, data)
    codes = verified(plan, layout, data, references)
    if codes is None:
        raise _bad_check(plan, layout, data, references)
    return plan, layout, codes, _content(layout, data, codes)


def _content(layout: LayoutPlan, data: bytes, codes: Sequence[int]) -> tuple[Point, ...]:
    """The points of a packet whose header, length and check are known to be good.

    Raises:
        PacketFault: bad padding, a code out of range, a bad trail.
    """
    number = int.from_bytes(data, "big") >> layout.check_bytes * 8
    behind = (len(data) - layout.check_bytes) * 8 - layout.bits
    if layout.padding and number & (1 << layout.padding) - 1:
        raise PacketFault(
            "bad_padding", f"the last {layout.padding} bits before the check are not all zero", offset=layout.bits
        )
    for (top, absent), code in zip(layout.tops, codes, strict=True):
        if code > top and code != absent:
            raise _out_of_range(layout, codes)
    return _points(layout, codes, number, behind)


def identified(plans: Mapping[int, Plan], data: bytes) -> tuple[Plan, LayoutPlan]:
    """The plan and the layout that a header names, if the packet is as long as that layout."""
    one = next(iter(plans.values()))
    number, total = int.from_bytes(data, "big"), len(data) * 8
    if total < one.header_bits:
        raise PacketFault("too_short", f"{_bytes(len(data))}, the header takes {one.header_bits} bits", offset=0)
    version = number >> total - one.version_bits
    plan = plans.get(version)
    if plan is None:
        known = ", ".join(map(str, sorted(plans)))
        raise PacketFault("unknown_version", f"version {version}, known here: {known}", offset=0)
    ident = number >> total - one.header_bits & (1 << one.layout_bits) - 1
    layout = plan.by_id.get(ident)
    if layout is None:
        known = ", ".join(str(item.id) for item in plan.layouts)
        raise PacketFault("unknown_layout", f"layout id {ident}, version {version} has {known}", offset=one.version_bits)
    if not layout.size <= len(data) <= layout.longest:
        short = len(data) < layout.size
        size = f"{layout.size}" if layout.trail is None else f"{layout.size}..{layout.longest}"
        raise PacketFault(
            "too_short" if short else "too_long",
            f'{_bytes(len(data))}, layout "{layout.name}" of version {version} has {size}',
            offset=min(len(data), layout.size if short else layout.longest) * 8,
        )
    return plan, layout


def _out_of_range(layout: LayoutPlan, codes: Sequence[int]) -> PacketFault:
    """The fault of the first code that its field never sends."""
    both = zip(layout.fields, codes, strict=True)
    field, code = next((field, code) for field, code in both if code > field.max_code and code != field.absent_code)
    absent = "" if field.absent_code is None else f", {field.absent_code} for absent"
    return PacketFault(
        "out_of_range",
        f'{field.name}: raw code {code} is outside 0..{field.max_code}{absent} (layout "{layout.name}", {field.place})',
        field=field.name,
        offset=field.offset,
    )


def _points(layout: LayoutPlan, codes: Sequence[int], number: int, length: int) -> tuple[Point, ...]:
    """The points in the lowest `length` bits of a number."""
    if layout.trail is None:
        return ()
    try:
        return read_trail(layout.trail, anchor_of(layout, codes), number, length)
    except BadTrailFault as fault:
        message = f'the trail behind bit {layout.bits} cannot be read: {fault} (layout "{layout.name}")'
        raise PacketFault("bad_trail", message, offset=layout.bits) from None


def verified(plan: Plan, layout: LayoutPlan, data: bytes, references: References) -> tuple[int, ...] | None:
    """The raw codes of a packet for which the check is right, and None where there are none.

    Of fields that are sent by their low bits they are those near the references, the likeliest first.
    """
    size = len(data) - layout.check_bytes
    body, tail, sent = data[:size], data[size:], layout.carried(data)
    if not layout.low_fields:
        return sent if plan.check(body) == tail else None
    found = resolved(layout, sent, references)
    return next((codes for codes in found if plan.check(body, high_bytes(layout, codes)) == tail), None)


def _bad_check(plan: Plan, layout: LayoutPlan, data: bytes, references: References) -> PacketFault:
    """What is wrong with a check: it is compared with that of the likeliest codes."""
    size = len(data) - layout.check_bytes
    names = ", ".join(field.name for _, field, _ in layout.low_fields)
    codes = next(resolved(layout, layout.carried(data), references), None)
    if codes is None:
        missing = ", ".join(field.name for _, field, _ in layout.low_fields if references(field) is None)
        words = f"cannot be verified without a reference for {missing}, sent by low bits"
    else:
        assert plan.crc is not None  # noqa: S101  # without one, the check of no bytes is right
        checks = plan.check(data[:size], high_bytes(layout, codes)), data[size:]
        wanted, found = (f"{int.from_bytes(check, plan.crc.append_order):#0{2 * len(check) + 2}x}" for check in checks)
        name = plan.crc.name or f"CRC-{plan.crc.width}"
        words = f"{name} over {_bytes(size)} is {wanted}, the packet carries {found}"
        words += f"; the packet is damaged, or the reference for {names} is too far off" if names else ""
    return PacketFault("bad_check", words, offset=size * 8)


def _bytes(count: int) -> str:
    return f"{count} byte{'s' * (count != 1)}"
