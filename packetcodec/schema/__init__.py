"""What to send: the kinds, the grid of a field, the TOML file and everything that can be wrong with it."""

from __future__ import annotations

from packetcodec.schema.grid import Grid, derive
from packetcodec.schema.kinds import (
    DEGREE,
    KINDS,
    MAX_ALTITUDE,
    METRE,
    METRES_PER_DEGREE_EAST,
    METRES_PER_DEGREE_NORTH,
    PLACE,
    WIDEST_CELL,
    Form,
    Kind,
    Role,
    Unit,
)
from packetcodec.schema.low_bits import LowBits
from packetcodec.schema.model import (
    MAX_BYTES,
    AltitudeSteps,
    Check,
    CodedSpacing,
    ConstantSpacing,
    Field,
    FieldSpacing,
    Header,
    Layout,
    Remark,
    Spacing,
    Trail,
)
from packetcodec.schema.schema import Schema

__all__ = [
    "DEGREE",
    "KINDS",
    "MAX_ALTITUDE",
    "MAX_BYTES",
    "METRE",
    "METRES_PER_DEGREE_EAST",
    "METRES_PER_DEGREE_NORTH",
    "PLACE",
    "WIDEST_CELL",
    "AltitudeSteps",
    "Check",
    "CodedSpacing",
    "ConstantSpacing",
    "Field",
    "FieldSpacing",
    "Form",
    "Grid",
    "Header",
    "Kind",
    "Layout",
    "LowBits",
    "Remark",
    "Role",
    "Schema",
    "Spacing",
    "Trail",
    "Unit",
    "derive",
]
