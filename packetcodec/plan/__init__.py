"""The table: where each bit stands, what its codes mean, and how they are packed. Integers only."""

from __future__ import annotations

from packetcodec.plan.metres import metres_bound, position_bound, trail_bound
from packetcodec.plan.packing import head_of, pack, unpack
from packetcodec.plan.plan import FieldPlan, LayoutPlan, Plan, compile_plan
from packetcodec.plan.quantize import (
    OutOfRangeError,
    Value,
    bounds,
    clipped,
    decimal,
    from_raw,
    to_base,
    to_raw,
    to_value,
    worst_error,
)
from packetcodec.plan.textline import decimals, text_line
from packetcodec.plan.trail import Point, residuals, write_trail

__all__ = [
    "FieldPlan",
    "LayoutPlan",
    "OutOfRangeError",
    "Plan",
    "Point",
    "Value",
    "bounds",
    "clipped",
    "compile_plan",
    "decimal",
    "decimals",
    "from_raw",
    "head_of",
    "metres_bound",
    "pack",
    "position_bound",
    "residuals",
    "text_line",
    "to_base",
    "to_raw",
    "to_value",
    "trail_bound",
    "unpack",
    "worst_error",
    "write_trail",
]
