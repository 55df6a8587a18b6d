"""One TOML table being read: typed keys within their bounds, and every fault noted with its place instead of raised.

Type, bounds and default of a key are those of its row in `packetcodec.schema.keys`.

>>> faults = Faults({})
>>> Table({"version_bits": 99}, ("header",), faults).integer("version_bits")
>>> print(faults.problems[0])
header, version_bits: 99 is outside 1..8
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from packetcodec.errors import Problem
from packetcodec.schema.keys import FORBIDDEN, NAME, NAME_WORDS, TABLES
from packetcodec.schema.kinds import U32
from packetcodec.schema.places import Places, describe, printable, show
from packetcodec.spelling import nearest

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from packetcodec.schema.places import Path

#: Bounds of a number that has no other: what its base units can be, and far beyond.
_MIN, _MAX = Decimal(-(10**15)), Decimal(10**15)
_MAX_DIGITS = 28  # of a decimal on which the arithmetic of the standard library stays exact


#: Most faults that one reading tells.
MAX_PROBLEMS = 100


class Faults:
    """All that is wrong with a document, in the order found."""

    def __init__(self, document: Mapping[str, Any], places: Places | None = None) -> None:
        self.document = document
        self.places = places or Places("")
        self.problems: list[Problem] = []

    def note(self, path: Path, message: str) -> None:
        """Note a fault at `path`."""
        self.problems.append(problem_at(self.places.of(path), describe(path, self.document), message))


def problem_at(place: tuple[int, int], path: str, message: str) -> Problem:
    """A fault at a line and column, and at a path in words."""
    where = "line {}, column {}".format(*place) if place[0] else ""
    return Problem(": ".join(filter(None, (where, path))), printable(message), *place)


class Table:
    """A TOML table, its path, and where its faults go. Readers return None for what is missing or wrong.

    Attributes:
        data: the table.
        path: its keys from the top of the file.
        keys: the keys that it may have.
        faults: where its faults go.
    """

    def __init__(self, data: Any, path: Path, faults: Faults) -> None:
        self.path = path
        self.faults = faults
        self._rows = TABLES[next((part for part in reversed(path) if isinstance(part, str)), "")]
        self.keys = self._rows.keys
        if not isinstance(data, dict):
            faults.note(path, f"must be a table, not {show(data)}")
            data = {}
        self.data: dict[str, Any] = data

    def note(self, message: str, key: str | None = None) -> None:
        """Note a fault of `key`, or of the table as a whole."""
        self.faults.note(self.path if key is None else (*self.path, key), message)

    def reject_unknown(self, known: Iterable[str] | None = None, what: str = "") -> None:
        """Note every key that is not among `known` (by default all of the table), and every required one that is missing."""
        known = list(self.keys if known is None else known)
        for key in self.data:
            if key not in known:
                near = nearest(key, known) if len(self.faults.problems) < MAX_PROBLEMS else None
                self.note_unknown(key, what or self._rows.what, near, known)
        for key, row in self.keys.items():
            if row.required and key not in self.data:
                self.note_missing(key, row.meaning)

    def note_unknown(self, key: str, what: str, near: str | None, known: Iterable[str] = ()) -> None:
        """Note a key that `what` does not have, and the one that was meant, or all that there are."""
        hint = f"did you mean {near}?" if near else f"known here: {', '.join(known)}"
        self.note(f"not a key of {what}; {hint}", key)

    def meant(self, key: str) -> str | None:
        """The unknown key that most likely was meant to be this one."""
        if len(self.faults.problems) >= MAX_PROBLEMS:
            return None
        return next((other for other in self.data if other not in self.keys and nearest(other, self.keys) == key), None)

    def note_missing(self, key: str, what: str) -> None:
        """Note a key that is missing, unless it is misspelt, which is a fault of its own."""
        if self.meant(key) is None:
            self.note(f"{key} is missing: {what}")

    def _typed(self, key: str, kind: type | tuple[type, ...], what: str) -> Any:
        value = self.data.get(key)
        if value is None:
            return None
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            self.note(f"must be {what}, not {show(value)}", key)
            return None
        return value

    def integer(self, key: str, least: int | None = None, most: int | None = None, default: int | None = None) -> int | None:
        """A whole number within the key's bounds, or narrower ones, or its default."""
        row = self.keys[key]
        value: int | None = self._typed(key, int, "a whole number")
        if value is None:
            fallback = row.default if isinstance(row.default, int) and default is None else default
            return fallback if key not in self.data else None
        if row.choices:
            return value if self._is_choice(key, value) else None
        lowest, highest = (row.minimum or 0) if least is None else least, (row.maximum or U32) if most is None else most
        if not lowest <= value <= highest:
            self.note(f"{show(value)} is outside {lowest}..{highest}{_unit(row.unit)}", key)
            return None
        return value

    def number(self, key: str) -> Decimal | None:
        """A finite number within the key's bounds, exact as written; its default where it is missing."""
        row = self.keys[key]
        value = self._typed(key, (int, Decimal), "a number")
        if value is None:
            return None if key in self.data or row.default is None else Decimal(row.default)
        if not (value := Decimal(value)).is_finite():
            self.note(f"must be finite, not {value}", key)
            return None
        if len(value.as_tuple().digits) > _MAX_DIGITS:
            self.note(f"{show(value)} has more than {_MAX_DIGITS} digits", key)
            return None
        least = _MIN if row.minimum is None else Decimal(str(row.minimum))
        most = _MAX if row.maximum is None else Decimal(str(row.maximum))
        if not least <= value <= most:
            self.note(f"{show(value)} is outside {least}..{most}{_unit(row.unit)}", key)
            return None
        return value

    def boolean(self, key: str) -> bool:
        """True or false; false where it is missing."""
        return bool(self._typed(key, bool, "true or false"))

    def text(self, key: str, default: str | None = None) -> str:
        """A text of one line: every run of spaces, tabs and line breaks in it becomes one space."""
        row = self.keys[key]
        value: str | None = self._typed(key, str, "a text")
        if value is None:
            return (row.default if isinstance(row.default, str) else "") if default is None else default
        if found := FORBIDDEN.search(value):
            self.note(f"holds the character U+{ord(found[0]):04X}, which no text here may hold", key)
            return ""
        value = " ".join(value.split())
        if row.choices:
            return value if self._is_choice(key, value) else ""
        if row.maximum is not None and not (row.minimum or 0) <= len(value) <= row.maximum:
            self.note(f"must be a text of {row.bounds}, not of {len(value)}", key)
            return ""
        return value

    def _is_choice(self, key: str, value: str | int) -> bool:
        choices = self.keys[key].choices
        if value not in choices:
            self.note(f"{show(value)} is not one of {', '.join(map(str, choices))}", key)
        return value in choices

    def name(self, key: str = "name", default: str | None = None) -> str | None:
        """A name that every back end can write: lower case letters, digits and _, at most 31 of them."""
        value: str | None = self._typed(key, str, "a text")
        if value is not None and not NAME.fullmatch(value):
            self.note(f"{show(value)} is not a name: {NAME_WORDS}", key)
            return None
        return value if key in self.data else default

    def names(self, key: str) -> tuple[str, ...]:
        """A list of different names; none of them after a fault."""
        row = self.keys[key]
        value = self._typed(key, list, "a list of names")
        if key not in self.data:
            self.note_missing(key, row.meaning)
        if value is None:
            return ()
        if not (row.minimum or 0) <= len(value) <= (row.maximum or U32):
            self.note(f"must be a list of {row.bounds}, not {show(value)}", key)
            return ()
        for index, name in enumerate(value):
            if not isinstance(name, str) or not NAME.fullmatch(name):
                self.faults.note((*self.path, key, index), f"{show(name)} is not a name: {NAME_WORDS}")
            elif name in value[:index]:
                self.faults.note((*self.path, key, index), f'"{name}" stands twice')
        return tuple(map(str, value))

    def section(self, key: str) -> Table:
        """The table of that key; an empty one if it is missing."""
        return Table(self.data.get(key, {}), (*self.path, key), self.faults)

    def rows(self, key: str) -> list[Table]:
        """The tables of an array of tables."""
        row = self.keys[key]
        value = self.data.get(key, [])
        if not isinstance(value, list):
            self.note(f"must be a list of tables, not {show(value)}", key)
            return []
        if key in self.data and not (row.minimum or 0) <= len(value) <= (row.maximum or len(value)):
            self.note(f"must be a list of {row.bounds}, not {show(value)}", key)
            return []
        return [Table(element, (*self.path, key, index), self.faults) for index, element in enumerate(value)]


def _unit(unit: str) -> str:
    return f" {unit}" if unit in {"m", "s", "m/s"} else ""
