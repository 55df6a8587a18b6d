"""Tables, bit diagrams and numbers as plain text that reads the same in a terminal and as Markdown.

Owns one rule: how a packet is drawn. One row holds one byte, its most significant bit on the left, eight columns to a
bit; a piece of a field carries the field's key and the bits of its code that stand there.

>>> print(table([("field", "bits"), ("collar", 8)]))
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

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

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


def diagram(pieces: Iterable[Piece]) -> str:
    """The pieces of a packet, back to back, one byte a row."""
    ruler = "             +" + ("-" * (_COLUMNS - 1) + "+") * 8
    head = "byte   bit    " + "".join(f"{f'+{bit}':^{_COLUMNS}}" for bit in range(8))
    lines = [head.rstrip(), ruler]
    row, filled, byte = "", 0, 0
    for piece in pieces:
        done = 0
        while done < piece.width:
            count = min(8 - filled, piece.width - done)
            row += f"{_label(piece, done, count):^{_COLUMNS * count - 1}}|"
            done += count
            filled += count
            if filled == 8:
                lines += [f"{byte:>4}  {byte * 8:>4}   |{row}", ruler]
                row, filled, byte = "", 0, byte + 1
    return "\n".join(lines)


def _label(piece: Piece, first: int, count: int) -> str:
    """The most telling label that fits: key, name and bits of the code."""
    high, low = piece.code_bits(first, count)
    bits = f"{high}..{low}" if high > low else str(high)
    labels = [f"{piece.key} {piece.name}"] if count == piece.width else []
    labels += [f"{piece.key} {piece.name} {bits}", f"{piece.key} {bits}", piece.key]
    return next(label for label in labels if len(label) <= _COLUMNS * count - 3)


def table(rows: Sequence[Sequence[object]]) -> str:
    """Rows of cells, the first the head, as an aligned Markdown table."""
    cells = [[" ".join(str(cell).replace("|", "\\|").split()) for cell in row] for row in rows]
    widths = [max(3, *map(len, column)) for column in zip(*cells, strict=True)]
    lines = ["| " + " | ".join(map(str.ljust, row, widths)) + " |" for row in cells]
    lines.insert(1, "|" + "|".join("-" * (width + 2) for width in widths) + "|")
    return "\n".join(lines)


def exact(number: Fraction | int) -> str:
    """A fraction whose denominator is a product of 2s and 5s, in decimal, without trailing zeros."""
    number = Fraction(number)
    digits = next(digits for digits in range(40) if (number * 10**digits).denominator == 1)
    return format(Decimal(int(number * 10**digits)).scaleb(-digits), "f")


def rounded_up(number: Fraction | float, digits: int) -> str:
    """A number above 0 in decimal, rounded up, as a bound must be."""
    scaled = Fraction(number) * 10**digits
    return f"{Decimal(-(-scaled.numerator // scaled.denominator)).scaleb(-digits):.{digits}f}"


def one_line(words: str) -> str:
    """A remark of the schema's author as running text, so that it can neither end a list nor start a section."""
    return " ".join(words.split()).lstrip("#|`- ")


_WIDTH = 116
_ITEM = re.compile(r"(- |\d+\. )")
_SIGN = re.compile(r" ([-+*|#]|\d+\.) ")


def reflowed(text: str) -> str:
    """Markdown with its paragraphs and list items filled to one width; code, tables and headings stay as they are."""
    done: list[str] = []
    open_lines: list[str] = []
    code = False

    def close() -> None:
        if open_lines:
            first = " ".join(" ".join(open_lines).split())
            item = _ITEM.match(first)
            indent = " " * len(item[0]) if item else ""
            head, rest = (item[0], first[len(item[0]) :]) if item else ("", first)
            # A sign at the start of a line would begin a list: it stays with its neighbours.
            glued = _SIGN.sub("\0\\1\0", _SIGN.sub("\0\\1\0", rest))
            lines = textwrap.wrap(
                glued, _WIDTH, initial_indent=head, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
            )
            done.extend(line.replace("\0", " ") for line in lines)
            open_lines.clear()

    for line in text.split("\n"):
        if line.startswith("```"):
            close()
            code = not code
            done.append(line)
        elif code or not line.strip() or line.startswith(("|", "#")):
            close()
            if code or line.strip() or (done and done[-1]):
                done.append(line)
        else:
            if _ITEM.match(line):
                close()
            open_lines.append(line)
    close()
    return "\n".join(done).rstrip("\n") + "\n"
