"""The strategies reach the borders, spoil packets in every way, and shrink well."""

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, find, settings

from packetcodec import Codec, Schema
from packetcodec.errors import FAULTS
from packetcodec.fuzz import any_packets, good_packets, good_values, points, schemas, spoiled_packets
from packetcodec.fuzz.spoil import WAYS
from tests.support.effort import few
from tests.support.proving_ground import GROUND

SCHEMA = Schema.parse(GROUND)
CODEC = Codec(SCHEMA)
BEACON, TRACK, _ = SCHEMA.layouts
GATE = Schema.load(Path(__file__).parent / "examples" / "gate.toml")
GATE_CODEC = Codec(GATE)
#: Reach something, without making it small.
thoroughly = settings(
    max_examples=3000, deadline=None, database=None, derandomize=True, phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)  # fmt: skip


@pytest.mark.parametrize("status", ["ok", *FAULTS])
def test_every_status_is_reached(status):
    both = "other version or layout"
    ways = {"too_short": "cut off", "too_long": "extended", "unknown_version": both, "unknown_layout": both}
    ways |= {"bad_check": "more wrong bits", "bad_trail": "broken trails"}
    codec, schema = (CODEC, SCHEMA) if status == "bad_trail" else (GATE_CODEC, GATE)
    packets = spoiled_packets(codec, schema, ways=[ways.get(status, "repaired check over broken content")])
    assert find(packets, lambda data: codec.try_decode(data)[0] == status, settings=thoroughly) is not None


def test_any_packets_are_good_and_bad_ones():
    for status in ("ok", "bad_check"):
        packets = any_packets(GATE_CODEC, GATE)
        assert find(packets, lambda data, status=status: GATE_CODEC.try_decode(data)[0] == status, settings=thoroughly)


@pytest.mark.slow
@pytest.mark.parametrize("way", WAYS)
def test_each_way_to_spoil_a_packet_spoils_some(way):
    find(spoiled_packets(CODEC, SCHEMA, ways=[way]), lambda data: CODEC.try_decode(data)[0] != "ok", settings=thoroughly)


@pytest.mark.parametrize(
    "case",
    few([
        ("north pole", lambda values: values["latitude"] == 90),
        ("south pole", lambda values: values["latitude"] == -90),
        ("antimeridian", lambda values: values["longitude"] in {-180, 180}),
        ("absent", lambda values: values["altitude"] is None),
        ("first code", lambda values: values["battery"] == 2.5),
        ("last code", lambda values: values["battery"] == 4.5),
    ], 3),
)  # fmt: skip
def test_borders_of_values_are_reached(case):
    what, reached = case
    assert reached(find(good_values(BEACON), reached, settings=thoroughly)), what


@pytest.mark.parametrize("count", few([10, 1, 0], 3))
def test_trails_of_every_length_are_reached(count):
    packets = good_packets(CODEC, SCHEMA)

    def has(data):
        packet = CODEC.decode(data)
        return packet.layout == "track" and len(packet.trail) == count

    assert len(CODEC.decode(find(packets, has, settings=thoroughly)).trail) == count


def test_a_trail_that_crosses_the_antimeridian_is_reached():
    values = {"latitude": 46.5, "longitude": 179.9999, "altitude": None}
    trail = find(
        points(CODEC, TRACK, values),
        lambda rows: any(isinstance(row, tuple) and row[1] < 0 for row in rows),
        settings=thoroughly,
    )
    assert trail


def test_values_shrink_to_simple_ones():
    values = find(good_values(GATE.layouts[0]), lambda values: values["collar"] >= 100, settings=settings(database=None))
    assert (values["temperature"], values["activity"], values["open"]) == (None, "resting", False)


@pytest.mark.slow
def test_schemas_have_trails_and_every_check():
    assert find(schemas(), lambda schema: any(layout.trail for layout in schema.layouts), settings=thoroughly)
    assert find(schemas(), lambda schema: schema.check.bits == 24, settings=thoroughly)


def test_without_hypothesis_strategies_name_the_extra_and_the_rest_works():
    code = (
        "import sys; sys.modules['hypothesis'] = None\n"
        "import packetcodec.fuzz as fuzz\n"
        "assert fuzz.run\n"
        "try: fuzz.schemas\n"
        "except ImportError as fault: print(fault)\n"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert "pip install 'packetcodec[fuzz]'" in said


def test_a_name_that_there_is_not_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no_such_strategy"):
        __import__("packetcodec.fuzz").fuzz.no_such_strategy  # noqa: B018
