r"""Whole archives at once: columns of packets to columns of values (extra `arrays`: numba, pyarrow).

Columns are those of Apache Arrow, which pyarrow, Polars, pandas, DuckDB and Dask share. The answers are those of `Codec`.

>>> import pyarrow as pa
>>> from packetcodec import Codec, Schema
>>> from packetcodec.arrays import ColumnDecoder
>>> from packetcodec.starter import schema_text
>>> decoder = ColumnDecoder(Codec(Schema.parse(schema_text())))
>>> packets = pa.array([bytes.fromhex("11072abad13d02afae8bcf480f2c"), b"\x12", b"\x51"])
>>> found = decoder.decode_layouts(packets)
>>> isinstance(found, Layouts), found.tables[1, "position"]["latitude"].to_pylist(), found.unknown.to_pylist()
(True, [46.512349], [{'row': 2, 'status': 'unknown_version'}])
"""

from __future__ import annotations

try:
    from packetcodec.arrays.decoder import ColumnDecoder, Layouts
    from packetcodec.arrays.encoder import ColumnEncoder
except ImportError as missing:
    if missing.name not in {"llvmlite", "numba", "pyarrow"}:
        raise
    raise ImportError("packetcodec.arrays needs numba and pyarrow: pip install 'packetcodec[arrays]'") from None

__all__ = ["ColumnDecoder", "ColumnEncoder", "Layouts"]
