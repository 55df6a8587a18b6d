"""Hypothesis strategies for fields that are sent by their low bits.

Owns one rule: which fields of a random schema may be. They are those that the format allows: a code that is longer, a whole
circle, an epoch, one circle with a seam in a layout, one unit for a name in all layouts.

>>> from hypothesis import find
>>> find(low_bits_of({"kind": "latitude"}, "latitude", LowBitsDrawn()), lambda table: "low_bits" in table)["low_bits"]
2
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from packetcodec.fuzz.strategies import composite, st
from packetcodec.schema import KINDS
from packetcodec.schema.fields import read_field
from packetcodec.schema.table import Faults, Table

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass
class LowBitsDrawn:
    """What is drawn already: of each name its kind, unit and origin, and whether this layout has a circle with a seam."""

    units: dict[str, tuple[Any, ...]] = field(default_factory=dict)
    seam: bool = False


@composite
def low_bits_of(draw: st.DrawFn, table: Mapping[str, Any], name: str, drawn: LowBitsDrawn) -> dict[str, Any]:
    """The table of a field, in half of the cases with low bits where it may have them."""
    whole = dict(table)
    if "low_bits" not in KINDS[table["kind"]].keys or draw(st.booleans()):
        return whole
    plain = read_field(Table({**whole, "name": name}, ("fields", 0), Faults({})))
    most = plain.grid.max_code + plain.optional if plain else 0
    if most < 4:
        return whole
    found = {**whole, "low_bits": draw(st.integers(2, most.bit_length() - 1))}
    read = read_field(Table({**found, "name": name}, ("fields", 0), Faults({})))
    if read is None or read.low_bits is None:  # a circle that is not whole, or a period
        return whole
    unit = (read.kind, read.unit, read.origin)
    if drawn.units.setdefault(name, unit) != unit or (read.low_bits.two_ways and drawn.seam):
        return whole
    drawn.seam = drawn.seam or read.low_bits.two_ways
    return found
