"""The written specification and its vectors: complete, deterministic, and enough for a stranger.

The expected figures come from outside the emitter: from the plan, from the codec, and from `reader`, which knows
only the text. What is kept in spec/ is compared byte by byte; write it anew with `packetcodec spec FILE -o spec`.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings

from packetcodec import Codec, Schema, compile_plan
from packetcodec.emit.spec import write_spec
from packetcodec.fuzz import protocol as lines
from packetcodec.fuzz.codec_target import Harness
from packetcodec.fuzz.oracle import Oracle
from packetcodec.starter import schema_text
from packetcodec.vectors import write_vectors
from tests.support.reader import tables
from tests.support.schemas import SCHEMAS, gate, schema_texts, written

if TYPE_CHECKING:
    from packetcodec.wire import LayoutPlan

SUM = re.compile(r"- \w+: .* / \d+ = ")  # of a worked example: its numbers are what they are
SPEC = Path(__file__).parents[2] / "spec"


@pytest.fixture(params=SCHEMAS.values(), ids=SCHEMAS.keys())
def schema(request: pytest.FixtureRequest) -> str:
    return request.param


def test_what_is_kept_in_spec_is_what_the_starter_schema_gives() -> None:
    plan = compile_plan(Schema.parse(schema_text()))
    for name, text in {**write_spec(plan), **write_vectors(plan)}.items():
        kept = (SPEC / name).read_bytes()
        assert kept == text.encode(), (
            f"spec/{name} is out of date: packetcodec spec packetcodec/starter/pasture.toml -o spec"
        )


@pytest.mark.slow
def test_every_run_in_every_place_writes_the_same_bytes(tmp_path: Path) -> None:
    program = (
        "import sys; from packetcodec import Schema, compile_plan; from packetcodec.emit import *\n"
        "plan = compile_plan(Schema.parse(sys.stdin.buffer.read().decode()))\n"
        "text = ''.join({**write_spec(plan), **write_vectors(plan)}.values())\n"
        "sys.stdout.buffer.write(text.encode())"
    )
    root = str(SPEC.parent)
    other = {"PYTHONHASHSEED": "4711", "TZ": "Asia/Kathmandu", "PYTHONPATH": root, "LC_ALL": "C"}
    run = [sys.executable, "-c", program]
    done = subprocess.run(
        run, input=schema_text().encode(), env=os.environ | other, cwd=tmp_path, capture_output=True, check=True
    )
    kept = b"".join((SPEC / f"pasture-v1.{name}").read_bytes() for name in ("md", "deployment.md", "vectors.json"))
    assert done.stdout == kept
    assert root.encode() not in kept
    assert str(tmp_path).encode() not in kept


@pytest.mark.slow
def test_the_text_carries_the_fingerprint_all_sections_layouts_and_fields(schema: str) -> None:
    text, vectors = written(schema)
    plan = compile_plan(Schema.parse(schema))
    assert f"Fingerprint: {plan.fingerprint}\n" in text
    assert (vectors["schema"], vectors["version"], vectors["fingerprint"]) == (
        plan.name,
        plan.version,
        plan.fingerprint,
    )
    assert re.findall(r"^## (\d+) ", text, re.MULTILINE) == [str(number) for number in range(1, 11)]
    for number, layout in enumerate(plan.layouts, 1):
        section = re.search(
            rf"^### 3\.{number} Layout {layout.name}, id {layout.id}$(.*?)^##", text, re.MULTILINE | re.DOTALL
        )
        assert section is not None
        if any(other.fields == layout.fields for other in plan.layouts[: number - 1]):
            assert "Its fields are those of layout " in section[1]
            continue
        wire = tables(section[1])[0]
        assert [row["field"] for row in wire] == [field.name for field in layout.fields]
        assert [row["beyond"] for row in wire] == [field.policy for field in layout.fields]


@pytest.mark.slow
def test_lines_of_prose_fit_a_terminal_of_120_columns(schema: str) -> None:
    text, _ = written(schema)
    prose = re.sub(r"```.*?```|^\|.*?$", "", text, flags=re.MULTILINE | re.DOTALL)
    assert [line for line in prose.splitlines() if len(line) > 120 and not SUM.match(line)] == []


def test_the_bit_diagram_draws_every_bit_where_the_table_says(schema: str) -> None:
    text, _ = written(schema)
    plan = compile_plan(Schema.parse(schema))
    known = [layout.fields for layout in plan.layouts]
    told = [layout for number, layout in enumerate(plan.layouts) if layout.fields not in known[:number]]
    layouts = text.split("\n## 3 ")[1].split("\n## 4 ")[0]
    diagrams = re.findall(r"```\n(byte   bit .*?)```", layouts, re.DOTALL)
    for layout, drawing in zip(told, diagrams, strict=True):
        drawn: list[str] = []
        codes: list[int | None] = []
        for number, line in enumerate(re.findall(r"^ *\d+ +\d+ +\|.*$", drawing, re.MULTILINE)):
            byte, first, row = re.fullmatch(r" *(\d+) +(\d+) +\|(.*)\|", line).groups()
            assert (int(byte), int(first)) == (number, 8 * number)
            for piece in row.split("|"):
                bits = (len(piece) + 1) // 8
                key, *rest = piece.split()
                drawn += [key] * bits
                numbers = re.fullmatch(r"(\d+)(?:\.\.(\d+))?", rest[-1]) if rest else None
                high = int(numbers[1]) if numbers else None
                assert numbers is None or high - int(numbers[2] or high) + 1 == bits
                codes += [None if high is None else high - index for index in range(bits)]
        rows = tables(re.search(rf"^### 3\.\d+ Layout {layout.name},.*?^\|.*?\n\n", text, re.MULTILINE | re.DOTALL)[0])[0]
        wanted = ["v"] * plan.version_bits + ["i"] * plan.layout_bits
        for row, field in zip(rows, layout.fields, strict=True):
            assert len(wanted) == field.offset
            wanted += [row["key"]] * field.bits
            for index in range(field.bits):
                assert codes[field.offset + index] in (None, field.bits - 1 - index)
        if layout.trail:
            wanted += ["T"] * (-layout.bits % 8 or 8)
        else:
            wanted += ["0"] * layout.padding + ["x"] * layout.check_bytes * 8
        assert drawn == wanted


def test_every_fault_that_the_plan_can_give_has_a_bad_packet(schema: str) -> None:
    text, vectors = written(schema)
    plan = compile_plan(Schema.parse(schema))
    found = {(bad["status"], bad["field"]) for bad in vectors["bad"]}
    wanted = {("too_short", None), ("too_long", None), ("unknown_version", None)}
    if len(plan.layouts) < 1 << plan.layout_bits:
        wanted.add(("unknown_layout", None))
    if plan.crc:
        wanted.add(("bad_check", None))
    for layout in plan.layouts:
        if layout.padding:
            wanted.add(("bad_padding", None))
        if layout.trail:
            wanted.add(("bad_trail", None))
        wanted |= {("out_of_range", field.name) for field in layout.fields if not field.uses_every_code}
    assert found == wanted
    for rows in tables(text.split("\n## 9 ")[1])[:2]:
        shown = [row["status"] for row in rows]
        assert len(shown) == len(set(shown)) <= 6
        assert set(shown) <= {status for status, _ in wanted}
    single = {row["status"] for row in tables(text.split("\n## 9 ")[1])[0]}
    assert single >= {"bad_trail", "out_of_range", "bad_check"} & {status for status, _ in wanted}


def test_every_border_of_every_field_is_among_the_vectors(schema: str) -> None:
    _, vectors = written(schema)
    for layout in compile_plan(Schema.parse(schema)).layouts:
        for field in layout.fields:
            good = {case["raw"][field.name] for case in vectors["good"] if case["layout"] == layout.name}
            assert {0, field.max_code} | ({field.absent_code} - {None}) <= good
            bases = {case["base"][field.name] for case in vectors["encode"] if case["layout"] == layout.name}
            assert {field.low, field.max_input if field.policy == "refuse" else field.high} <= bases
            if field.policy != "refuse":
                assert {field.low - 1, field.high + 1} <= bases


def test_the_published_check_values_stand_in_the_text() -> None:
    # Check values as the public catalogue lists them, read in a copy of it.
    for name, value in (("CRC-16/DNP", "0xea82"), ("CRC-32/ISO-HDLC", "0xcbf43926"), ("CRC-24/OPENPGP", "0x21cf02")):
        text, _ = written(gate(f'crc = "{name}"'))
        parameters = {row["parameter"]: row["value"] for row in tables(text.split("\n## 5 ")[1])[0]}
        assert (parameters["name"], parameters["check value"]) == (name, value)
        assert f"as it is they give {value}." in " ".join(text.split())


def test_the_airtime_of_a_known_packet_stands_in_the_text() -> None:
    # 12 bytes at SF7 and SF12, 125 kHz, 4/5, preamble 8: computed from the reference drivers.
    text = write_spec(compile_plan(Schema.parse(schema_text())))["pasture-v1.deployment.md"]
    rows = {(row["bytes"], row["spreading factor"]): row for row in tables(text)[0]}
    assert rows["12", "SF7"]["airtime ms"] == "41.216"
    assert rows["12", "SF12"]["airtime ms"] == "1155.072"
    assert rows["12", "SF12"]["shortest period s"] == "116.2"


def test_another_channel_changes_the_airtime_and_nothing_else() -> None:
    plan = compile_plan(Schema.parse(schema_text()))
    usual = write_spec(plan)
    other = write_spec(plan, region_name="US915", frequency_hz=915_000_000, bandwidth_hz=500_000)
    assert usual["pasture-v1.md"] == other["pasture-v1.md"]
    before, after = (files["pasture-v1.deployment.md"] for files in (usual, other))
    assert before.split("\n## 2 ")[1] == after.split("\n## 2 ")[1]
    assert "915 MHz" in after


@pytest.mark.slow
def test_the_text_says_that_limits_are_no_permission_and_positions_are_in_clear(schema: str) -> None:
    plan = compile_plan(Schema.parse(schema))
    text = " ".join(write_spec(plan)[f"{plan.name}-v{plan.version}.deployment.md"].split())
    assert plan.fingerprint in text
    for words in (
        "arithmetic, not permission",
        "not a life-saving device",
        "anyone in range can read the positions",
        "not forgery",
    ):
        assert words in text


def test_the_modems_own_polynomial_is_said_to_add_nothing() -> None:
    text = write_spec(compile_plan(Schema.parse(gate('crc = "CRC-16/XMODEM"'))))["gate-v5.deployment.md"]
    assert "the two together are worth 16 check bits" in " ".join(text.split())


@pytest.mark.slow
@settings(max_examples=15, deadline=None)
@given(schema_texts())
def test_the_text_is_whole_for_any_schema(text: str) -> None:
    test_the_bit_diagram_draws_every_bit_where_the_table_says(text)
    test_every_fault_that_the_plan_can_give_has_a_bad_packet(text)


def test_where_nothing_may_be_sent_the_airtime_table_says_never() -> None:
    # 125 kHz on one fixed channel is no route there, hopping is asked for (47 CFR 15.247, as the region's data quotes it).
    plan = compile_plan(Schema.parse(schema_text()))
    written = write_spec(plan, region_name="US915", frequency_hz=915_000_000, bandwidth_hz=125_000)
    section = written["pasture-v1.deployment.md"].split("\n## 1 ")[1].split("\n## 2 ")[0]
    for row in tables(section)[0]:
        never = row["one transmission"] in {"not permitted", "exceeded"}
        assert (row["shortest period s"] == "never") == (row["packets in any hour"] == "none") == never
        assert never
    assert '"never": the limits do not permit this packet' in " ".join(section.split())


def test_the_line_protocol_is_told_as_the_fuzzer_speaks_it(schema: str) -> None:
    text, _ = written(schema)
    section = text.split("\n## 10 ")[1]
    for form in re.findall(r"^\* ``(\w+)", lines.__doc__, re.MULTILINE):
        assert f'"{form}' in section, form
    plan = compile_plan(Schema.parse(schema))
    asked = re.findall(r"^(\w.*?)  +# .*\n    (.*)$", section, re.MULTILINE)
    harness = Harness(plan, Codec(Schema.parse(schema)))
    both = [(question, answer) for question, answer in asked if question.split()[0] not in {lines.FIELD, lines.DEGREES}]
    assert [harness(question) for question, _ in both] == [answer for _, answer in both]
    oracle = Oracle(plan)
    assert oracle.answer("\n".join(question for question, _ in asked)).split("\n") == [answer for _, answer in asked]
    verbs = [question.split()[0] for question, _ in asked]
    refused = any(map(refuses, plan.layouts))
    assert set(verbs) == {"decode", "encode", "encode_base", "held", "degrees", lines.SYNC} | (
        {"field"} if refused else set()
    )
    answers = {answer.split()[0] for _, answer in asked}
    assert answers >= {"ok", "?"} | ({"refused"} if refused else set())


def refuses(layout: LayoutPlan) -> bool:
    """Whether some number that fits 31 bits is refused by a field of a layout."""
    return any(
        field.policy == "refuse" and not field.choices and 0 <= field.max_input + 1 < 2**31 for field in layout.fields
    )
