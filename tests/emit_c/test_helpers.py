"""The helpers of emitted C for what receivers print, against exact decimals and Python's calendar on every border."""

from __future__ import annotations

import calendar
import re
import subprocess
from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from packetcodec import Schema, compile_plan
from packetcodec.emit.back_end import with_layouts
from packetcodec.emit.c.writer import write_c
from packetcodec.starter import schema_text
from tests.support.conformance import SANITIZERS, WARNINGS
from tests.support.effort import examples
from tests.support.needs import tool

PLAN = compile_plan(Schema.parse(schema_text()))
MAIN = r"""
#include "pasture_packets.h"
#include <stdio.h>
#include <string.h>
int main(void)
{
    char line[100], *first, *second;
    while (fgets(line, sizeof line, stdin)) {
        line[strcspn(line, "\n")] = 0;
        first = strchr(line, ' ') + 1;
        second = strchr(first, ' ');
        *second++ = 0;
        if (line[0] == 'd') {
            int32_t to = 77;
            int fault = (int)pasture_decimal(&to, second, (uint8_t)(*first - '0'));
            printf("%d %ld\n", fault, (long)to);
        } else {
            uint32_t to = 77;
            int fault = (int)pasture_seconds(&to, first, second);
            printf("%d %lu\n", fault, (unsigned long)to);
        }
    }
    return 0;
}
"""


@pytest.fixture(scope="module")
def said(tmp_path_factory):
    """What the helpers say to questions."""
    folder = tmp_path_factory.mktemp("helpers")
    for name, text in {**write_c(PLAN, only="encode"), "main.c": MAIN}.items():
        (folder / name).write_text(text, encoding="utf-8")
    command = [tool("gcc"), "-std=c99", *WARNINGS, *SANITIZERS, "pasture_packets.c", "main.c", "-o", "main"]
    subprocess.run(command, cwd=folder, check=True)

    def answers(questions):
        text = "".join(f"{question}\n" for question in questions)
        return subprocess.run([folder / "main"], input=text, capture_output=True, text=True, check=True).stdout.splitlines()

    return answers


def decimal(text: str, places: int) -> str:
    """What the helper must say, in exact decimals."""
    found = re.match(r"[-+]?(?:\d+\.?\d*|\.\d+)", text)
    number = Decimal(found[0] if found else "NaN").scaleb(places) if found else None
    whole = None if number is None else int(number.to_integral_value(ROUND_HALF_UP))
    return "7 77" if whole is None or abs(whole) > 2**31 - 1 else f"0 {whole}"


NUMBERS = st.one_of(
    st.from_regex(r"[-+]?[0-9]{0,10}\.?[0-9]{0,10}[,x]?[0-9]{0,2}", fullmatch=True),
    st.tuples(
        st.integers(-(2**31) - 3, 2**31 + 3), st.integers(0, 9), st.sampled_from(["", "4", "49", "5", "50", "51"])
    ).map(lambda parts: f"{Decimal(parts[0]).scaleb(-parts[1]):f}" + (parts[2] if parts[1] else f".{parts[2]}")),
)


@pytest.mark.slow
@examples(40)
@example(
    [(text, places) for places in range(10) for text in ("", ".", "-", "+.", "-.5", ".5", "5.", "0", "-0", "..5", "1.2.3")]
)
@example(
    [("2147483647.4", 0), ("2147483647.5", 0), ("-2147483647.5", 0), ("214.7483647", 7), ("214.74836475", 7), ("215", 7)]
)
@given(st.lists(st.tuples(NUMBERS, st.integers(0, 9)), min_size=1, max_size=100))
def test_decimals_are_scaled_and_rounded_to_the_nearest(said, rows):
    assert said(f"d {places} {text}" for text, places in rows) == [decimal(*row) for row in rows]


def test_every_day_of_the_century_has_its_seconds(said):
    days = [(day, month, year) for year in range(100) for month in range(14) for day in (0, 1, 2, 27, 28, 29, 30, 31, 32)]
    wanted = []
    for day, month, year in days:
        good = 1 <= month <= 12 and 1 <= day <= calendar.monthrange(2000 + year, month)[1]
        wanted.append(f"0 {calendar.timegm((2000 + year, month, day, 12, 34, 56))}" if good else "7 77")
    assert said(f"s {day:02d}{month:02d}{year:02d} 123456.00" for day, month, year in days) == wanted


def test_every_border_of_a_clock(said):
    clocks = [(h, m, s) for h in (0, 1, 9, 10, 23, 24, 99) for m in (0, 1, 59, 60) for s in (0, 59, 60, 61)]
    base = calendar.timegm((2026, 6, 30, 0, 0, 0))
    wanted = [f"0 {base + 3600 * h + 60 * m + s}" if h < 24 and m < 60 and s < 61 else "7 77" for h, m, s in clocks]
    assert said(f"s 300626 {h:02d}{m:02d}{s:02d}" for h, m, s in clocks) == wanted
    broken = [
        "s  ",
        "s 300626 ",
        "s 30062 120000",
        "s 300626 12000",
        "s 3006x6 120000",
        "s 300626 12:00:00",
        "s -10626 120000",
    ]
    assert said(broken) == ["7 77"] * len(broken)


def test_a_helper_is_there_only_where_it_is_of_use():
    def helpers(plan, only=""):
        header = write_c(plan, only=only)["pasture_packets.h"]
        return re.findall(r"^pasture_fault pasture_(degrees|decimal|seconds)\(", header, re.MULTILINE)

    assert helpers(PLAN) == ["degrees", "decimal", "seconds"]
    assert helpers(with_layouts(PLAN, ["position"])) == ["degrees", "decimal"]
    assert helpers(with_layouts(PLAN, ["status"])) == ["decimal", "seconds"]
    assert helpers(PLAN, "decode") == []
