"""A decoded packet."""

from typing import NamedTuple

from packetcodec.wire import Value


class TrailPoint(NamedTuple):
    """An earlier position.

    Attributes:
        latitude, longitude: degrees.
        altitude: metres, or None where it is not known or not carried.
        age: seconds before the packet's own position, or None where it is not known.

    >>> TrailPoint(46.51234, 9.87654, age=30).altitude is None
    True
    """

    latitude: float
    longitude: float
    altitude: float | None = None
    age: float | None = None


class Packet(NamedTuple):
    """What a packet says. Immutable, equal to any other that says the same, and picklable.

    Attributes:
        layout: name of the layout.
        version: schema version of the packet.
        values: field name to physical value in the field's unit, None for absent; in wire order.
        codes: the raw code of each field, in wire order.
        trail: earlier positions (`TrailPoint`), newest first; empty for a layout without a trail.

    >>> packet = Packet("gate", 1, {"identifier": 7, "open": True}, (7, 1))
    >>> packet.values["open"], packet.raw
    (True, {'identifier': 7, 'open': 1})
    """

    layout: str
    version: int
    values: dict[str, Value]
    codes: tuple[int, ...]
    trail: tuple[TrailPoint, ...] = ()

    @property
    def raw(self) -> dict[str, int]:
        """Field name to raw code, in wire order."""
        return dict(zip(self.values, self.codes, strict=True))
