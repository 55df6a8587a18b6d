"""Bad packets: every fault that a plan can give, alone and two at once.

Owns one rule: which packets are worth refusing in public. They are everyday packets with something done to them; where
the fault is about neither length nor check, the check is repaired, so that it is not what a decoder stumbles over. Which
fault a packet has is not decided here: `packetcodec.wire.unpack` says it.

>>> from packetcodec.wire import compile_plan
>>> from packetcodec.schema import Schema
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... check = { crc = "none" }
... [[layouts]]
... name = "gate"
... id = 2
... fields = [{ kind = "flag", name = "open" }]
... '''))
>>> [(case.status, case.data.hex()) for case in bad_packets(plan)][:3]
[('too_short', ''), ('too_short', '12'), ('too_long', '128000')]
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.errors import PacketFault
from packetcodec.vectors.examples import Encoding, encoding, scene
from packetcodec.vectors.malformed_trails import bad_trails
from packetcodec.wire import LayoutPlan, Plan, pack, unpack

if TYPE_CHECKING:
    from collections.abc import Iterator


@dataclass(frozen=True, slots=True)
class Bad:
    """A packet that every decoder refuses: status, field and offset as in `packetcodec.errors.PacketFault`.

    `pair` tells that it has two faults, of which the one given wins.
    """

    note: str
    data: bytes
    status: str
    field: str | None
    offset: int | None
    pair: bool = False


def bad_packets(plan: Plan) -> Iterator[Bad]:
    """Packets with each fault that the plan can give, in decoding order for each layout, then two faults at once."""
    seen: set[bytes] = set()
    for note, data, pair in _broken(plan):
        if data in seen:
            continue
        seen.add(data)
        try:
            unpack({plan.version: plan}, data)
        except PacketFault as fault:
            yield Bad(note, data, fault.status, fault.field, fault.offset, pair)


def _broken(plan: Plan) -> Iterator[tuple[str, bytes, bool]]:
    yield "no byte at all", b"", False
    for layout in plan.layouts:
        name = layout.name
        good = encoding(plan, layout, "", map(scene, layout.fields))
        head = -(-plan.header_bits // 8)
        for count in range(1, head):
            yield f"{name}: the header cut off", good.data[:count], False
        yield f"{name}: nothing behind the header's bytes", good.data[:head], False
        yield f"{name}: the last byte missing", good.data[:-1], False
        yield f"{name}: one byte more, zero", good.data + b"\0", False
        yield f"{name}: the packet twice", good.data * 2, False
        if layout.trail:
            yield f"{name}: a byte less than the least", good.data[: layout.size - 1], False
            yield f"{name}: a byte more than the most", good.data.ljust(layout.longest + 1, b"\0"), False
        yield from _bad_header(plan, layout, good)
        if plan.crc:
            yield from _bad_check(plan, layout, good)
        for bit in range(layout.padding):
            yield f"{name}: bit {layout.bits + bit}, padding, set", _flip(plan, good.data, layout.bits + bit), False
        for index, field in enumerate(layout.fields):
            for code in dict.fromkeys((field.max_code + 1, (1 << field.bits) - 1, (1 << field.bits) - 2)):
                if field.max_code < code < 1 << field.bits and code != field.absent_code:
                    raws = (*good.raws[:index], code, *good.raws[index + 1 :])
                    yield f"{name}: {field.name} with the unused code {code}", pack(plan, layout, raws), False
        yield from bad_trails(plan, layout)
        yield from _pairs(plan, layout, good)


def _bad_header(plan: Plan, layout: LayoutPlan, good: Encoding) -> Iterator[tuple[str, bytes, bool]]:
    for version in dict.fromkeys((plan.version + 1, plan.version - 1, 0, (1 << plan.version_bits) - 1)):
        if version != plan.version and 0 <= version < 1 << plan.version_bits:
            note = f"{layout.name}: version {version}"
            yield note, _header(plan, good.data, version, layout.id), False
    unused = _unused_ids(plan)
    for ident in dict.fromkeys((layout.id + 1, layout.id - 1, *unused[:1], *unused[-1:])):
        if ident in unused:
            yield f"{layout.name}: layout id {ident}", _header(plan, good.data, plan.version, ident), False


def _bad_check(plan: Plan, layout: LayoutPlan, good: Encoding) -> Iterator[tuple[str, bytes, bool]]:
    assert plan.crc is not None  # noqa: S101  # the caller looked
    name, data, body = layout.name, good.data, good.data[: len(good.data) - layout.check_bytes]
    seam = len(body) * 8
    spots = [("the first field bit", plan.header_bits), ("the last field bit", layout.bits - 1)]
    spots += [("the first bit of the check", seam), ("the last bit of the check", len(data) * 8 - 1)]
    for where, bit in spots:
        yield f"{name}: {where} flipped", _xor(data, bit), False
    order = plan.crc.append_order
    check = data[len(body) :]
    yield f"{name}: the check's bytes in the other order", body + check[::-1], False
    yield f"{name}: the check all zero", body + bytes(len(check)), False
    ones = (1 << plan.crc.width) - 1
    inverted = int.from_bytes(check, order) ^ ones
    yield f"{name}: the check inverted", body + inverted.to_bytes(len(check), order), False
    for start, what in ((plan.crc.initial, "the CRC's own start"), (0, "zero"), (ones, "all ones")):
        other = plan.crc.of(body, start).to_bytes(len(check), order)
        if other != check:
            yield f"{name}: the check started from {what}", body + other, False


def _pairs(plan: Plan, layout: LayoutPlan, good: Encoding) -> Iterator[tuple[str, bytes, bool]]:
    """Two faults at once: which one wins is what `unpack` says."""
    name, data = layout.name, good.data
    other = (plan.version + 1) % (1 << plan.version_bits)
    unknown = next(iter(_unused_ids(plan)), None)
    head = -(-plan.header_bits // 8)
    yield f"{name}: another version, and a byte missing", _header(plan, data, other, layout.id)[:-1], True
    if unknown is not None:
        cut = _header(plan, data, plan.version, unknown)[: max(head, layout.size - 1)]
        yield f"{name}: an unknown layout, and a byte missing", cut, True
        yield f"{name}: another version, and an unknown layout", _header(plan, data, other, unknown), True
    unused = [(index, field.max_code + 1) for index, field in enumerate(layout.fields) if not field.uses_every_code]
    unused = [(index, code) for index, code in unused if code != layout.fields[index].absent_code]
    raws = list(good.raws)
    for index, code in unused:
        raws[index] = code
    broken = pack(plan, layout, raws)
    flip = len(data) * 8 - 1
    if plan.crc:
        yield f"{name}: a byte missing, so that the check is wrong too", _xor(data, plan.header_bits)[:-1], True
        yield f"{name}: a byte more, and a wrong check", _xor(data, flip) + b"\0", True
        if layout.padding:
            yield f"{name}: padding set, and a wrong check", _xor(data, layout.bits), True
        if unused:
            yield f"{name}: an unused code, and a wrong check", _xor(broken, flip), True
    if unused and layout.padding:
        yield f"{name}: padding set, and an unused code", _flip(plan, broken, layout.bits), True
    if len(unused) > 1:
        yield f"{name}: unused codes in {len(unused)} fields", broken, True


def _unused_ids(plan: Plan) -> list[int]:
    known = {item.id for item in plan.layouts}
    return [ident for ident in range(1 << plan.layout_bits) if ident not in known]


def _xor(data: bytes, bit: int) -> bytes:
    number = int.from_bytes(data, "big") ^ 1 << len(data) * 8 - 1 - bit
    return number.to_bytes(len(data), "big")


def _repair(plan: Plan, data: bytes) -> bytes:
    """The same packet with the check that its other bytes ask for."""
    return plan.crc.append(data[: -plan.crc.size], plan.seed) if plan.crc else data


def _flip(plan: Plan, data: bytes, bit: int) -> bytes:
    return _repair(plan, _xor(data, bit))


def _header(plan: Plan, data: bytes, version: int, ident: int) -> bytes:
    below = len(data) * 8 - plan.header_bits
    rest = int.from_bytes(data, "big") & (1 << below) - 1
    number = (version << plan.layout_bits | ident) << below | rest
    return _repair(plan, number.to_bytes(len(data), "big"))
