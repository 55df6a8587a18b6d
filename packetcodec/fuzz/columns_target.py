"""Columns as a target: all questions of a group are one column.

Owns one rule: who answers what. Columns encode layouts without a trail; packets with one are those of the codec.
"""

from __future__ import annotations

import importlib
import math
from typing import TYPE_CHECKING

from packetcodec.codec import Codec
from packetcodec.errors import OK, PacketcodecError
from packetcodec.fuzz.codec_target import python_target
from packetcodec.fuzz.protocol import HELD, REFUSED, UNKNOWN, Question, QuestionFault, bases_of, point_words, read_question
from packetcodec.fuzz.targets import OwnProcess, Replies
from packetcodec.wire import Point, from_raw

if TYPE_CHECKING:
    from collections.abc import Sequence

    from packetcodec.schema import Schema


class ColumnsTarget(OwnProcess):
    """The columns of a schema.

    Raises:
        PacketcodecError: their libraries are not installed.
    """

    name = "arrays"
    starts = 1

    def __init__(self, schema: Schema) -> None:
        self._codec = Codec(schema)
        self._codec_target = python_target(self._codec)
        try:
            self._rows = importlib.import_module("packetcodec.arrays.single").Rows(self._codec)
        except ImportError:
            raise PacketcodecError("arrays needs numba and pyarrow: pip install 'packetcodec[arrays]'") from None

    def ask(self, lines: Sequence[str], until: float = math.inf) -> Replies:  # noqa: ARG002  # a column takes no time
        """The answers: of all packets, then of the rows of each layout."""
        answers = [UNKNOWN] * len(lines)
        packets: dict[int, tuple[bytes, dict[str, int]]] = {}
        rows: dict[str, dict[int, dict[str, int | None]]] = {}
        for number, line in enumerate(lines):
            try:
                question = Question(HELD) if line == HELD else read_question(self._codec.plan, line)
            except QuestionFault:
                continue
            if question.verb == "decode":
                packets[number] = question.data, bases_of(self._codec.plan, question.references)
            elif question.layout and question.layout.trail:
                answers[number] = self._codec_target.ask([line]).lines[0]
            elif question.layout:
                rows.setdefault(question.layout.name, {})[number] = _bases(question)
        data, known = [item[0] for item in packets.values()], [item[1] for item in packets.values()]
        for number, row in zip(packets, self._rows.decode(data, known), strict=True):
            answers[number] = self._told(row)
        for name, some in rows.items():
            for number, packet in zip(some, self._rows.encode(name, list(some.values())), strict=True):
                answers[number] = REFUSED if packet is None else packet.hex()
        return Replies(tuple(answers))

    def _told(self, row: tuple[str, str, list[int | None], list[tuple[int, int, int | None, int | None]]]) -> str:
        status, name, bases, points = row
        if status != OK:
            return status
        layout = self._codec.plan.layout(name)
        timed = layout.trail is not None and layout.trail.interval_seed is not None
        words = "".join(f" {'-' if base is None else base}" for base in bases)
        told = [Point(*point[:3], point[3] if timed else None) for point in points]
        return f"base {layout.id}{words}{point_words(told)}"


def _bases(question: Question) -> dict[str, int | None]:
    assert question.layout is not None  # noqa: S101  # a caller asks for encodings
    both = zip(question.layout.fields, question.numbers, strict=True)
    if question.verb != "encode":
        return {field.name: number for field, number in both}
    return {field.name: None if code is None or code == field.absent_code else from_raw(field, code) for field, code in both}
