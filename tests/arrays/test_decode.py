"""Columns of packets say what the codec says of each packet, faults included."""

import pickle
import threading

import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packetcodec import Codec, PacketcodecError, Schema
from packetcodec.arrays import ColumnDecoder
from packetcodec.errors import FAULTS
from packetcodec.schema import Form
from packetcodec.starter import schema_text
from tests.support.columns import in_base_units, wanted_column
from tests.support.conformance import TWO_TRAILS, packets
from tests.support.random_schemas import schemas, versions

STARTER = Schema.parse(schema_text())
GOOD = bytes.fromhex("11072abad13d02afae8bcf480f2c")


def same(schema, data, kind=None):
    """Compare all layouts; the statuses seen."""
    codec = Codec(schema)
    decoder = ColumnDecoder(codec)
    column, seen = pa.array(data, kind or pa.binary()), set()
    for layout in codec.plan.layouts:
        found = decoder.decode_array(column, layout.name)
        found.validate(full=True)
        wanted = wanted_column(codec, data, layout.name, found.type)
        for name, one, other in zip(found.type.names, found.flatten(), wanted.flatten(), strict=True):
            assert one.to_pylist() == other.to_pylist() if not one.equals(other) else True, f"{layout.name}: {name}"
        assert found.is_null().equals(wanted.is_null())
        seen |= set(found.field(0).drop_null().to_pylist())
    return seen


@pytest.mark.slow
@pytest.mark.parametrize("schema", [STARTER, TWO_TRAILS], ids=["starter", "two trails"])
def test_every_fault_and_value_is_that_of_the_codec(schema):
    assert same(schema, packets(schema, seed=1, count=60)) == {"ok", *FAULTS}


@pytest.mark.parametrize("every", [3, 40])
def test_a_good_packet_among_many_bad_ones_is_found(every):
    headers = [0x11 if number % 3 else number % 256 for number in range(2500)]
    noise = [bytes([header, *(number * place % 256 for place in range(7, 20))]) for number, header in enumerate(headers)]
    data = [GOOD if number % every == 1 else packet for number, packet in enumerate(noise)]
    assert same(STARTER, data) > {"ok", "bad_check", "unknown_version"}


@given(schemas(), st.integers(0, 99))
@settings(max_examples=10)
def test_random_schemas_read_the_same(schema, seed):
    same(schema, packets(schema, seed=seed, count=20, whole=False))


@given(versions(), st.integers(0, 99))
@settings(max_examples=5)
def test_a_mixed_recording_is_taken_apart(several, seed):
    codec = Codec(several)
    data = [item for schema in several for item in packets(schema, seed=seed, count=10, whole=False)]
    found = ColumnDecoder(codec).decode_layouts(pa.chunked_array([data[:5], data[5:]], pa.binary()), first_row=3)
    rows = {}
    for table in (*found.tables.values(), found.unknown):
        status = table.column(1).to_pylist()
        rows |= dict(zip(table.column(0).to_pylist(), status, strict=True))
    assert [rows[number] for number in sorted(rows)] == [codec.try_decode(item)[0] for item in data]
    assert sorted(rows) == list(range(3, 3 + len(data)))
    for (version, name), table in found.tables.items():
        fields = [field for field in codec.plans[version].layout(name).fields if field.kind.form is not Form.TIME]
        values = table.select([field.name for field in fields]).to_pylist()
        for row, packet in zip(table.column(0).to_pylist(), values, strict=True):
            answer = codec.try_decode(data[row - 3])[1]
            if answer is not None:
                assert (answer.version, answer.layout) == (version, name)
                assert packet == {field.name: answer.values[field.name] for field in fields}


@pytest.mark.parametrize(
    "kind", [pa.binary(), pa.large_binary(), pa.binary_view(), pa.dictionary(pa.int32(), pa.binary())], ids=str
)
def test_every_type_of_binary_is_a_column_of_packets(kind):
    data = [GOOD, None, b"", GOOD[:-1], b"\x13" * 40, GOOD]
    column = pa.array(data, pa.binary()).cast(kind)
    decoder = ColumnDecoder(Codec(STARTER))
    wanted = decoder.decode_array(pa.array(data, pa.binary()), "position")
    assert decoder.decode_array(column, "position").equals(wanted)
    assert decoder.decode_array(column.slice(2, 3), "position").equals(wanted.slice(2, 3))


def test_packets_of_one_size_may_stand_without_offsets():
    column = pa.array([GOOD, None, GOOD], pa.binary(14))
    statuses = ColumnDecoder(Codec(STARTER)).decode_array(column, "position").field("status")
    assert statuses.to_pylist() == ["ok", None, "ok"]


def test_base_units_are_those_of_the_wire():
    codec = Codec(STARTER)
    data = [item for item in packets(STARTER, seed=3, count=40, whole=False) if codec.try_decode(item)[0] == "ok"]
    for layout in codec.plan.layouts:
        mine = [item for item in data if codec.decode(item).layout == layout.name]
        found = ColumnDecoder(codec, units="base").decode_array(pa.array(mine), layout.name).to_pylist()
        for row, item in zip(found, mine, strict=True):
            for name, base in in_base_units(codec, item, layout.name).items():
                field = next(field for field in layout.fields if field.name == name)
                shown = field.choices[base] if field.choices and base is not None else base
                assert row[name] == shown


def test_nothing_plausible_stands_under_a_null():
    damaged = [bytes([*GOOD[:-1], GOOD[-1] ^ 1])] * 9
    found = ColumnDecoder(Codec(STARTER)).decode_array(pa.array(damaged), "position")
    for column in found.flatten()[1:]:
        assert column.null_count == 9
        assert not any(memoryview(column.buffers()[1])[: 9 * column.type.bit_width // 8])


def test_a_stream_keeps_other_columns_and_the_order_of_rows():
    table = pa.table({"heard": range(200_000), "packet": [GOOD, GOOD[:-1]] * 100_000})
    reader = ColumnDecoder(Codec(STARTER)).decode_batches(table, "packet", "position")
    assert reader.schema.names[:3] == ["heard", "status", "collar"]
    found = reader.read_all()
    assert found["heard"].to_pylist() == list(range(200_000))
    assert found["status"].to_pylist() == ["ok", "too_short"] * 100_000
    assert found["latitude"].null_count == 100_000


def test_what_is_no_column_of_packets_is_said():
    decoder = ColumnDecoder(Codec(STARTER))
    with pytest.raises(PacketcodecError, match="'beacon' is not a layout of version 1: one of position, track, status"):
        decoder.decode_array(pa.array([b""]), "beacon")
    with pytest.raises(PacketcodecError, match="version 7 is none of 1"):
        decoder.schema("position", version=7)
    with pytest.raises(PacketcodecError, match="type string holds none"):
        decoder.decode_array(pa.array(["11"]), "position")
    with pytest.raises(PacketcodecError, match="a column of Arrow is needed, not list"):
        decoder.decode_array([b""], "position")
    with pytest.raises(PacketcodecError, match="column 'data': the input has packet"):
        decoder.decode_batches(pa.table({"packet": [b""]}), "data", "position")
    with pytest.raises(PacketcodecError, match="column 'latitude': stands in the input and in the packets"):
        decoder.decode_batches(pa.table({"packet": [b""], "latitude": [1]}), "packet", "position")
    with pytest.raises(PacketcodecError, match="units: 'feet'"):
        ColumnDecoder(Codec(STARTER), units="feet")


def test_it_travels_to_workers_and_between_threads():
    decoder = pickle.loads(pickle.dumps(ColumnDecoder(Codec(STARTER), units="base")))
    column, found = pa.array([GOOD] * 5000), []
    threads = [threading.Thread(target=lambda: found.append(decoder.decode_array(column, "position"))) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [item.equals(found[0]) for item in found] == [True] * 4
    assert found[0].field("latitude")[0].as_py() == 465_123_490


@pytest.mark.parametrize(
    "column", [pa.array([], pa.binary()), pa.nulls(3), pa.nulls(3, pa.binary(14)), pa.array([b""])], ids=range(4)
)
@pytest.mark.parametrize("layout", ["position", "track", "status"])
def test_empty_columns_are_columns_too(column, layout):
    found = ColumnDecoder(Codec(STARTER)).decode_array(column, layout)
    found.validate(full=True)
    assert len(found) == len(column)
    assert found.null_count == column.null_count
