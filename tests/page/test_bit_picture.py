"""The bit picture: every bit of a packet once, where the plan has it, and no text of a schema breaks it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import pytest

from packetcodec import Schema, compile_plan
from packetcodec.page import bit_picture
from packetcodec.starter import example_plan
from tests.support.schemas import SCHEMAS

if TYPE_CHECKING:
    from packetcodec import Plan
    from packetcodec.wire import LayoutPlan

SVG = "{http://www.w3.org/2000/svg}"
KEPT = Path(__file__).parents[2] / "spec" / "pictures" / "bits.svg"

HOSTILE = """
name = "hut"
version = 1
doc = '</svg><script>alert(1)</script>'
[[layouts]]
name = "one"
id = 1
doc = '<img src=x onerror=alert(1)>'
fields = [
  { kind = "number", name = "load", minimum = 0, maximum = 9, bits = 5, unit = '"><b&' , doc = '</title><script>' },
  { kind = "choice", choices = ["a", "b"], doc = "]]> &lt; <!--" },
]
"""


def drawn(plan: Plan, layout: LayoutPlan) -> list[tuple[str, set[int]]]:
    """What each group of a picture tells, and the bits that its boxes cover, from their places."""
    root = ET.fromstring(bit_picture(plan, layout))  # noqa: S314  # our own
    groups = []
    for group in root.iter(f"{SVG}g"):
        bits = set()
        for box in group.iter(f"{SVG}rect"):
            x, y, width = (int(box.get(name)) for name in ("x", "y", "width"))
            assert (x - 59) % 48 == 0
            assert (width + 2) % 48 == 0
            assert (y - 26) % 34 == 0
            first = (y - 26) // 34 * 8 + (x - 59) // 48
            bits |= set(range(first, first + (width + 2) // 48))
        groups.append((group.find(f"{SVG}title").text, bits))
    return groups


@pytest.mark.parametrize("text", SCHEMAS.values(), ids=SCHEMAS.keys())
def test_each_bit_is_drawn_once_where_the_plan_has_it(text: str) -> None:
    plan = compile_plan(Schema.parse(text))
    for layout in plan.layouts:
        groups = drawn(plan, layout)
        counted = sorted(bit for _, bits in groups for bit in bits)
        size = layout.size * 8 if layout.trail is None else (layout.bits // 8 + 1) * 8
        assert counted == list(range(size))
        told = {re.match(r"\s*\S+ (\S+) \(", words)[1]: bits for words, bits in groups if "largest error" in words}
        assert told == {field.name: set(range(field.offset, field.offset + field.bits)) for field in layout.fields}


def test_the_pointer_is_told_range_step_and_largest_error() -> None:
    plan = example_plan()
    words = next(words for words, _ in drawn(plan, plan.layout("position")) if "latitude" in words)
    lines = [line.strip() for line in words.strip().splitlines()]
    assert lines == [
        "C latitude (latitude)", "bits 24..46: 23 wide", "range: -90..90 degrees", "step: 0.0000223 °",
        "largest error: 0.00001115 ° (1.246 m)", "absent: code 8388607",
    ]  # fmt: skip


def test_a_name_that_fits_into_no_box_stands_below() -> None:
    plan = example_plan()
    below = re.findall(r'<text class="scale" x="58"[^>]*>([^<]*)', bit_picture(plan, plan.layout("status")))
    assert below == ["H gate_open"]
    assert "T: up to 10 earlier points, then the check; 14 to 32 bytes in all" in bit_picture(plan, plan.layout("track"))


def test_hostile_texts_stay_texts() -> None:
    plan = compile_plan(Schema.parse(HOSTILE))
    root = ET.fromstring(bit_picture(plan, plan.layouts[0]))  # noqa: S314  # our own
    names = {element.tag.removeprefix(SVG) for element in root.iter()}
    assert names == {"svg", "style", "text", "g", "title", "rect"}
    assert any('"><b&' in (element.text or "") for element in root.iter(f"{SVG}title"))


def test_what_is_kept_is_what_the_starter_schema_gives() -> None:
    plan = example_plan()
    assert KEPT.read_text(encoding="utf-8") == bit_picture(plan, plan.layout("position"))
