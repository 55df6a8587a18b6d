"""The expected answer to a question of the line protocol, from the plan's plain way of packing and unpacking.

Owns one short cut and no rule: for a packet of a known layout and of a possible length, one call of the CRC tells
`bad_check` from a packet whose content is worth a look. A test holds it against `packetcodec.wire`.

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
from typing import TYPE_CHECKING

from packetcodec.errors import PacketFault
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
from packetcodec.wire import LayoutPlan, OutOfRangeFault, Plan, Point, pack, to_raw, unpack
from packetcodec.wire.low_bits import known
from packetcodec.wire.packing import content
from packetcodec.wire.trail.cells import HALF_CIRCLE, POLE
from packetcodec.wire.trail.coding import MAX_POINT_ALTITUDE

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
        self._plans = {plan.version: plan}
        self._head = -(-plan.header_bits // 8)
        self._spare = -plan.header_bits % 8
        self._layouts = {plan.version << plan.layout_bits | item.id: item for item in plan.layouts}
        self._residue = plan.crc.residue(plan.seed) if plan.crc else 0
        self._crc = plan.crc.function(plan.seed) if plan.crc else lambda _: 0

    def decode(self, data: bytes, references: Sequence[int | None] = ()) -> str:
        """What a decoder says of a packet, to a receiver with these references."""
        layout = self._layouts.get(int.from_bytes(data[: self._head], "big") >> self._spare) if data else None
        try:
            if layout and not layout.low_fields and layout.size <= len(data) <= layout.longest:
                if self._crc(data) != self._residue:
                    return "bad_check"
                codes, points = content(layout, data, layout.carried(data))
            else:
                _, layout, codes, points = unpack(self._plans, data, known(bases_of(self.plan, references)))
        except PacketFault as fault:
            if fault.offset is not None and fault.status == "out_of_range":
                self.fault_at = self._place(data, fault.offset)
            return fault.status
        return self.told(layout, codes, points)

    def told(self, layout: LayoutPlan, codes: Sequence[int], points: Sequence[Point] = ()) -> str:
        """What a decoder says of a good packet with these codes and points."""
        return decode_answer(self.unit, layout, codes, points)

    def _place(self, data: bytes, offset: int) -> int | None:
        ident = int.from_bytes(data, "big") >> 8 * len(data) - self.plan.header_bits & (1 << self.plan.layout_bits) - 1
        fields = next(layout.fields for layout in self.plan.layouts if layout.id == ident)
        return next((place for place, field in enumerate(fields) if field.offset == offset), None)

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
