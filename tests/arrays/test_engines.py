"""What README says of Polars, pandas and DuckDB, run with them."""

import pyarrow as pa
import pytest

from packetcodec import Codec, Schema
from packetcodec.arrays import ColumnDecoder
from packetcodec.starter import schema_text
from tests.support.needs import library

pytestmark = pytest.mark.slow
CODEC = Codec(Schema.parse(schema_text()))
DECODER = ColumnDecoder(CODEC)
GOOD = bytes.fromhex("11072abad13d02afae8bcf480f2c")
PACKETS = [GOOD, None, GOOD[:-1], GOOD]
STATUSES = ["ok", None, "too_short", "ok"]


def test_a_series_of_polars_is_a_column_of_packets_and_takes_values_back():
    pl = library("polars")
    values = DECODER.decode_array(pl.Series("packet", PACKETS, dtype=pl.Binary), "position")
    frame = pl.DataFrame({"values": pl.from_arrow(values)}).unnest("values")
    assert frame["status"].to_list() == STATUSES
    assert frame["latitude"].to_list() == [46.512349, None, None, 46.512349]


def test_a_series_of_pandas_with_an_arrow_type_is_a_column_of_packets():
    pd = library("pandas")
    series = pd.Series(pd.array(PACKETS, dtype=pd.ArrowDtype(pa.binary())))
    values = DECODER.decode_array(series.array, "position")
    assert values.combine_chunks().field("status").to_pylist() == STATUSES
    assert DECODER.decode_array(series, "position").equals(values)


def test_duckdb_reads_the_stream_by_name():
    duckdb = library("duckdb")
    reader = DECODER.decode_batches(pa.table({"packet": pa.array(PACKETS)}), "packet", "position")
    query = "select collar, max(altitude), count(*) from reader where status = 'ok' group by collar"
    assert duckdb.sql(query).fetchall() == [(7, CODEC.decode(GOOD).values["altitude"], 2)]
    assert reader.read_all().num_rows == 0
