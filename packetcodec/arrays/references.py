"""What a receiver knows of fields that are sent by their low bits, for columns: one value, or one for each row.

Owns one rule: how a column of references becomes codes. Numbers become base units as values to be encoded do; then they are
cut to the field's range, or wrapped on a circle, whatever its policy. A null is not known.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from packetcodec.arrays import native
from packetcodec.arrays.kernels import numbers as kernel
from packetcodec.arrays.values import column_of, field_numbers
from packetcodec.codec.codec import demand_fields
from packetcodec.errors import PacketcodecError, ValueFault
from packetcodec.wire import OutOfRangeFault, to_base
from packetcodec.wire.low_bits import reference_code
from packetcodec.wire.quantize import to_number

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from packetcodec.wire import FieldPlan, LayoutPlan, Plan

    #: Field name to a value in the unit of the columns, or to an array of one for each row.
    Reference = Mapping[str, Any]
    #: Of a stream: values, names of its columns, or what gives the values of each row of a batch.
    Known = Reference | Callable[[pa.RecordBatch], Reference] | None


def checked(plans: Mapping[int, Plan], given: Reference | None, count: int) -> dict[str, Any]:
    """References of `count` rows: what is no single value becomes an array of Arrow.

    Raises:
        ValueFault: a name of no field.
        PacketcodecError: an array of another length.
    """
    demand_fields(plans.values(), given or ())
    found = {}
    for name, value in (given or {}).items():
        one = value.as_py() if isinstance(value, pa.Scalar) else value
        if hasattr(one, "__len__") and not isinstance(one, str):
            one = one.combine_chunks() if isinstance(one, pa.ChunkedArray) else pa.array(one)
            if len(one) != count:
                raise PacketcodecError(f"reference: {name}: {len(one)} values for {count} packets")
        found[name] = one
    return found


def of_columns(plans: Mapping[int, Plan], given: Known, schema: pa.Schema) -> Known:
    """References of a stream: values, names of its columns, or a function.

    Raises:
        ValueFault: a name of no field.
        PacketcodecError: a name of no column, or an array, which a stream has no rows for.
    """
    if callable(given):
        return given
    demand_fields(plans.values(), given or ())
    for name, value in (given or {}).items():
        if isinstance(value, str):
            if value not in schema.names:
                raise PacketcodecError(f"reference: column {value!r}: the input has {', '.join(schema.names)}")
        elif hasattr(value, "__len__"):
            raise PacketcodecError(f"reference: {name}: a value or the name of a column is needed")
    return given


def of_batch(given: Known, batch: pa.RecordBatch) -> Reference:
    """The references of a batch of a stream."""
    if callable(given):
        return {name: pa.array(values) for name, values in given(batch).items()}
    return {name: batch.column(value) if isinstance(value, str) else value for name, value in (given or {}).items()}


def piece(given: Reference, at: int, count: int) -> dict[str, Any]:
    """The references of some of the rows."""
    return {name: value.slice(at, count) if isinstance(value, pa.Array) else value for name, value in given.items()}


def codes_known(layout: LayoutPlan, given: Reference, *, physical: bool) -> NDArray[np.int64]:
    """The codes of the references of a layout's fields that are sent by their low bits: a row each, for one packet or all.

    Raises:
        ValueFault: no finite number, no whole one where the kind wants one.
        PacketcodecError: a column of another type.
    """
    rows = [_codes(field, given.get(field.name), physical=physical) for _, field, _ in layout.low_fields]
    width = max(map(len, rows), default=1)
    return np.array([np.broadcast_to(row, width) for row in rows], np.int64).reshape(len(rows), width)


def _codes(field: FieldPlan, value: Any, *, physical: bool) -> NDArray[np.int64]:
    if isinstance(value, datetime):
        value = pa.array([value], pa.timestamp("us", tz="UTC"))
    if isinstance(value, pa.Array):
        return _column_codes(field, value, physical=physical)
    if value is None:
        return np.array([kernel.UNKNOWN], np.int64)
    try:
        base = to_base(field, value) if physical else to_number(value)
    except OutOfRangeFault as fault:
        raise ValueFault(f"reference: {field.name}: {fault}", layout="", field=field.name) from None
    if base != int(base):
        raise ValueFault(f"reference: {field.name}: {base} is not a whole number", layout="", field=field.name)
    return np.array([reference_code(field, int(base))], np.int64)


def _column_codes(field: FieldPlan, array: pa.Array, *, physical: bool) -> NDArray[np.int64]:
    values, valid, _ = column_of(array, field, physical=physical, around=field.modulus is not None).rows(0, len(array))
    row = field_numbers(field, physical=physical)
    row[kernel.POLICY], row[kernel.IN_ABSENT] = kernel.WRAP if field.modulus else kernel.CLIP, 0
    base, codes, bad = np.empty(kernel.CODE_BLOCK), np.empty(len(array), np.uint32), np.empty(len(array), np.uint8)
    run = native.CODE_REALS if values.dtype == np.float64 else native.CODE_INTEGERS
    run(values, valid, row, base, codes, bad)
    if bad.any():
        words = f"row {bad.argmax()}: {'not a whole' if field.kind.counting or not physical else 'no finite'} number"
        raise ValueFault(f"reference: {field.name}: {words}", layout="", field=field.name)
    found = codes.astype(np.int64)
    if valid.size:
        found[valid == 0] = kernel.UNKNOWN
    return found
