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
from packetcodec.vectors.malformed_trails import Malformed, malformed_trails
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
        trails = malformed_trails(good) if tried_fields(plan, layout) else ()
        for note, data, pair, *there in (*_alone(good), *trails, *_pairs(good)):
            yield f"{layout.name}: {note}", data, pair, there[0] if there else good.references
        for note, codes, references in wrong(layout, good.codes):
            yield f"{layout.name}: {note}", pack(plan, layout, codes), False, references


def _alone(good: Example) -> Iterator[Malformed]:
    """One fault, in decoding order."""
    plan, layout, data = good.plan, good.layout, good.data
    header_bytes = -(-plan.header_bits // 8)
    for count in range(1, header_bytes):
        yield "the header cut off", data[:count], False
    yield "nothing behind the header's bytes", data[:header_bytes], False
    yield "the last byte missing", data[:-1], False
    yield "one byte more, zero", data + b"\0", False
    yield "the packet twice", data * 2, False
    if layout.trail:
        yield "a byte less than the least", data[: layout.size - 1], False
        yield "a byte more than the most", data.ljust(layout.longest + 1, b"\0"), False
    yield from _bad_header(good)
    yield from _bad_check(good)
    for bit in range(layout.padding):
        yield f"bit {layout.bits + bit}, padding, set", _repaired(good, _flipped(data, layout.bits + bit)), False
    for place, field in enumerate(tried_fields(plan, layout)):
        for code in unused_codes(field):
            note = f"{field.name} with the unused code {code}"
            yield note, pack(plan, layout, good.coded(place, code)), False


def _bad_header(good: Example) -> Iterator[Malformed]:
    plan, layout = good.plan, good.layout
    for version in dict.fromkeys((plan.version + 1, plan.version - 1, 0, (1 << plan.version_bits) - 1)):
        if version != plan.version and 0 <= version < 1 << plan.version_bits:
            yield f"version {version}", _headed(good, version, layout.id), False
    unused = _unused_ids(plan)
    for ident in dict.fromkeys((layout.id + 1, layout.id - 1, *unused[:1], *unused[-1:])):
        if ident in unused:
            yield f"layout id {ident}", _headed(good, plan.version, ident), False


def _bad_check(good: Example) -> Iterator[Malformed]:
    data, body, crc = good.data, good.body, good.plan.crc
    if crc is None:
        return
    spots = [("the first field bit", good.plan.header_bits), ("the last field bit", good.layout.bits - 1)]
    spots += [("the first bit of the check", 8 * len(body)), ("the last bit of the check", 8 * len(data) - 1)]
    for where, bit in spots:
        yield f"{where} flipped", _flipped(data, bit), False
    order, ones = crc.append_order, (1 << crc.width) - 1
    check = data[len(body) :]
    yield "the check's bytes in the other order", body + check[::-1], False
    yield "the check all zero", body + bytes(len(check)), False
    inverted = int.from_bytes(check, order) ^ ones
    yield "the check inverted", body + inverted.to_bytes(len(check), order), False
    for start, what in ((crc.initial, "the CRC's own start"), (0, "zero"), (ones, "all ones")):
        other = crc.of(high_bytes(good.layout, good.codes) + body, start).to_bytes(len(check), order)
        if other != check:
            yield f"the check started from {what}", body + other, False


def _pairs(good: Example) -> Iterator[Malformed]:
    """Two faults at once: which one wins is what `unpack` says."""
    plan, layout, data = good.plan, good.layout, good.data
    other = (plan.version + 1) % (1 << plan.version_bits)
    yield "another version, and a byte missing", _headed(good, other, layout.id)[:-1], True
    for unknown in _unused_ids(plan)[:1]:
        least = max(-(-plan.header_bits // 8), layout.size - 1)
        yield "an unknown layout, and a byte missing", _headed(good, plan.version, unknown)[:least], True
        yield "another version, and an unknown layout", _headed(good, other, unknown), True
    codes = [field.max_code + 1 if field.max_code + 1 in unused_codes(field) else None for field in layout.fields]
    unused = len(codes) - codes.count(None)
    broken = pack(plan, layout, [code if new is None else new for code, new in zip(good.codes, codes, strict=True)])
    last = 8 * len(data) - 1
    if plan.crc:
        yield "a byte missing, so that the check is wrong too", _flipped(data, plan.header_bits)[:-1], True
        yield "a byte more, and a wrong check", _flipped(data, last) + b"\0", True
        if layout.padding:
            yield "padding set, and a wrong check", _flipped(data, layout.bits), True
        if unused:
            yield "an unused code, and a wrong check", _flipped(broken, last), True
    if unused and layout.padding:
        yield "padding set, and an unused code", _repaired(good, _flipped(broken, layout.bits)), True
    if unused > 1:
        yield f"unused codes in {unused} fields", broken, True


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
