"""One TOML table being read: typed keys, bounds, and every fault noted with its place instead of raised.

>>> faults = Faults({"bits": 99}, "")
>>> Table({"bits": 99}, (), faults).integer("bits", 1, 32)
>>> print(faults.problems[0])
bits: 99 is outside 1..32
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from packetcodec.errors import Problem
from packetcodec.schema.places import Path, line_of, words
from packetcodec.spelling import nearest

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

_TOO_LARGE = Decimal("1e30")
NAME = re.compile(r"[a-z][a-z0-9_]{0,30}")


class Faults:
    """All that is wrong with a document, in the order found."""

    def __init__(self, document: Mapping[str, Any], text: str) -> None:
        self.document = document
        self.text = text
        self.problems: list[Problem] = []

    def note(self, path: Path, message: str) -> None:
        """Note a fault at `path`."""
        line = line_of(self.text, path)
        place = words(path, self.document)
        self.problems.append(Problem(": ".join(filter(None, (f"line {line}" if line else "", place))), message))


class Table:
    """A TOML table, its path, and where its faults go. Readers return None for what is missing or wrong."""

    def __init__(self, data: Any, path: Path, faults: Faults) -> None:
        self.path = path
        self.faults = faults
        if not isinstance(data, dict):
            faults.note(path, f"must be a table, not {show(data)}")
            data = {}
        self.data: dict[str, Any] = data

    def note(self, message: str, key: str | None = None) -> None:
        """Note a fault of `key`, or of the table as a whole."""
        self.faults.note(self.path if key is None else (*self.path, key), message)

    def reject_unknown(self, known: Iterable[str], what: str) -> None:
        """Note every key that is not among `known`."""
        known = sorted(known)
        for key in self.data:
            if key not in known:
                near = nearest(key, known)
                hint = f"; did you mean {near}?" if near else f"; known here: {', '.join(known)}"
                self.note(f"not a key of {what}{hint}", key)

    def _typed(self, key: str, kind: type | tuple[type, ...], what: str) -> Any:
        value = self.data.get(key)
        if value is None:
            return None
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            self.note(f"must be {what}, not {show(value)}", key)
            return None
        return value

    def integer(self, key: str, least: int, most: int, default: int | None = None) -> int | None:
        """A whole number within least..most."""
        value: int | None = self._typed(key, int, "a whole number")
        if value is not None and not least <= value <= most:
            self.note(f"{show(value)} is outside {least}..{most}", key)
            return None
        return default if value is None and key not in self.data else value

    def number(self, key: str) -> Decimal | None:
        """A finite number, exact as written."""
        value = self._typed(key, (int, Decimal), "a number")
        if value is None:
            return None
        if not (value := Decimal(value)).is_finite():
            self.note(f"must be finite, not {value}", key)
            return None
        if abs(value) >= _TOO_LARGE:  # beyond it the arithmetic of decimals ends
            self.note(f"{show(value)} is outside -1e30..1e30", key)
            return None
        return value

    def boolean(self, key: str, *, default: bool = False) -> bool:
        """True or false."""
        value = self._typed(key, bool, "true or false")
        return default if value is None else value

    def text(self, key: str, default: str = "") -> str:
        """A string."""
        value = self._typed(key, str, "a text")
        return default if value is None else value

    def name(self, key: str = "name", default: str | None = None) -> str | None:
        """A name that every back end can write: lower case letters, digits and _, at most 31 of them."""
        if key not in self.data:
            if default is None:
                self.note(f"{key} is missing")
            return default
        value: str | None = self._typed(key, str, "a text")
        if value is not None and not NAME.fullmatch(value):
            self.note(
                f"{show(value)} is not a name: a lower case letter, then lower case letters, digits or _, 31 at most",
                key,
            )
            return None
        return value

    def section(self, key: str) -> Table:
        """The table of that key; an empty one if it is missing."""
        return Table(self.data.get(key, {}), (*self.path, key), self.faults)

    def rows(self, key: str, *, required: bool = True) -> list[Table]:
        """The tables of an array of tables."""
        value = self.data.get(key)
        if value is None or value == []:
            if required:
                self.note(f"{key}: at least one is needed")
            return []
        if not isinstance(value, list):
            self.note(f"must be a list of tables, not {show(value)}", key)
            return []
        return [Table(row, (*self.path, key, index), self.faults) for index, row in enumerate(value)]


def show(value: object) -> str:
    """A value as a fault message shows it: short, on one line."""
    text = f'"{value}"' if isinstance(value, str) else str(value)
    text = " ".join(text.split())
    return text if len(text) <= 60 else f"{text[:57]}..."
