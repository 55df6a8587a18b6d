"""Schemas whose specifications are tested: chosen ones, and a strategy for any others; and what is written of them."""

from __future__ import annotations

import functools
import json

from hypothesis import strategies as st

from packetcodec import Schema, compile_plan
from packetcodec.emit.spec import write_spec
from packetcodec.starter import schema_text
from packetcodec.vectors import write_vectors

ALL_KINDS = """
name = "herd"
version = 3
[header]
version_bits = 2
layout_bits = 0
[check]
width = 8
[[layouts]]
name = "all"
fields = [
  { kind = "time", period = 86400, resolution = 7 },
  { kind = "time", name = "since", epoch = 2024-02-29T12:00:00+02:00, bits = 30, optional = true },
  { kind = "choice", choices = ["up", "down"], optional = true },
  { kind = "choice", name = "wide", choices = ["a", "b", "c"], bits = 8 },
  { kind = "flag", optional = true },
  { kind = "number", name = "milk", unit = "l", minimum = -1.5, maximum = 40, bits = 9, policy = "refuse" },
  { kind = "number", name = "big", minimum = 0, maximum = 4294967295, resolution = 1 },
  { kind = "number", name = "low", minimum = -2147483648, maximum = 2147483647, resolution = 1 },
  { kind = "course", bits = 7, optional = true },
  { kind = "course", name = "drift", resolution = 7, policy = "refuse" },
  { kind = "counter", bits = 5, policy = "refuse" },
  { kind = "counter", name = "laps", bits = 31 },
  { kind = "battery", unit = "percent", resolution = 3 },
  { kind = "speed", unit = "knot" },
]
"""
LONGITUDES = """
name = "strip"
version = 0
check = { crc = "none" }
[header]
version_bits = 8
layout_bits = 5
[[layouts]]
name = "narrow"
id = 31
fields = [{ kind = "longitude", minimum = 5.5, maximum = 10.75, bits = 17 }, { kind = "latitude", bits = 20 }]
[[layouts]]
name = "wrapped"
id = 1
fields = [{ kind = "longitude", bits = 23, policy = "wrap", optional = true }]
"""
REMARKS = """
name = "remarks"
version = 1
doc = "| a | b |\\n## 5 Check\\n```\\n{{ plan }}"
[[layouts]]
name = "one"
id = 1
doc = "## 4 Layouts\\n\\n### 4.1 Layout two, id 2\\n"
fields = [{ kind = "number", minimum = 0, maximum = 9, bits = 3, unit = "|\\n| x |", doc = "\\n## 6\\n|x|y|\\n" }]
[[history]]
version = 1
note = "\\n## 7 Encoding"
"""

TRAILS = """
name = "trails"
version = 2
check = { crc = "CRC-16/DNP", bind_schema = true }
[[layouts]]
name = "climbing"
id = 1
fields = [
  { kind = "latitude", bits = 21, optional = true },
  { kind = "longitude", bits = 22, optional = true },
  { kind = "altitude", bits = 10, optional = true },
]
[layouts.trail]
points = 12
resolution_m = 5
spacing = "coded"
usual_spacing = 20
altitude_resolution = 4
altitude_initial_scale = 3
altitude_scale_rate = 2
wandering = true
packet_bytes = 30
too_long = "coarsen"
[[layouts]]
name = "paced"
id = 2
fields = [
  { kind = "number", name = "interval", unit = "s", minimum = 0, maximum = 620, resolution = 20, optional = true },
  { kind = "longitude", bits = 25 },
  { kind = "latitude", bits = 25 },
]
trail = { points = 7, resolution_m = 10, spacing = "interval", usual_spacing = 60, wandering = true }
[[layouts]]
name = "single"
id = 3
fields = [{ kind = "latitude", resolution_m = 1 }, { kind = "longitude", resolution_m = 1 }, { kind = "altitude" }]
trail = { points = 1, resolution_m = 1000, spacing = 3600, altitude_resolution = 0.01, doc = "the gate of the morning" }
[[layouts]]
name = "long"
id = 4
fields = [
  { kind = "latitude", resolution_m = 2, optional = true }, { kind = "longitude", resolution_m = 2 }, { kind = "flag" }
]
trail = { points = 63, resolution_m = 0.02, spacing = 1, packet_bytes = 200 }
[[layouts]]
name = "narrow"
id = 5
fields = [
  { kind = "latitude", minimum = 45, maximum = 48, resolution_m = 2 },
  { kind = "longitude", minimum = 5, maximum = 11, resolution_m = 2 },
]
trail = { points = 2, resolution_m = 100, spacing = 600, packet_bytes = 14, too_long = "coarsen" }
"""


def gate(check: str) -> str:
    return f"""
name = "gate"
version = 5
check = {{ {check} }}
[[layouts]]
name = "open"
id = 3
fields = [{{ kind = "identifier", bits = 11 }}, {{ kind = "battery", resolution = 0.05 }}]
"""


SCHEMAS = {
    "the starter schema": schema_text(),
    "all kinds, no layout id, a chosen CRC-8": ALL_KINDS,
    "a header of 13 bits, no check, a narrow longitude": LONGITUDES,
    "trails of every sort": TRAILS,
    "a reflected CRC, bound": gate('crc = "CRC-16/DNP", bind_schema = true'),
    "a reflected CRC of 32 bits": gate('crc = "CRC-32/ISO-HDLC", bind_schema = true'),
    "a CRC of 24 bits": gate('crc = "CRC-24/OPENPGP"'),
    "a reflected CRC-8": gate('crc = "CRC-8/MAXIM-DOW", bind_schema = true'),
    "parameters without a name": gate("width = 16, polynomial = 0x1021, initial = 7, reflected = true, xor_out = 0x0f0f"),
    "remarks that look like a specification": REMARKS,
    "the modem's own polynomial": gate('crc = "CRC-16/XMODEM"'),
}


@functools.cache
def written(text: str) -> tuple[str, dict]:
    plan = compile_plan(Schema.parse(text))
    stem = f"{plan.name}-v{plan.version}"
    return write_spec(plan)[f"{stem}.md"], json.loads(write_vectors(plan)[f"{stem}.vectors.json"])


FIELDS = (
    '{ kind = "latitude", resolution_m = 11, optional = true }',
    '{ kind = "latitude", minimum = -12.5, maximum = 71.3, bits = 15, policy = "clip" }',
    '{ kind = "longitude", bits = 19 }',
    '{ kind = "longitude", resolution = 0.0000001, policy = "wrap" }',
    '{ kind = "altitude", bits = 9, optional = true }',
    '{ kind = "altitude", minimum = -120, maximum = -3.3, resolution = 0.7, policy = "refuse" }',
    '{ kind = "battery", unit = "percent", bits = 4, optional = true }',
    '{ kind = "fix_quality" }',
    '{ kind = "satellites", bits = 2, policy = "refuse" }',
    '{ kind = "hdop", bits = 5, optional = true }',
    '{ kind = "speed", unit = "km/h", resolution = 0.31 }',
    '{ kind = "course", bits = 3 }',
    '{ kind = "time", epoch = 2020-01-01T00:00:00Z, optional = true }',
    '{ kind = "time", period = 604800, bits = 11, policy = "refuse" }',
    '{ kind = "identifier", bits = 32 }',
    '{ kind = "counter", bits = 1 }',
    '{ kind = "counter", maximum = 99, optional = true }',
    '{ kind = "flag" }',
    '{ kind = "choice", choices = ["sun", "rain", "snow"] }',
    '{ kind = "number", minimum = -1, maximum = 1, bits = 13, unit = "g", optional = true }',
    '{ kind = "number", minimum = 1000, maximum = 1006, resolution = 1.7 }',
)
CHECKS = (
    'crc = "none"',
    "width = 8",
    "width = 24",
    'crc = "CRC-16/MODBUS", bind_schema = true',
    'crc = "CRC-32/ISCSI"',
)


@st.composite
def schema_texts(draw: st.DrawFn) -> str:
    layout_bits = draw(st.integers(0, 8))
    ids = draw(st.lists(st.integers(0, 2**layout_bits - 1), min_size=1, max_size=3, unique=True))
    version_bits = draw(st.integers(1, 8))
    lines = ['name = "any"', f"version = {draw(st.integers(0, 2**version_bits - 1))}"]
    lines.append(f"header = {{ version_bits = {version_bits}, layout_bits = {layout_bits} }}")
    lines.append(f"check = {{ {draw(st.sampled_from(CHECKS))} }}")
    for ident in ids:
        fields = draw(st.lists(st.sampled_from(FIELDS), min_size=1, max_size=30))
        named = [field.replace("kind", f'name = "f{number}", kind', 1) for number, field in enumerate(fields)]
        lines += [
            "[[layouts]]",
            f'name = "l{ident}"',
            f"id = {ident}",
            "fields = [",
            *(f"  {field}," for field in named),
            "]",
        ]
    return "\n".join(lines)
