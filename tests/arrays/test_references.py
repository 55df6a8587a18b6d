"""Fields sent by their low bits: columns find them from one reference, or one for each row, as the codec does."""

import re

import numpy as np
import pyarrow as pa
import pytest

from packetcodec import Codec, PacketcodecError, ValueFault
from packetcodec.arrays import ColumnDecoder
from tests.support.js_material import seeded, values_of
from tests.support.low_bits import CODEC, SCHEMA, SEAM

DECODER = ColumnDecoder(CODEC)
POSITION = CODEC.encode("position", {"collar": 7, "counter": 42, "latitude": 46.5, "longitude": 9.8, "battery": 3.7})


def recorded(codec, layout, count):
    """Packets, and references near or far from what they say; one in six is not known."""
    rng, packets, known = seeded(8), [], []
    while len(packets) < count:
        values = values_of(rng, layout)
        try:
            packets.append(codec.encode(layout.name, values))
        except ValueFault:
            continue
        row = {}
        for _, field, low in layout.low_fields:
            value = values[field.name]
            value = field.low / field.scale if value is None else value
            off = rng.choice([0, 0.4, -0.4, 0.499, 3]) * low.modulus * field.step
            row[field.name] = rng.choice([None, *5 * [value + (off / field.scale if field.scale > 1 else round(off))]])
        known.append(row)
    return packets, known


@pytest.mark.slow
@pytest.mark.parametrize("form", ["arrow", "chunked", "numpy"])
@pytest.mark.parametrize("schema", [SCHEMA, SEAM], ids=["pasture", "seam"])
def test_each_row_may_have_a_reference_of_its_own(schema, form):
    codec = Codec(schema)
    for layout in codec.plan.layouts:
        packets, known = recorded(codec, layout, 200)
        columns = {name: [row[name] for row in known] for name in known[0]}
        if form == "numpy":
            columns = {name: np.ma.masked_invalid(np.array(some, float)) for name, some in columns.items()}
        elif form == "arrow":
            columns = {name: pa.array(some) for name, some in columns.items()}
        else:
            columns = {name: pa.chunked_array([some[:7], some[7:]]) for name, some in columns.items()}
        column = pa.chunked_array([packets[:50], packets[50:]])
        found = ColumnDecoder(codec).decode_array(column, layout.name, reference=columns).combine_chunks()
        wanted = [codec.try_decode(item, reference=row) for item, row in zip(packets, known, strict=True)]
        assert found.field(0).to_pylist() == [status for status, _ in wanted]
        assert {"ok", "bad_check"} == {status for status, _ in wanted}
        for place, field in enumerate(layout.fields, 1):
            if str(field.kind) != "time":
                values = [packet.values[field.name] if packet else None for _, packet in wanted]
                assert found.field(place).to_pylist() == values


def test_one_reference_is_for_all_rows_and_packets_without_one_are_not_verified():
    one = {"latitude": 46.45, "longitude": pa.scalar(9.7), "altitude": 1000.0, "counter": np.int64(3), "battery": None}
    found = DECODER.decode_array(pa.array([POSITION, None, POSITION]), "position", reference=one)
    assert found.field("status").to_pylist() == ["ok", None, "ok"]
    assert found.field("counter").to_pylist() == [42, None, 42]
    assert DECODER.decode_array(pa.array([POSITION]), "position").field("status").to_pylist() == ["bad_check"]
    base = {"latitude": 464_500_000, "longitude": 97_000_000, "altitude": 100_000, "counter": 3}
    layouts = ColumnDecoder(CODEC, "base").decode_layouts(pa.array([POSITION]), reference=base)
    assert layouts.tables[1, "position"]["status"].to_pylist() == ["ok"]


def test_a_stream_takes_references_from_its_columns():
    table = pa.table({"packet": [POSITION] * 3, "north": [46.45, None, 80.0], "east": [9.7, 9.7, 9.7]})
    given = {"latitude": "north", "longitude": "east", "altitude": 0, "counter": 0}
    found = DECODER.decode_batches(table, "packet", "position", reference=given).read_all()
    assert found["status"].to_pylist() == ["ok", "bad_check", "bad_check"]
    assert found.schema.names[:3] == ["north", "east", "status"]


@pytest.mark.parametrize(
    ("reference", "words"),
    [
        ({"latitud": 1}, "reference: 'latitud' is no field; did you mean latitude?"),
        ({"latitude": float("nan")}, "reference: latitude: nan is not a finite number"),
        ({"latitude": np.array([np.inf])}, "reference: latitude: row 0: no finite number"),
        ({"counter": 1.5}, "reference: counter: 1.5 is not a whole number"),
        ({"counter": np.array([1.5])}, "reference: counter: row 0: not a whole number"),
        ({"latitude": [1, 2]}, "reference: latitude: 2 values for 1 packets"),
        ({"latitude": pa.array(["46"])}, "column 'latitude': type string holds no values of a latitude field"),
    ],
)
def test_what_is_no_reference_is_said(reference, words):
    with pytest.raises(PacketcodecError, match=re.escape(words)):
        DECODER.decode_array(pa.array([POSITION]), "position", reference=reference)


def test_what_is_no_reference_of_a_stream_is_said():
    table = pa.table({"packet": [POSITION]})
    with pytest.raises(PacketcodecError, match="reference: column 'north': the input has packet"):
        DECODER.decode_batches(table, "packet", "position", reference={"latitude": "north"})
    with pytest.raises(PacketcodecError, match="latitude: a value or the name of a column is needed"):
        DECODER.decode_batches(table, "packet", "position", reference={"latitude": np.zeros(1)})
