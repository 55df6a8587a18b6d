"""What kind of wrong an answer is.

Owns one rule: when two wrong answers are the same finding. They are, when the same part of the answer is wrong in the same
way: the same two statuses, the same field, the trail, the same trouble.

>>> from packetcodec.starter import example_plan
>>> from packetcodec.fuzz.oracle import Oracle
>>> plan = example_plan()
>>> judge(Oracle(plan), "decode 11", "ok 1 7 42 - - - 61 1", "ok 1 7 42 - - - 60 1").mark
'decode: battery wrong'
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.errors import FAULTS
from packetcodec.fuzz.protocol import DEGREES, FIELD, HELD, REFUSED, UNKNOWN, QuestionFault, read_question
from packetcodec.fuzz.spec_sections import RULES, Rule, why

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from packetcodec.fuzz.oracle import Oracle

#: So many answers that are each that of the question before are no chance.
_SHIFTED = 8


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is wrong with an answer: `mark` names the finding, `rule` is the one it breaks."""

    mark: str
    rule: Rule


def judge(oracle: Oracle, question: str, expected: str, got: str, known: Collection[str] = ()) -> Verdict | None:
    """What is wrong with an answer of as many lines as the question, or None: then it means what was expected.

    Args:
        oracle: knows the plan.
        question: one line or several.
        expected: as many lines.
        got: as many lines.
        known: verbs that the target is known to answer; `?` to another one is its right.
    """
    for line, wanted, found in zip(question.split("\n"), expected.split("\n"), got.split("\n"), strict=True):
        if wanted != found and (verdict := _line(oracle, line, wanted, found, known)):
            return verdict
    return None


def _line(oracle: Oracle, line: str, wanted: str, found: str, known: Collection[str]) -> Verdict | None:
    verb = line.partition(" ")[0]
    if line == HELD and wanted == UNKNOWN:
        return None  # no good packet stands before it here: what it holds is from longer ago
    if found == UNKNOWN and verb != "decode":
        return Verdict(f"{verb}: ? though it answers {verb} elsewhere", _rule_of(verb)) if verb in known else None
    if found.startswith("raised "):
        return Verdict(f"{verb}: {found.partition(':')[0]}", _rule_of(verb))
    if line == FIELD:
        return Verdict("field: not the field at fault", RULES["field"])
    if verb == DEGREES:
        return Verdict("degrees: a wrong number", RULES["degrees"])
    if line == HELD:
        good = found.startswith(oracle.unit) and _part(oracle, wanted, found) is None
        return None if good else Verdict("held: not what the last good packet said", RULES["held"])
    if verb == "decode":
        return _decoded(oracle, wanted, found)
    return _encoded(oracle, line, wanted, found)


def _rule_of(verb: str) -> Rule:
    return RULES["encode" if verb.startswith("encode") else verb if verb in {HELD, FIELD, DEGREES} else "whole"]


def _decoded(oracle: Oracle, wanted: str, found: str) -> Verdict | None:
    unit = oracle.unit
    one, other = wanted.partition(" ")[0], found.partition(" ")[0]
    if other not in {unit, *FAULTS}:
        return Verdict("decode: no answer of the protocol", RULES["whole"])
    rule = why(wanted, found, unit=unit)
    if one != other:
        if not wanted.startswith(unit):
            said = "a good packet" if other == unit else other
            return Verdict(f"decode: {said} instead of {one}", rule)
        return Verdict(f"decode: {other} instead of a good packet", rule)
    part = _part(oracle, wanted, found)
    if part is None:
        return None
    return Verdict(f"decode: {part} wrong", rule)


def _part(oracle: Oracle, wanted: str, found: str) -> str | None:
    """The part of two answers about a good packet that differs, or None: they mean the same."""
    head, *points = wanted.split(" |")
    other_head, *other_points = found.split(" |")
    words, others = head.split(), other_head.split()
    layout = oracle.plan.by_id[int(words[1])]
    if others[1:2] != words[1:2]:
        return "layout id"
    if len(others) != len(words):
        return "number of fields"
    for field_plan, word, other in zip(layout.fields, words[2:], others[2:], strict=True):
        if word != other and not (oracle.unit == "ok" and word == "-" and other == str(field_plan.absent_code)):
            return field_plan.name
    if len(points) != len(other_points):
        return "number of points"
    for number, (point, other) in enumerate(zip(points, other_points, strict=True), 1):
        if point.split() != other.split():
            axes = zip(("latitude", "longitude", "altitude", "age"), point.split(), other.split(), strict=False)
            axis = next((name for name, one, two in axes if one != two), "form")
            return f"{axis} of {'the first point' if number == 1 else 'a later point'}"
    return None


def _encoded(oracle: Oracle, line: str, wanted: str, found: str) -> Verdict | None:
    verb, _, behind = line.partition(" ")
    refusing = RULES["encode_point" if "|" in behind else "encode_range"]  # of the smallest question
    if found == REFUSED:
        return Verdict(f"{verb}: refused instead of a packet", refusing)
    try:
        data = bytes.fromhex(found)
    except ValueError:
        return Verdict(f"{verb}: no answer of the protocol", RULES["encode"])
    if wanted == REFUSED:
        return Verdict(f"{verb}: a packet instead of refused", refusing)
    if data.hex() == wanted:
        return None
    said, right = oracle.decode(data), oracle.decode(bytes.fromhex(wanted))
    if not said.startswith(oracle.unit):
        rule = RULES["encode_check" if said == "bad_check" else "encode_trail" if said == "bad_trail" else "encode"]
        return Verdict(f"{verb}: a packet that is {said}", rule)
    part = _part(oracle, right, said)
    if part is None:
        return Verdict(f"{verb}: other bits of the same trail", RULES["encode_trail"])
    trail = "point" in part
    rule = RULES["encode_trail" if trail else "encode" if verb == "encode" else "encode_code"]
    return Verdict(f"{verb}: {part} wrong", rule)


def trouble(what: str, line: str) -> Verdict:
    """The verdict on a target that fell: the mark leaves out what changes from time to time."""
    verb = line.partition(" ")[0]
    return Verdict(f"{verb}: {what}", _rule_of(verb))


def is_question(oracle: Oracle, text: str) -> bool:
    """Whether a text is a question that can be asked again under this plan."""
    for line in text.split("\n"):
        if line in {HELD, FIELD}:
            continue
        try:
            read_question(oracle.plan, line)
        except QuestionFault:
            return False
    return True


def late_by_one(lines: Sequence[str], wanted: Sequence[str]) -> bool:
    """Whether the answers are those of the question before, much more often than their own."""
    count = len(lines) - 1
    late = sum(one == two for one, two in zip(lines[1:], wanted, strict=False))
    right = sum(one == two for one, two in zip(lines[1:], wanted[1:], strict=False))
    return late > 0.8 * count and late - right >= _SHIFTED
