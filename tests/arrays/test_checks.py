"""What parts of packets add to a check: each CRC of the public catalogue, many lengths, each way of multiplying."""

import importlib

import numpy as np
import pytest

from packetcodec.arrays.checks import byte_tables, check_factors
from packetcodec.crc import ENTRIES
from packetcodec.schema import Schema
from packetcodec.wire import compile_plan

SCHEMA = """
name = "pasture"
version = 1
check = {{ crc = "{crc}" }}
[[layouts]]
name = "position"
id = 1
fields = [{{ kind = "identifier", name = "collar", bits = 8 }}]
"""
COUNT, LENGTHS = 301, (1, 3, 4, 5, 7, 8, 9, 12, 14, 16, 17, 23, 40)


@pytest.fixture(params=[0, 2, 4])
def add_words(request, monkeypatch):
    """What adds words to registers where a processor multiplies so many numbers at a time."""
    numba = pytest.importorskip("numba")
    machine = importlib.import_module("packetcodec.arrays.kernels.machine")
    if request.param > machine.LANES:
        pytest.skip(f"this processor multiplies {machine.LANES} numbers at a time")
    checks = importlib.import_module("packetcodec.arrays.kernels.checks")
    with monkeypatch.context() as patched:
        patched.setattr(machine, "LANES", request.param)
        checked = importlib.reload(checks).add_words

    @numba.njit
    def added(words, tables, factors, size, registers):
        checked(words, tables, factors, size, registers.size, registers)

    yield added
    importlib.reload(checks)


def test_registers_are_those_of_the_crc(add_words):
    random = np.random.default_rng(19)
    for entry in ENTRIES:
        plan = compile_plan(Schema.parse(SCHEMA.format(crc=entry.crc.name)))
        words = random.integers(0, 1 << 64, (9, COUNT), dtype=np.uint64)
        words = np.concatenate([np.pad(words, ((0, 0), (0, 512 - COUNT))), np.zeros((4, 512), np.uint64)])
        data = np.ascontiguousarray(words[:5, 0]).astype(">u8").tobytes()
        for length in LENGTHS:
            tables = np.concatenate([byte_tables(plan, length), np.zeros((8, 256), np.uint32)])
            registers = np.zeros(COUNT, np.uint32)
            add_words(words, tables, check_factors(plan, length), length, registers)
            zeros = int.from_bytes(plan.check(bytes(length)), "big")
            assert registers[0] ^ zeros == int.from_bytes(plan.check(data[:length]), "big"), (entry.crc.name, length)
            by_byte = np.zeros(COUNT, np.uint32)
            for place in range(length):
                byte = words[place >> 3, :COUNT] >> np.uint64(56 - 8 * (place & 7)) & np.uint64(255)
                by_byte ^= tables[place][byte.astype(np.int64)]
            assert (registers == by_byte).all(), (entry.crc.name, length)
