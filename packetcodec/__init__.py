"""packetcodec: agree on a compact binary position packet.

>>> from packetcodec import Codec, Schema
>>> codec = Codec(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "latitude" }, { kind = "longitude" }]
... '''))
>>> codec.encode("beacon", {"latitude": 46.51234, "longitude": 9.87654}).hex()
'...'
"""

from __future__ import annotations

from packetcodec.codec import Codec, Packet, TrailPoint
from packetcodec.errors import (
    FAULTS,
    OK,
    STATUSES,
    LogFault,
    PacketcodecError,
    PacketFault,
    Problem,
    RadioFault,
    SchemaFault,
    ValueFault,
)
from packetcodec.schema import Schema
from packetcodec.wire import Plan, compile_plan

__version__ = "0.1.0"

__all__ = [
    "FAULTS",
    "OK",
    "STATUSES",
    "Codec",
    "LogFault",
    "Packet",
    "PacketFault",
    "PacketcodecError",
    "Plan",
    "Problem",
    "RadioFault",
    "Schema",
    "SchemaFault",
    "TrailPoint",
    "ValueFault",
    "compile_plan",
]
