"""What to try: everyday values, valid and malformed packets, trails; and the test vectors made of them."""

from __future__ import annotations

from packetcodec.vectors.writer import write_vectors

__all__ = ["write_vectors"]
