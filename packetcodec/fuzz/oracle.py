"""The expected answer to a question of the line protocol, from the plan's plain way of packing and unpacking.

Owns no rule: it says those of decoding without the messages and places of faults, which take longer than all else. A test
holds it against `packetcodec.wire`.

>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> oracle = Oracle(plan)
>>> oracle.answer("decode 11072abad13d02afae8bcf480f2c"), oracle.answer("decode 11072abad13d02afae8bcf480f2d")
('ok 1 7 42 6121630 8476631 1118 61 1', 'bad_check')
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from operator import le
from typing import TYPE_CHECKING

from packetcodec.fuzz.protocol import (
    DEGREES,
    FIELD,
    HELD,
    REFUSED,
    UNKNOWN,
    Question,
    QuestionFault,
    Unit,
    bases_of,
    decode_answer,
    read_question,
)
from packetcodec.wire import LayoutPlan, OutOfRangeFault, Plan, Point, anchor_of, pack, to_raw
from packetcodec.wire.low_bits import known
from packetcodec.wire.packing import verified
from packetcodec.wire.trail.cells import HALF_CIRCLE, POLE
from packetcodec.wire.trail.coding import MAX_POINT_ALTITUDE, read_trail
from packetcodec.wire.trail.numbers import BadTrailFault

if TYPE_CHECKING:
    from collections.abc import Sequence


#: The bounds of a point's altitude in centimetres, and of its age in seconds (section 7.1 of the specification).
MAX_AGE = 2**31 - 1


class Oracle:
    """Answers questions about one plan.

    Attributes:
        plan: what is asked about.
        unit: whether good packets are told in raw codes or in base units.
        fault_at: the place of the field at fault in the last question; None where none was.
    """

    def __init__(self, plan: Plan, unit: Unit = "ok") -> None:
        self.plan = plan
        self.unit: Unit = unit
        self.fault_at: int | None = None
        self._header_bits = plan.header_bits
        self._most = {item.id: [field.max_code for field in item.fields] for item in plan.layouts}
        self._layouts = {plan.version << plan.layout_bits | item.id: item for item in plan.layouts}
        self._residue = plan.crc.residue(plan.seed) if plan.crc else 0
        self._crc = plan.crc.function(plan.seed) if plan.crc else lambda _: 0

    def decode(self, data: bytes, references: Sequence[int | None] = ()) -> str:
        """What a decoder says of a packet, to a receiver with these references: the first fault in decoding order."""
        number, size, total = int.from_bytes(data, "big"), len(data), 8 * len(data)
        if total < self._header_bits:
            return "too_short"
        head = number >> total - self._header_bits
        layout = self._layouts.get(head)
        if layout is None:
            return "unknown_layout" if head >> self.plan.layout_bits == self.plan.version else "unknown_version"
        if not layout.size <= size <= layout.longest:
            return "too_short" if size < layout.size else "too_long"
        codes: tuple[int, ...] | None
        if not layout.low_fields:
            codes = layout.carried(data) if self._crc(data) == self._residue else None
        else:
            codes = verified(self.plan, layout, data, known(bases_of(self.plan, references)))
        return "bad_check" if codes is None else self._content(layout, codes, number >> 8 * layout.check_bytes, total)

    def _content(self, layout: LayoutPlan, codes: tuple[int, ...], number: int, total: int) -> str:
        """What is said of a packet of these codes whose check is right; `number` is its bytes before the check."""
        if number & (1 << layout.padding) - 1:
            return "bad_padding"
        if not all(map(le, codes, self._most[layout.id])):  # absent, or out of range
            for place, ((top, absent), code) in enumerate(zip(layout.tops, codes, strict=True)):
                if code > top and code != absent:
                    self.fault_at = place
                    return "out_of_range"
        if layout.trail is None:
            return decode_answer(self.unit, layout, codes)
        below = total - 8 * layout.check_bytes - layout.bits
        try:
            points = read_trail(layout.trail, anchor_of(layout, codes), number, below)
        except BadTrailFault:
            return "bad_trail"
        return decode_answer(self.unit, layout, codes, points)

    def told(self, layout: LayoutPlan, codes: Sequence[int], points: Sequence[Point] = ()) -> str:
        """What a decoder says of a good packet with these codes and points."""
        return decode_answer(self.unit, layout, codes, points)

    def encode(self, layout: LayoutPlan, codes: Sequence[int], points: Sequence[Point] = ()) -> str:
        """The packet of raw codes, in hex, or `refused`, for a point that is no place on Earth."""
        self.fault_at = self._lost(layout, points)
        return pack(self.plan, layout, codes, points).hex() if self.fault_at is None else REFUSED

    def encode_base(self, layout: LayoutPlan, bases: Sequence[int | None], points: Sequence[Point] = ()) -> str:
        """The packet of base units in hex, or `refused`."""
        codes = self.codes_of(layout, bases)
        return REFUSED if codes is None else self.encode(layout, codes, points)

    def codes_of(self, layout: LayoutPlan, bases: Sequence[int | None]) -> tuple[int, ...] | None:
        """The raw codes of base units, or None where one is refused."""
        codes: list[int] = []
        for place, (field, base) in enumerate(zip(layout.fields, bases, strict=True)):
            try:
                code = field.absent_code if base is None else to_raw(field, base)
            except OutOfRangeFault:
                code = None
            if code is None:
                self.fault_at = place
                return None
            codes.append(code)
        return tuple(codes)

    @staticmethod
    def _lost(layout: LayoutPlan, points: Sequence[Point]) -> int | None:
        """The place of the trail, if one of its points may not be given: all are looked at, sent or not."""
        good = not points or layout.trail is not None
        for latitude, longitude, altitude, age in points:
            good = good and abs(latitude) <= POLE and abs(longitude) <= HALF_CIRCLE
            good = good and abs(altitude or 0) <= MAX_POINT_ALTITUDE and 0 <= (age or 0) <= MAX_AGE
        return None if good else len(layout.fields)

    def answer(self, text: str) -> str:
        """The answers to a question of one or more lines, one line each; `held` and `field` speak of the lines before."""
        if text.startswith("decode ") and "\n" not in text and " " not in text[7:]:  # most of them
            return self.decode(b"" if text == "decode -" else bytes.fromhex(text[7:]))
        held, answers = UNKNOWN, []
        self.fault_at = None
        for line in text.split("\n"):
            if line in {HELD, FIELD}:
                place = "-" if self.fault_at is None else str(self.fault_at)
                answers.append(held if line == HELD else place)
                continue
            self.fault_at = None
            try:
                found = self._answer(read_question(self.plan, line))
            except QuestionFault:
                found = UNKNOWN
            if found.startswith(self.unit):
                held = found
            answers.append(found)
        return "\n".join(answers)

    def _answer(self, question: Question) -> str:
        if question.verb == DEGREES:
            return degrees(*question.words)
        if question.layout is None:
            return self.decode(question.data, question.references)
        if question.verb == "encode":
            codes = [number for number in question.numbers if number is not None]
            return self.encode(question.layout, codes, question.points)
        return self.encode_base(question.layout, question.numbers, question.points)


def degrees(digits: str, hemisphere: str) -> str:
    """Degrees and minutes as a receiver prints them in 1e-7 degree, halves away from zero; or `refused`."""
    found = re.match(r"([0-9]{2,}?)([0-9]{2})(?![0-9])\.?([0-9]*)", digits)
    if not found or hemisphere not in {"N", "S", "E", "W"}:
        return REFUSED
    minutes = Fraction(int(found[2] + found[3]), 10 ** len(found[3]))
    total = math.floor((int(found[1]) + minutes / 60) * 10_000_000 + Fraction(1, 2))
    if minutes >= 60 or total > (POLE if hemisphere in "NS" else HALF_CIRCLE):
        return REFUSED
    return str(-total if hemisphere in "SW" else total)
