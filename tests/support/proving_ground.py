"""A schema with three layouts in which most mistakes of a port can be made: a reflected check, trails of both spacings.

>>> [layout.name for layout in ground().layouts]
['beacon', 'track', 'climb']
"""

from __future__ import annotations

from packetcodec.schema import Schema
from packetcodec.wire import Plan, compile_plan

#: Every kind of field and of trail that a mistake can be made in.
GROUND = """
name = "proving_ground"
version = 5
check = { crc = "CRC-16/X-25", bind_schema = true }
header = { version_bits = 5, layout_bits = 3 }

[[layouts]]
name = "beacon"
id = 1
fields = [
  { kind = "identifier", bits = 16 },
  { kind = "counter", bits = 4 },
  { kind = "latitude", resolution_m = 2.5, optional = true },
  { kind = "longitude", bits = 24, optional = true },
  { kind = "altitude", bits = 12, optional = true },
  { kind = "battery", minimum = 2.5, maximum = 4.5, resolution = 0.02 },
  { kind = "satellites", bits = 5, optional = true },
  { kind = "course", bits = 9, policy = "wrap" },
  { kind = "flag", name = "gate_open" },
]

[[layouts]]
name = "track"
id = 2
fields = [
  { kind = "latitude", resolution_m = 2.5, optional = true },
  { kind = "longitude", resolution_m = 2.5, optional = true },
  { kind = "altitude", bits = 16, optional = true },
]
trail = { points = 10, resolution_m = 2.5, spacing = 30, speed = 0.5, packet_bytes = 40 }

[[layouts]]
name = "climb"
id = 4
fields = [
  { kind = "latitude", resolution_m = 2.5 },
  { kind = "longitude", resolution_m = 2.5 },
  { kind = "altitude", bits = 13, optional = true },
]

[layouts.trail]
points = 12
resolution_m = 5
spacing = "coded"
usual_spacing = 60
altitude_resolution = 5
packet_bytes = 32
too_long = "coarsen"
"""


def ground() -> Plan:
    """The plan of the proving ground."""
    return compile_plan(Schema.parse(GROUND))


#: Every kind of field, a reflected check, and a trail with coded intervals, altitude and a grid that is made coarser.
EVERY_KIND = """
name = "every_kind"
version = 3
check = { crc = "CRC-16/KERMIT", bind_schema = true }
header = { version_bits = 3, layout_bits = 3 }

[[layouts]]
name = "all"
id = 1
fields = [
  { kind = "identifier", bits = 16 },
  { kind = "counter", bits = 6 },
  { kind = "latitude", bits = 24, optional = true },
  { kind = "longitude", bits = 25, optional = true },
  { kind = "altitude", bits = 13, optional = true },
  { kind = "speed", optional = true },
  { kind = "course", policy = "wrap" },
  { kind = "hdop" },
  { kind = "satellites", bits = 5, optional = true },
  { kind = "fix_quality" },
  { kind = "battery", optional = true },
  { kind = "number", name = "temperature", minimum = -40, maximum = 60, resolution = 0.5, optional = true },
  { kind = "time", epoch = 2026-01-01T00:00:00Z, resolution = 60, bits = 20 },
  { kind = "time", name = "of_day", period = 86400, resolution = 20 },
  { kind = "choice", name = "activity", choices = ["resting", "grazing", "walking"], optional = true },
  { kind = "flag", name = "gate_open" },
]

[[layouts]]
name = "climb"
id = 6
fields = [
  { kind = "latitude", resolution_m = 2.5, optional = true },
  { kind = "longitude", resolution_m = 2.5 },
  { kind = "altitude", bits = 13, optional = true },
]

[layouts.trail]
points = 12
resolution_m = 5
spacing = "coded"
usual_spacing = 60
altitude_resolution = 5
packet_bytes = 32
too_long = "coarsen"
"""
