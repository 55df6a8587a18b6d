"""Mutants: every comparison, operator, constant, condition, statement and type is changed, and nothing else."""

import pytest

from packetcodec.fuzz.mutants import mutants


def changes(source):
    return {(mutant.was, mutant.now) for mutant in mutants(source)}


@pytest.mark.parametrize(
    ("source", "wanted"),
    [
        ("x = a <= b;", {("<=", "<"), ("<=", ">")}),
        ("if (a) b();", {("a", "0"), ("a", "1"), ("b()", "")} - {("b()", "")}),
        ("while (n--) { f(n); }", {("n--", "0"), ("--", "++"), ("f(n)", "")}),
        ("{ y += 3; }", {("+=", "-="), ("3", "4"), ("3", "2"), ("3", "0"), ("y += 3", "")}),
        ("return 0x80UL >> k;", {("0x80UL", "129UL"), ("0x80UL", "127UL"), ("0x80UL", "0UL"), (">>", "<<")}),
        ("uint16_t s;", {("uint16_t", "uint8_t"), ("uint16_t", "int16_t")}),
        ("z = a && !b;", {("&&", "||"), ("!", "")}),
        ("x = a === b ? c : d;", {("===", "!==")}),
    ],
)
def test_each_sort_of_change_is_made(source, wanted):
    assert changes(source) == wanted


def test_comments_strings_and_the_preprocessor_stay_as_they_are():
    assert not changes('/* 1 < 2 */ // 3 + 4\n#define A 5\ns = "6 < 7" + `8`;\n') - {("+", "-")}


def test_a_mutant_says_its_line_and_differs_in_its_place_alone():
    source = "int a;\nint f(void) {\n  return a + 1;\n}\n"
    found = list(mutants(source))
    assert {mutant.line for mutant in found} == {3}
    for mutant in found:
        changed = mutant.of(source)
        assert changed.startswith(source[: mutant.start] + mutant.now)
        assert changed.endswith(source[mutant.end :])
        assert changed != source
