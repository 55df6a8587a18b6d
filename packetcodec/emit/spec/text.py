r"""Tables, bit diagrams and numbers as plain text that reads the same in a terminal and as Markdown.

Owns one rule: how a packet is drawn. One row holds one byte, its most significant bit on the left, eight columns to a
bit; a piece of a field carries the field's key and the bits of its code that stand there.

>>> print(reflowed("| field | bits |\n| collar | 8 |"), end="")
| field  | bits |
|--------|------|
| collar | 8    |
>>> print(exact(Fraction(223, 20_000_000)))
0.00001115
"""

from __future__ import annotations

import re
import textwrap
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from packetcodec.emit.render import printable

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

_COLUMNS = 8  # of a drawn bit, its border included


@dataclass(frozen=True, slots=True)
class Piece:
    """Consecutive bits of a packet that belong together.

    Attributes:
        key: one or two letters that stand for it in diagram and tables.
        name: in words.
        width: bits.
        low_first: whether its bytes stand in reversed order, the lowest first (the check of a reflected CRC).
    """

    key: str
    name: str
    width: int
    low_first: bool = False

    def code_bits(self, first: int, count: int) -> tuple[int, int]:
        """Highest and lowest bit of the code that stand at `first` .. `first` + `count` - 1 of the piece."""
        if self.low_first:
            first = self.width - 8 - first // 8 * 8 + first % 8
        high = self.width - 1 - first
        return high, high - count + 1


def keys(count: int) -> list[str]:
    """A, B .. Z, AA, AB .. for `count` fields."""
    letters = [chr(ord("A") + index) for index in range(26)]
    return [*letters, *(first + second for first in letters for second in letters)][:count]


@dataclass(frozen=True, slots=True)
class Segment:
    """The bits of a piece that stand in one byte.

    Attributes:
        piece: whose they are.
        byte, bit: where they begin; bit 0 is the most significant one.
        count: how many.
        label: the most telling one that fits: key, name and bits of the code.
    """

    piece: Piece
    byte: int
    bit: int
    count: int
    label: str


def segments(pieces: Iterable[Piece]) -> Iterator[Segment]:
    """The pieces of a packet, back to back, parted where a byte ends."""
    place = 0
    for piece in pieces:
        done = 0
        while done < piece.width:
            byte, bit = divmod(place, 8)
            count = min(8 - bit, piece.width - done)
            yield Segment(piece, byte, bit, count, _label(piece, done, count))
            done += count
            place += count


def diagram(pieces: Iterable[Piece]) -> str:
    """The pieces of a packet, back to back, one byte a row."""
    ruler = "             +" + ("-" * (_COLUMNS - 1) + "+") * 8
    head = "byte   bit    " + "".join(f"{f'+{bit}':^{_COLUMNS}}" for bit in range(8))
    lines = [head.rstrip(), ruler]
    row = ""
    for segment in segments(pieces):
        row += f"{segment.label:^{_COLUMNS * segment.count - 1}}|"
        if segment.bit + segment.count == 8:
            lines += [f"{segment.byte:>4}  {segment.byte * 8:>4}   |{row}", ruler]
            row = ""
    return "\n".join(lines)


def _label(piece: Piece, first: int, count: int) -> str:
    """The most telling label that fits: key, name and bits of the code."""
    high, low = piece.code_bits(first, count)
    bits = f"{high}..{low}" if high > low else str(high)
    labels = [f"{piece.key} {piece.name}"] if count == piece.width else []
    labels += [f"{piece.key} {piece.name} {bits}", f"{piece.key} {bits}", piece.key]
    return next(label for label in labels if len(label) <= _COLUMNS * count - 3)


def columns(rows: Sequence[Sequence[object]]) -> str:
    """Rows of cells, each column as wide as its widest cell, for a block of code."""
    widths = [max(len(str(cell)) for cell in column) for column in zip(*rows, strict=True)]
    return "\n".join("  ".join(map(str.ljust, map(str, row), widths)).rstrip() for row in rows)


def exact(number: Fraction | int) -> str:
    """A fraction whose denominator is a product of 2s and 5s, in decimal, without trailing zeros."""
    number = Fraction(number)
    digits = next(digits for digits in range(40) if (number * 10**digits).denominator == 1)
    return format(Decimal(int(number * 10**digits)).scaleb(-digits), "f")


def rounded_up(number: Fraction | float, digits: int) -> str:
    """A number above 0 in decimal, rounded up, as a bound must be."""
    scaled = Fraction(number) * 10**digits
    return f"{Decimal(-(-scaled.numerator // scaled.denominator)).scaleb(-digits):.{digits}f}"


_MARKS = re.compile(r"[\\`|\[]")
_ENTITY = re.compile(r"&(?=#?\w)")
#: A word that could begin a block where a line begins with it.
_BLOCK = re.compile(r"(?<!\S)(?=[-+*_=#~]+(?:\s|$)|>|~~~)")


def markdown(text: str) -> str:
    r"""Any text as running text of Markdown or a cell of a table: no HTML and no block begins in it.

    >>> print(markdown("<b>| salt & `lick`\n## 5 Check"))
    &lt;b>\| salt & \`lick\` \## 5 Check
    """
    text = _ENTITY.sub("&amp;", _MARKS.sub(r"\\\g<0>", printable(text))).replace("<", "&lt;")
    return _BLOCK.sub(r"\\", text)


_WIDTH = 116
_WIDEST = 100  # of a column that is aligned: a longer cell does not widen the others
_ITEM = re.compile(r"(- |\d+\. )")
_SIGN = re.compile(r" ([-+*|#]|\d+\.) ")


def reflowed(text: str) -> str:
    """Markdown with its paragraphs and list items filled to one width, its tables aligned and ruled; code stays as it is."""
    done: list[str] = []
    for code, block in _blocks(text.split("\n")):
        if code or not block[0].strip() or block[0].startswith("#"):
            if code or block[0].strip() or (done and done[-1]):
                done += block
        elif block[0].startswith("|"):
            done += _aligned(block)
        else:
            done += _filled(" ".join(" ".join(block).split()))
    return "\n".join(done).rstrip("\n") + "\n"


def _blocks(lines: Iterable[str]) -> Iterator[tuple[bool, list[str]]]:
    """Lines that belong together, and whether they are code: a table, a paragraph, an item; others one by one."""
    block: list[str] = []
    code = False
    for line in lines:
        fence = line.startswith("```")
        alone = code or fence or not line.strip() or line.startswith("#")
        joined = block and not alone and line.startswith("|") == block[0].startswith("|") and not _ITEM.match(line)
        if block and not joined:
            yield False, block
            block = []
        if alone:
            yield code or fence, [line]
            code ^= fence
        else:
            block.append(line)
    if block:
        yield False, block


def _filled(first: str) -> list[str]:
    item = _ITEM.match(first)
    head, rest = (item[0], first[len(item[0]) :]) if item else ("", first)
    # A sign at the start of a line would begin a list: it stays with its neighbours.
    glued = _SIGN.sub("\0\\1\0", _SIGN.sub("\0\\1\0", rest))
    lines = textwrap.wrap(
        glued, _WIDTH, initial_indent=head, subsequent_indent=" " * len(head), break_long_words=False, break_on_hyphens=False
    )
    return [line.replace("\0", " ") for line in lines]


def _aligned(lines: Iterable[str]) -> list[str]:
    rows = [[cell.strip() for cell in re.split(r"(?<!\\)\|", line.strip()[1:-1])] for line in lines]
    widths = [max(3, *(len(cell) for cell in column if len(cell) <= _WIDEST)) for column in zip(*rows, strict=True)]
    found = ["| " + " | ".join(map(str.ljust, row, widths)) + " |" for row in rows]
    found.insert(1, "|" + "|".join("-" * (width + 2) for width in widths) + "|")
    return found
