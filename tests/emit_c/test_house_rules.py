"""What reviewers of firmware ask of emitted C: MISRA C, plain functions, narrow lines, names of one prefix."""

from __future__ import annotations

import os
import re
import subprocess

import pytest

from packetcodec import Schema, compile_plan
from packetcodec.emit.c.writer import write_c
from packetcodec.starter import schema_text
from tests.support.conformance import TWO_TRAILS
from tests.support.needs import tool

CI = bool(os.environ.get("CI"))
#: Operands of one essential type, no pointer to void made another, conditions that are Boolean, compound statements,
#: no result thrown away silently, no arithmetic on pointers (MISRA C:2012, numbers from cppcheck's addon).
MISRA = ("10.4", "11.5", "14.4", "15.6", "17.7", "18.4")
MAX_COMPLEXITY, MAX_COLUMNS = 15, 120
LONG = re.sub(r'name = "pasture"', 'name = "pasture_behind_the_long_ridge_"', schema_text(), count=1)
SCHEMAS = {
    "starter": Schema.parse(schema_text()),
    "two trails": TWO_TRAILS,
    "bare": Schema.parse(
        'name = "gate"\nversion = 1\ncheck = { crc = "none" }\n[[layouts]]\nname = "open"\nid = 1\n'
        'fields = [{ kind = "identifier" }, { kind = "course", optional = true }]'
    ),
}
every = pytest.mark.parametrize("schema", SCHEMAS.values(), ids=SCHEMAS)


def without_comments(text: str) -> str:
    return re.sub(r"/\*.*?\*/|'[^']*'|\"[^\"]*\"", " ", text, flags=re.DOTALL)


def complexities(source: str) -> dict[str, int]:
    """Functions and their cyclomatic complexity: decisions and one."""
    found = re.findall(r"^[\w ]*?\b\**(\w+)\([^;{}]*\)\n\{\n(.*?)^\}", without_comments(source), re.MULTILINE | re.DOTALL)
    return {name: 1 + len(re.findall(r"\b(?:if|for|while|case)\b|&&|\|\||\?", body)) for name, body in found}


def test_decisions_are_counted():
    text = "static int f(int x)\n{\n    /* if */\n    for (;;) {\n        if (x && x > 1) {\n        }\n    }\n}\n"
    assert complexities(text) == {"f": 4}


@pytest.mark.slow
@every
def test_the_rules_of_misra_that_reviewers_ask_for_hold_without_deviation(schema, tmp_path):
    plan = compile_plan(schema)
    for only in ("", "encode", "decode") if CI else ("",):
        for name, text in write_c(plan, only=only, self_test=True).items():
            # One byte of the vectors stands for all: they are alike, and the addon takes a minute for them.
            (tmp_path / name).write_text(
                re.sub(r"(vectors\[\] .*\n).*(?:\n +0x.*)*", r"\1    0x00U,", text), encoding="utf-8"
            )
        (tmp_path / "bad.c").write_text(
            "int f(int x);\nint f(int x)\n{\n    if (x) return 1;\n    return 0;\n}\n", encoding="utf-8"
        )
        command = [tool("cppcheck"), "--addon=misra", "--std=c99", "--quiet"]
        said = {}
        for file in (f"{plan.name}_packets.c", f"{plan.name}_self_test.c", "bad.c"):
            done = subprocess.run([*command, file], cwd=tmp_path, capture_output=True, text=True, check=True)
            said[file] = sorted(set(re.findall(r"misra-c2012-([\d.]+)", done.stderr)))
        assert "14.4" in said.pop("bad.c"), "the addon does not work"
        assert not [rule for rules in said.values() for rule in rules if rule in MISRA], said


@every
@pytest.mark.parametrize("only", ["", "encode", "decode"])
def test_no_function_is_hard_to_follow_and_no_line_too_long(schema, only):
    plan = compile_plan(schema)
    header, source = write_c(plan, only=only).values()
    counted = complexities(source)
    assert len(counted) > 3
    assert not {name: number for name, number in counted.items() if number > MAX_COMPLEXITY}
    assert not [line for line in (header + source).splitlines() if len(line) > MAX_COLUMNS]


def test_a_long_name_makes_no_line_too_long():
    for text in write_c(compile_plan(Schema.parse(LONG))).values():
        assert not [line for line in text.splitlines() if len(line) > MAX_COLUMNS]


@every
def test_every_name_of_a_file_begins_with_the_prefix(schema, tmp_path):
    plan = compile_plan(schema)
    header, source = write_c(plan).values()
    (tmp_path / "x.h").write_text(header, encoding="utf-8")
    (tmp_path / "x.c").write_text(source.replace(f"{plan.name}_packets.h", "x.h"), encoding="utf-8")
    command = [tool("gcc"), "-std=c99", "-O0", "-c", "x.c", "-o", "x.o"]
    subprocess.run(command, cwd=tmp_path, check=True)
    symbols = subprocess.run(
        [tool("nm", "binutils"), "--defined-only", "x.o"], cwd=tmp_path, capture_output=True, text=True, check=True
    ).stdout.split("\n")
    names = [line.split()[2] for line in symbols if line and "." not in line]  # those with a point are of a block
    macros = re.findall(r"^ *# *define (\w+)", header + source, re.MULTILINE)
    types = re.findall(r"^\} (\w+);|^typedef \w+ (\w+)", header + source, re.MULTILINE)
    names += [*macros, *(name for pair in types for name in pair if name)]
    assert len(names) > 20
    assert not [name for name in names if not name.lower().startswith(plan.name)]


def test_two_schemas_can_be_compiled_as_one_file(tmp_path):
    text = ""
    for schema in SCHEMAS.values():
        plan = compile_plan(schema)
        for name, content in write_c(plan).items():
            (tmp_path / name).write_text(content, encoding="utf-8")
        text += f'#include "{plan.name}_packets.c"\n'
    (tmp_path / "all.c").write_text(text + "int main(void) { return 0; }\n", encoding="utf-8")
    flags = ["-std=c99", "-Wall", "-Wextra", "-Werror"]
    subprocess.run([tool("gcc"), *flags, "all.c", "-o", "all"], cwd=tmp_path, check=True)
