r"""Packets as plain bytes, rows as plain values, in base units: columns without Arrow around them.

>>> from packetcodec.codec import Codec
>>> from packetcodec.schema import Schema
>>> from packetcodec.starter import schema_text
>>> rows = Rows(Codec(Schema.parse(schema_text())))
>>> found = rows.decode([bytes.fromhex("11072abad13d02afae8bcf480f2c"), b"\x12"], [{}, {}])
>>> found[0][1], found[0][2][:3], found[1]
('position', [7, 42, 465123490], ('too_short', '', [], []))
>>> rows.encode("position", [dict(zip(("collar", "counter", "battery", "fix_quality"), (7, 42, 9000, 9)))])
[None]
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pyarrow as pa

from packetcodec.arrays.decoder import ColumnDecoder
from packetcodec.arrays.encoder import ColumnEncoder

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from packetcodec.codec import Codec
    from packetcodec.wire import FieldPlan

    #: Status, layout, base units of its fields, points of its trail: latitude, longitude, altitude, age.
    Row = tuple[str, str, list[int | None], list[tuple[int | None, ...]]]


class Rows:
    """Decodes and encodes many packets at once, of one version."""

    def __init__(self, codec: Codec) -> None:
        self._codec = codec
        self._decoder, self._encoder = ColumnDecoder(codec, "base"), ColumnEncoder(codec, "base")

    def decode(self, data: Sequence[bytes], known: Sequence[Mapping[str, int]]) -> list[Row]:
        """What each packet says to a receiver that knows these fields, in base units."""
        found: dict[int, Row] = {}
        reference = {name: pa.array([row.get(name) for row in known], pa.int64()) for name in self._codec.plan.references}
        tables, unknown = self._decoder.decode_layouts(pa.array(data, pa.binary()), reference=reference)
        for row in unknown.to_pylist():
            found[row["row"]] = row["status"], "", [], []
        for (version, name), table in tables.items():
            layout = self._codec.plans[version].layout(name)
            for number, status, *values in zip(*(column.to_pylist() for column in table.columns), strict=True):
                if status != "ok":
                    found[number] = status, "", [], []
                    continue
                points = [tuple(point.values()) for point in values.pop()] if layout.trail else []
                bases = [_base(field, value) for field, value in zip(layout.fields, values, strict=True)]
                found[number] = status, name, bases, points
        return [found[number] for number in range(len(data))]

    def encode(self, layout: str, rows: Sequence[dict[str, int | None]]) -> list[bytes | None]:
        """The packet of each row of base units; None where there is none."""
        fields = self._codec.plan.layout(layout).fields
        columns = {field.name: pa.array([_name(field, row.get(field.name)) for row in rows]) for field in fields}
        found: list[bytes | None] = self._encoder.encode_array(pa.table(columns), layout, faults="null").to_pylist()
        return found


def _base(field: FieldPlan, value: Any) -> int | None:
    """A value of a column in base units."""
    return field.choices.index(value) if field.choices and value is not None else None if value is None else int(value)


def _name(field: FieldPlan, base: int | None) -> Any:
    """Base units as a column holds them."""
    if not field.choices or base is None:
        return base
    return field.choices[base] if 0 <= base < len(field.choices) else str(base)
