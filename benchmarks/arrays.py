"""How fast are columns? Archives of packets side by side with emitted C, numpy, Python and a copy of memory, in one run.

    python benchmarks/arrays.py [--quick] [--growth] [--json]

CPU time of one thread. The rows take turns; each round gives one ratio to ours, and the median of the rounds is printed,
so a busy machine slows all of them alike. The copy moves as many bytes as ours reads and writes.
"""

from __future__ import annotations

import ctypes
import subprocess
import time
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from packetcodec import Codec, Schema, compile_plan
from packetcodec.arrays import ColumnDecoder, ColumnEncoder
from packetcodec.emit.c import write_c
from packetcodec.starter import schema_text

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

SCHEMA = Schema.parse(schema_text())
CODEC = Codec(SCHEMA)
DECODER, ENCODER = ColumnDecoder(CODEC), ColumnEncoder(CODEC)
HERE = Path(__file__).parent


def positions(count: int) -> pa.Table:
    """Values of collars that walk; one fix in twenty is missing."""
    random = np.random.default_rng(15)
    lost = random.random(count) < 0.05
    north, east = 46.5 + random.normal(0, 0.02, count), 9.87 + random.normal(0, 0.03, count)
    return pa.table({
        "collar": random.integers(0, 12, count),
        "counter": np.arange(count) % 256,
        "latitude": pa.array(north, mask=lost),
        "longitude": pa.array(east, mask=lost),
        "altitude": pa.array(2100 + random.normal(0, 80, count), mask=lost),
        "battery": 3.7 + random.normal(0, 0.1, count),
        "fix_quality": np.where(lost, 0, 1),
    })  # fmt: skip


def tracks(count: int) -> pa.Array:
    """Packets of a path that turns gently, ten points each; two thousand different ones."""
    random = np.random.default_rng(16)
    heading = np.cumsum(random.normal(0, 0.3, 2010))
    path = np.cumsum(np.stack([np.cos(heading), np.sin(heading)], axis=1) * 1.2e-4, axis=0) + np.array([46.5, 9.87])
    values = {"collar": 7, "counter": 42, "altitude": 2104.0, "battery": 3.7, "fix_quality": 1}
    packets = [
        CODEC.encode(
            "track", {**values, "latitude": path[at, 0], "longitude": path[at, 1]}, path[at - 10 : at][::-1].tolist()
        )
        for at in range(10, 2010)
    ]
    return pa.array(packets).take(np.arange(count) % len(packets))


def noise(count: int) -> pa.Array:
    """Bytes that no collar sent."""
    return pa.Array.from_buffers(pa.binary(14), count, [None, pa.py_buffer(np.random.default_rng(17).bytes(14 * count))])


def stream(packets: pa.Array) -> pa.RecordBatchReader:
    """A column as a stream of batches."""
    return pa.table({"packet": packets}).to_reader()


def consume(reader: Any) -> int:
    """Read a stream to its end; the rows."""
    rows = 0
    for batch in reader:
        rows += int(batch.num_rows)
    return rows


def output_bytes(packets: pa.Array, layout: str) -> int:
    """Bytes of the columns that come out."""
    first = next(iter(DECODER.decode_batches(stream(packets), "packet", layout)))
    return int(first.nbytes / first.num_rows * len(packets))


def numpy_decode(packets: NDArray[np.uint8], table: NDArray[np.uint16], seed: int) -> dict[str, NDArray[Any]]:
    """The position layout in plain numpy: one operation for all packets at a time."""
    register = np.full(len(packets), seed, np.uint16)
    for column in packets.T:
        register = (register << 8) ^ table[(register >> 8) ^ column]
    high = packets[:, :8].copy().view(">u8")[:, 0].astype(np.uint64)
    low = packets[:, 4:12].copy().view(">u8")[:, 0].astype(np.uint64)
    good = (register == 0) & (packets[:, 0] == 0x11) & (low & 7 == 0)
    found: dict[str, NDArray[Any]] = {"good": good}
    for field in CODEC.plan.layout("position").fields:
        behind = 64 - field.offset - field.bits
        source, shift = (high, behind) if behind >= 0 else (low, behind + 32)
        code = (source >> np.uint64(shift)) & np.uint64((1 << field.bits) - 1)
        value = np.minimum(field.low + code.astype(np.float64) * field.step, field.high) / field.scale
        found[field.name] = np.where(good & (code <= field.max_code), value, np.nan)
    return found


class Loops:
    """The emitted C with -O3, in a loop."""

    def __init__(self, folder: Path) -> None:
        for name, text in write_c(compile_plan(SCHEMA)).items():
            (folder / name).write_text(text, encoding="utf-8")
        command = ["gcc", "-O3", "-march=native", "-shared", "-fPIC", f"-I{folder}", str(HERE / "arrays.c")]
        subprocess.run([*command, str(folder / "pasture_packets.c"), "-o", str(folder / "loops.so")], check=True)  # noqa: S603
        self._code = ctypes.CDLL(str(folder / "loops.so"))
        self._out = ctypes.create_string_buffer(1 << 17)

    def decode(self, packets: pa.Array) -> int:
        """The number of good packets."""
        _, offsets, data = packets.buffers()
        where = ctypes.c_void_p(offsets.address + 4 * packets.offset)
        return int(self._code.decode_all(ctypes.c_void_p(data.address), where, ctypes.c_size_t(len(packets))))

    def encode(self, packets: pa.Array) -> int:
        """The number of packets encoded, of values that these packets say."""
        self._code.load(ctypes.c_void_p(packets.buffers()[2].address), ctypes.c_size_t(14))
        return int(self._code.encode_all(self._out, ctypes.c_size_t(len(packets))))


def turns(rounds: int, rows: dict[str, tuple[Callable[[], object], int]]) -> dict[str, list[float]]:
    """Nanoseconds of CPU a packet of each row in each round; a row is what it runs, and packets."""
    took: dict[str, list[float]] = {name: [] for name in rows}
    for run, _ in rows.values():
        run()
    for _ in range(rounds):
        for name, (run, count) in rows.items():
            before = time.process_time()
            run()
            took[name].append((time.process_time() - before) / count * 1e9)
    return took


def ratio(took: dict[str, list[float]], one: str, other: str) -> float:
    """How many times as long one row takes as another: the median of rounds."""
    return median(a / b for a, b in zip(took[one], took[other], strict=True))


def measure(count: int, rounds: int, loops: Loops) -> dict[str, list[float]]:
    """What each row took."""
    values = positions(count).combine_chunks()
    packets = ENCODER.encode_array(values, "position").cast(pa.binary())
    track, random, some = tracks(count), noise(count), packets.slice(0, 2000)
    mixed = pa.concat_arrays([packets, track]).take(np.random.default_rng(18).permutation(2 * count)[:count])
    fixed = np.frombuffer(packets.buffers()[2], np.uint8)[: 14 * count].reshape(-1, 14)
    crc = CODEC.plan.crc
    assert crc is not None  # noqa: S101  # the starter schema has one
    table = np.array([crc.register_after(bytes([byte])) ^ crc.register_after(b"\0") for byte in range(256)], np.uint16)
    moved = packets.nbytes + output_bytes(packets, "position")
    source, target = np.ones(moved, np.uint8), np.ones(moved, np.uint8)
    few = track.slice(0, 2000)
    return turns(rounds, {
        "decode position": (lambda: consume(DECODER.decode_batches(stream(packets), "packet", "position")), count),
        "copy": (lambda: np.copyto(target, source), count),
        "C, position": (lambda: loops.decode(packets), count),
        "numpy, position": (lambda: numpy_decode(fixed, table, CODEC.plan.seed), count),
        "Python, position": (lambda: [CODEC.try_decode(item) for item in some.to_pylist()], len(some)),
        "decode track": (lambda: consume(DECODER.decode_batches(stream(track), "packet", "track")), count),
        "C, track": (lambda: loops.decode(track), count),
        "Python, track": (lambda: [CODEC.try_decode(item) for item in few.to_pylist()], len(few)),
        "encode position": (lambda: ENCODER.encode_array(values, "position"), count),
        "C, encode": (lambda: loops.encode(packets), count),
        "track, pure": (lambda: DECODER.decode_array(track, "track"), count),
        "position, pure": (lambda: DECODER.decode_array(packets, "position"), count),
        "mixed": (lambda: DECODER.decode_layouts(mixed), count),
        "noise": (lambda: DECODER.decode_array(random, "position"), count),
    })  # fmt: skip
