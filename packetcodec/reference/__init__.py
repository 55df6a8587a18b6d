"""Said a second time: the one independent implementation of the wire, on construct, from the schema and not the plan."""

from __future__ import annotations

from packetcodec.reference.codec import ReferenceCodec

__all__ = [
    "ReferenceCodec",
]
