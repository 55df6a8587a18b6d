"""Bad packets: every fault that a plan can give, alone and two at once.

Owns one rule: which packets are worth refusing in public. They are everyday packets with something done to them; where
the fault is about neither length nor check, the check is repaired, so that it is not what a decoder stumbles over. Which
fault a packet has is not decided here: `packetcodec.wire.unpack` says it.

>>> from packetcodec.starter import example_plan
>>> [(packet.status, packet.data.hex()) for packet in malformed(example_plan())][:3]
[('too_short', ''), ('too_short', '11'), ('too_short', '11072abad13d02afae8bcf480f')]
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from packetcodec.errors import PacketFault
from packetcodec.vectors.borders import unused_codes
from packetcodec.vectors.examples import Example, tried_fields
from packetcodec.vectors.malformed_trails import Noted, malformed_trails, trail_and_another
from packetcodec.vectors.references import Known, wrong
from packetcodec.wire import Plan, pack, unpack
from packetcodec.wire.low_bits import high_bytes, known

if TYPE_CHECKING:
    from collections.abc import Iterator


class BadPacket(NamedTuple):
    """A packet that every decoder refuses: status, field and offset as in `packetcodec.errors.PacketFault`.

    `pair` tells that it has two faults, of which the one given wins; `references` is what is known beforehand.
    """

    note: str
    data: bytes
    status: str
    field: str | None
    offset: int | None
    pair: bool = False
    references: Known | None = None


def malformed(plan: Plan) -> Iterator[BadPacket]:
    """Packets with each fault that the plan can give, in decoding order for each layout, then two faults at once."""
    seen: set[tuple[bytes, str]] = set()
    for note, data, pair, references in _broken(plan):
        if (data, str(references)) in seen:
            continue
        seen.add((data, str(references)))
        try:
            unpack({plan.version: plan}, data, known(references))
        except PacketFault as fault:
            yield BadPacket(note, data, fault.status, fault.field, fault.offset, pair, references)


def _broken(plan: Plan) -> Iterator[tuple[str, bytes, bool, Known]]:
    yield "no byte at all", b"", False, {}
    for layout in plan.layouts:
        good = Example.everyday(plan, layout)
        tried = bool(tried_fields(plan, layout)) and good.anchor is not None
        for note, data, *there in (*_alone(good), *(malformed_trails(good) if tried else ())):
            yield f"{layout.name}: {note}", data, False, there[0] if there else good.references
        for note, data in (*(trail_and_another(good) if tried else ()), *_pairs(good)):
            yield f"{layout.name}: {note}", data, True, good.references
        for note, codes, references in wrong(layout, good.codes):
            yield f"{layout.name}: {note}", pack(plan, layout, codes), False, references


def _alone(good: Example) -> Iterator[Noted]:
    """One fault, in decoding order."""
    plan, layout, data = good.plan, good.layout, good.data
    header_bytes = -(-plan.header_bits // 8)
    for count in range(1, header_bytes):
        yield "the header cut off", data[:count]
    yield "nothing behind the header's bytes", data[:header_bytes]
    yield "the last byte missing", data[:-1]
    yield "one byte more, zero", data + b"\0"
    yield "the packet twice", data * 2
    if layout.trail:
        yield "a byte less than the least", data[: layout.size - 1]
        yield "a byte more than the most", data.ljust(layout.longest + 1, b"\0")
    for version in dict.fromkeys((plan.version + 1, plan.version - 1, 0, (1 << plan.version_bits) - 1)):
        if version != plan.version and 0 <= version < 1 << plan.version_bits:
            yield f"version {version}", _headed(good, version, layout.id)
    unused = _unused_ids(plan)
    for ident in dict.fromkeys((layout.id + 1, layout.id - 1, *unused[:1], *unused[-1:])):
        if ident in unused:
            yield f"layout id {ident}", _headed(good, plan.version, ident)
    yield from _bad_check(good)
    for bit in range(layout.bits, layout.bits + layout.padding):
        yield f"bit {bit}, padding, set", _repaired(good, _flipped(data, bit))
    for place, field in enumerate(tried_fields(plan, layout)):
        for code in unused_codes(field):
            yield f"{field.name} with the unused code {code}", pack(plan, layout, good.coded(place, code))


def _bad_check(good: Example) -> Iterator[Noted]:
    data, body, crc = good.data, good.body, good.plan.crc
    if crc is None:
        return
    for where, bit in (
        ("first field bit", good.plan.header_bits), ("last field bit", good.layout.bits - 1),
        ("first bit of the check", 8 * len(body)), ("last bit of the check", 8 * len(data) - 1),
    ):  # fmt: skip
        yield f"the {where} flipped", _flipped(data, bit)
    order, ones = crc.append_order, (1 << crc.width) - 1
    check = data[len(body) :]
    yield "the check's bytes in the other order", body + check[::-1]
    yield "the check all zero", body + bytes(len(check))
    yield "the check inverted", body + (int.from_bytes(check, order) ^ ones).to_bytes(len(check), order)
    for start, what in ((crc.initial, "the CRC's own start"), (0, "zero"), (ones, "all ones")):
        other = crc.of(high_bytes(good.layout, good.codes) + body, start).to_bytes(len(check), order)
        if other != check:
            yield f"the check started from {what}", body + other


def _pairs(good: Example) -> Iterator[Noted]:
    """Two faults at once: which one wins is what `unpack` says."""
    plan, layout, data = good.plan, good.layout, good.data
    other = (plan.version + 1) % (1 << plan.version_bits)
    yield "another version, and a byte missing", _headed(good, other, layout.id)[:-1]
    for unknown in _unused_ids(plan)[:1]:
        least = max(-(-plan.header_bits // 8), layout.size - 1)
        yield "an unknown layout, and a byte missing", _headed(good, plan.version, unknown)[:least]
        yield "another version, and an unknown layout", _headed(good, other, unknown)
    unused = [field.max_code + 1 in unused_codes(field) for field in layout.fields]
    fields = zip(layout.fields, good.codes, unused, strict=True)
    codes = [field.max_code + 1 if free else code for field, code, free in fields]
    broken, last = pack(plan, layout, codes), 8 * len(data) - 1
    if plan.crc:
        yield "a byte missing, so that the check is wrong too", _flipped(data, plan.header_bits)[:-1]
        yield "a byte more, and a wrong check", _flipped(data, last) + b"\0"
        if layout.padding:
            yield "padding set, and a wrong check", _flipped(data, layout.bits)
        if any(unused):
            yield "an unused code, and a wrong check", _flipped(broken, last)
    if any(unused) and layout.padding:
        yield "padding set, and an unused code", _repaired(good, _flipped(broken, layout.bits))
    if sum(unused) > 1:
        yield f"unused codes in {sum(unused)} fields", broken


def _unused_ids(plan: Plan) -> list[int]:
    known = {layout.id for layout in plan.layouts}
    return [ident for ident in range(1 << plan.layout_bits) if ident not in known]


def _flipped(data: bytes, bit: int) -> bytes:
    number = int.from_bytes(data, "big") ^ 1 << 8 * len(data) - 1 - bit
    return number.to_bytes(len(data), "big")


def _repaired(good: Example, data: bytes) -> bytes:
    """The same packet with the check that its other bytes ask for, and the high parts of a good one."""
    return good.plan.seal(data[: len(data) - good.layout.check_bytes], high_bytes(good.layout, good.codes))


def _headed(good: Example, version: int, ident: int) -> bytes:
    """The packet under another header."""
    plan, data = good.plan, good.data
    below = 8 * len(data) - plan.header_bits
    rest = int.from_bytes(data, "big") & (1 << below) - 1
    number = (version << plan.layout_bits | ident) << below | rest
    return _repaired(good, number.to_bytes(len(data), "big"))
