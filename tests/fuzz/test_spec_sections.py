"""The rules that a finding cites stand in the specification under the numbers it gives."""

import pytest

from packetcodec.emit.spec import write_spec
from packetcodec.fuzz.spec_sections import RULES, why
from tests.support.proving_ground import ground


@pytest.fixture(scope="module")
def text():
    return write_spec(ground())["proving_ground-v5.md"]


@pytest.mark.parametrize("rule", RULES.values(), ids=lambda rule: rule.section)
def test_a_section_that_is_cited_has_that_title(text, rule):
    mark = "#" * (2 + rule.section.count("."))
    assert f"\n{mark} {rule.section} {rule.title}\n" in text


@pytest.mark.parametrize(
    ("expected", "got", "section"),
    [
        ("bad_check", "ok 1 2", "6.5"),
        ("too_long", "too_short", "6.4"),
        ("ok 1 2 3", "bad_check", "6.9"),
        ("ok 1 2 3", "ok 1 2 4", "2.1"),
        ("ok 1 2 -", "ok 1 2 4", "2.7"),
        ("ok 1 2 | 3 4 - -", "ok 1 2 | 3 5 - -", "6.8"),
    ],
)
def test_the_rule_follows_from_what_was_expected_and_what_came(expected, got, section):
    assert why(expected, got).section == section
