"""How fast are columns? Archives of packets side by side with emitted C, numpy, Python and a copy of memory, in one run.

    python benchmarks/arrays.py [--quick] [--growth] [--json]

CPU time of one thread. The rows take turns; each round gives one ratio to ours, and the median of the rounds is printed,
so a busy machine slows all of them alike. The copy moves as many bytes as ours reads and writes.
"""

from __future__ import annotations

import argparse
import ctypes
import json
import os
import platform
import subprocess
import sys
import tempfile
import threading
import time
from functools import partial
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

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


def share_of_pipeline(count: int, folder: Path) -> float:
    """The part of the CPU time of Parquet to Parquet that decoding takes."""
    packets = ENCODER.encode_array(positions(count), "position").cast(pa.binary())
    pq.write_table(pa.table({"packet": packets}), folder / "in.parquet")
    before, decoding = time.process_time(), 0.0
    file = pq.ParquetFile(folder / "in.parquet")
    with pq.ParquetWriter(folder / "out.parquet", DECODER.schema("position")) as writer:
        for batch in file.iter_batches(1 << 16):
            start = time.process_time()
            values = DECODER.decode_array(batch.column("packet"), "position")
            columns = [values.field(number) for number in range(values.type.num_fields)]
            decoded = pa.record_batch(columns, schema=DECODER.schema("position"))
            decoding += time.process_time() - start
            writer.write_batch(decoded)
    return decoding / (time.process_time() - before)


def two_threads(count: int) -> tuple[float, float]:
    """CPU time of two threads that do half each, by that of one that does all: of decoding, and of a copy as large."""
    packets = ENCODER.encode_array(positions(count), "position").cast(pa.binary())
    halves = [packets.slice(0, count // 2), packets.slice(count // 2)]
    moved = (packets.nbytes + output_bytes(packets, "position")) // 2
    pairs = [(np.ones(moved, np.uint8), np.ones(moved, np.uint8)) for _ in halves]

    def decode(part: int) -> None:
        DECODER.decode_array(halves[part], "position")

    def copy(part: int) -> None:
        np.copyto(*pairs[part])

    def both(work: Callable[[int], None]) -> None:
        threads = [threading.Thread(target=work, args=(part,)) for part in range(2)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

    def one(work: Callable[[int], None]) -> None:
        for part in range(2):
            work(part)

    rows: dict[str, tuple[Callable[[], object], int]] = {
        f"{way.__name__} {work.__name__}": (partial(way, work), count) for way in (one, both) for work in (decode, copy)
    }
    took = turns(9, rows)
    return ratio(took, "both decode", "one decode"), ratio(took, "both copy", "one copy")


FIRST = """
import pyarrow as pa
from packetcodec import Codec, Schema
from packetcodec.arrays import ColumnDecoder
from packetcodec.starter import schema_text
packet = bytes.fromhex("11072abad13d02afae8bcf480f2c")
decoder = ColumnDecoder(Codec(Schema.parse(schema_text())))
# As a file of Parquet gives it: pa.array of a list imports pandas where it is installed.
decoder.decode_array(pa.Array.from_buffers(pa.binary(14), 1, [None, pa.py_buffer(packet)]), "position")
"""
STREAMED = (
    FIRST
    + """
import resource, sys
def batches():
    for _ in range(int(sys.argv[1]) // 50_000):
        yield pa.record_batch([pa.array([packet]) .take(pa.array([0] * 50_000))], names=["packet"])
source = pa.RecordBatchReader.from_batches(pa.schema({"packet": pa.binary()}), batches())
for batch in decoder.decode_batches(source, "packet", "position"):
    pass
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""
)


def child(code: str, *arguments: str) -> tuple[float, str]:
    """CPU seconds of a new Python that runs some code, and what it prints."""
    before = os.times()
    done = subprocess.run([sys.executable, "-c", code, *arguments], check=True, capture_output=True, text=True)  # noqa: S603
    after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system, done.stdout


def reaches(took: dict[str, list[float]], count: int) -> list[tuple[str, float, float, bool]]:
    """What is meant to be reached: in words, as measured, the bound, and whether the figure must not be below it."""
    pure = [a + b for a, b in zip(took["position, pure"], took["track, pure"], strict=True)]
    mixed = median(2 * a / b for a, b in zip(took["mixed"], pure, strict=True))
    with tempfile.TemporaryDirectory() as folder:
        share = share_of_pipeline(count, Path(folder))
    threads, copies = two_threads(count)
    memory = [float(child(STREAMED, str(rows))[1]) for rows in (50_000, 2_000_000)]
    return [
        (
            "decode position, streamed: times as fast as emitted C -O3",
            ratio(took, "C, position", "decode position"),
            10,
            True,
        ),
        (
            "decode position, streamed: times as fast as try_decode",
            ratio(took, "Python, position", "decode position"),
            100,
            True,
        ),
        ("decode position, streamed: times the copy", ratio(took, "decode position", "copy"), 5, False),
        ("decode track: times as fast as emitted C -O3", ratio(took, "C, track", "decode track"), 2.5, True),
        ("decode track: times as fast as try_decode", ratio(took, "Python, track", "decode track"), 100, True),
        ("encode position: times as fast as emitted C -O3", ratio(took, "C, encode", "encode position"), 8, True),
        ("mixed layouts: times the pure case", mixed, 2, False),
        ("all noise: times the pure case", ratio(took, "noise", "position, pure"), 1, False),
        ("share of a Parquet-to-Parquet pipeline, percent", 100 * share, 25, False),
        ("memory of forty times the packets, streamed: MiB more", memory[1] - memory[0], 32, False),
        (f"two threads: percent more CPU time (a copy: {100 * (copies - 1):.0f})", 100 * (threads - 1), 15, False),
        ("warm first call, imports included: seconds of CPU", min(child(FIRST)[0] for _ in range(3)), 0.6, False),
    ]


def consume_table(table: pa.Table) -> int:
    """Decode the positions of a table; the rows."""
    return consume(DECODER.decode_batches(table, "packet", "position"))


def growth() -> list[str]:
    """Nanoseconds a packet from ten thousand to ten million packets."""
    packets = ENCODER.encode_array(positions(10_000), "position").cast(pa.binary())
    rows = []
    for times in (1, 10, 100, 1000):
        table = pa.table({"packet": pa.chunked_array([packets] * times)})
        took = turns(3, {"": (partial(consume_table, table), table.num_rows)})
        rows.append(f"{table.num_rows:>12,} packets: {min(took['']):6.1f} ns each")
    return rows


def main() -> int:
    """Print the comparison."""
    parser = argparse.ArgumentParser(description="Compares columns of packets with emitted C, numpy, Python and a copy.")
    parser.add_argument("--quick", action="store_true", help="fewer packets and rounds, for a first impression")
    parser.add_argument("--growth", action="store_true", help="up to ten million packets, and nothing else")
    parser.add_argument("--json", action="store_true", help="figures for programs")
    options = parser.parse_args()
    if options.growth:
        print("\n".join(growth()))
        return 0
    count, rounds = (1 << 17, 3) if options.quick else (1 << 19, 9)
    with tempfile.TemporaryDirectory() as folder:
        took = measure(count, rounds, Loops(Path(folder)))
    goals = reaches(took, count)
    if options.json:
        document = {"rows": {name: median(each) for name, each in took.items()}, "reaches": [goal[:3] for goal in goals]}
        print(json.dumps(document, indent=2))
        return 0
    print(f"{count:,} packets on Python {platform.python_version()}, {platform.machine()}: nanoseconds of CPU a packet\n")
    for name, each in took.items():
        print(f"{name:24}{median(each):12,.1f}")
    print()
    for text, figure, bound, least in goals:
        reached = figure >= bound if least else figure <= bound
        words = f"{'at least' if least else 'at most'} {bound:g} ({'reached' if reached else 'missed'})"
        print(f"reach: {text}: {figure:.2f}, {words}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
