"""The memory of a trail in C against the rule by which the bench makes trails, on the same streams of fixes and packets."""

from __future__ import annotations

import subprocess
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packetcodec import Schema, compile_plan
from packetcodec.bench.history import History
from packetcodec.emit.c.writer import write_c
from packetcodec.logs.fix import Fix
from tests.support.conformance import SANITIZERS, TWO_TRAILS, WARNINGS
from tests.support.effort import examples, few
from tests.support.needs import tool

SPACED = """
name = "pasture"
version = 1
[[layouts]]
name = "track"
id = 1
fields = [{ kind = "latitude" }, { kind = "longitude" },
  { kind = "number", name = "gap", unit = "s", minimum = 1, maximum = 600, resolution = 1 }]
trail = { points = 6, resolution_m = 5, spacing = SPACING }
"""
SPACING = 30

#: Reads "+ time" for a fix whose latitude is its time, "? time" for a packet; prints time and age of each point.
MAIN = """
#include "NAME_packets.h"
#include <inttypes.h>
#include <stdio.h>
int main(void)
{
    static NAME_LAYOUT_memory memory;
    static NAME_LAYOUT packet;
    static NAME_LAYOUT_point point;
    uint32_t time;
    char what;
    while (scanf(" %c %" SCNu32, &what, &time) == 2) {
        if (what == '+') {
            point.latitude_e7 = (int32_t)time;
            NAME_remember_LAYOUT(&memory, &point, timeMORE);
            continue;
        }
        if (what == '0') { memory.count = 0; continue; }
        NAME_recall_LAYOUT(&memory, timeMORE, &packet);
        for (int n = 0; n < packet.trail_count; n++)
            printf("%ld:%ld ", (long)packet.trail[n].latitude_e7, AGE);
        printf("\\n");
    }
    return 0;
}
"""
KINDS = {
    "constant": (Schema.parse(SPACED.replace("SPACING", "30")), "track"),
    "field": (Schema.parse(SPACED.replace("SPACING", '"gap"')), "track"),
    "coded": (TWO_TRAILS, "class"),
}


@pytest.fixture(scope="module", params=few(list(KINDS), 3))
def memory(request, tmp_path_factory):
    """What the memory recalls of streams: lists of points, as time and age."""
    schema, layout = KINDS[request.param]
    plan = compile_plan(schema)
    folder = tmp_path_factory.mktemp("memory")
    main = MAIN.replace("NAME", plan.name).replace("LAYOUT", layout)
    main = main.replace("MORE", f", {SPACING}" if request.param == "field" else "")
    main = main.replace("AGE", "(long)packet.trail[n].age_s" if request.param == "coded" else f"(n + 1) * {SPACING}L")
    for name, text in {**write_c(plan, only="encode"), "main.c": main}.items():
        (folder / name).write_text(text, encoding="utf-8")
    command = [tool("gcc"), "-std=c99", *WARNINGS, *SANITIZERS, f"{plan.name}_packets.c", "main.c", "-o", "main"]
    subprocess.run(command, cwd=folder, check=True)

    def recalled(stream):
        asked = "".join(f"{what} {time % 2**32}\n" for what, time in stream)
        said = subprocess.run([folder / "main"], input=asked, capture_output=True, text=True, check=True).stdout
        return [[tuple(map(int, word.split(":"))) for word in line.split()] for line in said.splitlines()]

    return request.param, plan.layout(layout).trail.points, recalled


def wanted(stream, points, spacing):
    """What the bench sends along: time and age of each point of each packet."""
    history, found = History(()), []
    for what, time in stream:
        if what == "+":
            history.add(Fix(float(time), time / 1e7, 9.0))
        elif what == "0":
            history = History(())
        else:
            trail = history.points(time, count=points, spacing=spacing)
            found.append([(round(point.latitude * 1e7), round(point.age)) for point in trail])
    return found


def stream(gaps, sends):
    """A fix after each gap, and a packet behind those whose place is in `sends`."""
    time, found = 1000, []
    for place, gap in enumerate(gaps):
        time += gap
        found.append(("+", time))
        if place in sends:
            found.append(("?", time))
    return found


GAPS = st.lists(st.sampled_from([15, 16, 20, 29, 30, 30, 30, 30, 31, 44, 45, 46, 60, 75, 400, -50]), min_size=1, max_size=40)


@pytest.mark.slow
@examples(60)
@given(gaps=GAPS, late=st.integers(0, 40))
def test_fixes_at_most_every_half_spacing_give_what_the_bench_sends(memory, gaps, late):
    kind, points, recalled = memory
    rows = [item for step in stream(gaps, range(40)) for item in (step, *([("?", step[1] + late)] * (step[0] == "?")))]
    assert recalled(rows) == wanted(rows, points, 0 if kind == "coded" else SPACING)


@pytest.mark.slow
@examples(60)
@given(gaps=st.lists(st.sampled_from([*range(16), 30, 100]), min_size=1, max_size=300), data=st.data())
def test_closer_fixes_give_a_point_of_the_same_half_spacing(memory, gaps, data):
    kind, points, recalled = memory
    rows = stream(gaps, data.draw(st.sets(st.integers(0, len(gaps)))))
    best = wanted(rows, points, 0 if kind == "coded" else SPACING)
    said = recalled(rows)
    if kind == "coded":
        assert said == best
        return
    packets = [time for what, time in rows if what == "?"]
    for now, told, full in zip(packets, said, best, strict=True):
        assert len(told) == len(full)
        for place, (time, _) in enumerate(told, 1):
            assert 2 * (now - place * SPACING - time) in range(SPACING)


def test_a_fix_every_second_gives_a_whole_trail_whenever_a_packet_is_sent(memory):
    kind, points, recalled = memory
    rows = stream([1] * 500, range(300, 500))
    lengths = {len(told) for told in recalled(rows)}
    assert lengths == {points}
    if kind != "coded":
        for sent, told in enumerate(recalled(rows)):
            ages = [1301 + sent - time for time, _ in told]
            assert all(SPACING / 2 <= behind - age <= 1.5 * SPACING for age, behind in pairwise(ages))


@pytest.mark.parametrize("gap", few(range(2, 16), 4))
def test_fixes_at_any_pace_above_a_half_spacing_fill_the_trail(memory, gap):
    _, points, recalled = memory
    rows = stream([gap] * 300, range(150, 300))
    assert {len(told) for told in recalled(rows)} == {points}
    odd = stream([gap, gap, 1] * 100, range(150, 300))
    assert {len(told) for told in recalled(odd)} == {points}


def test_a_moment_without_a_fix_ends_the_list(memory):
    kind, _, recalled = memory
    rows = [("+", 0), ("+", 30), ("+", 90), ("?", 120)]
    assert recalled(rows) == [[(90, 30), (30, 90), (0, 120)] if kind == "coded" else [(90, 30)]]


def test_a_clock_may_go_over_its_end_but_not_back(memory):
    _, _, recalled = memory
    over = [("+", 2**32 - 60), ("+", 2**32 - 30), ("+", 2**32), ("?", 2**32)]
    assert [age for _, age in recalled(over)[0]] == [30, 60]
    assert recalled([("+", 500), ("+", 470), ("?", 500), ("?", 470), ("?", 440)]) == [[(470, 30)], [], []]
