"""A layout as a picture of its bits: SVG, one byte a row, its most significant bit on the left.

Owns one rule: what a field tells where the pointer rests on it: bits, range, step, largest error, as the specification does.

>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> picture = bit_picture(plan, plan.layout("position"))
>>> picture.count('class="field"'), "largest error: 0.00001115" in picture
(7, True)
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

from packetcodec.emit.spec.layouts_section import Drawn, field_range, largest_error, span
from packetcodec.emit.spec.text import segments
from packetcodec.page.markup import TEMPLATES
from packetcodec.page.palette import CHECK, HEADER, PADDING, TRAIL, tint
from packetcodec.spelling import counted
from packetcodec.wire import decimal

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.emit.spec.text import Segment
    from packetcodec.wire import FieldPlan, LayoutPlan, Plan

_LEFT, _TOP, _BIT, _ROW = 58, 26, 48, 34  # pixels: margin of the byte numbers, of the bit numbers; a bit, a byte
_SIGNS = 62  # of a line of text below the bits
_GREYS = {"v": HEADER, "i": HEADER, "0": PADDING, "x": CHECK, "T": TRAIL}


@dataclass(frozen=True, slots=True)
class _Cell:
    """A box: its corner, its width, and what stands in it."""

    x: int
    y: int
    width: int
    label: str

    @property
    def middle(self) -> int:
        """Where its text stands."""
        return self.x + self.width // 2


@dataclass(frozen=True, slots=True)
class _Group:
    """All boxes of one piece."""

    kind: str
    fill: str
    told: tuple[str, ...]
    cells: tuple[_Cell, ...]


def bit_picture(plan: Plan, layout: LayoutPlan) -> str:
    """The picture of a layout, an SVG document that needs nothing beside it."""
    drawn = Drawn(plan, layout)
    groups = [_group(drawn, list(found)) for _, found in groupby(segments(drawn.pieces), key=lambda item: item.piece)]
    rows = 1 + max(cell.y for group in groups for cell in group.cells) // _ROW
    lines = list(_below(drawn, groups))
    bottom = _TOP + rows * _ROW
    return TEMPLATES.render(
        "bits.svg.j2", title=f'layout "{layout.name}": {_size(layout)}', groups=groups, width=_LEFT + 8 * _BIT + 2,
        height=bottom + 8 + 20 * len(lines), left=_LEFT, top=_TOP, box=_ROW - 4,
        bits=[(_LEFT + bit * _BIT + _BIT // 2, f"bit +{bit}" if not bit else f"+{bit}") for bit in range(8)],
        bytes=[(_TOP + row * _ROW + 20, f"byte {row}" if not row else str(row)) for row in range(rows)],
        lines=[(bottom + 18 + 20 * number, line) for number, line in enumerate(lines)],
    )  # fmt: skip


def _size(layout: LayoutPlan) -> str:
    return counted(layout.size, "byte") if layout.trail is None else f"{layout.size} to {layout.longest} bytes"


def _group(drawn: Drawn, found: list[Segment]) -> _Group:
    piece = found[0].piece
    cells = tuple(
        _Cell(_LEFT + item.bit * _BIT + 1, _TOP + item.byte * _ROW, item.count * _BIT - 2, item.label) for item in found
    )
    for number, (key, field) in enumerate(drawn.named):
        if key == piece.key:
            return _Group("field", tint(number), (f"{key} {field.name} ({field.kind})", *_told(field)), cells)
    return _Group("rest", _GREYS[piece.key], (piece.name, counted(piece.width, "bit")), cells)


def _told(field: FieldPlan) -> Iterator[str]:
    """What the pointer is told."""
    yield f"bits {span(field.offset, field.bits)}: {field.bits} wide"
    if field.low_bits is not None:
        yield f"sent: the low bits of its code, modulo {field.low_bits.modulus}"
    yield f"range: {field_range(field)}" if not field.choices else f"names: {', '.join(field.choices)}"
    if not field.kind.counting:
        yield f"step: {decimal(field, field.step)} {field.unit.symbol}".rstrip()
    yield f"largest error: {largest_error(field)}"
    if field.absent_code is not None:
        yield f"absent: code {field.absent_code}"


def _below(drawn: Drawn, groups: list[_Group]) -> Iterator[str]:
    """Lines below the bits: what stands behind them, and the names that fit into no box."""
    if drawn.layout.trail:
        yield f"T: up to {counted(drawn.layout.trail.points, 'earlier point')}, then the check; {_size(drawn.layout)} in all"
    shown = {cell.label for group in groups for cell in group.cells}
    line = ""
    for key, field in drawn.named:
        if not any(label.startswith(f"{key} {field.name}") for label in shown):
            more = f"{line}   {key} {field.name}".lstrip()
            if line and len(more) > _SIGNS:
                yield line
                more = f"{key} {field.name}"
            line = more
    if line:
        yield line
