"""A schema whose position and counter are sent by their low bits, values of it, and a schema with a seam."""

from packetcodec import Codec, PacketFault, Schema
from packetcodec.fuzz.protocol import decode_answer, decode_question, encode_question, references_of
from packetcodec.vectors.references import borders, usual
from packetcodec.wire import from_raw, pack, unpack
from packetcodec.wire.low_bits import known
from tests.support.js_material import raw_codes

FAR = 2**31 - 1

TEXT = """
name = "pasture"
version = 1
check = { crc = "CRC-16/M17", bind_schema = true }

[[layouts]]
name = "position"
id = 1
fields = [
  { kind = "identifier", name = "collar", bits = 8 },
  { kind = "counter", bits = 31, low_bits = 8 },
  { kind = "latitude", resolution_m = 2.5, optional = true, within_m = 20000 },
  { kind = "longitude", resolution_m = 2.5, optional = true, within_m = 20000, max_latitude = 70 },
  { kind = "altitude", bits = 12, optional = true, within = 500 },
  { kind = "battery", minimum = 2.5, maximum = 4.5, resolution = 0.02 },
]

[[layouts]]
name = "track"
id = 2
fields = [
  { kind = "identifier", name = "collar", bits = 8 },
  { kind = "time", epoch = 2026-01-01T00:00:00Z, within = 3600 },
  { kind = "latitude", bits = 24, low_bits = 12 },
  { kind = "longitude", bits = 24, low_bits = 13, optional = true },
  { kind = "number", name = "depth", unit = "m", minimum = -400, maximum = 20, resolution = 0.1, within = 5 },
]
trail = { points = 5, resolution_m = 2.5, spacing = 30, speed = 0.5 }
"""
SCHEMA = Schema.parse(TEXT)
CODEC = Codec(SCHEMA)
VALUES = {
    "position": {
        "collar": 7,
        "counter": 70_042,
        "latitude": 46.51234,
        "longitude": 9.87654,
        "altitude": 2104.0,
        "battery": 3.71,
    },
    "track": {"collar": 7, "time": 1_800_000_000, "latitude": 46.51234, "longitude": 9.87654, "depth": -12.3},
}
#: The number of codes of its longitude is no multiple of the modulus.
SEAM = Schema.parse("""
name = "seam"
version = 1
check = { crc = "CRC-32/ISO-HDLC" }
[[layouts]]
name = "ship"
id = 0
fields = [
  { kind = "longitude", bits = 20, low_bits = 9, optional = true },
  { kind = "number", name = "depth", minimum = -9, maximum = 1000, resolution = 0.5, low_bits = 3 },
  { kind = "counter", bits = 31, low_bits = 30 },
  { kind = "latitude", bits = 32, low_bits = 5 },
]
""")


def asked(plan, rng, count):
    """Questions to encode and to decode, with their answers."""
    questions, answers = [], []

    def decode(data, bases):
        questions.append(decode_question(data, references_of(plan, bases)))
        try:
            _, layout, codes, points = unpack({plan.version: plan}, data, known(bases))
            answers.append(decode_answer("base", layout, codes, points))
        except PacketFault as fault:
            answers.append(fault.status)

    for layout in plan.layouts:
        everyday = [raw_codes(rng, layout) for _ in range(count)]
        last = {field.name: field.max_input for _, field, _ in layout.low_fields}
        cases = [(codes, bases) for codes in everyday for bases in (usual(layout, codes), last)]
        for codes in everyday[:3]:
            cases += [(codes, bases) for _, codes, bases in borders(layout, codes)]
            cases += [
                (codes, {}),
                (codes, dict.fromkeys(plan.references, FAR)),
                (codes, dict.fromkeys(plan.references, -FAR)),
            ]
        for codes, bases in cases:
            data = pack(plan, layout, codes, ())
            decode(data, bases)
            if rng.random() < 0.2:
                decode(bytes([*data[:-1], data[-1] ^ 1]), bases)
            raws = zip(layout.fields, codes, strict=True)
            values = [None if code == field.absent_code else from_raw(field, code) for field, code in raws]
            questions.append(encode_question("encode_base", layout, values))
            answers.append(data.hex())
    return questions, answers
