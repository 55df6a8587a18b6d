"""The line protocol: one line in, one line out, so that any program can be asked what a packet says.

Owns one rule, the form of those lines. Questions:

* ``decode HEX`` (``-`` for a packet of no byte): ``ok ID RAW RAW ...`` with the layout's id and the raw codes in wire
  order, or ``base ID BASE BASE ...`` with base units instead, or the fault's name. ``-`` is a value that is absent. Each
  point of a trail follows, newest first, as ``| LATITUDE LONGITUDE ALTITUDE AGE`` in base units and seconds, ``-`` for
  what is not known.
* ``decode HEX REF REF ...``, where fields are sent by their low bits: the references in the order of `Plan.references`, all
  of them, in base units, ``-`` for one that is not known. Without them, none is known.
* ``encode ID RAW RAW ... | POINT | POINT``: the packet in hex. Only codes that the field sends are asked for.
* ``encode_base ID BASE BASE ... | POINT``: the packet in hex, or ``refused``. Bases are not clipped or wrapped yet.
* ``held``: what the last good ``decode`` in this conversation gave, from where the program keeps it.
* ``field``: the place of the value at fault in the question before it, from 0 among the fields in wire order, behind the
  last one for a trail; ``-`` where none was.
* ``degrees DIGITS HEMISPHERE``: degrees and minutes as a receiver prints them in 1e-7 degree, or ``refused``.
* anything else: ``?``. A program that cannot encode says that to ``encode``.

>>> decode_question(bytes.fromhex("1107"))
'decode 1107'
>>> point_words([Point(465000000, 98000000, None, 30)])
' | 465000000 98000000 - 30'
"""

from __future__ import annotations

from operator import add, lt, mul
from typing import TYPE_CHECKING, Literal, NamedTuple

from packetcodec.errors import PacketcodecError
from packetcodec.wire import LayoutPlan, Plan, Point, from_raw

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

#: What a program speaks of: raw codes (``ok``) or base units (``base``).
Unit = Literal["ok", "base"]

UNKNOWN = "?"
REFUSED = "refused"
HELD = "held"
FIELD = "field"
DEGREES = "degrees"
#: A question that no program knows: its answer shows that no line was swallowed and none added.
SYNC = "sync"


class QuestionFault(PacketcodecError):
    """A line that is no question of the protocol."""


class Question(NamedTuple):
    """A question taken apart.

    Attributes:
        verb: decode, encode, encode_base or degrees.
        data: the packet of a decode.
        layout: of an encode.
        numbers: raw codes, or base units with None for absent.
        points: of the trail.
        words: digits and hemisphere of degrees.
        references: behind the packet of a decode.
    """

    verb: str
    data: bytes = b""
    layout: LayoutPlan | None = None
    numbers: tuple[int | None, ...] = ()
    points: tuple[Point, ...] = ()
    words: tuple[str, str] = ("", "")
    references: tuple[int | None, ...] = ()

    @property
    def line(self) -> str:
        """The question as it is asked."""
        if self.verb == DEGREES:
            return f"{DEGREES} {self.words[0]} {self.words[1]}"
        if self.layout is None:
            return decode_question(self.data, self.references)
        return encode_question(self.verb, self.layout, self.numbers, self.points)


def decode_question(data: bytes, references: Iterable[int | None] = ()) -> str:
    """Ask what a packet says to a receiver with these references."""
    return f"decode {data.hex() or '-'}{_words(references) if references else ''}"


def references_of(plan: Plan, bases: Mapping[str, int] | None) -> tuple[int | None, ...]:
    """The references of a question from those by name; none for a plan that needs none."""
    return tuple([(bases or {}).get(name) for name in plan.references])


def bases_of(plan: Plan, references: Sequence[int | None]) -> dict[str, int]:
    """The references of a question by name, in base units."""
    both = zip(plan.references, references or (None,) * len(plan.references), strict=True)
    return {name: base for name, base in both if base is not None}


def encode_question(verb: str, layout: LayoutPlan, numbers: Iterable[int | None], points: Iterable[Point] = ()) -> str:
    """Ask for a packet: `verb` is encode (raw codes) or encode_base (base units)."""
    return f"{verb} {layout.id}{_words(numbers)}{point_words(points)}"


def decode_answer(unit: Unit, layout: LayoutPlan, codes: Sequence[int], points: Iterable[Point] = ()) -> str:
    """What a right decoder says of a good packet."""
    lows, steps, ends = layout.lines
    if all(map(lt, codes, ends)):  # none is absent or cut short: the quick way, for most
        words = f" {' '.join(map(str, codes if unit == 'ok' else map(add, lows, map(mul, codes, steps))))}"
    else:
        both = zip(layout.fields, codes, strict=True)
        words = _words(
            None if code == field.absent_code else code if unit == "ok" else from_raw(field, code) for field, code in both
        )
    return f"{unit} {layout.id}{words}{point_words(points)}"


def _words(numbers: Iterable[int | None]) -> str:
    return "".join([" -" if number is None else f" {number}" for number in numbers])


def point_words(points: Iterable[Point]) -> str:
    """The points of a trail as they stand behind a packet's numbers."""
    return "".join([f" | {a} {b} {'-' if c is None else c} {'-' if d is None else d}" for a, b, c, d in points])


def lines_of(texts: Iterable[str]) -> list[str]:
    """The lines of questions or answers, of which some have several."""
    return "\n".join(texts).split("\n")


def read_question(plan: Plan, line: str) -> Question:
    """A question taken apart.

    Raises:
        QuestionFault: it is none, or speaks of a layout or of numbers that the plan does not have.
    """
    verb, _, rest = line.partition(" ")
    if verb == "decode":
        digits, *words = rest.split() or [""]
        references = read_numbers(words)
        if words and len(words) != len(plan.references):
            raise QuestionFault(f"decode: {len(words)} references, {len(plan.references)} are needed, or none")
        try:
            return Question(verb, b"" if digits == "-" else bytes.fromhex(digits), references=references)
        except ValueError:
            raise QuestionFault(f"decode: {digits!r} is not hex") from None
    if verb == DEGREES and rest.count(" ") == 1:
        digits, hemisphere = rest.split(" ")
        return Question(verb, words=(digits, hemisphere))
    if verb not in {"encode", "encode_base"}:
        raise QuestionFault(f"{verb!r} is none of decode, encode, encode_base, degrees")
    head, *groups = rest.split("|")
    words = head.split()
    layout = next((item for item in plan.layouts if words and str(item.id) == words[0]), None)
    if layout is None:
        raise QuestionFault(f"{verb}: {' '.join(words[:1]) or 'nothing'} is not a layout id of version {plan.version}")
    if len(words) - 1 != len(layout.fields):
        raise QuestionFault(f'{verb}: {len(words) - 1} numbers, layout "{layout.name}" has {len(layout.fields)} fields')
    numbers = read_numbers(words[1:])
    points = tuple(read_point(group) for group in groups)
    if verb == "encode":
        both = zip(layout.fields, numbers, strict=True)
        numbers = tuple(field.absent_code if number is None else number for field, number in both)
        for field, raw in zip(layout.fields, numbers, strict=True):
            if raw is None or not (0 <= raw <= field.max_code or raw == field.absent_code):
                raise QuestionFault(f"encode: {field.name}: {'-' if raw is None else raw} is no code in use")
    return Question(verb, b"", layout, numbers, points)


def read_numbers(words: Iterable[str]) -> tuple[int | None, ...]:
    """Whole numbers, `-` for None.

    Raises:
        QuestionFault: a word that is neither.
    """
    try:
        return tuple(None if word == "-" else int(word) for word in words)
    except ValueError as fault:
        raise QuestionFault(f"not a whole number: {fault}") from None


def read_point(text: str) -> Point:
    """A point of a trail.

    Raises:
        QuestionFault: not four words, or no position.
    """
    numbers = read_numbers(text.split())
    if len(numbers) != 4 or numbers[0] is None or numbers[1] is None:
        raise QuestionFault(f"{text.strip()!r} is no point: LATITUDE LONGITUDE ALTITUDE AGE")
    return Point(numbers[0], numbers[1], numbers[2], numbers[3])
