r"""Where in the file a fault stands: table paths turned into words and line numbers.

The TOML parser of the standard library keeps no positions. This finds the line of a path again by the few ways a
schema is written (section headers, arrays of tables, one inline table a line); where the file is written otherwise it
gives no line, and the words of the path still name the place.

>>> text = "[header]\nversion_bits = 99\n"
>>> line_of(text, ("header", "version_bits"))
2
"""

from __future__ import annotations

import re

Path = tuple[str | int, ...]

_SECTION = re.compile(r"\s*\[\[?\s*([A-Za-z0-9_.]+)\s*\]\]?")
_KEY = re.compile(r"\s*([A-Za-z0-9_]+)\s*=\s*(\[?)")


def _lines(text: str) -> dict[Path, int]:
    """First line of every path that can be recognised."""
    found: dict[Path, int] = {}
    counts: dict[str, int] = {}
    here: Path = ()
    rows: Path | None = None  # the array whose inline tables stand one a line below
    row = 0
    for number, line in enumerate(text.splitlines(), 1):
        if section := _SECTION.match(line):
            name = section[1]
            rows = None
            if line.lstrip().startswith("[["):
                index = counts[name] = counts.get(name, -1) + 1
                parent, _, last = name.rpartition(".")
                base: Path = (parent, counts.get(parent, 0)) if parent else ()
                if not parent:
                    counts = {key: value for key, value in counts.items() if not key.startswith(f"{name}.")}
                here = (*base, last or name, index)
            else:
                here = tuple(name.split("."))
            found.setdefault(here, number)
        elif rows is not None:
            if line.lstrip().startswith("{"):
                found[(*rows, row)] = number
                for key in re.findall(r"([A-Za-z0-9_]+)\s*=", line):
                    found.setdefault((*rows, row, key), number)
                row += 1
            elif line.lstrip().startswith("]"):
                rows = None
        elif key := _KEY.match(line):
            found.setdefault((*here, key[1]), number)
            if key[2] and "]" not in line:
                rows, row = (*here, key[1]), 0
    return found


def line_of(text: str, path: Path) -> int | None:
    """Line (from 1) where `path` stands, or the nearest table around it, or None."""
    lines = _lines(text)
    while path:
        if path in lines:
            return lines[path]
        path = path[:-1]
    return None


def words(path: Path, document: object) -> str:
    """`path` in words, arrays of tables with their number (from 1) and the name that stands there."""
    said: list[str] = []
    here = document
    for part in path:
        try:
            here = here[part]  # type: ignore[index]  # walked as far as it goes
        except (KeyError, IndexError, TypeError):
            here = None
        if isinstance(part, int):
            label = here.get("name") or here.get("kind") if isinstance(here, dict) else None
            said[-1] = f"{said[-1].removesuffix('s')} {part + 1}" + (f' "{label}"' if label else "")
        else:
            said.append(part)
    return ", ".join(said)
