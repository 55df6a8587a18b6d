"""Our own codecs as targets: a harness, the line protocol around them.

Owns one rule: how base units and points are told to a codec that speaks of values and degrees, and back.

>>> from packetcodec.schema import Schema
>>> from packetcodec.starter import schema_text
>>> target = python_target(Schema.parse(schema_text()))
>>> target.ask(["decode 11072abad13d02afae8bcf480f2c"]).lines
('ok 1 7 42 6121630 8476631 1118 61 1',)
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.codec import Codec
from packetcodec.errors import OK, ValueFault
from packetcodec.fuzz.protocol import (
    HELD,
    REFUSED,
    UNKNOWN,
    QuestionFault,
    bases_of,
    decode_answer,
    read_numbers,
    read_question,
)
from packetcodec.fuzz.targets import FunctionTarget
from packetcodec.reference.codec import ReferenceCodec
from packetcodec.schema import DEGREE, METRE, Form
from packetcodec.wire import FieldPlan, Plan, Point, Value, to_value

if TYPE_CHECKING:
    from collections.abc import Sequence

    from packetcodec.codec import Packet
    from packetcodec.schema import Schema


class Harness:
    """The line protocol around a codec with the interface of `packetcodec.codec.Codec`.

    Args:
        plan: whose packets are spoken of.
        codec: a `Codec` or a `ReferenceCodec`.
    """

    def __init__(self, plan: Plan, codec: Codec | ReferenceCodec) -> None:
        self._plan = plan
        self._codec = codec
        self._names = {layout.name: layout for layout in plan.layouts}
        self._held = UNKNOWN

    def __call__(self, line: str) -> str:
        """The answer to a line."""
        if line.startswith("decode "):
            digits, *words = line[7:].split(" ")
            data = b"" if digits == "-" else bytes.fromhex(digits)
            status, packet = self._codec.try_decode(data, reference=reference_values(self._plan, read_numbers(words)))
            if status != OK or packet is None:
                return status
            self._held = self._told(packet)
            return self._held
        if line == HELD:
            return self._held
        try:
            question = read_question(self._plan, line)
        except QuestionFault:
            return UNKNOWN
        layout = question.layout
        if layout is None:
            return UNKNOWN
        of = to_value if question.verb == "encode" else value_of
        both = zip(layout.fields, question.numbers, strict=True)
        try:
            values = {field.name: None if number is None else of(field, number) for field, number in both}
            return self._codec.encode(layout.name, values, trail_of(question.points)).hex()
        except ValueFault:
            return REFUSED

    def _told(self, packet: Packet) -> str:
        layout = self._names[packet.layout]
        timed = layout.trail is not None and layout.trail.interval_seed
        points = [
            Point(
                round(point.latitude * DEGREE),
                round(point.longitude * DEGREE),
                None if point.altitude is None else round(point.altitude * 100),
                None if point.age is None or not timed else round(point.age),
            )
            for point in packet.trail
        ]
        return decode_answer("ok", layout, packet.codes, points)


def reference_values(plan: Plan, references: Sequence[int | None]) -> dict[str, Value] | None:
    """The references of a question as a codec gets them: field name to value in its unit; None where there are none."""
    if not references:
        return None
    fields = {field.name: field for layout in plan.layouts for _, field, _ in layout.low_fields}
    return {name: value_of(fields[name], base) for name, base in bases_of(plan, references).items()}


def trail_of(points: Sequence[Point]) -> list[tuple[float, float, float | None, int | None]]:
    """Points as users give them."""
    return [
        (latitude / DEGREE, longitude / DEGREE, None if altitude is None else altitude / METRE, age)
        for latitude, longitude, altitude, age in points
    ]


def value_of(field: FieldPlan, base: int) -> Value:
    """The value that a caller gives for a number of base units, inside the range or not."""
    if field.choices:
        return field.choices[base] if 0 <= base < len(field.choices) else str(base)
    if field.kind.form is Form.FLAG:
        return base  # 0 and 1 mean no and yes; others are refused
    return base + field.origin if field.scale == 1 else base / field.scale


def python_target(source: Schema | Codec) -> FunctionTarget:
    """Our own codec."""
    codec = source if isinstance(source, Codec) else Codec(source)
    return FunctionTarget("python", Harness(codec.plan, codec))


def reference_target(schema: Schema) -> FunctionTarget:
    """The construct reference."""
    return FunctionTarget("reference", Harness(Codec(schema).plan, ReferenceCodec(schema)))
