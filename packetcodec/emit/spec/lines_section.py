"""One question of each sort in the line protocol for testing, and its answer.

Owns no rule: the protocol is told in the template; the answers are computed by `packetcodec.wire`.

>>> from packetcodec.starter import example_plan
>>> [(question, answer) for _, question, answer in conversation(example_plan())][-2:]
[('degrees 4630.5 N', '465083333'), ('sync', '?')]
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.vectors.malformed import malformed
from packetcodec.vectors.valid import worked_examples

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from packetcodec.vectors.examples import Example
    from packetcodec.vectors.references import Known
    from packetcodec.wire import Plan


def conversation(plan: Plan) -> Iterator[tuple[str, str, str]]:
    """What is asked, question and answer, in an order in which `held` has an answer."""
    first = [worked_examples(plan, layout)[0] for layout in plan.layouts]
    example = next((example for example in first if example.points), first[0])
    yield f"layout {example.layout.name}", _asked(plan, example.data, example.references), _told(example)
    absent = next((lost for lost in (one.but("").without() for one in first) if lost), None)
    if absent:
        yield "absent fields", _asked(plan, absent.data, absent.references), _told(absent)
    bad = next(packet for packet in malformed(plan) if packet.status == ("bad_check" if plan.crc else "too_long"))
    yield "a bad packet", _asked(plan, bad.data, bad.references or {}), bad.status
    yield "the last good packet", "held", _told(absent or example)
    yield "raw codes", f"encode {_words(example, _codes(example), example.points)}", example.data.hex()
    alone = example.but("")
    yield "bases", f"encode_base {_words(alone, alone.bases)}", alone.data.hex()
    for place, field in enumerate(alone.layout.fields):
        beyond = field.max_input + 1
        if field.policy == "refuse" and not field.choices and 0 <= beyond < 2**31:
            bases = (*alone.bases[:place], beyond, *alone.bases[place + 1 :])
            yield f"{field.name} beyond its range", f"encode_base {_words(alone, bases)}", "refused"
            yield "which field it was", "field", str(place)
            break
    yield "46 degrees 30.5 minutes", "degrees 4630.5 N", "465083333"
    yield "not of this protocol", "sync", "?"


def _asked(plan: Plan, data: bytes, references: Known) -> str:
    bases = [references.get(name) for name in plan.references]
    return f"decode {data.hex()}" + "".join(" -" if base is None else f" {base}" for base in bases)


def _codes(example: Example) -> list[int | None]:
    both = zip(example.layout.fields, example.codes, strict=True)
    return [None if code == field.absent_code else code for field, code in both]


def _told(example: Example) -> str:
    return f"ok {_words(example, _codes(example), example.trail)}"


def _words(example: Example, numbers: Iterable[int | None], points: Iterable[tuple[int | None, ...]] = ()) -> str:
    groups = ((example.layout.id, *numbers), *points)
    return " | ".join(" ".join("-" if number is None else str(number) for number in group) for group in groups)
