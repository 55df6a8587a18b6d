"""The colours of page and pictures.

Owns one rule: which colours stand side by side. Those of Okabe and Ito ("Color universal design", 2008), which people with
any kind of colour vision can tell apart; of fields a lighter tint, so that dark text on it is easy to read. Colour is never
alone: fields carry letters, points shapes, lines labels.

>>> tint(0), tint(7) == tint(0)
('#a8dbf5', True)
"""

from __future__ import annotations

BLUE, VERMILION, GREEN, PURPLE = "#0072b2", "#d55e00", "#009e73", "#cc79a7"

_TINTS = ("#a8dbf5", "#f7d08a", "#9ed9c4", "#f6efa0", "#a9c8ee", "#f2b795", "#e9c3da")

#: Of header, padding, check and trail, which are in every packet.
HEADER, PADDING, CHECK, TRAIL = "#d5d9de", "#eef0f2", "#b9c0c8", "#dfe6e0"

#: Six colours from cold to warm, for an order; each can be seen on white and on black.
ORDER = ("#6a5fd0", "#2f7fc1", "#15939b", "#3c9a52", "#a98a00", "#d0622b")


def tint(number: int) -> str:
    """The colour of a layout's field, by its place."""
    return _TINTS[number % len(_TINTS)]
