"""A decoded packet."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from packetcodec.plan import Value


class Packet(NamedTuple):
    """What a packet says. Immutable, and made without a call of Python code, since a receiver makes many.

    Attributes:
        layout: name of the layout.
        version: schema version of the packet.
        values: field name to physical value in the field's unit, None for absent; in wire order.
        codes: the raw codes, in wire order.
        trail: earlier positions, newest first; empty for a layout without a trail.
    """

    layout: str
    version: int
    values: dict[str, Value]
    codes: tuple[int, ...]
    trail: tuple[tuple[float, ...], ...] = ()

    @property
    def raw(self) -> dict[str, int]:
        """Field name to raw code, in wire order."""
        return dict(zip(self.values, self.codes, strict=True))
