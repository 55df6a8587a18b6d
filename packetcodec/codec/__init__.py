"""Bytes to values and back: the compiled codec, and the packet it gives."""

from __future__ import annotations

from packetcodec.codec.codec import Codec
from packetcodec.codec.packet import Packet, TrailPoint

__all__ = ["Codec", "Packet", "TrailPoint"]
