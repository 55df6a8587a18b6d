"""The right answer to a question of the line protocol, from the plan's plain way of packing and unpacking.

Owns one short cut and no rule: a packet of a known layout and of a possible length whose check does not come out is
`bad_check`, which one call of the CRC tells without the rest of the decoding. A test holds it against `packetcodec.wire`.

>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> oracle = Oracle(plan)
>>> oracle.answer("decode 11072abad13d02afae8bcf480f2c"), oracle.answer("decode 11072abad13d02afae8bcf480f2d")
('ok 1 7 42 6121630 8476631 1118 61 1', 'bad_check')
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.errors import PacketFault
from packetcodec.fuzz.protocol import HELD, REFUSED, UNKNOWN, Question, QuestionFault, Unit, decode_answer, read_question
from packetcodec.wire import LayoutPlan, OutOfRangeFault, Plan, Point, pack, to_raw, unpack

if TYPE_CHECKING:
    from collections.abc import Sequence


class Oracle:
    """Answers questions about one plan.

    Attributes:
        plan: what is asked about.
        unit: whether good packets are told in raw codes or in base units.
    """

    def __init__(self, plan: Plan, unit: Unit = "ok") -> None:
        self.plan = plan
        self.unit: Unit = unit
        self._plans = {plan.version: plan}
        self._head = -(-plan.header_bits // 8)
        self._spare = -plan.header_bits % 8
        self._sizes = {plan.version << plan.layout_bits | item.id: (item.size, item.longest) for item in plan.layouts}
        self._residue = plan.crc.residue(plan.seed) if plan.crc else 0
        self._crc = plan.crc.function(plan.seed) if plan.crc else lambda _: 0

    def decode(self, data: bytes) -> str:
        """What a decoder says of a packet."""
        sizes = self._sizes.get(int.from_bytes(data[: self._head], "big") >> self._spare) if data else None
        if sizes and sizes[0] <= len(data) <= sizes[1] and self._crc(data) != self._residue:
            return "bad_check"
        try:
            _, layout, raws, points = unpack(self._plans, data)
        except PacketFault as fault:
            return fault.status
        return decode_answer(self.unit, layout, raws, points)

    def encode(self, layout: LayoutPlan, raws: Sequence[int], points: Sequence[Point] = ()) -> str:
        """The packet of raw codes, in hex."""
        return pack(self.plan, layout, raws, points).hex()

    def encode_base(self, layout: LayoutPlan, bases: Sequence[int | None], points: Sequence[Point] = ()) -> str:
        """The packet of base units in hex, or `refused`."""
        raws = []
        for field, base in zip(layout.fields, bases, strict=True):
            try:
                raw = field.absent_code if base is None else to_raw(field, base)
            except OutOfRangeFault:
                return REFUSED
            if raw is None:
                return REFUSED
            raws.append(raw)
        return self.encode(layout, raws, points)

    def answer(self, text: str) -> str:
        """The answers to a question of one or more lines, one line each; `held` speaks of the lines before it."""
        held, answers = UNKNOWN, []
        for line in text.split("\n"):
            if line == HELD:
                answers.append(held)
                continue
            try:
                found = self._answer(read_question(self.plan, line))
            except QuestionFault:
                found = UNKNOWN
            if found.startswith(self.unit):
                held = found
            answers.append(found)
        return "\n".join(answers)

    def _answer(self, question: Question) -> str:
        if question.layout is None:
            return self.decode(question.data)
        if question.verb == "encode":
            raws = [number for number in question.numbers if number is not None]
            return self.encode(question.layout, raws, question.points)
        return self.encode_base(question.layout, question.numbers, question.points)
