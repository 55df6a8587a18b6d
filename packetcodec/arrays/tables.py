"""The numbers of a layout as the kernels read them.

Owns one rule: which Arrow type a field has.

>>> from packetcodec.starter import example_plan
>>> [str(column.type) for column in columns(example_plan().layout("position"), "base")][:3]
['int32', 'int32', 'int32']
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import pyarrow as pa

from packetcodec.arrays.kernels import numbers as kernel
from packetcodec.errors import STATUSES, PacketcodecError
from packetcodec.schema import Form
from packetcodec.wire.trail.cells import east_step, reach

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from packetcodec.wire import FieldPlan, LayoutPlan, Plan

    Units = Literal["physical", "base"]


def as_column(numbers: NDArray[Any], kind: pa.DataType) -> pa.Array:
    """Numbers as a column; `pa.array` would import pandas where it is installed, which takes as long as all else."""
    return pa.Array.from_buffers(kind, len(numbers), [None, pa.py_buffer(numbers)])


def _texts(names: Sequence[str]) -> pa.Array:
    """Texts as a column."""
    some = [name.encode() for name in names]
    ends = np.cumsum([0, *map(len, some)], dtype=np.int32)
    return pa.Array.from_buffers(pa.string(), len(some), [None, pa.py_buffer(ends), pa.py_buffer(b"".join(some))])


#: What an answer is: "ok", then the faults in their order.
STATUS = pa.dictionary(pa.int8(), pa.string())
STATUS_NAMES = _texts(STATUSES)
#: What each form of column has for a value: bytes.
WIDTHS = {kernel.F64: 8, kernel.I32: 4, kernel.I64: 8, kernel.I8: 1, kernel.I16: 2}
_INTEGERS = {kernel.I32: pa.int32(), kernel.I64: pa.int64(), kernel.I8: pa.int8(), kernel.I16: pa.int16()}
_I32 = range(-(2**31), 2**31)


@dataclass(frozen=True)
class Column:
    """How a field stands in a column.

    Attributes:
        field: of the plan.
        form: of the kernel.
        type: of Arrow.
        low: what its values count from, in base units; with an epoch, Unix time.
        names: what its codes stand for, or None.
    """

    field: FieldPlan
    form: int
    type: pa.DataType
    low: int
    names: pa.Array | None = None


def checked_units(units: Units) -> Units:
    """The units that a caller asks for; PacketcodecError where there are none such."""
    if units not in {"physical", "base"}:
        raise PacketcodecError(f'units: {units!r} is neither "physical" nor "base"')
    return units


def columns(layout: LayoutPlan, units: Units) -> tuple[Column, ...]:
    """The columns of a layout's fields, in wire order."""
    return tuple(_column(field, units) for field in layout.fields)


def _column(field: FieldPlan, units: Units) -> Column:
    physical = units == "physical"
    if field.kind.form is Form.FLAG:
        return Column(field, kernel.BOOL, pa.bool_(), 0)
    if field.choices:
        form = kernel.I8 if len(field.choices) <= 128 else kernel.I16 if len(field.choices) <= 2**15 else kernel.I32
        return Column(field, form, pa.dictionary(_INTEGERS[form], pa.string()), 0, _texts(field.choices))
    if physical and field.scale > 1:
        return Column(field, kernel.F64, pa.float64(), field.low)
    low = field.low + (field.origin if physical else 0)
    if physical and field.kind.form is Form.TIME and field.modulus is None:
        return Column(field, kernel.I64, pa.timestamp("s", tz="UTC"), low)
    form = kernel.I32 if low in _I32 and low + field.high - field.low in _I32 else kernel.I64
    return Column(field, form, _INTEGERS[form], low)


def field_table(some: tuple[Column, ...]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """The tables of fields of the decoder; the places of columns are filled in later."""
    table = np.zeros((len(some), 14), np.int64)
    reals = np.zeros((len(some), 4), np.float64)
    for number, column in enumerate(some):
        field = column.field
        behind = 1 << field.bits if field.absent_code is None else field.absent_code
        span = 0 if field.low_bits else behind - field.max_code - 1
        table[number, : kernel.VALUES] = (
            field.offset, field.bits, field.max_code + 1, span, behind % 2**32, column.low,
            field.step, column.low + field.high - field.low, column.form, field.absent_code is not None,
        )  # fmt: skip
        table[number, kernel.MAX_CODE :] = field.max_code, min(field.max_code * field.step, field.high - field.low)
        reals[number] = field.low, field.step, field.high, field.scale
    return table, reals


def classes(plans: Mapping[int, Plan], plan: Plan, layout: LayoutPlan) -> NDArray[np.uint8]:
    """Header to the fault that it is for one layout; 0 for its own."""
    ids = 1 << plan.layout_bits
    found = np.full((1 << plan.version_bits, ids), kernel.NO_VERSION, np.uint8)
    for version, other in plans.items():
        found[version] = kernel.NO_LAYOUT
        found[version, [item.id for item in other.layouts]] = kernel.NO_ROW
    found[plan.version, layout.id] = 0
    return found.reshape(-1)


def low_tables(plan: Plan, layout: LayoutPlan) -> tuple[NDArray[np.int64], NDArray[np.uint32]]:
    """The fields sent by their low bits, and what each byte of a high part changes of a packet's first four bytes."""
    some = layout.low_fields
    table = np.zeros((len(some), 8), np.int64)
    parts = np.zeros((4 * len(some), 256), np.uint32)
    behind = -sum(low.high_bits for _, _, low in some) % 8 + sum(low.high_bits for _, _, low in some)
    whole = behind // 8
    for number, (place, field, low) in enumerate(some):
        table[number] = (
            place, low.modulus, field.max_code, -1 if low.absent is None else low.absent, field.absent_code or 0,
            field.modulus is not None, low.reach, low.two_ways,
        )  # fmt: skip
        behind -= low.high_bits
        for bit in range(low.high_bits):
            high = (1 << behind + bit).to_bytes(whole, "big")
            both = zip(plan.check(b"", high), plan.check(b"", bytes(whole)), strict=True)
            added = int.from_bytes(bytes(one ^ other for one, other in both).ljust(4, b"\0"), "big")
            row = parts[4 * number + bit // 8]
            row[1 << bit % 8 : 2 << bit % 8] = row[: 1 << bit % 8] ^ np.uint32(added)
    return table, parts


def head_of(plan: Plan, layout: LayoutPlan) -> NDArray[Any]:
    """The numbers of a layout; the places of columns are filled in later."""
    head = np.zeros(16, np.int64)
    head[kernel.SIZE], head[kernel.LONGEST] = layout.sizes()
    head[kernel.WORDS] = -(-layout.bits // 64) if layout.trail else -(-layout.size // 8)
    head[kernel.CHECK_BITS] = layout.check_bytes * 8
    head[kernel.HEADER_BITS], head[kernel.DATA_BITS] = plan.header_bits, layout.bits
    head[kernel.PAD_OFFSET], head[kernel.PAD_BITS] = layout.bits, layout.padding
    head[kernel.CHECK_BYTES] = layout.check_bytes
    head[kernel.NORTH], head[kernel.EAST], head[kernel.HEIGHT] = (-1 if x is None else x for x in layout.anchor_places)
    return head


def trail_numbers(layout: LayoutPlan) -> NDArray[np.int64]:
    """The numbers of a trail, as `packetcodec.arrays.kernels.trail` names them."""
    trail = layout.trail
    found = np.zeros(13, np.int64)
    if trail is not None:
        high = trail.altitude
        climb = (high.step, high.initial_scale, high.scale_rate) if high else (0, 1, 1)
        names = [field.name for field in layout.fields]
        spacing = -1 if trail.spacing_field is None else names.index(trail.spacing_field)
        found[:] = (
            trail.points, trail.initial_scale, trail.scale_rate, trail.coarsenings, trail.count_bits, *climb,
            trail.interval_seed or 0, trail.spacing_seconds or 0, spacing, layout.fields[spacing].scale,
            -1 if trail.wandering else 1,
        )  # fmt: skip
    return found


def trail_cells(layout: LayoutPlan) -> NDArray[np.int64]:
    """The cells of a trail: a row for each whole degree of its anchor, and as many again for each time it is coarsened."""
    trail = layout.trail
    steps = [trail.step << times for times in range(trail.coarsenings + 1)] if trail else []
    wides = [(step, east_step(step, degree * 10**7)) for step in steps for degree in range(90)]
    return np.array([(step, wide, reach(step), reach(wide)) for step, wide in wides], np.int64).reshape(-1, 4)


def point_type(units: Units) -> pa.StructType:
    """A point of a trail."""
    number = pa.float64() if units == "physical" else pa.int32()
    return pa.struct({"latitude": number, "longitude": number, "altitude": number, "age": pa.int32()})
