"""An atheris target for the Python decoder: what is always true of any bytes, guided by the lines they reach.

Started with a schema file, a directory of packets, and libFuzzer's options. Half of its inputs get a good check.
"""

import sys

import atheris

with atheris.instrument_imports(include=["packetcodec.wire", "packetcodec.codec"]):
    from packetcodec.codec import Codec
    from packetcodec.fuzz.codec_target import reference_values
    from packetcodec.fuzz.corpus import read_packet
    from packetcodec.fuzz.invariants import broken_by
    from packetcodec.schema import Schema

CODEC = Codec(Schema.load(sys.argv[1]))
CHECK = CODEC.plan.crc.size if CODEC.plan.crc else 0


def test_one_input(data: bytes) -> None:
    data, known = read_packet(CODEC.plan, data)
    reference = reference_values(CODEC.plan, known) if any(base is not None for base in known) else None
    sealed = CODEC.plan.seal(data[: len(data) - CHECK])
    if broken := broken_by(CODEC, data, reference) or broken_by(CODEC, sealed, reference):
        raise AssertionError(broken)


atheris.Setup([sys.argv[0], *sys.argv[2:]], test_one_input)
atheris.Fuzz()
