"""What to send: the kinds, the grid of a field, the TOML file and everything that can be wrong with it."""

from __future__ import annotations

from packetcodec.schema.grid import Grid, derive
from packetcodec.schema.kinds import KINDS, METRES_PER_DEGREE, Kind, Unit
from packetcodec.schema.model import MAX_BYTES, Check, Field, Header, Layout, Remark, Trail
from packetcodec.schema.schema import Schema

__all__ = [
    "KINDS",
    "MAX_BYTES",
    "METRES_PER_DEGREE",
    "Check",
    "Field",
    "Grid",
    "Header",
    "Kind",
    "Layout",
    "Remark",
    "Schema",
    "Trail",
    "Unit",
    "derive",
]
