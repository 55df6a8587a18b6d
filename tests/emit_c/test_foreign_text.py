"""A schema is data: whatever its texts say, every back end writes the same code, builds without a warning, answers alike.

The texts go in behind the reader's back, so that nothing that it refuses (control characters, marks that turn the direction
of writing) protects the back ends here.
"""

from __future__ import annotations

import os
import subprocess
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from packetcodec import Schema, compile_plan
from packetcodec.emit import BACK_ENDS, HARNESSES
from packetcodec.emit.c.writer import safe_text as c_text
from packetcodec.emit.c.writer import write_c
from packetcodec.emit.js.writer import literal, safe_text
from packetcodec.frozen import replace
from tests.support.conformance import SUBJECTS, WARNINGS, Subject, differences, encodings, packets
from tests.support.needs import tool
from tests.support.node import module_of

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

CI = bool(os.environ.get("CI"))

PLAIN = Schema.parse("""
name = "pasture"
version = 1
doc = "text"
check = { crc = "CRC-16/M17", bind_schema = true }
history = [{ version = 1, note = "text" }]
[[layouts]]
name = "position"
id = 1
doc = "text"
fields = [
  { kind = "identifier", doc = "text" }, { kind = "latitude", doc = "text", optional = true },
  { kind = "longitude", doc = "text" }, { kind = "choice", name = "mood", choices = ["calm", "wild"], doc = "text" },
  { kind = "number", name = "load", unit = "kg", minimum = 0, maximum = 99.9, resolution = 0.3, doc = "text" },
  { kind = "number", name = "milk", unit = "l", minimum = -5, maximum = 90, resolution = 1, optional = true, doc = "text" },
]
trail = { points = 5, resolution_m = 5, spacing = 30, doc = "text" }
[[layouts]]
name = "gate"
id = 2
fields = [{ kind = "flag", name = "open", doc = "text" }]
""")

#: Ends and beginnings of what a text can stand in, or be taken for.
PIECES = [
    "*/", "/*", "*", "/", "//", "\\", "\\\n", "??/", "??", '"', "'", "`", "${process.exit(9)}", "{@link x}", "</script>",
    "@typedef {never} T", "<!--", "-->", "\n", "\r", "\u2028", "\u2029", "\u202e", "\u200f", "\x00", "\x1b[31m", "\ufeff",
    "#define X", "*/ int evil(void); /*", "*/ throw 1; /*", '"; throw 1; //', "}", "{", "%n", "«", "»", "{{ x }}", "{% x %}",
    "°", "|", "???/", "é", "\U0001f404", "-", ">", "!", "<", "?", "$",
]  # fmt: skip
TEXTS = st.lists(st.sampled_from(PIECES) | st.text(max_size=3), max_size=9).map("".join)


def spoiled(schema: Schema, texts: Iterator[str]) -> Schema:
    """The schema with another text wherever it has one."""

    def field(item):
        unit = item.unit
        if item.kind.own_unit:
            text = next(texts)
            unit = replace(unit, name=text, symbol=text, base=f"0.1 {text}")
        return replace(item, doc=next(texts), unit=unit, requested=next(texts))

    def layout(item):
        trail = item.trail and replace(item.trail, doc=next(texts), requested=next(texts))
        return replace(item, doc=next(texts), fields=tuple(map(field, item.fields)), trail=trail)

    history = tuple(replace(remark, note=next(texts)) for remark in schema.history)
    return replace(schema, doc=next(texts), history=history, layouts=tuple(map(layout, schema.layouts)))


def hostile(data: st.DataObject) -> Schema:
    """The plain schema with drawn texts."""
    return spoiled(PLAIN, iter(lambda: data.draw(TEXTS), None))


def without_comments(folder: Path, text: str) -> str:
    """C as the compiler sees it, but for its directives."""
    (folder / "text.c").write_text(text, encoding="utf-8")
    command = [tool("gcc"), "-std=c99", "-fpreprocessed", "-dD", "-E", "-P", "text.c"]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=True).stdout


def some(examples: int):
    """So many examples; not shrunk, since every one starts a compiler, and what fails is printed."""
    return settings(
        deadline=None, max_examples=examples, phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip


@pytest.mark.slow
@some(60 if CI else 5)
@given(data=st.data())
def test_c_is_the_same_but_for_its_comments_and_compilers_have_nothing_to_say(tmp_path, data):
    plain, files = write_c(compile_plan(PLAIN)), write_c(compile_plan(hostile(data)))
    for name, text in files.items():
        assert without_comments(tmp_path, text) == without_comments(tmp_path, plain[name])
        (tmp_path / name).write_text(text, encoding="utf-8")
    for compiler in ("gcc", "clang"):
        command = [tool(compiler, compiler), "-std=c99", *WARNINGS, "-c", "pasture_packets.c", "-o", "out.o"]
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
        assert (done.stderr, done.returncode) == ("", 0)


@pytest.mark.slow
@some(60 if CI else 5)
@given(data=st.data())
def test_javascript_has_its_functions_and_only_its_units_differ(tmp_path, data):
    schema = hostile(data)
    (tmp_path / "plain.mjs").write_text(module_of(compile_plan(PLAIN)), encoding="utf-8")
    (tmp_path / "wild.mjs").write_text(module_of(compile_plan(schema)), encoding="utf-8")
    script = """
    import * as plain from "./plain.mjs";
    import * as wild from "./wild.mjs";
    const shown = (item) => typeof item === "function" ? item.toString() : item;
    const all = (module) => JSON.stringify(Object.fromEntries(Object.entries(module).map(([k, v]) => [k, shown(v)])));
    const wanted = JSON.parse(process.argv[2]);
    const fields = wild.LAYOUTS.flatMap((layout) => layout.fields).map((field) => field.unit);
    if (JSON.stringify(fields) !== JSON.stringify(wanted)) throw new Error(JSON.stringify(fields));
    const same = (text) => text.replace(/"unit":"(?:[^"\\\\]|\\\\.)*"/g, "");
    if (same(all(plain)) !== same(all(wild))) throw new Error("another module");
    """
    (tmp_path / "compare.mjs").write_text(script, encoding="utf-8")
    units = [field.unit.symbol for layout in schema.layouts for field in layout.fields]
    subprocess.run([tool("node"), "--check", "wild.mjs"], cwd=tmp_path, check=True)
    done = subprocess.run(
        [tool("node"), "compare.mjs", literal(units)], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.slow
@pytest.mark.parametrize("subject", SUBJECTS, ids=[item.name for item in SUBJECTS])
@some(8 if CI else 1)
@given(data=st.data())
def test_every_back_end_answers_as_if_nothing_had_been_said(subject: Subject, data):
    schema = hostile(data)
    lines = list(encodings(PLAIN, seed=1, count=60))
    assert differences(schema, subject, packets(PLAIN, seed=1, count=40, whole=False), lines) == []


@given(TEXTS, TEXTS)
def test_no_text_in_c_ends_what_it_stands_in_nor_together_with_its_neighbour(one, other):
    text = c_text(one) + c_text(other)
    for end in ("*/", "/*", "??", '"', "\\", "\n", "\u2028"):
        assert end not in text


@given(TEXTS, TEXTS)
def test_no_text_in_javascript_ends_what_it_stands_in_nor_together_with_its_neighbour(one, other):
    text = safe_text(one) + safe_text(other)
    for end in ("*/", "</", "<!", "-->", "`", '"', "\\", "\n", "\u2028", "@", "${"):
        assert end not in text


def test_the_tables_of_the_module_cannot_be_changed(tmp_path):
    (tmp_path / "pasture.mjs").write_text(module_of(compile_plan(PLAIN)), encoding="utf-8")
    script = """
    import { LAYOUTS, decode, encode } from "./pasture.mjs";
    const open = (item) => typeof item === "object" && item !== null
      && (!Object.isFrozen(item) || Object.values(item).some(open));
    if (open(LAYOUTS)) throw new Error("a table is open");
    const [layout] = LAYOUTS;
    for (const change of [() => LAYOUTS.push(1), () => { layout.fields[0].bits = 3; }, () => { layout.trail.points = 1; }]) {
      try { change(); } catch (error) { if (error instanceof TypeError) continue; throw error; }
      throw new Error("changed");
    }
    """
    (tmp_path / "try.mjs").write_text(script, encoding="utf-8")
    done = subprocess.run([tool("node"), "try.mjs"], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_every_back_end_is_asked_by_a_harness():
    assert [name for name, back_end in BACK_ENDS.items() if not back_end.harnesses] == ["arduino"]  # it is the same C
    assert len(HARNESSES) == sum(len(back_end.harnesses) for back_end in BACK_ENDS.values())
