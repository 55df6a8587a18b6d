"""Emitted C as a text and as a program: golden files, compilers, names, examples, many packets, a small processor."""

from __future__ import annotations

import json
import os
import re
import subprocess
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packetcodec import FAULTS, Codec, Schema, compile_plan
from packetcodec.cli.app import run
from packetcodec.emit.back_end import with_layouts
from packetcodec.emit.c.identifiers import RESERVED, Names
from packetcodec.emit.c.names import c_plan
from packetcodec.emit.c.writer import write_c
from packetcodec.starter import sample_log, schema_text
from tests.support.c_driver import digests, packed, program
from tests.support.conformance import SANITIZERS, TWO_TRAILS, WARNINGS, packets
from tests.support.js_material import seeded, trail_schema
from tests.support.needs import tool

CI = bool(os.environ.get("CI"))
STARTER = Schema.parse(schema_text())
SPEC = Path(__file__).parents[2] / "spec"

COMPILERS = {
    "gcc": ("gcc", "gcc", ["-std=c99"]),
    "clang": ("clang", "clang", ["-std=c99"]),
    "g++": ("g++", "g++", ["-x", "c++"]),
    "clang++": ("clang++", "clang", ["-x", "c++"]),
    "avr": ("avr-gcc", "gcc-avr avr-libc", ["-std=c99", "-mmcu=atmega328p"]),
    "avr c++": ("avr-g++", "gcc-avr avr-libc", ["-x", "c++", "-mmcu=atmega328p"]),
    "cortex-m0+": (
        "arm-none-eabi-gcc", "gcc-arm-none-eabi libnewlib-arm-none-eabi", ["-std=c99", "-mcpu=cortex-m0plus", "-mthumb"],
    ),
}  # fmt: skip

#: Names that clash with keywords, macros, types, each other, or with what the emitter makes of others.
WILD = """
name = "string"
version = 9
check = { crc = "CRC-32/ISO-HDLC" }
[header]
version_bits = 8
layout_bits = 3
[[layouts]]
name = "fault"
id = 0
doc = "A remark */ int x; /* with \\\\ at its end \\\\"
fields = [
  { kind = "flag", name = "class" }, { kind = "flag", name = "linux", optional = true },
  { kind = "flag", name = "has_linux" },
  { kind = "choice", name = "new", choices = ["a", "b_c"] }, { kind = "choice", name = "new_b", choices = ["a", "c"] },
  { kind = "identifier", name = "trail" }, { kind = "identifier", name = "trail_count", bits = 32 },
]
[[layouts]]
name = "encode"
id = 1
fields = [{ kind = "number", name = "int", unit = "*/", minimum = 0, maximum = 4294967295, resolution = 1, policy = "clip" }]
[[layouts]]
name = "decode"
id = 2
fields = [{ kind = "flag", name = "e7" }, { kind = "time", name = "errno", epoch = 2200-01-01T00:00:00Z, bits = 31 }]
[[layouts]]
name = "encode_fault"
id = 3
fields = [{ kind = "course", name = "and", resolution = 0.01 }, { kind = "counter", name = "or", maximum = 99 }]
"""


MAIN = """
#include <unistd.h>
#include "NAME_packets.h"
#include <assert.h>
#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
int main(void) { return NAME_decode(NULL, NULL, 0, NULL) != 1 || strlen("a") + (size_t)time(NULL) == 0 || errno; }
"""


def written(schema: Schema, folder: Path, **more: str) -> list[str]:
    """Write the C of a schema and more files; the names of the sources."""
    files = {**write_c(compile_plan(schema)), **more}
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return [name for name in files if name.endswith(".c")]


def build(folder: Path, *command: str) -> None:
    """Compile without a word."""
    done = subprocess.run(
        [tool(command[0], command[0]), *command[1:]], cwd=folder, capture_output=True, text=True, check=False
    )
    assert (done.stderr, done.returncode) == ("", 0)


# --- the text -------------------------------------------------------------------------------------------------------


def test_the_files_of_the_starter_schema_are_the_ones_in_the_repository():
    # To renew them: packetcodec emit c packetcodec/starter/pasture.toml -o spec
    texts = write_c(compile_plan(STARTER))
    assert texts == {name: (SPEC / name).read_text(encoding="utf-8") for name in ("pasture_packets.h", "pasture_packets.c")}


def test_the_command_writes_them(tmp_path):
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")
    assert run(["emit", "c", str(tmp_path / "pasture.toml"), "-o", str(tmp_path / "out")]) == 0
    assert {file.name for file in (tmp_path / "out").iterdir()} == {"pasture_packets.h", "pasture_packets.c"}


def test_the_files_say_whose_they_are_and_carry_the_fingerprint_and_no_date():
    plan = compile_plan(STARTER)
    header, source = write_c(plan).values()
    for text in (header, source):
        assert plan.fingerprint in text.splitlines()[0]
        assert "yours, free of any condition" in text
        assert not re.search(r"\b20\d\d-\d\d-\d\d\b", text.replace("2026-01-01", ""))
    assert [word.lower() for word in re.findall(r"^    PASTURE_(\w+),?$", header, re.MULTILINE)] == ["ok", *FAULTS]


def test_nothing_in_the_source_is_wider_than_32_bits_or_allocates_or_calls_itself():
    _, source = write_c(compile_plan(STARTER)).values()
    assert not re.search(r"64_t|long long|malloc|float|double", source)
    includes = re.findall(r"#include [<\"](\S+)[>\"]", "".join(write_c(compile_plan(STARTER)).values()))
    assert set(includes) <= {"stdint.h", "stddef.h", "string.h", "pasture_packets.h", "avr/pgmspace.h"}


def test_two_versions_of_a_schema_can_be_linked_together_and_nothing_is_replaced_silently(tmp_path, capsys):
    for version in (1, 2):
        text = schema_text().replace("version = 1 ", f"version = {version} ", 1)
        (tmp_path / f"v{version}.toml").write_text(text, encoding="utf-8")
    files = [str(tmp_path / name) for name in ("v1.toml", "v2.toml")]
    for verb in ("wrote", "replaced"):
        assert run(["emit", "c", *files, "-o", str(tmp_path)]) == 0
        assert capsys.readouterr().err.count(f"{verb} ") == 4
    assert run(["emit", "c", files[0], files[0], "-o", str(tmp_path)]) == 1
    assert "give each version of pasture once" in capsys.readouterr().err
    main = """
        #include "pasture_v1_packets.h"
        #include "pasture_v2_packets.h"
        int main(void) {
            static pasture_v1_packet a;
            static pasture_v2_packet b;
            const uint8_t data[1] = {0x21}; /* version 2, layout 1, and no more */
            return pasture_v1_decode(&a, data, 1, NULL) != PASTURE_V1_UNKNOWN_VERSION
                || pasture_v2_decode(&b, data, 1, NULL) != PASTURE_V2_TOO_SHORT;
        }
        """
    (tmp_path / "main.c").write_text(main, encoding="utf-8")
    sources = ["pasture_v1_packets.c", "pasture_v2_packets.c", "main.c"]
    build(tmp_path, tool("gcc"), "-std=c99", *WARNINGS, *sources, "-o", "both")
    assert subprocess.run([tmp_path / "both"], check=False).returncode == 0


# --- names ----------------------------------------------------------------------------------------------------------


def test_every_keyword_is_kept_from_being_a_name():
    names = Names()
    assert all(names.take(word) == f"{word}_" for word in sorted(RESERVED))


@pytest.mark.slow
def test_no_header_of_a_system_is_hidden_by_the_files(tmp_path):
    # Schemas called as headers that compilers or the C library include by themselves, the folder first on the path.
    for name in ("features", "time", "string", "stdint", "limits", "stddef", "endian", "assert", "errno", "r"):
        schema = Schema.parse(schema_text().replace('name = "pasture"', f'name = "{name}"'))
        sources = written(schema, tmp_path, **{"main.c": MAIN.replace("NAME", c_plan(compile_plan(schema)).prefix)})
        build(tmp_path, tool("gcc"), "-std=c99", *WARNINGS, "-I.", *sources, "-o", "out")
    every = {path.name for folder in ("/usr/include", "/usr/lib/avr/include") for path in Path(folder).rglob("*.h")}
    assert not [name for name in every if name.endswith("_packets.h")]


def test_clashes_are_resolved_the_same_way_each_time():
    c = c_plan(compile_plan(Schema.parse(WILD)))
    members = c.layouts[0].members
    assert c.prefix == "string"
    assert [member.name for member in members] == [
        "class_", "linux_", "has_linux", "new_", "new_b", "trail_", "trail_count_",
    ]  # fmt: skip
    assert members[1].has == "has_linux_"
    assert c.layouts[0].type == "string_fault_"
    assert len({name for layout in c.layouts for name in (layout.type, layout.encode)}) == 8


@pytest.mark.slow
@pytest.mark.parametrize("compiler", COMPILERS)
@pytest.mark.parametrize("schema", [STARTER, Schema.parse(WILD), TWO_TRAILS], ids=["starter", "wild", "two trails"])
def test_compilers_have_nothing_to_say(compiler, schema, tmp_path):
    program_, package, flags = COMPILERS[compiler]
    plan = compile_plan(schema)
    command = tool(program_, package)
    ways = [(plan, ""), (plan, "encode"), (plan, "decode")]
    ways += [(with_layouts(plan, [layout.name]), only) for layout in plan.layouts for only in ("", "encode")]
    for part, only in ways if CI or compiler == "gcc" else ways[:1]:
        for name, text in write_c(part, only=only).items():
            (tmp_path / name).write_text(text, encoding="utf-8")
        source = f"{plan.name}_packets.c"
        build(tmp_path, command, *flags, *WARNINGS, "-Os", "-c", source, "-o", "out.o")


# --- running it -----------------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("compiler", ["gcc", "clang"])
@pytest.mark.parametrize("schema", [STARTER, Schema.parse(WILD), trail_schema(seeded(7))], ids=["starter", "wild", "trail"])
def test_many_packets_give_the_same_digest_as_the_codec(compiler, schema, tmp_path):
    plan = compile_plan(schema)
    command = tool(compiler, COMPILERS[compiler][1])
    sources = written(schema, tmp_path, **{"main.c": program(plan)})
    build(tmp_path, command, "-std=c99", "-O2", *sources, "-o", "plain")
    build(tmp_path, command, "-std=c99", *SANITIZERS, *sources, "-o", "checked")
    data = packets(schema, seed=11, count=20_000 if CI else 1000)
    lines = list(digests(plan, data))
    for name in ("plain", "checked"):
        done = subprocess.run([tmp_path / name], input=packed(data), capture_output=True, check=True)
        assert (done.stderr, done.stdout.decode().split()) == (b"", lines)


@pytest.mark.slow
def test_gcc_and_clang_agree_on_a_great_many_packets(tmp_path):
    plan = compile_plan(STARTER)
    sources = written(STARTER, tmp_path, **{"main.c": program(plan)})
    codec, rng = Codec(STARTER), seeded(12)
    seeds = [data for data in packets(STARTER, seed=13, count=600, whole=False) if len(data) > 4]

    def mutated() -> bytes:
        data = bytearray(rng.choice(seeds))
        for _ in range(rng.randint(1, 3)):
            data[rng.randrange(1, len(data))] ^= 1 << rng.randrange(8)
        return codec.plan.seal(bytes(data[: len(data) - 2])) if rng.random() < 0.9 else bytes(data)

    said = []
    blob = packed(mutated() for _ in range(3_000_000 if CI else 100_000))
    for compiler in ("gcc", "clang"):
        build(tmp_path, tool(compiler, compiler), "-std=c99", "-O2", *sources, "-o", "plain")
        said.append(subprocess.run([tmp_path / "plain"], input=blob, capture_output=True, check=True).stdout)
    assert said[0] == said[1]
    assert len(said[0].split()) > 100


@pytest.mark.slow
@pytest.mark.parametrize("schema", [STARTER, trail_schema(seeded(7))], ids=["starter", "trail"])
def test_an_eight_bit_processor_gives_the_same_digest(schema, tmp_path):
    plan = compile_plan(schema)
    rng = seeded(5)
    data, size = [], 0
    for item in rng.sample(packets(schema, seed=6, count=200), 900):
        if len(item) < 40 and size < 17_000:
            data.append(item)
            size += 1 + len(item)
    rows = ",".join(map(str, packed(data)))
    header = f"#include <avr/pgmspace.h>\nstatic const uint8_t packets[] PROGMEM = {{{rows}}};\n"
    sources = written(schema, tmp_path, **{"main.c": program(plan), "packets.h": header})
    command = tool("avr-gcc", "gcc-avr avr-libc")
    build(tmp_path, command, "-std=c99", "-Os", "-mmcu=atmega328p", "-DEMBEDDED", *sources, "-o", "avr.elf")
    simulator = tool("simavr")
    done = subprocess.run(
        [simulator, "-m", "atmega328p", "-f", "16000000", "avr.elf"],
        cwd=tmp_path, capture_output=True, text=True, check=False, timeout=100,
    )  # fmt: skip
    assert f"={list(digests(plan, data))[-1]}" in done.stdout + done.stderr


DEGREES = r"""
#include "pasture_packets.h"
#include <stdio.h>
int main(void)
{
    char digits[80], side;
    while (scanf("%79s %c", digits, &side) == 2) {
        int32_t e7 = 77;
        int fault = (int)pasture_degrees(&e7, digits[0] == '-' ? "" : digits, side == '0' ? 0 : side);
        printf("%d %ld\n", fault, (long)e7);
    }
    return 0;
}
"""


def degrees(digits: str, side: str) -> str:
    """What the helper must say, in exact decimals."""
    found = re.match(r"(\d{4,})(?:\.(\d*))?", digits)
    if not found or side not in "NSEW":
        return "7 77"
    number = Decimal(f"{found[1]}.{found[2] or 0}")
    minutes = number % 100
    e7 = int(((number - minutes) / 100 * 10**7 + minutes * 10**7 / 60).quantize(Decimal(1), ROUND_HALF_UP))
    if minutes >= 60 or e7 > (90 if side in "NS" else 180) * 10**7:
        return "7 77"
    return f"0 {-e7 if side in 'SW' else e7}"


@pytest.fixture(scope="module")
def degrees_program(tmp_path_factory):
    folder = tmp_path_factory.mktemp("degrees")
    sources = written(STARTER, folder, **{"main.c": DEGREES})
    build(folder, tool("gcc"), "-std=c99", *SANITIZERS, *sources, "-o", "degrees")
    return folder / "degrees"


@pytest.mark.slow
@settings(max_examples=20)
@given(
    st.lists(
        st.tuples(
            st.one_of(
                st.tuples(st.integers(0, 182), st.integers(0, 61), st.text("0123456789", max_size=12)).map(
                    lambda parts: f"{parts[0]:02d}{parts[1]:02d}.{parts[2]}"
                ),
                st.from_regex(r"[0-9]{1,12}\.?[0-9]{0,9}[,x]?[0-9]{0,2}", fullmatch=True),
                st.sampled_from(
                    ["9000.0", "9000.000001", "18000", "18000.0000000", "0000.00000003", "x", "-", ".5", "46.30", "100.5"]
                ),
            ),
            st.sampled_from("NSEWX"),
        ),
        min_size=1, max_size=200,
    )
)  # fmt: skip
def test_degrees_and_minutes_are_rounded_to_the_nearest(degrees_program, rows):
    asked = "".join(f"{digits} {side}\n" for digits, side in rows)
    said = subprocess.run([degrees_program], input=asked, capture_output=True, text=True, check=True).stdout.splitlines()
    assert said == [degrees("" if digits == "-" else digits, side) for digits, side in rows]


# --- the whole way --------------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("compiler", ["gcc", "clang", "g++", "clang++"])
def test_the_examples_compile_without_a_word(compiler, tmp_path):
    command, package, flags = COMPILERS[compiler]
    for name in ("transmitter.c", "receiver.c"):
        build(
            tmp_path,
            tool(command, package),
            *flags,
            *WARNINGS,
            str(SPEC / name),
            str(SPEC / "pasture_packets.c"),
            "-o",
            "out",
        )


@pytest.mark.slow
def test_the_example_transmitter_sends_what_python_reads_and_the_example_receiver_too(tmp_path):
    gcc = tool("gcc")
    source = str(SPEC / "pasture_packets.c")
    for name in ("transmitter", "receiver"):
        build(tmp_path, gcc, "-std=c99", *SANITIZERS, str(SPEC / f"{name}.c"), source, "-o", name)
    sent = subprocess.run([tmp_path / "transmitter", "7"], input=sample_log(), capture_output=True, check=True)
    assert sent.stderr == b""
    lines = sent.stdout.decode().split()
    codec = Codec(STARTER)
    read = [codec.decode(bytes.fromhex(line)) for line in lines]
    assert len(read) > 100
    assert {packet.values["collar"] for packet in read} == {7}
    assert {packet.values["fix_quality"] for packet in read} >= {0, 1}
    said = subprocess.run(
        [tmp_path / "receiver"], input="\n".join([*lines, lines[0][:-2], ""]), capture_output=True, text=True, check=True
    ).stdout.splitlines()
    assert said[-1] == "too_short"
    for packet, text in zip(read, said, strict=False):
        values = packet.values
        words = text.split()
        told = dict(zip(words[::2], words[1::2], strict=True))
        assert int(told["counter"]) == values["counter"]
        for name in ("latitude", "longitude", "altitude"):
            assert (float(told[name]) if name in told else None) == values[name]


@pytest.mark.slow
def test_the_vectors_of_base_units_encode_to_their_packets(tmp_path):
    # The same figures that the written specification gives to strangers.
    vectors = json.loads((SPEC / "pasture-v1.vectors.json").read_text(encoding="utf-8"))
    row = next(item for item in vectors["encode"] if item["layout"] == "position" and None not in item["base"].values())
    members = [member.name for member in c_plan(compile_plan(STARTER)).layouts[0].members]
    fills = "".join(f"p.{member} = {base};" for member, base in zip(members, row["base"].values(), strict=True))
    main = f"""
#include "pasture_packets.h"
#include <stdio.h>
int main(void)
{{
    static pasture_position p;
    uint8_t data[PASTURE_POSITION_BYTES];
    size_t length = 99, i;
    uint8_t field = 99;
    {fills}
    p.has_latitude = p.has_longitude = p.has_altitude = 1;
    if (pasture_encode_position(&p, data, sizeof data - 1, &length, NULL) != PASTURE_TOO_SHORT || length != 99) return 1;
    if (pasture_encode_position(&p, data, sizeof data, &length, NULL) != PASTURE_OK) return 2;
    for (i = 0; i < length; i++) printf("%02x", data[i]);
    p.latitude_e7 = 900000001;
    length = 99;
    if (pasture_encode_position(&p, data, sizeof data, &length, NULL) != PASTURE_OUT_OF_RANGE || length != 99) return 3;
    return pasture_encode_position(&p, data, sizeof data, &length, &field) != PASTURE_OUT_OF_RANGE || field != 2;
}}
"""
    sources = written(STARTER, tmp_path, **{"main.c": main})
    build(tmp_path, tool("gcc"), "-std=c99", *SANITIZERS, *sources, "-o", "one")
    assert subprocess.run([tmp_path / "one"], capture_output=True, text=True, check=True).stdout == row["hex"]
