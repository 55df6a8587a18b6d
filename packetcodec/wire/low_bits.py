"""Low bits: what of a code is sent, what of it only enters the check, and how a reference gives the code back.

Owns rule 11 of the wire, in whole numbers that fit 32 bits without sign (DEVELOPERS.md says it in words).

>>> from packetcodec.wire.plan import compile_plan
>>> from packetcodec.schema import Schema
>>> layout = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "counter", bits = 31, low_bits = 8 }, { kind = "longitude", resolution_m = 2.5, low_bits = 16 }]
... ''')).layouts[0]
>>> remainders(layout, (1000, 16_000_000))
(232, 9216)
>>> near_codes(layout.fields[0], 232, 995), near_codes(layout.fields[1], 9216, 16_010_000)
((1000,), (16000000,))
>>> high_bytes(layout, (1000, 16_000_000)).hex()                 # 23 bits and 8 bits, and a bit of zero
'000007e8'
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from packetcodec.schema import Role
from packetcodec.schema.low_bits import metres_east, metres_north
from packetcodec.wire.quantize import to_raw

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from packetcodec.wire.field_plan import FieldPlan
    from packetcodec.wire.plan import LayoutPlan

    #: A field to about what its value must be, in base units; None where nothing is known.
    References = Callable[[FieldPlan], int | None]
    Codes = tuple[int, ...]


def unknown(_: FieldPlan) -> None:
    """The references of a receiver that knows nothing."""


def known(bases: Mapping[str, int]) -> References:
    """The references of a receiver that knows these, by name of the field."""
    return lambda field: bases.get(field.name)


def remainders(layout: LayoutPlan, codes: Sequence[int]) -> Codes:
    """What is sent for the codes of a layout's fields: of those sent by their low bits the remainder, of others the code."""
    sent = list(codes)
    for place, field, low in layout.low_fields:
        sent[place] = codes[place] % low.modulus if low.absent is None or codes[place] != field.absent_code else low.absent
    return tuple(sent)


def high_bytes(layout: LayoutPlan, codes: Sequence[int]) -> bytes:
    """The high parts of a layout's codes, packed as they enter the check before the packet."""
    number = length = 0
    for place, field, low in layout.low_fields:
        high = 0 if codes[place] == field.absent_code else codes[place] // low.modulus
        number, length = number << low.high_bits | high, length + low.high_bits
    return (number << -length % 8).to_bytes(-(-length // 8), "big")


def reference_code(field: FieldPlan, base: int) -> int:
    """The code of a reference in base units, whatever the field's policy: cut to its range, or wrapped on a circle."""
    if field.modulus:
        raw = ((base - field.low) % field.modulus + field.step // 2) // field.step
        return 0 if raw > field.max_code else raw
    return to_raw(field, min(max(base, field.low), field.high))


def reach_of(field: FieldPlan, fewer: int = 0) -> int:
    """How far from a value a reference may be to lead to it, in base units, both rounded to one; 0 where all is sent.

    With `fewer` low bits than the field has, it is what would then remain.
    """
    if field.low_bits is None:
        return 0
    modulus = (1 << field.bits - fewer) - (field.low_bits.absent is not None)
    narrow_cell = field.modulus is not None and field.modulus % field.step > 0
    return max(0, ((modulus - 1) // 2 - narrow_cell) * field.step - (not field.kind.counting))


def reach_metres(field: FieldPlan) -> int | None:
    """The same of a latitude or longitude in whole metres, rounded down: of a longitude up to its `max_latitude`."""
    if field.low_bits is None or field.kind.role not in (Role.NORTH, Role.EAST):
        return None
    angle = math.radians(reach_of(field) / field.scale)
    north = field.kind.role is Role.NORTH
    return math.floor(metres_north(angle) if north else metres_east(angle, field.low_bits.max_latitude))


def near_codes(field: FieldPlan, remainder: int, reference: int) -> Codes:
    """The codes that leave a remainder next to a reference's code: one, or the likelier of two first."""
    low, most = field.low_bits, field.max_code
    assert low is not None  # noqa: S101  # a caller asks for fields that have some
    modulus = low.modulus
    up = (remainder + modulus - reference % modulus) % modulus
    down = modulus - up
    if up > most - reference or down <= min(reference, up):
        near, distance = reference - down, down
    else:
        near, distance = reference + up, up
    if not field.modulus:
        return (near,)
    if reference <= most // 2:
        far = remainder + (most - remainder) // modulus * modulus
        across = reference + (most + 1 - far)
    else:
        far, across = remainder, (most + 1 - reference) + remainder
    nearer, other = ((near, distance), (far, across)) if distance <= across else ((far, across), (near, distance))
    return (nearer[0], other[0]) if other[1] <= low.reach else (nearer[0],)


def resolved(layout: LayoutPlan, sent: Codes, references: References) -> Iterator[Codes]:
    """The codes that a packet can mean, the likeliest first; none where a reference is missing.

    Args:
        layout: of the packet.
        sent: what it carries for each field.
        references: what is known of a field.
    """
    found: list[list[int]] = [list(sent)]
    for place, field, low in layout.low_fields:
        if sent[place] == low.absent:
            found = [[*codes[:place], field.absent_code or 0, *codes[place + 1 :]] for codes in found]
        elif (base := references(field)) is None:
            return
        else:
            near = near_codes(field, sent[place], reference_code(field, base))
            found = [[*codes[:place], code, *codes[place + 1 :]] for code in near for codes in found]
    yield from map(tuple, found)
