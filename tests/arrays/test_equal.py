"""Very many packets, with faults of every kind: columns equal what `try_decode` answers, on the starter and random schemas.

The environment variable EQUAL_PACKETS says how many; with `-s` the number of each status is printed.
"""

import os
from collections import Counter, defaultdict

import pyarrow as pa
import pytest
from hypothesis import Phase, given, seed, settings

from packetcodec import Codec, Schema
from packetcodec.arrays import ColumnDecoder
from packetcodec.errors import FAULTS
from packetcodec.starter import schema_text
from tests.support.conformance import packets
from tests.support.random_schemas import schemas

PACKETS = int(os.environ.get("EQUAL_PACKETS", "20000"))
SCHEMAS = 11


def drawn(count):
    """Random schemas, always the same."""
    found = []

    @seed(15)
    @settings(max_examples=count, phases=[Phase.generate], database=None, deadline=None)
    @given(schemas())
    def keep(schema):
        found.append(schema)

    keep()
    return found[:count]


def unlike(codec, data):
    """The statuses of packets, and the columns that say otherwise than the codec."""
    rows, statuses, wrong = defaultdict(list), {}, []
    answers = [codec.try_decode(item) for item in data]
    found = ColumnDecoder(codec).decode_layouts(pa.array(data, pa.binary()))
    for table in (*found.tables.values(), found.unknown):
        statuses |= dict(zip(table.column(0).to_pylist(), table.column(1).to_pylist(), strict=True))
    wrong += [(item, status) for number, (item, (status, _)) in enumerate(zip(data, answers, strict=True))
              if statuses.get(number) != status]  # fmt: skip
    for key, table in found.tables.items():
        rows = [answers[row][1] for row in table.column(0).to_pylist()]
        layout = codec.plans[key[0]].layout(key[1])
        wanted = [[None if row is None else row.values[field.name] for row in rows] for field in layout.fields]
        if layout.trail:
            wanted.append([None if row is None else [point._asdict() for point in row.trail] for row in rows])
        for values, name, column in zip(wanted, table.schema.names[2:], table.columns[2:], strict=True):
            kind = pa.string() if pa.types.is_dictionary(column.type) else column.type
            if not pa.chunked_array([pa.array(values, kind)], kind).equals(column.cast(kind)):
                wrong.append((key, name))
    return Counter(status for status, _ in answers), wrong


@pytest.mark.slow
def test_very_many_packets_are_read_as_by_the_codec():
    seen = Counter()
    for number, schema in enumerate([Schema.parse(schema_text()), *drawn(SCHEMAS - 1)]):
        codec, kept, turn = Codec(schema), [], 0
        while len(kept) < PACKETS // SCHEMAS + 1:
            kept += packets(schema, seed=100 * number + turn, count=2000, whole=turn == 0)
            turn += 1
        statuses, wrong = unlike(codec, kept[: PACKETS // SCHEMAS + 1])
        assert not wrong[:5], schema.name
        seen += statuses
    print(dict(seen))  # noqa: T201  # what the whole run is for
    assert set(seen) == {"ok", *FAULTS}
