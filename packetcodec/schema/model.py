"""What a schema says, after reading: header, check, layouts, fields. Frozen data, no behaviour.

A `Field` keeps what its author asked for (bits, or a step) beside the grid that follows from it, so that the plan can
tell what was chosen and the reference codec can derive the grid a second time, independently.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.frozen import Frozen, kept

if TYPE_CHECKING:
    from packetcodec.crc import Crc
    from packetcodec.schema.grid import Grid
    from packetcodec.schema.kinds import Kind, Role, Unit
    from packetcodec.schema.low_bits import LowBits

#: The longest payload of a LoRa modem, in bytes (its length register has eight bits).
MAX_BYTES = 255


class Header(Frozen):
    """Widths in bits of the schema version and of the layout id, the first two things in every packet."""

    version_bits: int = 4
    layout_bits: int = 4

    @property
    def bits(self) -> int:
        """Width of the whole header in bits."""
        return self.version_bits + self.layout_bits


class Check(Frozen):
    """The check of every packet of a schema.

    Attributes:
        crc: the CRC, or None for no check.
        bind_schema: whether the CRC starts from the state reached after the schema's fingerprint.
        chosen: whether the polynomial was chosen by this tool for the packet's length, not named by the schema.
    """

    crc: Crc | None
    bind_schema: bool = False
    chosen: bool = False

    @property
    def bits(self) -> int:
        """Width of the check in bits, 0 for none."""
        return self.crc.width if self.crc else 0


class Field(Frozen):
    """One named value of a layout.

    Attributes:
        name: its name, unique within the layout.
        kind: its row of `KINDS`.
        unit: one of the kind's, or the schema's own for a number.
        low, high: the range in base units.
        modulus: the circumference in base units, where high and low are the same place; None on a line.
        bits: the width asked for, or None.
        step: the step asked for in base units, or None.
        requested: the request as the schema words it, for reports.
        grid: the codes that follow.
        optional: whether the value may be absent.
        policy: "clip", "refuse" or "wrap", for a value beyond the range.
        origin: added to a base value to give the physical one: the epoch of a time in Unix seconds, else 0.
        choices: the names of a choice, in order of their codes.
        doc: a remark for the specification.
        low_bits: how it is sent by the low bits of its code, or None where the whole code is sent.

    >>> from packetcodec.schema import Schema
    >>> from packetcodec.starter import schema_text
    >>> field = Schema.parse(schema_text()).layouts[0].fields[5]
    >>> isinstance(field, Field), field.name, field.kind.name, field.low, field.high, field.grid.bits
    (True, 'battery', 'battery', 2500, 4500, 7)
    """

    name: str
    kind: Kind
    unit: Unit
    low: int
    high: int
    modulus: int | None
    bits: int | None
    step: int | None
    requested: str
    grid: Grid
    optional: bool
    policy: str
    origin: int = 0
    choices: tuple[str, ...] = ()
    doc: str = ""
    low_bits: LowBits | None = None

    @property
    def sent_bits(self) -> int:
        """Its width in a packet."""
        return self.low_bits.bits if self.low_bits else self.grid.bits

    @property
    def scale(self) -> int:
        """Base units in one unit, a power of ten."""
        return self.unit.scale

    @property
    def whole_seconds(self) -> bool:
        """Whether it can hold the spacing of a trail: a number whose every code stands for a whole one, none negative."""
        whole = not any(number % self.scale for number in (self.low, self.high, self.grid.step))
        return self.kind.own_unit and self.low >= 0 and whole


class ConstantSpacing(Frozen):
    """The points of a trail lie so many seconds apart.

    >>> Trail(points=10, step=225, initial_scale=16, scale_rate=3, spacing=ConstantSpacing(60)).spacing_seconds
    60
    """

    seconds: int


class FieldSpacing(Frozen):
    """The points of a trail lie as many seconds apart as a field of the packet, of this name, says.

    >>> Trail(points=10, step=225, initial_scale=16, scale_rate=3, spacing=FieldSpacing("interval")).spacing_field
    'interval'
    """

    field: str


class CodedSpacing(Frozen):
    """Each point of a trail carries the seconds since the one before; coding starts from an expected number of them.

    >>> Trail(points=10, step=225, initial_scale=16, scale_rate=3, spacing=CodedSpacing(30)).interval_seed
    30
    """

    interval_seed: int


#: What tells the seconds from point to point of a trail.
Spacing = ConstantSpacing | FieldSpacing | CodedSpacing


class AltitudeSteps(Frozen):
    """How a trail carries altitude: its cell in centimetres, and the starting values of its coding, in cells.

    >>> trail = Trail(points=10, step=225, initial_scale=16, scale_rate=3, altitude=AltitudeSteps(500))
    >>> trail.altitude.step / 100                                # metres
    5.0
    """

    step: int
    initial_scale: int = 1
    scale_rate: int = 1


class Trail(Frozen):
    """The trail of a layout: earlier positions behind the fields, newest first.

    Attributes:
        points: most positions, 1..63.
        step: north-south cell in 1e-7 degree.
        initial_scale, scale_rate: starting values of the coding, in cells.
        wandering: whether the last guess is the mean of the last two moves, else the last one and half its change.
        spacing: what tells the seconds from point to point.
        altitude: cells and starting values of altitude, or None for a trail without.
        coarsenings: most doublings of the grid in a packet that would get too long.
        packet_bytes: most bytes of the whole packet (0: not said; settled once the whole schema is read).
        requested: the request as the schema words it, for reports.
        doc: a remark for the specification.
    """

    points: int
    step: int
    initial_scale: int
    scale_rate: int
    spacing: Spacing = ConstantSpacing(30)
    altitude: AltitudeSteps | None = None
    coarsenings: int = 0
    packet_bytes: int = 0
    wandering: bool = False
    requested: str = ""
    doc: str = ""

    @kept
    def spacing_seconds(self) -> int | None:
        """Seconds from point to point where they are constant, else None."""
        return self.spacing.seconds if isinstance(self.spacing, ConstantSpacing) else None

    @kept
    def spacing_field(self) -> str | None:
        """Name of the field that holds the spacing, or None."""
        return self.spacing.field if isinstance(self.spacing, FieldSpacing) else None

    @kept
    def interval_seed(self) -> int | None:
        """Seconds expected from point to point where each point carries its own, else None."""
        return self.spacing.interval_seed if isinstance(self.spacing, CodedSpacing) else None

    @kept
    def count_bits(self) -> int:
        """Width of the number of points of a trail that is not full."""
        return (self.points - 1).bit_length()

    @kept
    def front_bits(self) -> int:
        """Most bits of an empty trail: count, and the coarsening of the coarsest grid."""
        return 1 + self.count_bits + self.coarsenings


class Layout(Frozen):
    """One kind of packet: its name, its id in the header, its fields in order, its trail if it has one.

    >>> from packetcodec.schema import Schema
    >>> from packetcodec.starter import schema_text
    >>> layouts = Schema.parse(schema_text()).layouts
    >>> [(layout.name, layout.id, layout.field_bits) for layout in layouts if isinstance(layout, Layout)]
    [('position', 1, 85), ('track', 2, 85), ('status', 3, 66)]
    """

    name: str
    id: int
    fields: tuple[Field, ...]
    doc: str = ""
    trail: Trail | None = None

    @property
    def field_bits(self) -> int:
        """Width of all fields together in bits, header and check not counted."""
        return sum(item.sent_bits for item in self.fields)

    def role(self, role: Role) -> Field | None:
        """The first field that plays a role, or None."""
        return next((field for field in self.fields if field.kind.role is role), None)


class Remark(Frozen):
    """One entry of a schema's history.

    >>> Remark(version=2, note="battery in steps of 20 mV").version
    2
    """

    version: int
    note: str
