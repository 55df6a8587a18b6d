"""The fault names and the few exceptions.

Owns one rule: what can be wrong with a packet, and in which order it is looked for. Every decoder of this project
(Python, the construct reference, emitted code) gives these names in this order, and the first fault wins.

>>> FAULTS.index("bad_check") < FAULTS.index("out_of_range")
True
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

OK = "ok"

FAULTS = (
    "too_short",  # not even a whole header, or fewer bytes than the layout has
    "too_long",  # more bytes than the layout has
    "unknown_version",
    "unknown_layout",
    "bad_check",
    "bad_padding",  # a bit behind the last field that is not zero
    "out_of_range",  # a raw code that the field never sends
    "bad_trail",
)
STATUSES = (OK, *FAULTS)


class PacketcodecError(ValueError):
    """The ancestor of all faults that come from data: packets, values, schemas, logs, radio settings."""


class PacketFault(PacketcodecError):
    """A packet that a decoder refuses.

    Attributes:
        status: one of `FAULTS`.
        field: name of the field that is out of range, or None.
        offset: first bit the fault is about, counted from the packet's first bit, or None.
    """

    def __init__(self, status: str, message: str, *, field: str | None = None, offset: int | None = None) -> None:
        super().__init__(f"{status}: {message}")
        self.status = status
        self.field = field
        self.offset = offset


class ValueFault(PacketcodecError):
    """A value that cannot be sent: missing, not a number, beyond a range that is not clipped.

    Attributes:
        layout: name of the layout.
        field: name of the field, or None when the fault is about the layout as a whole.
    """

    def __init__(self, message: str, *, layout: str, field: str | None = None) -> None:
        super().__init__(message)
        self.layout = layout
        self.field = field


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault of a schema file: where it is and what is wrong (bound and value included)."""

    place: str
    message: str

    def __str__(self) -> str:
        return f"{self.place}: {self.message}" if self.place else self.message


class SchemaFault(PacketcodecError):
    """Everything that is wrong with a schema, found in one reading.

    Attributes:
        problems: each fault with its place, in the order of the file.
    """

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__("\n".join(map(str, problems)))
        self.problems = problems


class LogFault(PacketcodecError):
    """A recorded log that holds nothing to replay, or a place in it that cannot be read."""


class RadioFault(PacketcodecError):
    """A radio setting outside what the modem, or the sub-band, allows."""


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that a mistyped or shortened one most likely means, or None."""
    known = tuple(known)
    # The standard library's matcher would add a tenth to the time that importing this package takes.
    found = [(distance, other) for other in known if (distance := _edits(word, other)) <= max(1, len(word) // 3)]
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
