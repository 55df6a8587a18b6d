"""The codec as a Python object: it pickles, is copied, is subclassed, serves threads and worker processes."""

import copy
import inspect
import multiprocessing
import pickle
from concurrent.futures import ThreadPoolExecutor

import pytest

from packetcodec import (
    Codec,
    LogFault,
    Packet,
    PacketcodecError,
    PacketFault,
    Problem,
    RadioFault,
    Schema,
    SchemaFault,
    ValueFault,
)  # fmt: skip
from packetcodec.reference import ReferenceCodec
from packetcodec.starter import schema_text

TEXT = schema_text()
SCHEMA = Schema.parse(TEXT)
CODEC = Codec([SCHEMA, Schema.parse(TEXT.replace("version = 1 ", "version = 2 ", 1))])
GOOD = {"collar": 7, "counter": 42, "latitude": 46.51234, "longitude": 9.87654, "battery": 3.71, "fix_quality": 1}
TRACK = CODEC.encode("track", GOOD, [(46.5124, 9.8764), (46.5125, 9.8763)])
PACKETS = [CODEC.encode("position", GOOD), TRACK]
BROKEN = PACKETS[0][:-1] + bytes([PACKETS[0][-1] ^ 1])


class Counting(Codec):
    """A subclass with a method and an attribute of its own."""

    heard = 0

    def decode(self, data):
        self.heard += 1
        return super().decode(data)


@pytest.mark.parametrize("again", [copy.copy, copy.deepcopy, lambda codec: pickle.loads(pickle.dumps(codec))])
@pytest.mark.parametrize("codec", [CODEC, Counting(SCHEMA)], ids=["codec", "subclass"])
def test_a_codec_pickles_and_copies(codec, again):
    twin = again(codec)
    assert type(twin) is type(codec)
    assert twin.plans == codec.plans
    assert twin.encode("position", GOOD) == PACKETS[0]
    assert [twin.decode(data) for data in PACKETS] == [CODEC.decode(data) for data in PACKETS]
    assert twin.try_decode(BROKEN) == ("bad_check", None)


def test_decode_is_a_method_with_a_signature_and_a_docstring():
    assert inspect.isfunction(Codec.decode)
    assert list(inspect.signature(CODEC.decode).parameters) == ["data", "reference"]
    assert "PacketFault" in Codec.decode.__doc__


def test_a_subclass_may_decode_in_its_own_way():
    codec = Counting(SCHEMA)
    codec.decode(PACKETS[0])
    assert codec.try_decode(BROKEN) == ("bad_check", None)
    assert codec.heard == 2
    assert pickle.loads(pickle.dumps(codec)).heard == 2


@pytest.mark.parametrize("data", PACKETS, ids=["plain", "trail"])
def test_a_packet_is_equal_whichever_implementation_made_it(data):
    packet, other = CODEC.decode(data), ReferenceCodec(SCHEMA).decode(data)
    assert packet == other == CODEC._decode_in_words(data)
    assert Packet._fields == ("layout", "version", "values", "codes", "trail")
    assert packet.codes == tuple(packet.raw.values()) == CODEC.quantize(packet.layout, GOOD)
    assert list(packet.raw) == list(packet.values)
    assert pickle.loads(pickle.dumps(packet)) == packet


FAULTS = [
    PacketcodecError("a codec needs at least one schema"),
    PacketFault("out_of_range", "battery: raw code 127", field="battery", offset=83),
    ValueFault("collar: 256 is outside 0..255", layout="position", field="collar"),
    SchemaFault((Problem("line 3", "version: 0 is outside 1..15"),)),
    LogFault("no positions"),
    RadioFault("spreading factor 13"),
]


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: type(fault).__name__)
@pytest.mark.parametrize("protocol", range(pickle.HIGHEST_PROTOCOL + 1))
def test_a_fault_pickles_and_copies_with_all_it_says(fault, protocol):
    for again in (pickle.loads(pickle.dumps(fault, protocol)), copy.copy(fault), copy.deepcopy(fault)):
        assert type(again) is type(fault)
        assert (str(again), again.args, vars(again)) == (str(fault), fault.args, vars(fault))


def test_a_bad_packet_comes_back_from_a_worker_process_as_its_fault():
    with multiprocessing.get_context("spawn").Pool(2) as pool:
        assert pool.map(CODEC.decode, PACKETS) == [CODEC.decode(data) for data in PACKETS]
        with pytest.raises(PacketFault) as caught:
            pool.map_async(CODEC.decode, [*PACKETS, BROKEN]).get(timeout=120)  # without an answer it would wait for ever
        assert (caught.value.status, caught.value.offset) == ("bad_check", 96)
        with pytest.raises(ValueFault, match="not a layout"):
            pool.apply_async(CODEC.encode, ("fence", GOOD)).get(timeout=120)
        assert pool.map(CODEC.try_decode, [BROKEN, b""]) == [("bad_check", None), ("too_short", None)]


def test_threads_may_share_a_codec():
    data = [CODEC.encode("position", {**GOOD, "counter": number % 256}) for number in range(2000)]
    with ThreadPoolExecutor(8) as threads:
        packets = list(threads.map(CODEC.decode, data))
    assert [packet.values["counter"] for packet in packets] == [number % 256 for number in range(2000)]
