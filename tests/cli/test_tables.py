"""Figures for people."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packetcodec.cli.tables.figures import interval, seconds
from packetcodec.spelling import counted

UNITS = {"s": 1, "min": 60, "h": 3600}


def read(text):
    """Seconds of a figure as people write it."""
    words = text.split()
    return sum(Fraction(number) * UNITS[unit] for number, unit in zip(words[::2], words[1::2], strict=True))


@pytest.mark.parametrize(
    ("exact", "shown"),
    [
        ("4.6336", "4.64 s"),
        ("0.0927", "0.10 s"),
        ("4.64", "4.64 s"),
        ("9.995", "10.0 s"),
        ("65.9456", "66.0 s"),
        ("99.95", "1 min 40 s"),
        ("115.5072", "1 min 56 s"),
        ("3600.5", "1 h 01 min"),
        ("7200", "2 h 00 min"),
    ],
)
def test_a_shortest_interval_is_rounded_up(exact, shown):
    assert interval(Fraction(exact)) == shown


@given(st.fractions(min_value=0, max_value=10**6, max_denominator=10**6))
def test_an_interval_that_is_kept_as_shown_keeps_the_limit(exact):
    assert exact <= read(interval(exact)) <= exact * Fraction(102, 100) + 1


def test_other_times_are_rounded_to_the_nearest():
    assert [seconds(4.6336), seconds(65.94), seconds(3659.0)] == ["4.63 s", "65.9 s", "1 h 00 min"]


def test_one_is_not_many():
    assert [counted(0), counted(1), counted(2), counted(1000, "value")] == ["0 times", "1 time", "2 times", "1,000 values"]
