"""Columns of values become the packets that the codec makes of each row."""

import pickle
from contextlib import suppress

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packetcodec import Codec, PacketcodecError, Schema, ValueFault
from packetcodec.arrays import ColumnDecoder, ColumnEncoder
from packetcodec.schema import Form
from packetcodec.starter import schema_text
from tests.support.columns import LOW_BITS
from tests.support.conformance import packets
from tests.support.js_material import seeded, values_of
from tests.support.random_schemas import schemas

STARTER = Schema.parse(schema_text())
ROW = {
    "collar": 7, "counter": 42, "latitude": 46.51234, "longitude": 9.87654, "altitude": 2104.0, "battery": 3.71,
    "fix_quality": 1,
}  # fmt: skip
PACKET = "11072abad13d02afae8bcf480f2c"
FAR = (0.0, -0.0, 1e9, -1e9, 2.0**63, -(2.0**63), 1e300, -1e300, 0.5, 1.5, 2.5, float("nan"), float("inf"), -float("inf"))


def one_by_one(codec, layout, rows):
    """The packet of each row, None where the codec refuses it."""
    found = []
    for row in rows:
        found.append(None)
        with suppress(ValueFault):
            found[-1] = codec.encode(layout, row)
    return found


def column(field, values):
    """A column of values of a field; whole numbers and floats in one column are floats."""
    if field.kind.form is Form.CHOICE:
        return pa.array(values, pa.string())
    if field.kind.form is Form.FLAG:
        return pa.array([None if value is None else bool(value) for value in values], pa.bool_())
    return pa.array([None if value is None else float(value) for value in values], pa.float64())


def same(codec, rows, layout):
    table = pa.table({field.name: column(field, [row[field.name] for row in rows]) for field in layout.fields})
    found = ColumnEncoder(codec).encode_array(table, layout.name, faults="null")
    found.validate(full=True)
    assert found.to_pylist() == one_by_one(codec, layout.name, table.to_pylist())


@pytest.mark.slow
@given(schemas(), st.integers(0, 99))
@settings(max_examples=20)
def test_packets_are_those_of_the_codec(schema, seed):
    codec, rng = Codec(schema), seeded(seed)
    for layout in codec.plan.layouts:
        if layout.trail is None:
            rows = [values_of(rng, layout) for _ in range(40)]
            for row in rows[:20]:  # one value far off, or none at all
                field = rng.choice(layout.fields)
                if field.kind.form not in {Form.CHOICE, Form.FLAG}:
                    row[field.name] = rng.choice([*FAR, None])
            same(codec, rows, layout)


@pytest.mark.slow
@pytest.mark.parametrize("schema", [STARTER, LOW_BITS], ids=["starter", "low bits"])
def test_what_is_decoded_is_encoded_again(schema):
    codec = Codec(schema)
    for layout in codec.plan.layouts:
        if layout.trail is None:
            rng = seeded(4)
            rows = [values_of(rng, layout) for _ in range(9000)]
            same(codec, rows, layout)


@pytest.mark.parametrize("units", ["physical", "base"])
def test_the_columns_of_a_decoder_are_taken_as_they_are(units):
    codec = Codec(STARTER)
    data = [item for item in packets(STARTER, seed=3, count=60, whole=False) if codec.try_decode(item)[0] == "ok"]
    for name in ("position", "status"):
        mine = pa.array([item for item in data if codec.decode(item).layout == name])
        values = ColumnDecoder(codec, units).decode_array(mine, name)
        assert ColumnEncoder(codec, units).encode_array(values, name).cast(pa.binary()).equals(mine)


@pytest.mark.parametrize("kind", "int8 uint8 int32 int64 uint64 float32 float64".split())
@pytest.mark.parametrize("number", [0, 7, 100, 127])
def test_a_number_may_have_any_type(kind, number):
    table = pa.table(
        {name: pa.array([number], getattr(pa, kind)()) if name == "counter" else [value] for name, value in ROW.items()}
    )
    codec = Codec(STARTER)
    assert ColumnEncoder(codec).encode_array(table, "position")[0].as_py() == codec.encode(
        "position", ROW | {"counter": number}
    )


@pytest.mark.parametrize("number", [2**63, 2**64 - 1, 2**40 + 3, -(2**63), -5, 2**62 + 77])
@pytest.mark.parametrize("name", ["counter", "altitude", "latitude", "collar"])
def test_huge_whole_numbers_are_exact(name, number):
    kind = pa.uint64() if number >= 2**63 else pa.int64()
    table = pa.table({key: pa.array([number], kind) if key == name else [value] for key, value in ROW.items()})
    codec = Codec(STARTER)
    found = ColumnEncoder(codec).encode_array(table, "position", faults="null").to_pylist()
    assert found == one_by_one(codec, "position", [ROW | {name: number}])


def test_an_optional_field_may_be_left_out_and_nan_is_no_number_there():
    codec = Codec(STARTER)
    encoder = pickle.loads(pickle.dumps(ColumnEncoder(codec)))
    table = pa.table({name: [value] for name, value in ROW.items()})
    assert encoder.encode_array(table, "position")[0].as_py().hex() == PACKET
    assert encoder.encode_array(table.drop_columns("altitude"), "position")[0].as_py() == codec.encode(
        "position", ROW | {"altitude": None}
    )
    bad = pa.table({name: [value, np.nan if name == "altitude" else value] for name, value in ROW.items()})
    with pytest.raises(ValueFault, match="row 1: altitude: nan is not a finite number") as fault:
        encoder.encode_array(bad, "position")
    assert fault.value.field == "altitude"
    assert encoder.encode_array(bad, "position", faults="null").to_pylist() == [bytes.fromhex(PACKET), None]


def test_a_null_row_has_no_packet():
    rows = pa.array([ROW, None, ROW])
    found = ColumnEncoder(Codec(STARTER)).encode_array(rows, "position").to_pylist()
    assert [item and item.hex() for item in found] == [PACKET, None, PACKET]


def test_what_cannot_be_encoded_is_said():
    encoder = ColumnEncoder(Codec(STARTER))
    table = pa.table({name: [value] for name, value in ROW.items()})
    for *arguments, words in (
        (table, "track", "carries a trail"),
        (table, "beacon", "'beacon' is not a layout of version 1"),
        (table.drop_columns("collar"), "position", "column 'collar' is missing"),
        (table.set_column(0, "collar", pa.array(["7"])), "position", "column 'collar': type string holds no values"),
        (pa.array([1]), "position", "an array of structs is needed"),
    ):
        with pytest.raises(PacketcodecError, match=words):
            encoder.encode_array(*arguments)
