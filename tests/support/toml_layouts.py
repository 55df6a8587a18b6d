"""One document in many layouts: the TOML text of nested tables and lists, and where each key and value begins in it.

Written without a look at the reader: every choice that TOML leaves (inline tables, headers, dotted keys, arrays over lines,
kinds of quotes, comments, spaces) is drawn, and each place is noted while the text is made.
"""

from __future__ import annotations

import json
import random
import re

from hypothesis import strategies as st

KEYS = st.sampled_from(["a", "b", "kind", "x-1", "1", "a.b", "", "two words", "=", "#", "[c]", '"', "it's", "é", "\t", "\\"])
TEXTS = st.sampled_from(
    ["", "a", 'a]"', 'a""', "# no remark", "]", "}", "{a = 1}", "'''", '"""', '""', "''", "a\nb = 2\n[c]", "\\", "a, b", "é"]
)
LITERALS = st.sampled_from(["1", "-2", "0x1f", "1.5", "1e3", "true", "inf", "2026-01-01T00:00:00Z", "2026-01-01 00:00:00Z"])
REMARKS = ["# [a] = 'b", '# """', "# {", "#"]


class Literal(str):
    """A value as TOML writes it."""

    __slots__ = ()


def documents():
    """Nested tables and lists with `Literal` and `str` at their ends."""
    leaves = LITERALS.map(Literal) | TEXTS
    nested = st.recursive(
        leaves,
        lambda inner: st.lists(inner, max_size=3) | tables(inner) | st.lists(tables(inner), min_size=1, max_size=3),
        max_leaves=12,
    )
    return tables(nested)


def tables(values):
    return st.dictionaries(KEYS, values, max_size=4)


class Writer:
    """Writes one document, and notes where each path begins.

    Attributes:
        text: what was written.
        places: offset of every path.
    """

    def __init__(self, seed, document):
        self.random = random.Random(seed)  # noqa: S311  # a layout, no secret
        self.text = ""
        self.places = {}
        self.end = self.one_of("\n", "\r\n")
        self.table((), document, element=False)

    def one_of(self, *choices):
        return self.random.choice(choices)

    def chance(self, part):
        return self.random.random() < part

    def put(self, *words):
        for word in words:
            self.text += word
            self.text += self.one_of("", "", " ", "\t", "  ")

    def line(self):
        self.put(self.one_of("", "", *REMARKS))
        self.text += self.end * self.one_of(1, 1, 2)

    def note(self, path, *, again=False):
        if again or path not in self.places:
            self.places[path] = len(self.text)

    def gap(self):
        """Inside an array a line may end, and remarks may stand, anywhere."""
        if self.chance(1 / 3):
            self.line()

    # --- keys and values ------------------------------------------------------------------------------------------

    def part(self, key):
        bare = bool(re.fullmatch(r"[A-Za-z0-9_-]+", key))
        quotes = ["basic", *["bare"] * 3 * bare, *["literal"] * ("'" not in key)]
        how = self.one_of(*quotes)
        self.text += key if how == "bare" else f"'{key}'" if how == "literal" else json.dumps(key)

    def key(self, base, parts):
        """A key, dotted if it has several parts, and the sign behind it."""
        for number in range(len(parts)):
            if number:
                self.put("")
                self.put(".")
            self.note((*base, *parts[: number + 1]), again=number == len(parts) - 1)
            self.part(parts[number])
        self.put("", "=")

    def value(self, path, value):
        if isinstance(value, dict):
            self.text += "{"
            self.put("")
            for number, (parts, item) in enumerate(self.flattened(value)):
                if number:
                    self.put(",")
                self.key(path, parts)
                self.value((*path, *parts), item)
            self.put("}")
        elif isinstance(value, list):
            self.text += "["
            self.gap()
            for index, item in enumerate(value):
                self.put("")
                self.note((*path, index))
                self.value((*path, index), item)
                self.gap()
                self.put("," if index < len(value) - 1 else self.one_of("", ","))
                self.gap()
            self.put("]")
        else:
            self.put(value if isinstance(value, Literal) else self.string(value))

    def string(self, text):
        line = self.one_of("", self.end)
        ways = [json.dumps(text), f'"""{line}{json.dumps(text)[1:-1]}"""']
        if "\n" not in text and "'" not in text:
            ways.append(f"'{text}'")
        if "'''" not in text:
            ways.append(f"'''{line}{text}'''")
        if '"""' not in text and "\\" not in text:
            ways.append(f'"""{line}{text}"""')
        return self.one_of(*ways).replace("\r\n", "\n").replace("\n", self.end)

    def flattened(self, table):
        """The entries of a table, some inner tables taken apart by dotted keys."""
        rows = []
        for key, value in table.items():
            if isinstance(value, dict) and value and self.chance(1 / 2):
                rows += [((key, *parts), item) for parts, item in self.flattened(value)]
            else:
                rows.append(((key,), value))
        return self.random.sample(rows, len(rows))

    # --- tables with headers --------------------------------------------------------------------------------------

    def header(self, path, *, many=False):
        at, written = len(self.text), ()
        self.put("[[" if many else "[")
        names = [(number, part) for number, part in enumerate(path) if isinstance(part, str)]
        for count, (number, part) in enumerate(names):
            if count:
                self.put(".")
            written = path[: number + 1]
            self.note(written)
            self.part(part)
            self.put("")
        self.put("]]" if many else "]")
        self.places[path] = at
        self.line()

    def table(self, path, table, *, element):
        def with_header(value):
            wanted = isinstance(value, dict) or (
                isinstance(value, list) and value and all(isinstance(x, dict) for x in value)
            )
            return wanted and self.chance(2 / 3)

        below = {key: value for key, value in table.items() if with_header(value)}
        here = {key: value for key, value in table.items() if key not in below}
        late = bool(path and not element and below and self.chance(1 / 2))  # the header after those below it
        if late:
            self.tables(path, below)
        if path and not element and (here or not below or self.chance(1 / 2)):
            self.header(path)
        for parts, value in self.flattened(here):
            self.put(self.one_of("", "  "))
            self.key(path, parts)
            self.value((*path, *parts), value)
            self.line()
        if not late:
            self.tables(path, below)

    def tables(self, path, tables):
        for key, value in tables.items():
            if isinstance(value, dict):
                self.table((*path, key), value, element=False)
            else:
                for index, row in enumerate(value):
                    self.header((*path, key, index), many=True)
                    self.table((*path, key, index), row, element=True)


@st.composite
def layouts(draw):
    """A document, its text in one layout, and the offset of every path."""
    document = draw(documents())
    writer = Writer(draw(st.integers(0, 2**32)), document)
    return document, writer.text, writer.places
