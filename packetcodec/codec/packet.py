"""A decoded packet."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from packetcodec.wire import Value


class TrailPoint(NamedTuple):
    """An earlier position.

    Attributes:
        latitude, longitude: degrees.
        altitude: metres, or None where it is not known or not carried.
        age: seconds before the packet's own position, or None where it is not known.
    """

    latitude: float
    longitude: float
    altitude: float | None = None
    age: float | None = None


class Packet(NamedTuple):
    """What a packet says. Immutable, and made without a call of Python code, since a receiver makes many.

    Attributes:
        layout: name of the layout.
        version: schema version of the packet.
        values: field name to physical value in the field's unit, None for absent; in wire order.
        numbers: the raw codes in wire order, and behind them the padding where the layout has one (always 0).
        trail: earlier positions (`TrailPoint`), newest first; empty for a layout without a trail.
    """

    layout: str
    version: int
    values: dict[str, Value]
    numbers: tuple[int, ...]
    trail: tuple[TrailPoint, ...] = ()

    @property
    def codes(self) -> tuple[int, ...]:
        """The raw codes, in wire order."""
        return self.numbers[: len(self.values)]

    @property
    def raw(self) -> dict[str, int]:
        """Field name to raw code, in wire order."""
        return dict(zip(self.values, self.codes, strict=True))
