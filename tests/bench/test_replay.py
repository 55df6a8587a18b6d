"""Replay: real recordings through the starter schema, and what the report says of odd logs."""

import pytest

from packetcodec.bench import every, replay
from packetcodec.codec import Codec
from packetcodec.errors import PacketcodecError
from packetcodec.logs import Fix, read_log
from packetcodec.schema import Schema
from packetcodec.starter import sample_log, schema_text
from tests.support import recordings

CODEC = Codec(Schema.parse(schema_text()))


@pytest.mark.network
@pytest.mark.parametrize("source", [recordings.rides, recordings.hikes, recordings.soundings], ids=lambda it: it.__name__)
def test_no_position_of_a_real_track_arrives_further_off_than_promised(source):
    # Recorded outings and soundings, see tests/support/recordings.py for where they come from.
    packets = 0
    for name, fixes in source().items():
        outcome = replay(CODEC, "position", tuple(every(fixes, 30.0)))
        packets += outcome.packets
        assert not outcome.refused, name
        assert outcome.position is None or outcome.position.maximum <= outcome.bound, name
        for field in outcome.fields:
            assert field.max_error is None or field.bound is None or field.max_error <= field.bound, (name, field)
    assert packets > 500


@pytest.mark.slow
def test_the_promise_is_nearly_used_up_so_it_is_no_idle_one():
    outcome = replay(CODEC, "position", read_log([sample_log()]).fixes)
    assert 0.8 * outcome.bound < outcome.position.maximum <= outcome.bound


def test_a_position_that_is_missing_now_and_then_is_never_made_up():
    fixes = (Fix(0.0, 46.5, 9.9, 2000.0), Fix(1.0), Fix(2.0, 46.6, 9.9))
    outcome = replay(CODEC, "position", fixes)
    fields = {field.name: field for field in outcome.fields}
    assert (fields["latitude"].sent, fields["latitude"].absent) == (2, 1)
    assert (fields["altitude"].sent, fields["altitude"].absent) == (1, 2)
    assert outcome.with_position == 2
    assert fields["fix_quality"].source == "log"
    strict = Codec(Schema.parse(schema_text().replace("resolution_m = 2.5, optional = true", "resolution_m = 2.5")))
    outcome = replay(strict, "position", fixes)
    assert outcome.packets == 2
    assert [(item.count, item.reason) for item in outcome.refused] == [(1, "latitude cannot be sent")]


def test_columns_of_a_table_fill_fields_of_their_name_and_constants_what_is_left():
    fixes = (Fix(0.0, 46.5, 9.9, extra={"battery": 3.3}), Fix(1.0, 46.5, 9.9, extra={"battery": 9.9}))
    outcome = replay(CODEC, "position", fixes, constants={"collar": 12})
    fields = {field.name: field for field in outcome.fields}
    assert fields["battery"].source == "log"
    assert fields["battery"].clipped == 1
    assert fields["collar"].source == "constant 12"
    with pytest.raises(PacketcodecError, match="colar: not a field"):
        replay(CODEC, "position", fixes, constants={"colar": 12})


def test_speed_is_sent_in_the_unit_of_the_field():
    text = schema_text().replace('{ kind = "counter", bits = 8 }', '{ kind = "speed", unit = "knot", resolution = 0.1 }', 1)
    codec = Codec(Schema.parse(text))
    outcome = replay(codec, "position", (Fix(0.0, 46.5, 9.9, speed=10.0),))
    assert codec.decode(outcome.packet_example).values["speed"] == 19.4  # 10 m/s = 19.438 international knots
