r"""What is always true of a packet format, as plain functions: each name is the sentence that it holds.

Owns one rule: how sure a statistical test is. What has a probability is refused only when chance alone would do it less
often than once in a million runs (`SURE`), by the exact binomial tail.

>>> from packetcodec.schema import Schema
>>> from packetcodec.starter import schema_text
>>> codec = Codec(Schema.parse(schema_text()))
>>> decoding_ends_with_a_packet_or_a_named_fault(codec, b"\x12")
>>> from fractions import Fraction
>>> chance_of_passing_so_often(3, 1000, Fraction(1, 256)) > SURE
True

>>> from packetcodec import Codec, Schema
>>> from packetcodec.starter import schema_text
>>> codec = Codec(Schema.parse(schema_text()))
>>> values = {"collar": 7, "counter": 42, "battery": 3.7, "fix_quality": 1, "latitude": 46.5, "longitude": 9.8}
>>> data = codec.encode("track", values, [(46.501, 9.801)])
>>> decoding_ends_with_a_packet_or_a_named_fault(codec, data)
>>> what_is_accepted_encodes_again_to_the_same_meaning(codec, data)
>>> values_follow_from_the_codes(codec, data)
>>> from packetcodec.wire import Point
>>> track = codec.plan.layout("track")
>>> points_are_within_half_a_cell(codec.plan, track, data, [Point(465_010_000, 98_010_000)])
>>> battery = track.fields[5]
>>> error_is_within_the_promised_bound(battery, 3714)
>>> quantizing_is_monotone(battery, [3714, 3720, 3800])
>>> quantizing_is_idempotent(battery, 61)
>>> guaranteed_flips(codec.plan, 14)
4
>>> flips_up_to_the_guarantee_are_noticed(codec.plan, data, bits=[3, 14, 15])
>>> noise_is_missed_no_more_often_than_promised(codec.plan, passed=1, tried=70_000)
>>> try:
...     all_answers_agree("decode 1107", {"python": "too_short", "c": "too_long"})
... except BrokenInvariantError as fault:
...     print(fault)
decode 1107: python: too_short; c: too_long
"""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING, Any, cast

from packetcodec.codec import Codec, Packet
from packetcodec.crc.distance import packet_distance
from packetcodec.errors import FAULTS, OK, PacketFault
from packetcodec.vectors.references import usual
from packetcodec.wire import FieldPlan, LayoutPlan, OutOfRangeFault, Plan, anchor_of, from_raw, to_raw, to_value, unpack
from packetcodec.wire.low_bits import known
from packetcodec.wire.trail.cells import HALF_CIRCLE, POLE, east_step, wrapped

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from packetcodec.wire import Point

#: A result that chance alone would give less often than this is refused.
SURE = 1e-6


class BrokenInvariantError(AssertionError):
    """Something that is always true was not. The message says what, and with which input."""


def decoding_ends_with_a_packet_or_a_named_fault(codec: Any, data: bytes) -> None:
    """Whatever the bytes, `decode` gives a Packet or raises a PacketFault of a known name, and `try_decode` agrees."""
    try:
        packet = codec.decode(data)
        status = OK
    except PacketFault as fault:
        packet, status = None, fault.status
    except Exception as fault:
        raise BrokenInvariantError(f"decoding {data.hex() or '-'} raised {type(fault).__name__}: {fault}") from fault
    if status not in {OK, *FAULTS}:
        raise BrokenInvariantError(f"decoding {data.hex() or '-'} gave the unknown fault {status!r}")
    if status == OK and not isinstance(packet, Packet):
        raise BrokenInvariantError(f"decoding {data.hex()} gave {packet!r}, no Packet")
    if codec.try_decode(data)[0] != status:
        raise BrokenInvariantError(f"decode and try_decode say different things of {data.hex() or '-'}")


def what_is_accepted_encodes_again_to_the_same_meaning(codec: Codec, data: bytes) -> None:
    """A good packet of the codec's own version, encoded again, is the very same packet.

    With a trail: it says the same codes, and each point lies within half a cell of where it was. (The same trail can have
    been coded on a coarser grid than it needs, and a point half way round the globe in either direction.)
    """
    status, packet = codec.try_decode(data)
    if status != OK or packet is None or packet.version != codec.plan.version:
        return
    layout = codec.plan.layout(packet.layout)
    again = codec.encode(packet.layout, packet.values, packet.trail)
    if layout.trail is None:
        if again != data:
            raise BrokenInvariantError(f"{data.hex()} encodes again to {again.hex()}")
        return
    plans = {codec.plan.version: codec.plan}
    near = known(usual(layout, packet.codes))
    _, _, codes, points = unpack(plans, data, near)
    _, _, codes_again, points_again = unpack(plans, again, near)
    if codes_again != codes or (len(points_again) < len(points) and not layout.trail.coarsenings):
        raise BrokenInvariantError(f"{data.hex()} encodes again to {again.hex()}, which says something else")
    _demand_near(layout, codes, points_again, points, data)


def values_follow_from_the_codes(codec: Codec, data: bytes) -> None:
    """The values of a packet are those of its raw codes, by the plain rule."""
    status, packet = codec.try_decode(data)
    if status != OK or packet is None:
        return
    layout = codec.plans[packet.version].layout(packet.layout)
    for field, code in zip(layout.fields, packet.codes, strict=True):
        value, wanted = packet.values[field.name], to_value(field, code)
        if value != wanted or type(value) is not type(wanted):
            raise BrokenInvariantError(f"{data.hex()}: {field.name} is {value!r}, its code {code} means {wanted!r}")


def error_is_within_the_promised_bound(field: FieldPlan, base: int) -> None:
    """A base within the range arrives at most half a step from where it was, measured around a circle."""
    if not field.low <= base <= field.max_input:
        return
    there = from_raw(field, to_raw(field, base))
    error = abs(there - base)
    if field.modulus:
        error = min(error, field.modulus - error)
    if error > field.max_error:
        raise BrokenInvariantError(
            f"{field.name}: base {base} arrives as {there}, {error} away: more than {field.max_error}"
        )


def quantizing_is_monotone(field: FieldPlan, bases: Iterable[int]) -> None:
    """Of two bases the larger never gets the smaller code, except across the end of a circle, to code 0."""
    codes = [(base, _code(field, base)) for base in sorted(bases) if field.low <= base <= field.max_input]
    for (base, code), (other, next_code) in pairwise(codes):
        if code is not None and next_code is not None and next_code < code and not (field.modulus and next_code == 0):
            raise BrokenInvariantError(f"{field.name}: {base} has code {code}, {other} has {next_code}")


def quantizing_is_idempotent(field: FieldPlan, code: int) -> None:
    """The base of a code in use has that very code."""
    if not 0 <= code <= field.max_code:
        return
    again = _code(field, from_raw(field, code))
    if again != code:
        raise BrokenInvariantError(f"{field.name}: code {code} is base {from_raw(field, code)}, which has code {again}")


def _code(field: FieldPlan, base: int) -> int | None:
    try:
        return to_raw(field, base)
    except OutOfRangeFault:
        return None


def points_are_within_half_a_cell(plan: Plan, layout: LayoutPlan, data: bytes, given: Sequence[Point]) -> None:
    """Each point of a trail arrives within half a cell of where it was given, of the coarsest cell that there can be."""
    _, _, codes, points = unpack({plan.version: plan}, data)
    _demand_near(layout, codes, points, given, data)


def _demand_near(
    layout: LayoutPlan, codes: Sequence[int], points: Sequence[Point], given: Sequence[Point], data: bytes
) -> None:
    trail, anchor = layout.trail, anchor_of(layout, codes)
    if trail is None or anchor is None:
        return
    step = trail.step << trail.coarsenings
    wide = east_step(step, anchor.latitude)
    for number, (point, was) in enumerate(zip(points, given, strict=False), 1):
        east = abs(wrapped(point.longitude - was.longitude))
        north = abs(point.latitude - was.latitude)
        # Half way round the globe the cells do not close: a point there can be up to one cell off.
        way = abs(wrapped(was.longitude - anchor.longitude))
        most = 2 * wide if way > HALF_CIRCLE - 2 * wide else wide
        if 2 * north > step + 1 or 2 * east > most + 1:
            raise BrokenInvariantError(f"point {number} of {data.hex()} is {north} and {east} units from where it was")
        if abs(point.latitude) > POLE or not -HALF_CIRCLE <= point.longitude < HALF_CIRCLE:
            raise BrokenInvariantError(f"point {number} of {data.hex()} is at {point.latitude}, {point.longitude}")


def flips_up_to_the_guarantee_are_noticed(plan: Plan, data: bytes, bits: Iterable[int]) -> None:
    """A good packet with fewer wrong bits than the Hamming distance at its length is never good."""
    places = set(bits)
    if not 0 < len(places) <= guaranteed_flips(plan, len(data)):
        return
    number = int.from_bytes(data, "big")
    for bit in places:
        number ^= 1 << 8 * len(data) - 1 - bit
    broken = number.to_bytes(len(data), "big")
    try:
        unpack({plan.version: plan}, broken)
    except PacketFault:
        return
    raise BrokenInvariantError(f"{data.hex()} with bits {sorted(places)} flipped is a good packet")


def guaranteed_flips(plan: Plan, size: int) -> int:
    """So many wrong bits in a packet of so many bytes are always noticed; 0 without a check, or with low bits."""
    if plan.crc is None or plan.has_low_bits or size <= plan.crc.size:
        return 0
    return packet_distance(plan.crc, size).value - 1


def noise_is_missed_no_more_often_than_promised(plan: Plan, passed: int, tried: int, *, doubled: bool = False) -> None:
    """Of packets of noise, or with a long burst of wrong bits, the check lets through 1 in 2^width.

    Bursts of exactly one bit more than the check pass twice as often (`doubled`). The test is one-sided and sure to
    `SURE`: chance alone fails it less often than once in a million.
    """
    if plan.crc is None or not tried:
        return
    promised = Fraction(2 if doubled else 1, 2**plan.crc.width)
    chance = chance_of_passing_so_often(passed, tried, promised)
    if chance < SURE:
        raise BrokenInvariantError(
            f"{passed} of {tried} packets of noise passed the check, promised is 1 in {promised.denominator}: chance alone "
            f"does that with a probability of {chance:.1g}"
        )


def chance_of_passing_so_often(passed: int, tried: int, promised: Fraction) -> float:
    """Probability that of `tried` packets at least `passed` pass, each with the probability `promised`.

    The tail of the binomial distribution, term by term from the first; what is left out is below one part in 10^15.
    """
    if passed <= 0:
        return 1.0
    p = float(promised)
    ways = math.lgamma(tried + 1) - math.lgamma(passed + 1) - math.lgamma(tried - passed + 1)
    term = math.exp(ways + passed * math.log(p) + (tried - passed) * math.log1p(-p))
    total = 0.0
    for number in range(passed, tried + 1):
        total += term
        term *= (tried - number) / (number + 1) * p / (1 - p)
        if number > tried * p and term < total * 1e-16:
            break
    return min(1.0, total)


def all_answers_agree(question: str, answers: dict[str, str]) -> None:
    """Every back end gives the same answer to a question."""
    if len(set(answers.values())) > 1:
        said = "; ".join(f"{name}: {answer}" for name, answer in answers.items())
        raise BrokenInvariantError(f"{question}: {said}")


#: Those that hold for a codec and any bytes at all.
OF_ANY_BYTES: tuple[Callable[[Codec, bytes], None], ...] = (
    decoding_ends_with_a_packet_or_a_named_fault,
    what_is_accepted_encodes_again_to_the_same_meaning,
    values_follow_from_the_codes,
)


class _Heard:
    """A codec whose `try_decode` is asked once about the same bytes: what it said is held against every sentence."""

    def __init__(self, codec: Codec, reference: Mapping[str, Any] | None = None) -> None:
        self._codec, self._reference = codec, reference
        self._said: dict[bytes, tuple[str, Packet | None]] = {}

    def __getattr__(self, name: str) -> Any:
        return getattr(self._codec, name)

    def decode(self, data: bytes) -> Packet:
        """As that of a codec."""
        return self._codec.decode(data, reference=self._reference)

    def try_decode(self, data: bytes) -> tuple[str, Packet | None]:
        """As that of a codec."""
        if data not in self._said:
            self._said[data] = self._codec.try_decode(data, reference=self._reference)
        return self._said[data]


def broken_by(codec: Codec, data: bytes, reference: Mapping[str, Any] | None = None) -> str:
    """What a codec breaks with some bytes and references: the sentence, a colon, and how; or ""."""
    heard = cast("Codec", _Heard(codec, reference))
    for invariant in OF_ANY_BYTES:
        sentence = invariant.__name__.replace("_", " ")
        try:
            invariant(heard, data)
        except BrokenInvariantError as fault:
            return f"{sentence}: {fault}"
        except Exception as fault:  # noqa: BLE001  # whatever comes out of a decoder is what we look for
            return f"{sentence}: {type(fault).__name__}: {fault}"
    return ""
