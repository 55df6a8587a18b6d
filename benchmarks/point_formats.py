"""Ten earlier positions in general formats, each as short as the format lets a careful user write them.

Owns one rule: what each format carries. Text and JSON hold degrees with five decimals (1.1 m), as people print them. The
binary ones hold what a trail holds: whole cells of the same grid, each point as its difference from the one before it,
north and east in turn. Compression is raw deflate and brotli at their best, without a container.
"""

from __future__ import annotations

import json
import struct
import zlib
from typing import TYPE_CHECKING, Any

import brotli
import cbor2
import msgpack
from google.protobuf import descriptor_pb2, descriptor_pool, message_factory

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    Degrees = Sequence[tuple[float, float]]


def _text(points: Degrees) -> bytes:
    return ";".join(f"{latitude:.5f},{longitude:.5f}" for latitude, longitude in points).encode()


def _json(points: Degrees) -> bytes:
    rounded = [[round(latitude, 5), round(longitude, 5)] for latitude, longitude in points]
    return json.dumps(rounded, separators=(",", ":")).encode()


def _fixed(moves: Sequence[int]) -> bytes:
    return struct.pack(f">{len(moves)}h", *moves)


def _message() -> Any:
    """A protobuf message of one packed field of zigzag numbers."""
    file = descriptor_pb2.FileDescriptorProto(name="trail.proto", syntax="proto3")
    field = file.message_type.add(name="Trail").field.add(name="moves", number=1)
    field.type, field.label = field.TYPE_SINT32, field.LABEL_REPEATED
    pool = descriptor_pool.DescriptorPool()
    pool.Add(file)
    return message_factory.GetMessageClass(pool.FindMessageTypeByName("Trail"))


_Trail = _message()


def _protobuf(moves: Sequence[int]) -> bytes:
    data: bytes = _Trail(moves=moves).SerializeToString()
    return data


def _deflate(data: bytes) -> bytes:
    squeezed = zlib.compressobj(9, wbits=-15)
    return squeezed.compress(data) + squeezed.flush()


def _brotli(data: bytes) -> bytes:
    best: bytes = brotli.compress(data, quality=11, lgwin=10)
    return best


#: Name to a function of the points in degrees (newest first) and the moves in cells, north and east in turn.
FORMATS: dict[str, Callable[[Degrees, Sequence[int]], bytes]] = {
    "fixed 16-bit differences": lambda _, moves: _fixed(moves),
    "protobuf, packed zigzag": lambda _, moves: _protobuf(moves),
    "msgpack of differences": lambda _, moves: bytes(msgpack.packb(list(moves))),
    "CBOR of differences": lambda _, moves: bytes(cbor2.dumps(list(moves))),
    "zlib on fixed differences": lambda _, moves: _deflate(_fixed(moves)),
    "brotli on fixed differences": lambda _, moves: _brotli(_fixed(moves)),
    "decimal text": lambda points, _: _text(points),
    "zlib on text": lambda points, _: _deflate(_text(points)),
    "brotli on text": lambda points, _: _brotli(_text(points)),
    "JSON": lambda points, _: _json(points),
    "zlib on JSON": lambda points, _: _deflate(_json(points)),
    "brotli on JSON": lambda points, _: _brotli(_json(points)),
}
