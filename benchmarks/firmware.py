"""What does the emitted C take? Flash, RAM, stack and clock cycles on small processors, beside nanopb and code by hand.

    python benchmarks/firmware.py [--nanopb FOLDER] [--json]

The starter schema's layouts are built for an ATmega328P (AVR) and a Cortex-M0+ at -Os. Flash is that of a
linked program less the same program without the calls, so library routines count (division, copying). Static
RAM is what the linker says, the caller's record and buffer left out. Stack on AVR is measured in the simulator
(painted memory, worst of the records, below the caller, the timer interrupt that counts cycles included); on
Cortex-M0+ it is the deepest path of the compiler's call graph. Cycles are those of the simulated ATmega328P.

`by hand` is code that packs the position layout alone, with the same checks and the same bytes: the lower bound.
nanopb carries the same record in base units, by its smallest options. It has no check and no trail, and takes values as
they are; ours checks ranges, rounds to the steps and adds a CRC. Its generator comes from PyPI (`pip install
nanopb`, with Debian's protobuf-compiler), its C sources from Debian's source package, fetched once into .cache/
unless --nanopb names a folder of them.

Needs Debian's gcc-avr avr-libc simavr gcc-arm-none-eabi libnewlib-arm-none-eabi protobuf-compiler.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

sys.path.append(str(Path(__file__).parent.parent))  # for tests.support.recordings, where this runs as a script

from low_bits_schema import shortened

from packetcodec import Plan, Schema, compile_plan
from packetcodec.emit.back_end import with_layouts
from packetcodec.emit.c import write_c
from packetcodec.starter import schema_text
from tests.support.recordings import apt_source

HERE = Path(__file__).parent / "firmware"
CACHE = Path(__file__).parents[1] / ".cache" / "nanopb"
AVR, ARM = "ATmega328P", "Cortex-M0+"
COMMON = "-std=c99 -Os -ffunction-sections -fdata-sections -Wl,--gc-sections".split()
TARGETS = {
    AVR: ("avr-gcc", "avr-size", ["-mmcu=atmega328p"]),
    ARM: (
        "arm-none-eabi-gcc",
        "arm-none-eabi-size",
        "-mcpu=cortex-m0plus -mthumb --specs=nano.specs --specs=nosys.specs -nostartfiles -Wl,-emain".split(),
    ),
}
#: nanopb as small as its options make it: no error texts, buffers instead of streams, no 64-bit numbers.
NANOPB = ["-DNANOPB", "-DPB_NO_ERRMSG", "-DPB_BUFFER_ONLY", "-DPB_WITHOUT_64BIT"]
WAYS = {
    "encode": ["-DENCODE"],
    "decode": ["-DDECODE"],
    "both": ["-DENCODE", "-DDECODE"],
}


@dataclass(frozen=True)
class Taken:
    """What code takes of a processor, in bytes."""

    flash: int
    ram: int
    stack: int


@dataclass(frozen=True)
class Ran:
    """What the simulator measured, over all records: bytes, cycles and stack, least and most; a digest of each packet."""

    bytes: tuple[int, int]
    encode_cycles: tuple[int, int]
    encode_stack: int
    decode_cycles: tuple[int, int]
    decode_stack: int
    digests: tuple[int, ...]


class Bench:
    """A folder with emitted and generated code, and the measurements made in it."""

    def __init__(self, folder: Path, nanopb: Path) -> None:
        self.folder = folder
        self.nanopb = nanopb
        plan: Plan = compile_plan(Schema.parse(schema_text()))
        for layout in ("position", "track"):
            for way in WAYS:
                part = folder / f"{layout}-{way}"
                part.mkdir()
                for name, text in write_c(with_layouts(plan, [layout]), only=way.replace("both", "")).items():
                    (part / name).write_text(text, encoding="utf-8")
        low = with_layouts(compile_plan(Schema.parse(shortened(schema_text()))), ["position"])
        (folder / "low bits-encode").mkdir()
        for name, text in write_c(low, only="encode").items():
            (folder / "low bits-encode" / name).write_text(text, encoding="utf-8")
        self.by_hand = [f"-DSEED={plan.seed}U", f"-DPOLYNOMIAL={plan.crc.polynomial}U" if plan.crc else ""]
        for name in ("link.c", "cycles.c", "clock.h", "hand.c", "record.proto"):
            shutil.copy(HERE / name, folder / name)
        bin_folder = Path(sys.executable).parent
        path = f"{bin_folder}{os.pathsep}{os.environ['PATH']}"
        run(["nanopb_generator", "record.proto"], folder, {**os.environ, "PATH": path})

    def sources(self, layout: str, way: str) -> list[str]:
        """The sources of a program and its options."""
        if layout == "by hand":
            return ["hand.c", f"-Iposition-{way}", *self.by_hand, *WAYS[way]]
        if layout != "nanopb":
            track = ["-DTRACK"] if layout == "track" else []
            return [f"{layout}-{way}/pasture_packets.c", f"-I{layout}-{way}", *track, *WAYS[way]]
        parts = {"encode": ["pb_encode.c"], "decode": ["pb_decode.c"], "both": ["pb_encode.c", "pb_decode.c"]}[way]
        files = [str(self.nanopb / part) for part in (*parts, "pb_common.c")]
        return [*files, "record.pb.c", *NANOPB, f"-I{self.nanopb}", *WAYS[way]]

    def taken(self, target: str, layout: str, way: str) -> Taken:
        """Flash, RAM and stack of a layout one way."""
        compiler, size, flags = TARGETS[target]
        sources = self.sources(layout, way)
        without = [{"-DENCODE": "", "-DDECODE": "-DPACKET"}.get(item, item) for item in sources]
        without = [item for item in without if item]
        graph = ["-fcallgraph-info=su"] if target == ARM else []
        for old in self.folder.glob("*.ci"):
            old.unlink()
        sections = []
        for name, items, more in (("base", without, []), ("full", sources, graph)):
            run([compiler, *COMMON, *flags, *more, "link.c", *items, "-o", f"{name}.elf"], self.folder)
            told = run([size, f"{name}.elf"], self.folder).splitlines()[1].split()
            sections.append([int(number) for number in told[:3]])
        text, data, bss = (full - base for base, full in zip(*sections, strict=True))
        stack = deepest(self.folder) if target == ARM else 0
        return Taken(text + data, data + bss, stack)

    def ran(self, layout: str, records: list[str]) -> Ran:
        """Cycles and stack on the simulated ATmega328P: to encode from a program that cannot decode."""
        kind = {"nanopb": "Record", "track": "pasture_track"}.get(layout, "pasture_position")
        rows = ",\n".join(f"{{{row}}}" for row in records)
        (self.folder / "records.h").write_text(f"static const {kind} records[] = {{\n{rows}\n}};\n", encoding="ascii")
        size, encode, encode_stack, *_ = self.simulated(layout, "encode", len(records))
        _, _, _, decode, decode_stack, _, digests = self.simulated(layout, "both", len(records))
        return Ran(_span(size), _span(encode), max(encode_stack), _span(decode), max(decode_stack), digests)

    def simulated(self, layout: str, way: str, count: int) -> list[tuple[int, ...]]:
        """What the program prints, column by column: see `cycles.c`."""
        sources = self.sources(layout, way)
        run(["avr-gcc", *COMMON, "-mmcu=atmega328p", "cycles.c", *sources, "-o", "cycles.elf"], self.folder)
        told = run(["simavr", "-m", "atmega328p", "-f", "16000000", "cycles.elf"], self.folder)
        found = [list(map(int, row.split())) for row in re.findall(r"^(?:\x1b\[\d+m)*((?:\d+ ){7})", told, re.MULTILINE)]
        if len(found) != count or not all(row[5] for row in found):
            raise SystemExit(f"firmware.py: the simulator said {told!r}")
        return list(zip(*found, strict=True))


def _span(numbers: tuple[int, ...]) -> tuple[int, int]:
    return min(numbers), max(numbers)


def run(command: list[str], folder: Path, environment: dict[str, str] | None = None) -> str:
    """What a program prints, or an end with what is wrong."""
    try:
        done = subprocess.run(  # noqa: S603  # compilers on files that we wrote
            command, cwd=folder, capture_output=True, text=True, check=False, timeout=120, env=environment
        )
    except FileNotFoundError:
        raise SystemExit(f"firmware.py: {command[0]} is not installed; the head of this file names the packages") from None
    if done.returncode:
        raise SystemExit(f"firmware.py: {' '.join(command)}\n{done.stderr}")
    return done.stdout + done.stderr


def deepest(folder: Path) -> int:
    """Deepest path below main in the compiler's call graphs, in bytes."""
    own: dict[str, int] = {}
    calls: dict[str, set[str]] = {}
    for file in folder.glob("*.ci"):
        text = file.read_text(encoding="utf-8")
        for title, label in re.findall(r'node: \{ title: "([^"]+)" label: "([^"]*)"', text):
            if found := re.search(r"(\d+) bytes", label):
                own[title] = int(found[1])
        for source, target in re.findall(r'sourcename: "([^"]+)" targetname: "([^"]+)"', text):
            calls.setdefault(source, set()).add(target)

    def depth(name: str, seen: frozenset[str] = frozenset()) -> int:
        if name in seen:
            return 0
        return own.get(name, 0) + max((depth(item, seen | {name}) for item in calls.get(name, ())), default=0)

    return max((depth(item) for item in calls.get("main", ())), default=0)


def nanopb_sources(given: str | None) -> Path:
    """The folder of nanopb's C sources."""
    if given:
        return Path(given).resolve()
    if not list(CACHE.glob("nanopb-*/pb_encode.c")):
        CACHE.mkdir(parents=True, exist_ok=True)
        apt_source(CACHE, "nanopb")
        (archive,) = CACHE.glob("nanopb_*.orig.tar.gz")
        run(["tar", "xzf", archive.name], CACHE)
    return next(CACHE.glob("nanopb-*/pb_encode.c")).parent


def records(layout: str) -> list[str]:
    """Invented records, as C writes them: a cow on its pasture, the far ends, nothing known."""
    places = [(465123400, 98765400, 210400), (-331234567, -1799999999, -4200), (899999999, 1799999999, 899999), (1, -1, 0)]
    rows = []
    for number, (north, east, height) in enumerate(places):
        if layout == "nanopb":
            rows.append(f"{7 + number}, {42 + number}, 1, {north}, 1, {east}, 1, {height}, {3710 + number}, 1")
            continue
        row = f"{7 + number}, {42 + number}, {north}, {east}, {height}, {3710 + number}, 1, 1, 1, 1"
        if layout == "track":
            points = [(north - 3000 * n - 40 * n * n, east + (1700 * n if east < 0 else -1700 * n)) for n in range(1, 11)]
            points = [(max(-900000000, min(900000000, a)), b) for a, b in points]
            row += ", 10, {" + ", ".join(f"{{{a}, {b}}}" for a, b in points) + "}"
        rows.append(row)
    return rows


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Measures emitted C on small processors, beside nanopb.")
    parser.add_argument("--nanopb", metavar="FOLDER", help="nanopb's C sources, where pb_encode.c stands")
    parser.add_argument("--json", action="store_true", help="figures for programs")
    options = parser.parse_args()
    sources = nanopb_sources(options.nanopb)
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder), sources)
        layouts = ("position", "by hand", "track", "nanopb")
        taken = {(t, item, way): bench.taken(t, item, way) for t in TARGETS for item in layouts for way in WAYS}
        low = {target: bench.taken(target, "low bits", "encode").flash for target in TARGETS}
        ran = {item: bench.ran(item, records(item)) for item in layouts}
    if ran["by hand"].digests != ran["position"].digests:
        raise SystemExit("firmware.py: hand.c packs something else than the starter schema's position")
    if options.json:
        rows = [
            {"target": t, "layout": item, "way": way, "flash": x.flash, "ram": x.ram, "stack": x.stack or None}
            for (t, item, way), x in taken.items()
        ]
        low_bits = {target: flash - taken[target, "position", "encode"].flash for target, flash in low.items()}
        print(json.dumps({"taken": rows, "low_bits": low_bits, "ran": {item: vars(x) for item, x in ran.items()}}, indent=2))
        return 0
    version = re.sub(r"\D*", "", sources.name, count=1) or sources.name
    print(f"Starter schema, -Os; nanopb {version} with the same record\n")
    print(f"{'':12}{'':10}{'':8}{'flash':>8}{'RAM':>6}{'stack':>7}")
    for (target, item, way), x in taken.items():
        stack = x.stack
        if target == AVR:
            stack = {"encode": ran[item].encode_stack, "decode": ran[item].decode_stack}.get(
                way, max(ran[item].encode_stack, ran[item].decode_stack)
            )
        print(f"{target:12}{item:10}{way:8}{x.flash:>8}{x.ram:>6}{stack:>7}")
    print(f"\n{'on ' + AVR:22}{'bytes':>8}{'cycles to encode':>20}{'cycles to decode':>20}")
    for item, y in ran.items():
        cells = [f"{a}..{b}" if a != b else f"{a}" for a, b in (y.bytes, y.encode_cycles, y.decode_cycles)]
        print(f"{item:22}{cells[0]:>8}{cells[1]:>20}{cells[2]:>20}")
    print()
    for target in TARGETS:
        trail = taken[target, "track", "encode"].flash - taken[target, "position", "encode"].flash
        print(f"{target}: of the flash to encode a track, {trail} bytes are those of its trail")
        more = low[target] - taken[target, "position", "encode"].flash
        print(f"{target}: latitude and longitude by their low bits take {more} bytes more to encode a position")
    for text, figure, most in (*goals(taken, ran), low_goal(taken, low[AVR])):
        print(f"reach: {text}: at most {most}, measured {figure} ({'reached' if figure <= most else 'missed'})")
    return 0


def goals(taken: dict[tuple[str, str, str], Taken], ran: dict[str, Ran]) -> list[tuple[str, int, int]]:
    """What the emitted C is meant to reach: words, measured, most."""
    found = []
    for target in TARGETS:
        for way in ("encode", "decode"):
            most = taken[target, "nanopb", way].flash // 4
            found.append(
                (f"{target}, {way} position: a quarter of nanopb's flash", taken[target, "position", way].flash, most)
            )
    ours, theirs = ran["position"], ran["nanopb"]
    hand = ran["by hand"]
    found.append(("encode position: 1.6 times the cycles by hand", ours.encode_cycles[1], hand.encode_cycles[1] * 8 // 5))
    found.append(("decode position: 1.7 times the cycles by hand", ours.decode_cycles[1], hand.decode_cycles[1] * 17 // 10))
    found.append(("encode position: half of nanopb's cycles", ours.encode_cycles[1], theirs.encode_cycles[1] // 2))
    found.append(("decode position: half of nanopb's cycles", ours.decode_cycles[1], theirs.decode_cycles[1] // 2))
    found.append((f"{AVR}, encode track: flash", taken[AVR, "track", "encode"].flash, 2560))
    found.append((f"{AVR}, encode track: stack", ran["track"].encode_stack, 160))
    return found


def low_goal(taken: dict[tuple[str, str, str], Taken], flash: int) -> tuple[str, int, int]:
    """The same of a position by its low bits."""
    return f"{AVR}, encode position: flash of low bits", flash - taken[AVR, "position", "encode"].flash, 250


if __name__ == "__main__":
    sys.exit(main())
