"""What a field could give: every concession is checked by writing the schema that makes it."""

from __future__ import annotations

import pytest

from packetcodec.radio.concessions import bits_to_drop, cheapest, field_costs
from packetcodec.schema import Schema
from packetcodec.wire import compile_plan
from tests.support import low_bits

TEXT = """
name = "pasture"
version = 1
check = {{ crc = "CRC-8/AUTOSAR" }}
[[layouts]]
name = "beacon"
id = 1
fields = [{fields}]
"""


def layout(*fields: str):
    return compile_plan(Schema.parse(TEXT.format(fields=", ".join(fields)))).layouts[0]


def test_a_seventeenth_code_that_costs_a_bit_is_nearly_free_and_taken_first() -> None:
    found = layout('{ kind = "satellites", maximum = 16 }', '{ kind = "latitude", bits = 24 }')
    assert found.fields[0].bits == 5
    satellites = field_costs(found)[0]
    assert satellites.unused == 15
    assert (satellites.one_less.description, satellites.one_less.nearly_free) == ("satellites: 0..15 instead of 0..16", True)
    assert [item.name for item in cheapest(found, 1)] == ["satellites"]
    assert layout('{ kind = "satellites", maximum = 15 }').fields[0].bits == 4


def test_an_absent_code_that_costs_a_bit_is_told() -> None:
    found = layout('{ kind = "satellites", maximum = 15, optional = true }')
    assert field_costs(found)[0].one_less.description == "satellites: always known, never absent"
    assert layout('{ kind = "satellites", maximum = 15 }').fields[0].bits == found.fields[0].bits - 1


def test_a_finer_step_that_is_free_is_told_and_is_free() -> None:
    found = layout('{ kind = "battery", minimum = 2.5, maximum = 4.5, resolution = 0.02 }')
    assert field_costs(found)[0].finer == "step 0.016 V"
    assert (
        layout('{ kind = "battery", minimum = 2.5, maximum = 4.5, resolution = 0.016 }').fields[0].bits
        == found.fields[0].bits
    )


@pytest.mark.parametrize(
    ("field", "bits", "words"),
    [
        ("altitude", 12, "altitude: worst error 2.4 m instead of 1.2 m"),
        ("latitude", 24, "latitude: worst error 1.3 m instead of 0.61 m"),
    ],
)
def test_one_bit_less_is_what_the_schema_of_one_bit_less_promises(field: str, bits: int, words: str) -> None:
    found = layout(f'{{ kind = "{field}", bits = {bits} }}')
    item = field_costs(found)[0].one_less
    less = layout(f'{{ kind = "{field}", bits = {bits - 1} }}').fields[0]
    unit = less.unit.metres or 1
    promised = (less.step // 2 + 0.5) / less.scale * unit
    shown = float(item.description.split("error ")[1].split()[0])
    assert promised <= shown < promised * 1.1 + 0.1
    assert (item.bits, item.description) == (1, words)


def test_the_smallest_set_makes_the_packet_so_many_bytes_shorter() -> None:
    found = layout(
        '{ kind = "identifier" }', '{ kind = "latitude", bits = 24 }', '{ kind = "longitude", bits = 25 }',
        '{ kind = "altitude", bits = 12 }', '{ kind = "battery", bits = 7 }',
    )  # fmt: skip
    for drop in (1, 2):
        bits = bits_to_drop(found, drop)
        assert -(-(found.bits - bits) // 8) == found.data_bytes - drop
        assert -(-(found.bits - bits + 1) // 8) == found.data_bytes - drop + 1
        assert sum(item.bits for item in cheapest(found, bits)) == bits
    # Each measured field gives one bit before any gives two.
    assert [(item.name, item.bits) for item in cheapest(found, 4)] == [
        ("longitude", 1), ("latitude", 1), ("altitude", 1), ("battery", 1),
    ]  # fmt: skip


def test_fields_that_have_nothing_to_give_say_so() -> None:
    found = layout('{ kind = "flag", name = "open" }')
    assert field_costs(found)[0].one_less is None
    assert cheapest(found, 1) is None


def test_a_low_bit_less_asks_for_a_receiver_that_knows_more():
    position = low_bits.CODEC.plan.layout("position")
    costs = {cost.name: cost for cost in field_costs(position)}
    assert [cost.unused for cost in costs.values()] == [0, 0, 0, 0, 0, 27]
    words = costs["altitude"].one_less.description
    assert words == "altitude: for receivers that know it within 295.9 instead of 594.14 m"
    assert "within" in costs["counter"].one_less.description
