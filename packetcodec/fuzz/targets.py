"""What is asked: something that takes the lines of questions and gives the lines of answers.

Owns one rule: a target never raises on a question. An exception in our own process is an answer ("raised ..."), a
program that dies, hangs or loses step is a `Replies.trouble`.

>>> target = FunctionTarget("echo", lambda line: line.upper())
>>> target.ask(["decode 11"]).lines
('DECODE 11',)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from packetcodec.codec import Codec
from packetcodec.errors import OK, ValueFault
from packetcodec.fuzz.protocol import HELD, REFUSED, UNKNOWN, QuestionFault, decode_answer, point_words, read_question
from packetcodec.reference.codec import ReferenceCodec
from packetcodec.schema import Form
from packetcodec.wire import FieldPlan, Plan, Point, Value, compile_plan, to_value

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from packetcodec.codec import Packet
    from packetcodec.schema import Schema

    Source = Schema | Codec | Plan


@dataclass(frozen=True, slots=True)
class Replies:
    """The answers to some lines.

    Attributes:
        lines: those that came, at most one to a line asked.
        trouble: why there are fewer than asked, or why they cannot be told apart; "" for none.
        remarks: what the target wrote beside its answers (stderr), or "".
        aligned: whether the first line answers the first question, and so on, as far as they go.
    """

    lines: tuple[str, ...]
    trouble: str = ""
    remarks: str = ""
    aligned: bool = True


def plan_of(source: Source) -> Plan:
    """The plan of what a user has at hand."""
    if isinstance(source, Codec):
        return source.plan
    return source if isinstance(source, Plan) else compile_plan(source)


class Target(Protocol):
    """Something that answers questions.

    Attributes:
        name: as the user calls it again on the command line.
    """

    name: str

    def ask(self, lines: Sequence[str]) -> Replies:
        """The answers to some lines, in their order."""

    def memory(self) -> int:
        """Bytes of memory the target holds, 0 where it cannot be told."""

    def close(self) -> None:
        """Let go of it."""


class FunctionTarget:
    """A function of our own process: line to line."""

    def __init__(self, name: str, answer: Callable[[str], str]) -> None:
        self.name = name
        self._answer = answer

    def ask(self, lines: Sequence[str]) -> Replies:
        """The answers; an exception is one too."""
        return Replies(tuple(map(self._one, lines)))

    def _one(self, line: str) -> str:
        try:
            return self._answer(line)
        except Exception as fault:  # noqa: BLE001  # whatever a decoder raises is what we look for
            return f"raised {type(fault).__name__}: {fault}".replace("\n", " ")

    def memory(self) -> int:
        """Not told apart from our own."""
        return 0

    def close(self) -> None:
        """Nothing to let go."""


class Harness:
    """The line protocol around a codec with the interface of `packetcodec.codec.Codec`.

    Args:
        plan: whose packets are spoken of.
        codec: a `Codec` or a `ReferenceCodec`.
        keep: a place for the packet of the last good decode, so that `held` can be answered.
    """

    def __init__(self, plan: Plan, codec: Codec | ReferenceCodec) -> None:
        self._plan = plan
        self._codec = codec
        self._names = {layout.name: layout for layout in plan.layouts}
        self._held = UNKNOWN

    def __call__(self, line: str) -> str:
        """The answer to a line."""
        if line.startswith("decode "):
            rest = line[7:]
            status, packet = self._codec.try_decode(b"" if rest == "-" else bytes.fromhex(rest))
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
        try:
            if question.verb == "encode":
                both = zip(layout.fields, question.numbers, strict=True)
                values = {field.name: to_value(field, raw) for field, raw in both if raw is not None}
            else:
                both = zip(layout.fields, question.numbers, strict=True)
                values = {field.name: value_of(field, base) for field, base in both}
            return self._codec.encode(layout.name, values, trail_of(question.points)).hex()
        except ValueFault:
            return REFUSED

    def _told(self, packet: Packet) -> str:
        points = tuple(
            Point(
                round(point.latitude * 10_000_000),
                round(point.longitude * 10_000_000),
                None if point.altitude is None else round(point.altitude * 100),
                None if point.age is None else round(point.age),
            )
            for point in packet.trail
        )
        layout = self._names[packet.layout]
        if points and layout.trail and not layout.trail.interval_seed:
            points = tuple(point._replace(age=None) for point in points)
        return decode_answer("ok", layout, packet.codes, points)


def trail_of(points: Sequence[Point]) -> list[tuple[float, float, float | None, int | None]]:
    """Points as users give them."""
    return [
        (
            point.latitude / 10_000_000,
            point.longitude / 10_000_000,
            None if point.altitude is None else point.altitude / 100,
            point.age,
        )
        for point in points
    ]


def value_of(field: FieldPlan, base: int | None) -> Value:
    """The value that a caller gives for a number of base units, inside the range or not."""
    if base is None:
        return None
    if field.kind.form is Form.CHOICE:
        return field.choices[base] if 0 <= base < len(field.choices) else str(base)
    if field.kind.form is Form.FLAG:
        return base  # 0 and 1 mean no and yes; others are refused
    return base + field.origin if field.scale == 1 else base / field.scale


def python_target(schema: Schema) -> FunctionTarget:
    """Our own codec."""
    codec = Codec(schema)
    return FunctionTarget("python", Harness(codec.plan, codec))


def reference_target(schema: Schema) -> FunctionTarget:
    """The construct reference."""
    codec = Codec(schema)
    return FunctionTarget("reference", Harness(codec.plan, ReferenceCodec(schema)))


def decoder_target(
    plan: Plan, decode: Callable[[bytes], Sequence[Any]], encode: Callable[..., bytes] | None = None
) -> FunctionTarget:
    """Functions of a user's own.

    Args:
        plan: whose packets they know.
        decode: packet to (status, raw) or (status, raw, points). Raw codes are a mapping of field name to code, or stand in
            wire order; None is absent, as is the code for it. Points are (latitude, longitude, altitude, age) in base units,
            newest first. With a fault, only the status counts.
        encode: (layout name, mapping of field name to raw code, None for absent) to packet, or None. It is asked for packets
            without a trail.
    """
    names = {layout.name: layout for layout in plan.layouts}

    def answer(line: str) -> str:
        try:
            question = read_question(plan, line)
        except QuestionFault:
            return UNKNOWN
        if question.layout is None:
            status, *rest = decode(question.data)
            return status if status != OK else _told(plan, question.data, rest)
        if encode is None or question.verb != "encode":
            return UNKNOWN
        if question.points or names[question.layout.name].trail:
            return UNKNOWN
        both = zip(question.layout.fields, question.numbers, strict=True)
        values = {field.name: None if number == field.absent_code else number for field, number in both}
        return bytes(encode(question.layout.name, values)).hex()

    return FunctionTarget("decoder", answer)


def _told(plan: Plan, data: bytes, rest: Sequence[Any]) -> str:
    """A good packet in the words of the protocol. Which layout it is, its header says."""
    ident = int.from_bytes(data, "big") >> max(0, len(data) * 8 - plan.header_bits) & (1 << plan.layout_bits) - 1
    layout = next((item for item in plan.layouts if item.id == ident), None)
    if layout is None:
        return f"{OK} {ident}"
    raw = rest[0]
    codes = [raw[field.name] for field in layout.fields] if hasattr(raw, "keys") else list(raw)
    words = "".join(
        " -" if code is None or code == field.absent_code else f" {code}"
        for field, code in zip(layout.fields, codes, strict=True)
    )
    points = rest[1] if len(rest) > 1 else ()
    return f"{OK} {layout.id}{words}{point_words(Point(*point) for point in points)}"
