"""From a packet that shows a finding to the smallest one that does.

Owns one rule: what is smaller. Fewer questions that lead there; fewer bytes, then fewer set bits before the check, then the
lower number; for an encoder's question fewer points, then numbers nearer to zero. Each step is asked again: what stays is
still the same finding.

>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> from packetcodec.fuzz.oracle import Oracle
>>> is_odd = lambda text: int(text.split()[2]) % 2 == 1
>>> shrink(Oracle(plan), "encode 1 77 1 - - - 0 0", is_odd)
'encode 1 1 0 0 0 0 0 0'
"""

from __future__ import annotations

import math
import time
from typing import TYPE_CHECKING

from packetcodec.errors import PacketFault
from packetcodec.fuzz.packets import sealed
from packetcodec.fuzz.protocol import Question, QuestionFault, bases_of, decode_question, read_question
from packetcodec.wire import Point, anchor_of, pack, unpack
from packetcodec.wire.low_bits import known

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from packetcodec.fuzz.oracle import Oracle
    from packetcodec.vectors.references import Known

#: Of so many questions each is made smaller too.
_FEW = 6


def shrink(oracle: Oracle, text: str, shows: Callable[[str], bool], *, asks: int = 600, until: float = math.inf) -> str:
    """The smallest questions found that still show it, with at most so many asked, and none after `until`."""
    seen = {text}
    moving = True
    while moving:
        moving = False
        for other in _smaller(oracle, text):
            if other in seen:
                continue
            if asks <= 0 or time.monotonic() > until:
                return text
            seen.add(other)
            asks -= 1
            if shows(other):
                text, moving = other, True
                break
    return text


def _fewer(lines: list[str]) -> Iterator[str]:
    """The questions without some of those that lead to the last one."""
    size = len(lines) - 1
    while size:
        for place in range(0, len(lines) - 1, size):
            yield "\n".join([*lines[:place], *lines[min(place + size, len(lines) - 1) :]])
        size //= 2


def _smaller(oracle: Oracle, text: str) -> Iterator[str]:
    lines = text.split("\n")
    if len(lines) > 1:
        yield "\n".join(lines[:-1])  # where what is wrong is said before a `field` or `held`
        yield from _fewer(lines)
        if len(lines) <= _FEW:
            for place in range(len(lines) - 1, -1, -1):
                for other in _smaller(oracle, lines[place]):
                    yield "\n".join([*lines[:place], other, *lines[place + 1 :]])
        return
    try:
        question = read_question(oracle.plan, text)
    except QuestionFault:
        return
    if question.layout is None:
        yield from _packets(oracle, question)
    else:
        yield from _numbers(question)


# --- packets ---------------------------------------------------------------------------------------------------------


def _packets(oracle: Oracle, question: Question) -> Iterator[str]:
    """Smaller packets; one whose check is good keeps a good check."""
    data, references = question.data, question.references
    bases = bases_of(oracle.plan, references)
    size = oracle.plan.crc.size if oracle.plan.crc else 0
    good = 0 < size < len(data) and sealed(oracle.plan, data[:-size], bases) == data
    body = data[:-size] if good else data
    best = _rank(body)
    for other in (*_meanings(oracle, data, size, bases), *_bytes(body)):
        if _rank(other) < best:
            yield decode_question(sealed(oracle.plan, other, bases) if good else other, references)
    if not good and 0 < size < len(data):
        # A wrong check made as small as it can be: the right one with a bit changed.
        right = sealed(oracle.plan, data[:-size], bases)
        for mask in (1, 1 << 7):
            other = right[:-1] + bytes([right[-1] ^ mask])
            if other != data and _rank(other) < _rank(data):
                yield decode_question(other, references)


def _rank(data: bytes) -> tuple[int, int, int]:
    number = int.from_bytes(data, "big")
    return len(data), number.bit_count(), number


def _meanings(oracle: Oracle, data: bytes, size: int, bases: Known) -> Iterator[bytes]:
    """A good packet with fewer points or simpler values, without its check."""
    try:
        plan, layout, codes, points = unpack({oracle.plan.version: oracle.plan}, data, known(bases))
    except PacketFault:
        return

    def body(codes: tuple[int, ...], trail: tuple[Point, ...]) -> bytes:
        made = pack(plan, layout, codes, trail)
        return made[: len(made) - size] if size else made

    for count in range(len(points)):
        yield body(codes, points[:count])
    if points:
        anchor = anchor_of(layout, codes) or points[0]
        for place, point in enumerate(points):
            for near in (anchor, points[place - 1] if place else anchor):
                moved = point._replace(latitude=near.latitude, longitude=near.longitude)
                if moved != point:
                    yield body(codes, (*points[:place], moved, *points[place + 1 :]))
    for place, (field, raw) in enumerate(zip(layout.fields, codes, strict=True)):
        for code in dict.fromkeys((0, 1, raw >> 1, raw & raw - 1 if raw else 0, field.max_code)):
            if code != raw and code <= field.max_code:
                yield body((*codes[:place], code, *codes[place + 1 :]), points)


def _bytes(body: bytes) -> Iterator[bytes]:
    """Bytes taken out, bits cleared."""
    for count in (len(body) // 2, len(body) // 4, 4, 2, 1):
        if 0 < count <= len(body):
            yield body[:-count]
            for place in range(0, len(body) - count, count):
                yield body[:place] + body[place + count :]
    number = int.from_bytes(body, "big")
    for place in range(len(body)):
        if body[place]:
            yield body[:place] + b"\0" + body[place + 1 :]
    for bit in range(8 * len(body) - 1, -1, -1):
        if number >> bit & 1:
            yield (number ^ 1 << bit).to_bytes(len(body), "big")
            if bit:
                yield (number ^ 3 << bit - 1).to_bytes(len(body), "big")


# --- an encoder's questions ------------------------------------------------------------------------------------------


def _numbers(question: Question) -> Iterator[str]:
    layout, points = question.layout, question.points
    if layout is None:
        return
    for count in range(len(points)):
        yield question._replace(points=points[:count]).line
    for place, (field, number) in enumerate(zip(layout.fields, question.numbers, strict=True)):
        if number is None:
            continue
        half = number // 2 if number > 0 else -(-number // 2)
        simple = (0, 1, half, half - 1, half + 1, field.low, field.low + (number - field.low) // 2, number - 1, number + 1)
        for other in dict.fromkeys(simple):
            fits = question.verb == "encode_base" or 0 <= other <= field.max_code
            if fits and (abs(other), other < 0) < (abs(number), number < 0):
                yield question._replace(numbers=(*question.numbers[:place], other, *question.numbers[place + 1 :])).line
    for place, point in enumerate(points):
        near = points[place - 1] if place else None
        for nearer in (near, Point(point.latitude // 2, point.longitude // 2, point.altitude, point.age)):
            if nearer is not None and nearer != point:
                smaller = (*points[:place], nearer._replace(age=point.age), *points[place + 1 :])
                if sum(map(_spread, smaller)) < sum(map(_spread, points)):
                    yield question._replace(points=smaller).line


def _spread(point: Point) -> int:
    return abs(point.latitude) + abs(point.longitude)
