"""Words of messages: which known word somebody meant, and how many of a thing there are.

>>> nearest("latitud", ["latitude", "longitude"])
'latitude'
>>> counted(1_000, "packet")
'1,000 packets'
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


def counted(number: int, noun: str = "time") -> str:
    """A number of things in words: 1 time, 2 times, 1,000 packets."""
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that a mistyped or shortened one most likely means, or None."""
    known = tuple(known)
    # The standard library's matcher would add a tenth to the time that importing this package takes.
    most = max(1, len(word) // 3)
    alike = [other for other in known if abs(len(word) - len(other)) <= most]
    found = [(distance, other) for other in alike if (distance := _edits(word, other)) <= most]
    # With nothing alike, a beginning: max for maximum.
    found = found or [(len(other), other) for other in known if len(word) > 1 and other.startswith(word)]
    return min(found, default=(0, None))[1]


def _edits(word: str, other: str) -> int:
    """Letters to insert, delete, replace or swap with a neighbour to get from one word to the other."""
    rows = [list(range(len(other) + 1))]
    for number, letter in enumerate(word, 1):
        row = [number]
        for column, target in enumerate(other, 1):
            least = min(rows[-1][column] + 1, row[-1] + 1, rows[-1][column - 1] + (letter != target))
            if number > 1 and column > 1 and (letter, word[number - 2]) == (other[column - 2], target):
                least = min(least, rows[-2][column - 2] + 1)
            row.append(least)
        rows.append(row)
    return rows[-1][-1]
