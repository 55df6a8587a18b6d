"""One question of each sort in the line protocol for testing, and its answer.

Owns no rule: the protocol is told in the template; the answers are computed by `packetcodec.wire`.

>>> from packetcodec.starter import example_plan
>>> [(line.question, line.answer) for line in conversation(example_plan())][-2:]
[('encode_base 2 256 42 465123400 98765400 210400 3710 1', 'refused'), ('sync', '?')]
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from packetcodec.vectors.malformed import malformed
from packetcodec.vectors.valid import worked_examples

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from packetcodec.vectors.examples import Example
    from packetcodec.wire import Plan


class Line(NamedTuple):
    """What is asked, why, and the answer."""

    what: str
    question: str
    answer: str


def conversation(plan: Plan) -> Iterator[Line]:
    """Questions in an order that a program could be asked in, so that `held` has an answer."""
    first = [worked_examples(plan, layout)[0] for layout in plan.layouts]
    example = next((example for example in first if example.points), first[0])
    yield Line(f"layout {example.layout.name}", f"decode {example.data.hex()}", _told(example))
    absent = next((lost for lost in map(_without, first) if lost), None)
    if absent:
        yield Line("absent fields", f"decode {absent.data.hex()}", _told(absent))
    bad = next(packet for packet in malformed(plan) if packet.status == ("bad_check" if plan.crc else "too_long"))
    yield Line("a bad packet", f"decode {bad.data.hex()}", bad.status)
    yield Line("no byte at all", "decode -", "too_short")
    yield Line("what the last good decode left", "held", _told(absent or example))
    alone = example.but("")
    points = _points(example.points)
    yield Line("raw codes", f"encode {alone.layout.id} {_words(_codes(alone))}{points}", example.data.hex())
    yield Line("bases", f"encode_base {alone.layout.id} {_words(alone.bases)}", alone.data.hex())
    for name, bases in _refused(alone):
        yield Line(f"{name} beyond its range", f"encode_base {alone.layout.id} {_words(bases)}", "refused")
        break
    yield Line("not of this protocol", "sync", "?")


def _refused(example: Example) -> Iterator[tuple[str, list[int | None]]]:
    """Names of fields, and the bases of the example with one of that field that is refused."""
    for place, field in enumerate(example.layout.fields):
        base = field.max_input + 1
        if field.policy == "refuse" and not field.choices and 0 <= base < 2**31:
            yield field.name, [*example.bases[:place], base, *example.bases[place + 1 :]]


def _without(example: Example) -> Example | None:
    return example.but("").without()


def _codes(example: Example) -> list[int | None]:
    both = zip(example.layout.fields, example.codes, strict=True)
    return [None if code == field.absent_code else code for field, code in both]


def _told(example: Example) -> str:
    return f"ok {example.layout.id} {_words(_codes(example))}{_points(example.trail)}"


def _points(points: Iterable[tuple[int | None, ...]]) -> str:
    return "".join(f" | {_words(point)}" for point in points)


def _words(numbers: Iterable[int | None]) -> str:
    return " ".join("-" if number is None else str(number) for number in numbers)
