"""Hypothesis strategies of values and packets, good and broken, for tests of your own.

Everything shrinks, towards fewer and smaller values, shorter packets. Packets are spoiled as the harness spoils them.

>>> from hypothesis import given, settings
>>> from packetcodec.codec import Codec
>>> from packetcodec.schema import Schema
>>> from packetcodec.starter import schema_text
>>> schema = Schema.parse(schema_text())
>>> codec, layout = Codec(schema), schema.layouts[0]
>>> few = settings(max_examples=5, deadline=None, database=None)
>>> @few
... @given(good_packets(codec, schema), good_values(layout), good_value(layout.fields[0]), any_value(layout.fields[0]))
... def good_ones_are_read(packet, values, collar, _):
...     assert codec.try_decode(packet)[0] == codec.try_decode(codec.encode("position", values))[0] == "ok"
...     assert 0 <= collar <= 255
>>> good_ones_are_read()
>>> @few
... @given(spoiled_packets(codec, schema, ways=["few wrong bits"]), any_packets(codec, schema), any_values(layout))
... def bad_ones_end_with_a_named_fault(wrong, packet, values):
...     assert codec.try_decode(wrong)[0] != "ok"
...     assert isinstance(codec.try_decode(packet)[0], str)
>>> bad_ones_end_with_a_named_fault()
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from random import Random
from typing import TYPE_CHECKING, Any

from packetcodec.fuzz.spoil import WAYS, Spoiler
from packetcodec.fuzz.strategies import composite, st
from packetcodec.fuzz.strategies.schemas import NAMES
from packetcodec.fuzz.strategies.trails import points
from packetcodec.schema import Form

if TYPE_CHECKING:
    from collections.abc import Iterable

    from packetcodec.codec import Codec
    from packetcodec.schema import Field, Layout, Schema

__all__ = ["any_packets", "any_value", "any_values", "good_packets", "good_value", "good_values", "spoiled_packets"]


# --- values ---------------------------------------------------------------------------------------------------------


def _number_of(field: Field, base: int) -> int | float:
    """A number of base units in the field's unit: a whole number as such, else a float."""
    total = base + field.origin
    return total // field.scale if total % field.scale == 0 else total / field.scale


def bases(field: Field) -> st.SearchStrategy[int]:
    """Numbers of base units within the field's range: anywhere, at its ends, around the ties between two codes."""
    step = field.grid.step
    top = field.high - (
        field.modulus is not None and field.scale == 1
    )  # a circle of whole numbers ends one before its beginning
    anywhere = st.integers(field.low, top)
    ties = st.builds(
        lambda code, off: field.low + code * step + step // 2 + off, st.integers(0, field.grid.max_code), st.integers(-1, 1)
    )
    ends = st.sampled_from([field.low, field.low + 1, top - 1, top])
    return anywhere | (ends | ties).map(lambda base: min(max(base, field.low), top))


def good_value(field: Field) -> st.SearchStrategy[Any]:
    """A value that the field sends without clipping, wrapping or refusing it."""
    value: st.SearchStrategy[Any]
    if field.kind.form is Form.CHOICE:
        value = st.sampled_from(field.choices)
    elif field.kind.form is Form.FLAG:
        value = st.booleans() | st.sampled_from([0, 1, 0.0, 1.0])
    else:
        number = bases(field).map(lambda base: _number_of(field, base))
        value = number | number.map(float)
    return st.none() | value if field.optional else value


_ODD = st.sampled_from([
    None, True, False, "", "12.5", "resting", b"1", (), (1,), 1j, Decimal("1.5"), Decimal("NaN"), Decimal("sNaN"),
    Fraction(1, 3), float("nan"), float("inf"), -0.0, 0.5, 5e-324, 1e30, 1e308, -1e308, -1, 2**31, 2**32, 2**63, 10**40,
    Fraction(10**400),
])  # fmt: skip


def any_value(field: Field) -> st.SearchStrategy[Any]:
    """Any value at all: good, beyond the range by little or much, of a wrong type, not a number."""
    span = field.high - field.low
    beyond = st.integers(field.low - 3 * span, field.high + 3 * span) | st.sampled_from([field.low - 1, field.high + 1])
    outside = beyond.map(lambda base: _number_of(field, base))
    return good_value(field) | outside | outside.map(float) | st.floats() | st.integers() | _ODD


def good_values(layout: Layout) -> st.SearchStrategy[dict[str, Any]]:
    """Values of a layout that can be sent as they are."""
    return st.fixed_dictionaries({field.name: good_value(field) for field in layout.fields})


@composite
def any_values(draw: st.DrawFn, layout: Layout) -> dict[str, Any]:
    """Values of a layout: mostly good, some odd, some missing, sometimes one that the layout does not have."""
    values = draw(good_values(layout))
    for field in draw(st.lists(st.sampled_from(layout.fields), max_size=3)):
        values[field.name] = draw(any_value(field))
    if draw(st.integers(0, 7)) == 0:
        values.pop(draw(st.sampled_from(sorted(values))))
    if draw(st.integers(0, 7)) == 0:
        values[draw(NAMES)] = 1
    return values


# --- packets --------------------------------------------------------------------------------------------------------


@composite
def good_packets(draw: st.DrawFn, codec: Codec, schema: Schema) -> bytes:
    """A packet that `codec`, whose first schema is `schema`, has made; with a trail where its layout has one."""
    layout = draw(st.sampled_from(schema.layouts))
    values = draw(good_values(layout))
    return codec.encode(layout.name, values, draw(points(codec, layout, values)))


def spoiled_packets(codec: Codec, schema: Schema, *, ways: Iterable[str] = WAYS) -> st.SearchStrategy[bytes]:
    """A good packet with something done to it; now and then it is still good.

    Args:
        codec: makes the packet.
        schema: the codec's first.
        ways: some of `packetcodec.fuzz.spoil.WAYS`; those that the schema has no use for are left out.
    """
    spoiler = Spoiler(codec.plan, Random(0), guaranteed=lambda _: 3)  # noqa: S311  # replaced by hypothesis' own

    def spoil(random: Random, way: str, data: bytes) -> bytes:
        spoiler.start(random, [data])
        return spoiler.spoil(way)

    useful = [way for way in ways if spoiler.has(WAYS[way])] or ["noise"]
    return st.builds(spoil, st.randoms(use_true_random=False), st.sampled_from(useful), good_packets(codec, schema))


def any_packets(codec: Codec, schema: Schema) -> st.SearchStrategy[bytes]:
    """Any bytes at all: good packets, and spoiled ones of all ways."""
    return good_packets(codec, schema) | spoiled_packets(codec, schema)
