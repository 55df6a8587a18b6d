"""The encoder and decoder of a plan as C99: one header and one source, for firmware and for everything else.

Owns one rule: how the plan becomes the tables of the source. All fields are coded by one routine from a table
of a few numbers a field, which is smaller than code for each field: measured, see `benchmarks/firmware.py`. In
a table stands, of each field:

* low and step as in the plan, low modulo 2^32;
* span: from low to the last base value that may be given (on a circle that wraps: its circumference less one);
* turn: the offset behind which a value on a circle rounds to code 0 again;
* rules: absent, clip, wrap, and whether the field is the latitude, longitude or altitude that a trail counts
  from.

Layouts with the same fields share a table. The code of a rule that no field follows is left out, and so is the
trail's.

>>> from packetcodec.wire import compile_plan
>>> from packetcodec.schema import Schema
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "latitude" }, { kind = "longitude" }]
... '''))
>>> [*write_c(plan)]
['pasture.h', 'pasture.c']
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

from packetcodec.emit.c.names import LayoutNames, comment, public_names, signed
from packetcodec.emit.render import Templates
from packetcodec.errors import STATUSES
from packetcodec.wire.trail.cells import MAX_CELLS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from packetcodec.crc import Crc
    from packetcodec.schema import Trail
    from packetcodec.wire import FieldPlan, LayoutPlan, Plan

_U32 = 2**32
_WIDTH = 116
#: Bits of a field's rules; the template has the same.
_OPTIONAL, _CLIP, _WRAP, _MASKED, _PLAIN, _HEAD = 1, 2, 4, 8, 16, 64

_TEMPLATES = Templates("c", escape=str)


def write_c(plan: Plan, *, prefix: str | None = None) -> dict[str, str]:
    """The header and the source of a plan: file name to text.

    Args:
        plan: from `packetcodec.wire.compile_plan`.
        prefix: what files and public names begin with, instead of the schema's name; so that a receiver can be built
            from two versions of a schema.
    """
    names = public_names(plan, prefix)
    heads = _heads(plan)
    rows = {layout.name: [_row(field, heads) for field in layout.fields] for layout in plan.layouts}
    fields = [field for layout in plan.layouts for field in layout.fields]
    circles = any(field.modulus for field in fields)
    texts = {item.name: tuple(_row_text(row, circles=circles) for row in rows[item.name]) for item in plan.layouts}
    tables = list(dict.fromkeys(texts.values()))
    trails = [layout.trail for layout in plan.layouts if layout.trail]
    layouts = [
        _layout(plan, layout, own, tables.index(texts[layout.name]), [item.trail for item in plan.layouts])
        for layout, own in zip(plan.layouts, names.layouts, strict=True)
    ]
    shared: dict[str, Any] = {
        "plan": plan, "p": names.prefix, "P": names.prefix.upper(), "name": plan.name, "layouts": layouts,
        "header": f"{names.prefix}.h", "most_cells": MAX_CELLS,
    }  # fmt: skip
    header = _TEMPLATES.render(
        "packet.h.j2", **shared, doc=_lines(plan.doc), most=max(layout.longest for layout in plan.layouts),
        faults=[status.upper() for status in STATUSES], unknown=any(trail.altitude_step for trail in trails),
    )  # fmt: skip
    source = _TEMPLATES.render(
        "packet.c.j2", **shared, **_rules(fields), **_trails(trails, layouts), circles=circles,
        tables=[
            {
                "name": f"fields{number}", "rows": table,
                "condition": " || ".join(f"!defined {item['no']}" for item in layouts if item["table"] == number),
            }
            for number, table in enumerate(tables)
        ],
        crc=_crc(plan, plan.crc) if plan.crc else None, check_bytes=plan.crc.size if plan.crc else 0,
        header_bytes=-(-plan.header_bits // 8), layout_mask=(1 << plan.layout_bits) - 1,
        asserts=[item["assertion"] for item in layouts],
    )  # fmt: skip
    return {f"{names.prefix}.h": header, f"{names.prefix}.c": source}


def _lines(words: str, start: str = " * ") -> str:
    """A remark of the schema's author as lines of a comment that it cannot end."""
    safe = " ".join(words.split()).replace("*/", "* /").replace("/*", "/ *").replace("\\", "/")
    return "\n".join(textwrap.wrap(safe, _WIDTH, initial_indent=start, subsequent_indent=start)) or start.rstrip()


def _power(number: int) -> bool:
    return number & number - 1 == 0


def _wraps(field: FieldPlan) -> int:
    """The rule of a field that wraps."""
    if field.policy != "wrap":
        return 0
    return _MASKED if field.low == 0 and _power(field.modulus or 0) else _WRAP


def _heads(plan: Plan) -> dict[str, int]:
    """Kind of field to its axis, counted from 1, where a trail counts from it."""
    trails = [layout.trail for layout in plan.layouts if layout.trail]
    kinds = ("latitude", "longitude", *(["altitude"] if any(trail.altitude_step for trail in trails) else []))
    return {kind: axis for axis, kind in enumerate(kinds, 1)} if trails else {}


def _row(field: FieldPlan, heads: Mapping[str, int]) -> tuple[int, ...]:
    span = field.max_input - field.low
    turn = _U32 - 1
    if field.modulus:
        if field.policy == "wrap":
            span = field.modulus - 1
        # A circle's end is its beginning, and so is what rounds up past the last code.
        turn = min((field.max_code + 1) * field.step - field.step // 2, field.modulus) - 1
    rules = _wraps(field) | _OPTIONAL * (field.absent_code is not None) | _CLIP * (field.policy == "clip")
    rules |= _PLAIN * (not signed(field)) | _HEAD * heads.get(field.kind, 0)
    return field.low % _U32, span, field.step, field.max_code, turn, field.bits, rules


def _row_text(row: tuple[int, ...], *, circles: bool) -> str:
    low, span, step, last, turn, bits, rules = row
    large = [low, span, step, *([turn] if circles else []), last]
    return ", ".join([str(bits), str(rules), *(f"{number}UL" for number in large)])


def _rules(fields: list[FieldPlan]) -> dict[str, Any]:
    """Which rules the source has code for."""
    sided = [field for field in fields if field.policy == "clip" or _wraps(field) == _WRAP]
    unsigned = [field for field in sided if not signed(field)]
    return {
        "below": ("flip" if unsigned else "signed") if sided else "",
        "masked": any(_wraps(field) == _MASKED for field in fields),
        "wraps": any(_wraps(field) == _WRAP for field in fields),
        "clips": any(field.policy == "clip" for field in fields),
        "wide": any(field.step << field.bits - 1 >= _U32 for field in fields),
    }


def _layout(plan: Plan, layout: LayoutPlan, own: LayoutNames, table: int, trails: list[Trail | None]) -> dict[str, Any]:
    here = plan.layouts.index(layout)
    word = plan.version << plan.layout_bits | layout.id
    row = [f"fields{table}", f"{word}U", len(layout.fields), layout.size, layout.longest, (1 << layout.padding) - 1]
    if any(trails):
        row.append(sum(1 for trail in trails[: here + 1] if trail) if layout.trail else 0)
    place = f"offsetof({own.type}, trail)"
    return {
        "plan": layout, "doc": _lines(layout.doc, "").replace("\n", "\n * ") if layout.doc else "", "table": table,
        "type": own.type, "point": own.point, "encode": own.encode, "member": own.member, "macro": own.macro,
        "no": own.without, "index": f"layout{here}", "row": ", ".join(map(str, row)), "members": _members(layout, own),
        "defines": _defines(layout, own), "trail_doc": _trail_doc(layout) if layout.trail else "",
        "trail_row": _trail_row(layout.trail, place) if layout.trail else "", "place": place,
        "assertion": {"no": own.without, "name": f"{own.type}_members", "test": _assertion(layout, own)},
    }  # fmt: skip


def _members(layout: LayoutPlan, own: LayoutNames) -> list[str]:
    lines = []
    for field, name in zip(layout.fields, own.members, strict=True):
        type_ = "int32_t" if signed(field) else "uint32_t"
        doc = f"{' '.join(field.doc.split())}: " if field.doc else ""
        doc = doc.replace("*/", "* /").replace("/*", "/ *").replace("\\", "/")
        lines.append(f"{type_} {name}; /* {doc}{comment(field)} */")
    for field, name in zip(layout.fields, own.has, strict=True):
        if name:
            lines.append(f"uint8_t {name}; /* 1 where {field.name} is known, 0 where it is absent */")
    if layout.trail:
        lines.append(f"uint8_t trail_count; /* points that follow, 0..{layout.trail.points} */")
        lines.append(f"{own.point} trail[{layout.trail.points}]; /* newest first */")
    return lines


def _defines(layout: LayoutPlan, own: LayoutNames) -> list[str]:
    lines = []
    if layout.trail:
        lines.append(f"{own.macro}_POINTS {layout.trail.points}")
        if layout.trail.spacing:
            lines.append(f"{own.macro}_SPACING_S {layout.trail.spacing} /* seconds from point to point */")
    for field, choices, epoch in zip(layout.fields, own.choices, own.epochs, strict=True):
        lines += [f"{name} {code}" for code, name in enumerate(choices)]
        if epoch:
            mark = "L" if -(2**31) < field.origin < 2**31 else "LL"
            lines.append(f"{epoch} ({field.origin}{mark}) /* Unix time of 0 */")
    return lines


def _assertion(layout: LayoutPlan, own: LayoutNames) -> str:
    """What must hold for the members of a struct to be read one behind the other."""
    first = next((name for name in own.has if name), "trail_count" if layout.trail else "")
    size = 4 * len(layout.fields)
    if not first:
        return f"sizeof({own.type}) == {size}"
    said = f"offsetof({own.type}, {first}) == {size}"
    if not layout.trail:
        return said
    count = size + sum(1 for name in own.has if name)
    words = 2 + bool(layout.trail.altitude_step) + bool(layout.trail.interval_seed)
    return f"{said} && offsetof({own.type}, trail_count) == {count} && sizeof({own.point}) == {4 * words}"


def _trail_doc(layout: LayoutPlan) -> str:
    trail = layout.trail
    assert trail is not None  # noqa: S101  # the caller looked
    spacing = f", {trail.spacing} s from point to point" if trail.spacing else ""
    if trail.spacing_field:
        spacing = f", from point to point as many seconds as {trail.spacing_field} says"
    words = (
        f"An earlier position{spacing}. It arrives within half a cell of where it was; cells are {trail.step} units of "
        "latitude high and as wide. What does not fit a packet is left out with all older points: too many bytes, too far "
        "away. A packet without a position of its own carries no points, and does not look at them."
    )
    return "/* " + _lines(words, " * ")[3:] + " */"


def _trail_row(trail: Trail, place: str) -> str:
    numbers = [
        f"{trail.step}UL", f"{trail.altitude_step}UL", f"{trail.interval_seed}UL", trail.initial_scale, trail.scale_rate,
        trail.altitude_initial_scale, trail.altitude_scale_rate,
        f"(uint16_t){place}", trail.points, trail.count_bits, trail.coarsenings,
    ]  # fmt: skip
    return ", ".join(map(str, numbers))


def _trails(trails: list[Trail], layouts: list[dict[str, Any]]) -> dict[str, Any]:
    """What the source needs to know about trails; with a single one its numbers stand in the code."""

    def some(having: list[bool]) -> str:
        return "all" if all(having) else "some" if any(having) else ""

    climb = some([bool(trail.altitude_step) for trail in trails]) if trails else ""
    gap = some([bool(trail.interval_seed) for trail in trails]) if trails else ""
    shifts = any(trail.coarsenings for trail in trails)
    if len(trails) == 1:
        only = trails[0]
        place = next(item["place"] for item in layouts if item["plan"].trail)
        t = {
            "step": f"WORD({only.step})", "climb": f"WORD({only.altitude_step})", "gapfirst": f"WORD({only.interval_seed})",
            "first": only.initial_scale, "change": only.scale_rate, "climbfirst": only.altitude_initial_scale,
            "climbchange": only.altitude_scale_rate, "place": place,
            "points": only.points, "countbits": only.count_bits,
            "shifts": only.coarsenings,
        }  # fmt: skip
    else:
        keys = [
            "step",
            "climb",
            "gapfirst",
            "first",
            "change",
            "climbfirst",
            "climbchange",
            "place",
            "points",
            "countbits",
            "shifts",
        ]
        t = {key: f"c->t.{key}" for key in keys}
    return {
        "trails": bool(trails), "one": len(trails) == 1, "t": t, "climb": climb, "gap": gap, "shifts": shifts,
        "plain": not climb and not gap and not shifts, "groups": 1 + bool(climb) + bool(gap),
        "axes": 4 if gap else 3 if climb else 2,
    }  # fmt: skip


def _crc(plan: Plan, crc: Crc) -> dict[str, Any]:
    """The lines of the check. The register runs as its bytes do: lowest bit first where they are reflected."""

    def turned(number: int) -> int:
        return int(f"{number:0{crc.width}b}"[::-1], 2) if crc.reflected else number

    type_ = {8: "uint8_t", 16: "uint16_t"}.get(crc.width, "uint32_t")

    def word(number: int) -> str:
        digits = f"0x{number:0{crc.width // 4}x}"
        return f"WORD({digits})" if crc.width > 16 else f"{digits}U"

    polynomial, top = word(turned(crc.polynomial)), word(1 << crc.width - 1)
    if crc.reflected:
        enter = f"state = ({type_})(state ^ *data++);"
        shift = ("state & 1U", f"({type_})((state >> 1) ^ {polynomial})", f"({type_})(state >> 1)")
        places = list(range(0, crc.width, 8))
    else:
        into = "*data++" if crc.width == 8 else f"({type_})*data++ << {crc.width - 8}"
        enter = f"state = ({type_})(state ^ {into});" if crc.width > 8 else "state = (uint8_t)(state ^ *data++);"
        masked = " & WORD(0xffffff)" if crc.width == 24 else ""
        shift = (f"state & {top}", f"({type_})(2U * state ^ {polynomial}){masked}", f"({type_})(2U * state)")
        places = list(range(crc.width - 8, -1, -8))
    final = f"({type_})(check(c->start, (uint8_t)(c->to - c->start)) ^ {word(crc.xor_out)})"
    if not crc.xor_out:
        final = "check(c->start, (uint8_t)(c->to - c->start))"
    return {
        "type": type_, "start": word(turned(plan.seed)), "enter": enter, "shift": shift, "final": final,
        "append": [f"(uint8_t)(state >> {place})" if place else "(uint8_t)state" for place in places],
        "residue": word(crc.residue() ^ crc.xor_out),
    }  # fmt: skip
