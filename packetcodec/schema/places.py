r"""Where in the text of a schema each key, table and value stands.

The TOML parser of the standard library keeps no positions. This reads the brackets, strings and keys of the same text once
more, in one pass, and notes where every path begins: a key at its first character (in a dotted key, each part at its own), a
table with a header at the bracket of the header, an element of an array at its first character.

>>> places = Places("check = { width = 8 }\n[[layouts]]\nfields = [\n  { kind = 'flag' }, { kind = 'flak' }]\n")
>>> places.of(("check", "width"))
(1, 11)
>>> places.of(("layouts", 0, "fields", 1, "kind"))
(4, 24)
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect
from enum import Enum, auto

Path = tuple[str | int, ...]

#: Levels of the deepest value of a schema: layouts, its number, fields, its number, choices, its number; and two to spare.
MAX_DEPTH = 8

#: Parts of a key that is not even finished, and yet too deep: the parser takes a time that grows with their square.
_MAX_PARTS = 1000

_PIECE = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}'  # strings of many lines may end in one or two quotes of their own
    r"|'''.*?'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'"
    r"|#[^\n]*"
    r"|[\[\]{},=\n]"
    r"|[^\s\[\]{},=#\"']+",
    re.DOTALL,
)


class Places:
    """The places of one text.

    Attributes:
        too_deep: line and column of the first key, table or value below `MAX_DEPTH` levels, or None.
    """

    def __init__(self, text: str) -> None:
        scan = _Scan()
        for piece in _PIECE.finditer(text):
            scan.take(piece[0], piece.start())
        self._offsets = scan.found
        self._ends = [end.start() for end in re.finditer("\n", text)]
        self.too_deep = None if scan.too_deep is None else self._line_and_column(scan.too_deep)

    def of(self, path: Path) -> tuple[int, int]:
        """Line and column, both from 1, of `path`, or of the nearest table around it; (0, 0) for the whole text."""
        while path:
            if path in self._offsets:
                return self._line_and_column(self._offsets[path])
            path = path[:-1]
        return 0, 0

    def _line_and_column(self, offset: int) -> tuple[int, int]:
        line = bisect(self._ends, offset - 1)
        return line + 1, offset - (self._ends[line - 1] if line else -1)


class _Next(Enum):
    KEY = auto()
    HEADER = auto()
    VALUE = auto()
    SEPARATOR = auto()


class _Scan:
    """The pieces of a text, one after the other. Never fails: what is no TOML is left to the parser to refuse."""

    def __init__(self) -> None:
        self.found: dict[Path, int] = {}
        self.too_deep: int | None = None
        self._next = _Next.KEY
        self._table: Path = ()  # of the last header
        self._counts: dict[Path, int] = {}  # number of the last table of each array of tables
        self._open: list[tuple[Path, int | None]] = []  # inline tables, and arrays with the number of their element
        self._parts: list[tuple[str, int]] = []  # of the key or header that is being read
        self._value: Path = ()  # path of the value that comes next
        self._header = 0
        self._many = False

    def take(self, piece: str, at: int) -> None:
        """Read one piece of the text that begins at the offset `at`."""
        if piece[0] == "#":
            return
        if piece == "\n":
            if not self._open:
                self._next, self._parts = _Next.KEY, []
        elif self._next is _Next.HEADER:
            self._take_header(piece, at)
        elif piece in ("]", "}"):
            self._next = _Next.SEPARATOR
            if self._open:
                self._open.pop()
        elif self._next is _Next.KEY:
            self._take_key(piece, at)
        elif piece == ",":
            self._take_comma()
        elif self._next is _Next.VALUE:
            self._take_value(piece, at)

    def _take_key(self, piece: str, at: int) -> None:
        if piece == "=":
            path = self._open[-1][0] if self._open else self._table
            for part, place in self._parts:
                path = self._note((*path, part), place)
            self.found[path] = self._parts[-1][1] if self._parts else at
            self._value, self._next, self._parts = path, _Next.VALUE, []
        elif piece == "[" and not self._open and not self._parts:
            self._next, self._header, self._many = _Next.HEADER, at, False
        elif piece not in ("[", "{", ","):
            self._take_parts(piece, at)

    def _take_header(self, piece: str, at: int) -> None:
        if piece == "[":
            self._many = True
        elif piece != "]":
            self._take_parts(piece, at)
        else:
            path: Path = ()
            for number, (part, place) in enumerate(self._parts, 1):
                path = self._note((*path, part), place)
                if path in self._counts and number < len(self._parts):
                    path = (*path, self._counts[path])
            if self._many:
                self._counts[path] = self._counts.get(path, -1) + 1
                path = (*path, self._counts[path])
            self.found[path] = self._header
            self._table, self._next = path, _Next.SEPARATOR

    def _take_parts(self, piece: str, at: int) -> None:
        self._parts += _parts(piece, at)
        if len(self._parts) > _MAX_PARTS and self.too_deep is None:
            self.too_deep = self._parts[MAX_DEPTH][1]

    def _take_comma(self) -> None:
        path, element = self._open[-1] if self._open else ((), None)
        if element is None:
            self._next, self._parts = _Next.KEY, []
        else:
            self._open[-1] = path, element + 1
            self._next = _Next.VALUE

    def _take_value(self, piece: str, at: int) -> None:
        path, element = self._open[-1] if self._open else ((), None)
        if element is not None:
            self._value = self._note((*path, element), at)
        if piece == "[":
            self._open.append((self._value, 0))
        elif piece == "{":
            self._open.append((self._value, None))
            self._next, self._parts = _Next.KEY, []
        else:
            self._next = _Next.SEPARATOR

    def _note(self, path: Path, at: int) -> Path:
        """Note where a path begins if it is new; what is too deep stays at the deepest level."""
        if len(path) > MAX_DEPTH:
            if self.too_deep is None:
                self.too_deep = at
            return path[:MAX_DEPTH]
        self.found.setdefault(path, at)
        return path


def _parts(piece: str, at: int) -> list[tuple[str, int]]:
    """The parts of a key in a piece, each with its offset: one quoted part, or bare parts between dots."""
    if piece[0] in "\"'":
        try:
            return [(tomllib.loads(f"key = {piece}")["key"], at)]
        except tomllib.TOMLDecodeError:
            return [(piece, at)]
    return [(part[0], at + part.start()) for part in re.finditer(r"[^.]+", piece)]


def show_key(key: str) -> str:
    """A key as a fault shows it: as it is where TOML takes it bare, else in quotes, short and on one line."""
    return key if re.fullmatch(r"[A-Za-z0-9_-]{1,40}", key) else show(key)


def printable(text: str) -> str:
    """A text without characters that a terminal would act on, or that no letter stands for."""
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text)


def show(value: object) -> str:
    """A value as a fault shows it: short, printable, on one line."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict | list):
        kind, what = ("a table", "key") if isinstance(value, dict) else ("a list", "element")
        return f"{kind} of {len(value)} {what}{'s' * (len(value) != 1)}"
    if isinstance(value, int) and value.bit_length() > 200:  # Python refuses to write thousands of digits
        return f"a number of {value.bit_length()} bits"
    text = printable(str(value)[:61])
    text = text if len(text) <= 60 else f"{text[:57]}..."
    return f'"{text}"' if isinstance(value, str) else text


def describe(path: Path, document: object) -> str:
    """`path` in words, arrays of tables with their number (from 1) and the name that stands there."""
    said: list[str] = []
    here = document
    for part in path:
        try:
            here = here[part]  # type: ignore[index]  # walked as far as it goes
        except (KeyError, IndexError, TypeError):
            here = None
        if isinstance(part, str):
            said.append(show_key(part))
        else:
            label = here.get("name") or here.get("kind") if isinstance(here, dict) else None
            said[-1] = f"{said[-1].removesuffix('s')} {part + 1}" + (f" {show(label)}" if isinstance(label, str) else "")
    return ", ".join(said)
