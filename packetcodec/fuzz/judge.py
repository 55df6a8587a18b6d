"""A finding: a question that a target answers wrongly, and what kind of wrong it is.

Owns one rule: when two wrong answers are the same finding. They are, when the same part of the answer is wrong in the same
way: the same two statuses, the same field, the trail, the same trouble.

>>> from packetcodec.starter import example_plan
>>> from packetcodec.fuzz.oracle import Oracle
>>> plan = example_plan()
>>> judge(Oracle(plan), "decode 11", "ok 1 7 42 - - - 61 1", "ok 1 7 42 - - - 60 1").mark
'decode: battery wrong'
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from packetcodec.errors import FAULTS
from packetcodec.fuzz.protocol import HELD, REFUSED, UNKNOWN, QuestionFault, read_question
from packetcodec.fuzz.spec_sections import RULES, Rule, why

if TYPE_CHECKING:
    from packetcodec.fuzz.oracle import Oracle
    from packetcodec.wire import LayoutPlan


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is wrong with an answer: `mark` names the finding, `rule` is the one it breaks."""

    mark: str
    rule: Rule


@dataclass(slots=True)
class Finding:
    """A wrong answer.

    Attributes:
        mark: what is wrong, in a few words; findings with the same mark are one.
        section, rule: of the specification.
        kind: of the input that showed it first.
        question, expected, got: of the smallest input that shows it.
        first: the question that showed it first.
        target: name of the target.
        seconds, inputs: how long the run had gone, and how many inputs it had tried.
        count: how often it was seen.
        alone: whether the question shows it without those before it.
        remarks: what the target wrote to stderr, or "".
    """

    mark: str
    section: str
    rule: str
    kind: str
    question: str
    expected: str
    got: str
    first: str
    target: str
    seconds: float = 0.0
    inputs: int = 0
    count: int = 1
    alone: bool = True
    remarks: str = ""
    before: list[str] = field(default_factory=list)

    @property
    def size(self) -> int:
        """Bytes of the packet that shows it: the one asked about, or the right one of an encoder's question."""
        text = self.question.split("\n")[-2 if self.question.endswith(HELD) else -1]
        if text.startswith("decode "):
            return len(text.removeprefix("decode ").replace("-", "")) // 2
        return len(self.expected) // 2 if self.expected != REFUSED else 0

    def row(self) -> dict[str, Any]:
        """The finding for JSON."""
        return {**asdict(self), "size": self.size}


def judge(oracle: Oracle, question: str, expected: str, got: str) -> Verdict | None:
    """What is wrong with an answer of as many lines as the question, or None: then it means the right one."""
    for line, wanted, found in zip(question.split("\n"), expected.split("\n"), got.split("\n"), strict=True):
        if wanted != found and (verdict := _line(oracle, line, wanted, found)):
            return verdict
    return None


def _line(oracle: Oracle, line: str, wanted: str, found: str) -> Verdict | None:
    verb = line.partition(" ")[0]
    if verb != "decode" and found == UNKNOWN:
        return None  # it does not know the question, which is its right
    if found.startswith("raised "):
        return Verdict(f"{verb}: {found.partition(':')[0]}", RULES["whole"])
    if line == HELD:
        if wanted == UNKNOWN:
            return None  # no good packet stands before it here: what it holds is from longer ago
        return Verdict("held: not what the last good packet said", RULES["held"])
    if verb == "decode":
        return _decoded(oracle, wanted, found)
    return _encoded(oracle, line, wanted, found)


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
    layout = _layout(oracle, words[1])
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


def _layout(oracle: Oracle, ident: str) -> LayoutPlan:
    return next(layout for layout in oracle.plan.layouts if str(layout.id) == ident)


def _encoded(oracle: Oracle, line: str, wanted: str, found: str) -> Verdict | None:
    verb = line.partition(" ")[0]
    if found == REFUSED:
        return Verdict(f"{verb}: refused instead of a packet", RULES["encode_range"])
    try:
        data = bytes.fromhex(found)
    except ValueError:
        return Verdict(f"{verb}: no answer of the protocol", RULES["encode"])
    if wanted == REFUSED:
        return Verdict(f"{verb}: a packet instead of refused", RULES["encode_range"])
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
    return Verdict(f"{line.partition(' ')[0]}: {what}", RULES["whole"])


def is_question(oracle: Oracle, text: str) -> bool:
    """Whether a text is a question that can be asked again under this plan."""
    for line in text.split("\n"):
        if line == HELD:
            continue
        try:
            read_question(oracle.plan, line)
        except QuestionFault:
            return False
    return True
