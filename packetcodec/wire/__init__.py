"""The table: where each bit stands, what its codes mean, and how they are packed. Integers only."""

from __future__ import annotations

from packetcodec.wire.accuracy import metres_bound, position_bound, promised, trail_bound
from packetcodec.wire.field_plan import FieldPlan
from packetcodec.wire.packing import anchor_of, pack, unpack
from packetcodec.wire.plan import LayoutPlan, Plan, compile_plan
from packetcodec.wire.quantize import (
    OutOfRangeFault,
    Value,
    bounds,
    clipped,
    clipping,
    decimal,
    from_raw,
    in_range,
    max_error,
    to_base,
    to_raw,
    to_value,
)
from packetcodec.wire.text_line import decimals, text_line
from packetcodec.wire.trail.coding import Point, residuals, write_trail
from packetcodec.wire.versions import one_header

__all__ = [
    "FieldPlan",
    "LayoutPlan",
    "OutOfRangeFault",
    "Plan",
    "Point",
    "Value",
    "anchor_of",
    "bounds",
    "clipped",
    "clipping",
    "compile_plan",
    "decimal",
    "decimals",
    "from_raw",
    "in_range",
    "max_error",
    "metres_bound",
    "one_header",
    "pack",
    "position_bound",
    "promised",
    "residuals",
    "text_line",
    "to_base",
    "to_raw",
    "to_value",
    "trail_bound",
    "unpack",
    "write_trail",
]
