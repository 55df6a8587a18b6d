"""The written specification of a plan: the text from which a stranger writes a decoder and an encoder.

Owns one rule: the numbers of its sections. Reports cite a rule by its number ("spec 6.5"), so a section may grow but
never moves: 1 scope, 2 conventions, 3 header and layouts, 4 trails, 5 check, 6 decoding, 7 encoding, 8 worked examples,
9 bad packets and vectors, 10 the line protocol. What concerns whoever deploys it has a text of its own.

>>> from packetcodec.starter import example_plan
>>> for name, text in write_spec(example_plan()).items():
...     print(name, text.splitlines()[0], sep=": ")
pasture-v1.md: # pasture, version 1: packet specification
pasture-v1.deployment.md: # pasture, version 1: for whoever deploys it
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

from packetcodec.crc import MODEM_NOTE
from packetcodec.emit.render import Templates
from packetcodec.emit.spec.airtime_section import airtime_parts
from packetcodec.emit.spec.check_section import check_parts
from packetcodec.emit.spec.examples_section import telling_packets
from packetcodec.emit.spec.layouts_section import Drawn, field_range, largest_error, span
from packetcodec.emit.spec.lines_section import conversation
from packetcodec.emit.spec.low_bits_section import low_bits_example
from packetcodec.emit.spec.trail_section import place_words, shortened
from packetcodec.emit.spec.text import columns, markdown, reflowed
from packetcodec.schema import KINDS, Form, Role
from packetcodec.vectors.examples import is_cut
from packetcodec.wire import position_bound, promised, trail_bound
from packetcodec.wire.trail.cells import east_step

if TYPE_CHECKING:
    from collections.abc import Iterable

    from packetcodec.wire import Plan

_TEMPLATES = Templates("spec", escape=markdown)


def write_spec(
    plan: Plan,
    *,
    region_name: str = "EU868",
    frequency_hz: int = 868_100_000,
    bandwidth_hz: int = 125_000,
    coding_rate: int = 5,
    preamble: int = 8,
) -> dict[str, str]:
    """The specification of a plan, and what whoever deploys it must know: file name to Markdown text.

    Args:
        plan: from `packetcodec.wire.compile_plan`.
        region_name: whose limits the airtime table uses, a name of `packetcodec.radio.load_regions`.
        frequency_hz: centre of the channel in hertz.
        bandwidth_hz: LoRa bandwidth in hertz, as the datasheet prints it.
        coding_rate: 5..8, meaning 4/5..4/8.
        preamble: programmed preamble symbols, 1..65535.

    Raises:
        RadioFault: a radio setting that the modem does not have, or a channel that fits no sub-band of the region.
    """
    stem = f"{plan.name}-v{plan.version}"
    names = {"plan": plan, "stem": stem, "check": check_parts(plan, plan.crc) if plan.crc else None}
    airtime = airtime_parts(plan, region_name, frequency_hz, bandwidth_hz, coding_rate, preamble)
    trails = [layout.trail for layout in plan.layouts if layout.trail]
    deployment = _TEMPLATES.render("deployment.md.j2", airtime=airtime, trails=trails, modem_note=MODEM_NOTE, **names)
    text = _TEMPLATES.render("spec.md.j2", **names, **_parts(plan))
    return {f"{stem}.md": reflowed(text), f"{stem}.deployment.md": reflowed(deployment)}


def _parts(plan: Plan) -> dict[str, Any]:
    """What the templates ask beside the plan itself."""
    fields = [field for layout in plan.layouts for field in layout.fields]
    moduli = [field.modulus for field in fields if field.modulus]
    wraps = [(field.low, field.modulus) for field in fields if field.policy == "wrap" and field.modulus]
    masks = [low == 0 and modulus.bit_count() == 1 for low, modulus in wraps]
    told: set[str] = set()

    def fresh(words: str) -> bool:
        known = words in told
        told.add(words)
        return not known

    return {
        "fields": fields,
        "layouts": [Drawn(plan, layout) for layout in plan.layouts],
        "header_bytes": -(-plan.header_bits // 8),
        "counting": _listed(kind.name for kind in KINDS.values() if kind.form is Form.COUNT),
        "longitude": any(layout.role(Role.EAST) for layout in plan.layouts),
        "fits": all(field.low > -(2**31) and field.high < 2**31 - 1 for field in fields),
        "wide_modulus": max(moduli, default=0) >= 2**31,
        "wraps": SimpleNamespace(by_mask=any(masks), by_division=not all(masks)),
        "is_cut": is_cut(plan),
        "bad": telling_packets(plan),
        "conversation": list(conversation(plan)),
        "fresh": fresh,
        "low_bits": low_bits_example(plan) if plan.has_low_bits else None,
        "circles": any(field.modulus for field in fields if field.low_bits),
        "seams": any(field.low_bits.two_ways for field in fields if field.low_bits),
        "span": span,
        "field_range": field_range,
        "largest_error": largest_error,
        "binary": lambda number, width: f"{number:0{width}b}",
        "place": place_words,
        "shortened": shortened,
        "position_bound": position_bound,
        "trail_bound": trail_bound,
        "promised": promised,
        "east_step": east_step,
        "columns": columns,
    }


def _listed(words: Iterable[str]) -> str:
    *most, last = words
    return f"{', '.join(most)} and {last}"
