"""A schema is data: whatever its texts say, the specification stays Markdown of the same shape, and of bounded size."""

from __future__ import annotations

import json
import re
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from packetcodec import Schema, SchemaFault, compile_plan
from packetcodec.emit.spec import write_spec
from packetcodec.emit.spec.text import markdown, reflowed
from packetcodec.vectors import write_vectors
from packetcodec.vectors.examples import MAX_TRIED, is_cut, tried_fields

if TYPE_CHECKING:
    from markdown_it.token import Token

    from packetcodec import Plan

#: Every text of a schema that stands in its specification.
HOSTILE = """
name = "hut"
version = 1
doc = {text}
[[layouts]]
name = "one"
id = 1
doc = {text}
fields = [
  {{ kind = "number", minimum = 0, maximum = 9, bits = 5, unit = {unit}, doc = {text} }},
  {{ kind = "choice", choices = ["a", "b"], doc = {text} }},
  {{ kind = "latitude", doc = {text} }}, {{ kind = "longitude" }},
]
trail = {{ points = 3, resolution_m = 5, spacing = 10, doc = {text} }}
[[history]]
version = 1
note = {text}
"""
PIECES = (
    "<script>alert(1)</script>", "<!--", "-->", "<b", "&lt;", "&#60;", "|", "\\|", "\\", "`", "```", "~~~", "===", "---",
    "***", "# ", "\n## 5 Check\n", "\n\n", "- ", "1. ", "> ", "    ", "[x](javascript:1)", "![x](y)", "[x]: y",
    "<http://a.b>", "*", "_", "\x1b[31m", "\x00", "\x07", "\u202e", "\u2028", "\u0085", "\r", "\t", "a", "word",
)  # fmt: skip
TEXTS = st.lists(st.sampled_from(PIECES) | st.text(max_size=6), max_size=12).map("".join)


def quoted(text: str) -> str:
    """A text as a basic string of TOML."""
    plain = (sign if sign.isalnum() else f"\\U{ord(sign):08x}" for sign in text if not 0xD800 <= ord(sign) < 0xE000)
    return '"' + "".join(plain) + '"'


def written(text: str, unit: str) -> dict[str, str]:
    return write_spec(compile_plan(Schema.parse(HOSTILE.format(text=quoted(text), unit=quoted(unit)))))


def tokens(text: str) -> list[Token]:
    return MarkdownIt("commonmark").enable("table").parse(text)


def shape(text: str) -> list[str]:
    """Headings, tables row by row, code and lists: all that a text of the schema must not change."""
    found = tokens(text)
    kinds = [token.type for token in found if token.type not in {"paragraph_open", "paragraph_close", "inline"}]
    titles = [after.content for token, after in pairwise(found) if token.type == "heading_open"]
    return kinds + titles + [token.content for token in found if token.type == "fence"]


@pytest.mark.slow
@settings(max_examples=25, deadline=None)
@given(TEXTS, TEXTS)
@example("<script>|`\n## 5 Check\n~~~", "|\n| x |")
@example("> \\", "\\")
@example("[x]: y", "1. ")
def test_no_text_of_a_schema_changes_the_shape_of_its_specification(text: str, unit: str) -> None:
    try:
        files = written(f"remark {text}", f"u{unit}")
    except SchemaFault:  # longer than a unit may be, or not a text
        return
    plain = written("remark", "u")
    for name, content in files.items():
        assert shape(content) == shape(plain[name])
        assert all(line.isprintable() for line in content.split("\n"))
        html = [
            inner.content
            for token in tokens(content)
            for inner in (token, *(token.children or ()))
            if inner.type in {"html_block", "html_inline", "link_open", "image"}
        ]
        assert html == []


@given(TEXTS)
def test_a_text_at_the_start_of_a_line_begins_no_block_and_reads_as_it_was(text: str) -> None:
    found = tokens(reflowed(markdown(text)))
    words = " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
    if re.match(r"\d+\. |\d+[.)]$", words):  # a list of one item is harmless
        return
    assert [token.type for token in found] == (["paragraph_open", "inline", "paragraph_close"] if words else [])
    if words and not re.search(r"[*_]", words):  # emphasis is harmless too
        read = "".join(child.content or " " for child in found[1].children or ())
        assert " ".join(read.split()) == words


def wide(layouts: int, fields: int, *, trail: bool) -> Plan:
    """A plan of many layouts with many fields each."""
    place = '{ kind = "latitude", bits = 20 }, { kind = "longitude", bits = 20 },' if trail else ""
    tail = "\ntrail = { points = 2, resolution_m = 5, spacing = 10 }" if trail else ""
    text = 'name = "wide"\nversion = 1\nheader = { version_bits = 8, layout_bits = 8 }\ncheck = { crc = "CRC-16/M17" }\n'
    for ident in range(layouts):
        numbers = (f'name = "f{n}", minimum = {-ident}, maximum = {n + 1}, bits = 9' for n in range(fields))
        row = ", ".join(f'{{ kind = "number", {number} }}' for number in numbers)
        text += f'[[layouts]]\nname = "l{ident}"\nid = {ident}\nfields = [{place} {row}]{tail}\n'
    return compile_plan(Schema.parse(text))


@pytest.mark.slow
def test_the_vectors_of_a_large_plan_try_as_many_fields_as_they_say() -> None:
    plan = wide(10, 31, trail=True)
    tried = [len(tried_fields(plan, layout)) for layout in plan.layouts]
    assert is_cut(plan)
    assert tried == [33] * 7 + [17, 0, 0]
    assert MAX_TRIED - 33 < sum(tried) * 33 <= MAX_TRIED
    vectors = json.loads(next(iter(write_vectors(plan).values())))
    for layout, count in zip(plan.layouts, tried, strict=True):
        names = [row["note"] for row in vectors["encode"] if row["layout"] == layout.name]
        assert sum(note.startswith("f") and note.endswith("upper end of the range") for note in names) == max(0, count - 2)
        assert any(note == "trail: no point" for note in names) == (count > 0)
        assert "everyday values" in names
    assert "not every field has entries of its own" in " ".join(write_spec(plan)["wide-v1.md"].split())


@pytest.mark.slow
def test_specification_and_vectors_of_the_largest_plan_are_bounded() -> None:
    # 256 layouts of 63 fields are the most that a schema has.
    plan = wide(256, 61, trail=True)
    assert sum(len(text) for text in write_spec(plan).values()) < 25_000_000
    assert sum(len(text) for text in write_vectors(plan).values()) < 40_000_000
