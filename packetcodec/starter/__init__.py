"""What ships with the package: the starter schema, and an invented log to replay.

>>> schema_text().splitlines()[0]
'# A packet schema: what your tracker sends, how finely, and in which order.'
>>> [layout.name for layout in example_plan().layouts]
['position', 'track', 'status']
"""

from __future__ import annotations

from importlib.resources import files

from packetcodec.schema import Schema
from packetcodec.wire import Plan, compile_plan

SCHEMA_FILE = "pasture.toml"
SAMPLE_FILE = "sample.nmea"


def schema_text() -> str:
    """The starter schema: commented TOML, meant to be edited."""
    return files(__package__).joinpath(SCHEMA_FILE).read_text(encoding="utf-8")


def example_plan() -> Plan:
    """The plan of the starter schema, for examples."""
    return compile_plan(Schema.parse(schema_text()))


def sample_log() -> bytes:
    """The sample log: NMEA 0183 sentences of an invented collar, with a cold start, a loss of fix and some noise."""
    return files(__package__).joinpath(SAMPLE_FILE).read_bytes()
