"""Guessing what a mistyped word means."""

import pytest

from packetcodec.spelling import nearest

KNOWN = ("latitude", "longitude", "maximum", "minimum", "resolution", "resolution_m", "altitude")


@pytest.mark.parametrize(
    ("word", "meant"),
    [
        ("latitud", "latitude"),
        ("lattiude", "latitude"),  # two letters swapped
        ("max", "maximum"),
        ("lon", "longitude"),
        ("resol", "resolution"),  # of two that begin so the shorter
        ("m", None),
        ("speed", None),
        ("", None),
    ],
)
def test_a_word_is_guessed_from_few_wrong_letters_or_from_its_beginning(word, meant):
    assert nearest(word, iter(KNOWN)) == meant
