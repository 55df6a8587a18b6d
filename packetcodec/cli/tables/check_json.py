"""The report of `check` for programs: every number of its tables."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from packetcodec.cli.tables.check_choices import choices_json
from packetcodec.crc.distance import packet_distance
from packetcodec.wire import decimal, max_error, metres_bound, position_bound, promised, trail_bound
from packetcodec.wire.compare import describe_check
from packetcodec.wire.low_bits import reach_metres, reach_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from packetcodec.radio import LoRa
    from packetcodec.wire import FieldPlan, LayoutPlan, Plan


def check_json(plan: Plan, modems: Sequence[LoRa]) -> dict[str, Any]:
    """The report; `modems` are those whose airtime each width of check has."""
    layouts = [_layout_json(plan, layout) | {"checks": choices_json(layout, plan, modems)} for layout in plan.layouts]
    return {
        "name": plan.name, "version": plan.version, "fingerprint": plan.fingerprint, "check": describe_check(plan),
        "header_bits": {"version": plan.version_bits, "layout": plan.layout_bits}, "layouts": layouts,
    }  # fmt: skip


def _layout_json(plan: Plan, layout: LayoutPlan) -> dict[str, Any]:
    distance = packet_distance(plan.crc, layout.longest) if plan.crc else None
    bound, trail = position_bound(layout), trail_bound(layout)
    found = {
        "name": layout.name, "id": layout.id, "bytes": layout.size, "max_bytes": layout.longest, "bits": layout.bits,
        "padding_bits": layout.padding, "check_bytes": layout.check_bytes,
        "hamming_distance": distance.value if distance else None,
        "hamming_distance_exact": distance.exact if distance else None,
        "position_bound_m": None if bound is None else float(promised(bound)),
        "fields": [_field_json(field) for field in layout.fields], "trail": None,
    }  # fmt: skip
    if layout.trail is not None and trail is not None:
        found["trail"] = {
            "points": layout.trail.points, "spacing_s": layout.trail.spacing_seconds, "cell": layout.trail.step,
            "initial_scale": layout.trail.initial_scale, "scale_rate": layout.trail.scale_rate,
            "coarsenings": layout.trail.coarsenings, "bound_m": float(promised(trail)),
            "wandering": layout.trail.wandering,
        }  # fmt: skip
    return found


def _field_json(field: FieldPlan) -> dict[str, Any]:
    low = field.low_bits
    return {
        "name": field.name, "kind": field.kind.name, "unit": field.unit.symbol, "offset": field.offset, "bits": field.bits,
        "requested": field.field.requested, "scale": field.scale, "low": field.low, "high": field.high, "step": field.step,
        "max_code": field.max_code, "absent_code": field.absent_code, "policy": field.policy,
        "max_error": float(max_error(field)), "max_error_m": metres_bound(field),
    } | (_low_json(field) if low else {})  # fmt: skip


def _low_json(field: FieldPlan) -> dict[str, Any]:
    within = float(decimal(field, reach_of(field)))
    return {"code_bits": field.field.grid.bits, "within": within, "within_m": reach_metres(field)}
