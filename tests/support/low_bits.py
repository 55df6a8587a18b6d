"""A schema whose position and counter are sent by their low bits, values of it, and a schema with a seam."""

from packetcodec import Codec, Schema

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
