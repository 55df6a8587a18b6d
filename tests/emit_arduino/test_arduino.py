"""The Arduino library: what the specification of libraries asks for, sketches built as the core builds them, and run.

Specifications: the Arduino library specification, revision 2.2 (names of folders and properties, from memory); ESP-IDF's
idf_component_register, from memory; library.json as PlatformIO's source checks it (platformio/package/manifest/schema.py at
08a87f3; that lists may be texts, from memory).
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from functools import reduce
from pathlib import Path

import jsonschema
import pytest

from packetcodec import Codec, PacketcodecError, Schema, compile_plan
from packetcodec.bench.sender import Sender
from packetcodec.cli.app import run
from packetcodec.emit import write_arduino, write_c
from packetcodec.logs.log import read_log
from packetcodec.starter import schema_text
from tests.support import arduino_core
from tests.support.conformance import TWO_TRAILS
from tests.support.low_bits import SCHEMA as LOW_BITS
from tests.support.needs import tool

STARTER = Schema.parse(schema_text())

MOTION = Schema.parse("""
name = "ridge"
version = 2
[[layouts]]
name = "track"
id = 1
fields = [
  { kind = "identifier", bits = 8 },
  { kind = "counter", bits = 6 },
  { kind = "latitude" },
  { kind = "longitude" },
  { kind = "altitude", optional = true },
  { kind = "speed", unit = "km/h" },
  { kind = "speed", name = "pace", unit = "m/s", optional = true },
  { kind = "course", optional = true },
  { kind = "satellites", bits = 5 },
  { kind = "hdop", optional = true },
  { kind = "time", epoch = 2026-01-01T00:00:00Z, bits = 26 },
  { kind = "time", name = "clock", period = 3600 },
  { kind = "number", name = "every", minimum = 0, maximum = 600, resolution = 10 },
  { kind = "choice", name = "mood", choices = ["calm", "restless"], optional = true },
]
trail = { points = 8, resolution_m = 2.5, spacing = "every", altitude_resolution = 5, packet_bytes = 60 }
""")

CODED = Schema.parse("""
name = "ridge"
version = 3
[[layouts]]
name = "gate"
id = 0
fields = [{ kind = "flag", name = "open" }]
[[layouts]]
name = "track"
id = 1
fields = [{ kind = "counter" }, { kind = "latitude", optional = true }, { kind = "longitude", optional = true }]
trail = { points = 6, resolution_m = 5, spacing = "coded" }
""")

NO_PLACE = Schema.parse("""
name = "receive"
version = 1
[[layouts]]
name = "gate"
id = 0
fields = [{ kind = "flag", name = "open" }, { kind = "fix_quality" }]
""")


def sentence(body: str) -> str:
    """A sentence with its sum."""
    return f"${body}*{reduce(lambda x, y: x ^ y, body.encode()):02X}\r\n"


def moment(second: int) -> str:
    return f"{second // 3600 % 24:02}{second // 60 % 60:02}{second % 60:02}.00"


def gga(second: int, *, fix: bool = True) -> str:
    """Where a collar is that walks, turns and climbs, at a second of the day."""
    if not fix:
        return sentence(f"GNGGA,{moment(second)},,,,,0,00,99.99,,,,,,")
    north, east = 40.7404 + second % 977 * 0.0061, 52.5924 - second % 501 * 0.0047
    return sentence(
        f"GNGGA,{moment(second)},46{north:07.4f},N,009{east:07.4f},W,1,{second % 9 + 4:02},0.9{second % 7},"
        f"{2104 + second % 83 / 10:.1f},M,47.0,M,,"
    )


def rmc(second: int, date: str = "280826") -> str:
    return sentence(f"GNRMC,{moment(second)},A,4640.0,N,00952.0,W,{second % 40 / 7:.2f},{second % 360:.1f},{date},,,A")


def laid_out(schema: Schema, folder: Path, **options: str) -> Path:
    """The library of a schema in a folder."""
    for name, text in write_arduino(compile_plan(schema), **options).items():
        path = folder / "libraries" / schema.name / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder / "libraries" / schema.name


def built(schema: Schema, folder: Path, example: str, *, board: str = "uno", **options: str) -> Path:
    """An example, built without a word of the compiler."""
    library = laid_out(schema, folder, **options)
    elf, said = arduino_core.build(library / "examples" / example / f"{example}.ino", library, folder, board=board)
    assert said == ""
    return elf


def expected(schema: Schema, layout: str, log: str, constants: dict[str, object], interval: int) -> list[str]:
    """The packets that the bench's sender makes of the same log, one each interval."""
    fixes = read_log([log.encode()]).fixes
    sender = Sender(Codec(schema), layout, fixes, constants)
    packets, last = [], None
    for fix in fixes:
        if last is None or fix.time - last >= interval:
            packets.append(sender.packet(len(packets), fix).hex().upper())
            last = fix.time
    return packets


# --- the folder -----------------------------------------------------------------------------------------------------


def test_the_folder_is_as_the_library_specification_has_it(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("pasture.toml").write_text(schema_text(), encoding="utf-8")
    assert run(["emit", "arduino", "pasture.toml", "-o", "libraries/pasture"]) == 0
    library = Path("libraries/pasture")
    assert sorted(path.relative_to(library).as_posix() for path in library.rglob("*") if path.is_file()) == [
        "CMakeLists.txt", "examples/receiver/receiver.ino", "examples/transmitter/transmitter.ino", "keywords.txt",
        "library.json", "library.properties", "src/pasture_packets.c", "src/pasture_packets.h",
    ]  # fmt: skip
    lines = (library / "library.properties").read_text(encoding="utf-8").splitlines()
    properties = dict(line.split("=", 1) for line in lines if not line.startswith("#"))
    needed = {"name", "version", "author", "maintainer", "sentence", "paragraph", "category", "url", "architectures"}
    assert needed <= set(properties)
    assert all(properties.values())
    assert (properties["name"], properties["version"]) == ("pasture_packets", "1.0.0")
    manifest = json.loads((library / "library.json").read_text(encoding="utf-8"))
    assert (manifest["name"], manifest["version"], manifest["headers"]) == ("pasture_packets", "1.0.0", "pasture_packets.h")
    header = (library / "src/pasture_packets.h").read_text(encoding="utf-8")
    rows = [line.split("\t") for line in (library / "keywords.txt").read_text(encoding="utf-8").splitlines()[1:]]
    assert all(kind in {"KEYWORD1", "KEYWORD2", "LITERAL1"} and word in header for word, kind in rows)
    assert {("pasture_encode_track", "KEYWORD2"), ("PASTURE_BAD_CHECK", "LITERAL1")} <= set(map(tuple, rows))


#: What PlatformIO asks of the keys that are written, lists as texts with commas.
MANIFEST = {
    "type": "object",
    "required": ["name", "version"],
    "additionalProperties": False,
    "properties": {
        "name": {"type": "string", "maxLength": 100, "pattern": "^[^:;/,@<>]+$"},
        "version": {"type": "string", "maxLength": 50, "pattern": r"^[0-9]+\.[0-9]+\.[0-9]+$"},
        "description": {"type": "string", "minLength": 1, "maxLength": 1000},
        "keywords": {"type": "string", "pattern": r"^[a-z0-9+. -]{1,50}(, [a-z0-9+. -]{1,50})*$"},
        "authors": {
            "type": "array",
            "items": {
                "required": ["name"],
                "additionalProperties": False,
                "properties": {
                    "name": {"type": "string", "minLength": 1, "maxLength": 50},
                    "email": {"type": "string", "maxLength": 50, "pattern": "^[^@ ]+@[^@ ]+$"},
                },
            },
        },
        "homepage": {"type": "string", "maxLength": 255, "pattern": "^https?://"},
        "frameworks": {"const": "*"},
        "platforms": {"const": "*"},
        "headers": {"type": "string"},
    },
}


@pytest.mark.parametrize("schema", [STARTER, CODED, NO_PLACE, TWO_TRAILS, LOW_BITS])
def test_the_manifest_for_platformio_is_one(schema):
    for options in ({}, {"author": "Ada Herd <ada@example.org>", "url": "https://example.org/herd#1"}):
        library = write_arduino(compile_plan(schema), **options)
        manifest = json.loads(library["library.json"])
        jsonschema.validate(manifest, MANIFEST)
        assert f"src/{manifest['headers']}" in library


def test_the_code_is_that_of_the_back_end_for_c():
    plan = compile_plan(STARTER)
    for only in ("", "encode", "decode"):
        library = write_arduino(plan, only=only)
        assert {f"src/{name}": text for name, text in write_c(plan, only=only).items()}.items() <= library.items()
        examples = {name.split("/")[1] for name in library if name.startswith("examples/")}
        assert examples == {"encode": {"transmitter"}, "decode": {"receiver"}}.get(only, {"transmitter", "receiver"})


def test_author_and_address_are_those_given_and_else_say_that_they_are_to_be_changed(tmp_path, capsys):
    plan = compile_plan(STARTER)
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")
    command = ["emit", "arduino", str(tmp_path / "pasture.toml"), "-o", str(tmp_path / "out")]
    assert run([*command, "--author", "Ada Herd <ada@example.org>", "--url", "https://example.org/herd#1"]) == 0
    told = (tmp_path / "out/library.properties").read_text(encoding="utf-8").splitlines()
    assert {
        "author=Ada Herd <ada@example.org>",
        "maintainer=Ada Herd <ada@example.org>",
        "url=https://example.org/herd#1",
    } <= set(told)
    manifest = json.loads((tmp_path / "out/library.json").read_text(encoding="utf-8"))
    assert manifest["authors"] == [{"name": "Ada Herd", "email": "ada@example.org"}]
    assert manifest["homepage"] == "https://example.org/herd#1"
    assert "change-me@example.org" in write_arduino(plan)["library.properties"]
    assert json.loads(write_arduino(plan, author="Ada")["library.json"])["authors"] == [{"name": "Ada"}]
    for wrong in ("", " ", "a\nname=b", "<a@b>", "Ada <a", "Ada <a b@c>", "a=b"):
        with pytest.raises(PacketcodecError, match="author"):
            write_arduino(plan, author=wrong)
    for wrong in ("", "example.org", "https://a b", "https://a\nname=b"):
        with pytest.raises(PacketcodecError, match="url"):
            write_arduino(plan, url=wrong)
    # The bounds of platformio/package/manifest/schema.py of PlatformIO Core, read there: 50, 50 and 255 characters.
    name, mail, url = "A" * 50, "a" * 38 + "@example.org", "https://" + "e" * 247
    write_arduino(plan, author=f"{name} <{mail}>", url=url)
    for wrong in (
        {"author": f"{name}A"}, {"author": f"{name}A <{mail}>"}, {"author": f"{name} <a{mail}>"}, {"url": f"{url}e"}
    ):  # fmt: skip
        with pytest.raises(PacketcodecError, match="characters, the manifest of PlatformIO holds at most"):
            write_arduino(plan, **wrong)
    capsys.readouterr()
    assert run([*command, "--url", "example.org"]) == 1
    assert run(["emit", "js", *command[2:], "--author", "Ada"]) == 2
    assert "--author: is for arduino, not for js" in capsys.readouterr().err


# --- CMake ----------------------------------------------------------------------------------------------------------

USE = """
#include "pasture_packets.h"
int main(void) { pasture_packet packet; return pasture_decode(&packet, 0, 0, 0) == PASTURE_TOO_SHORT ? 0 : 1; }
"""


@pytest.mark.slow
def test_cmake_builds_it_as_a_library_that_a_program_uses(tmp_path):
    cmake = tool("cmake")
    tool("gcc")
    library = laid_out(STARTER, tmp_path)
    (tmp_path / "use.c").write_text(USE, encoding="utf-8")
    (tmp_path / "CMakeLists.txt").write_text(
        f"cmake_minimum_required(VERSION 3.13)\nproject(use C)\nadd_subdirectory({library.relative_to(tmp_path)})\n"
        "add_executable(use use.c)\ntarget_link_libraries(use pasture_packets)\n",
        encoding="utf-8",
    )
    for source in (library, tmp_path):  # alone, and within another project
        made = tmp_path / f"build-{source.name}"
        subprocess.run(
            [cmake, "-S", source, "-B", made, "-DCMAKE_C_FLAGS=-Wall -Wextra -Werror"], check=True, capture_output=True
        )
        subprocess.run([cmake, "--build", made], check=True, capture_output=True)
        assert list(made.rglob("libpasture_packets.a"))
    subprocess.run([tmp_path / f"build-{tmp_path.name}" / "use"], check=True)


def test_where_esp_idf_is_known_it_is_a_component(tmp_path):
    library = laid_out(STARTER, tmp_path)
    script = tmp_path / "idf.cmake"
    known = 'function(idf_component_register)\nmessage("registered ${ARGN}")\nendfunction()\n'
    script.write_text(f"{known}include({library}/CMakeLists.txt)\n", encoding="utf-8")
    done = subprocess.run([tool("cmake"), "-P", script], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "registered SRCS;src/pasture_packets.c;INCLUDE_DIRS;src"
    assert (library / "src/pasture_packets.c").is_file()
    assert (library / "src/pasture_packets.h").is_file()


# --- the sketches ---------------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize(
    "schema", [STARTER, MOTION, CODED, NO_PLACE, TWO_TRAILS, LOW_BITS], ids=lambda schema: f"{schema.name}{schema.version}"
)
def test_the_sketches_are_built_as_the_core_builds_them_without_a_warning(tmp_path, schema):
    kind = "mega.menu.cpu.atmega2560" if schema is TWO_TRAILS else "uno"  # a memory of 63 points is 1.5 KB
    for example in ("transmitter", "receiver"):
        built(schema, tmp_path, example, board=kind)
    for only, example in (("encode", "transmitter"), ("decode", "receiver")):
        (tmp_path / only).mkdir()
        built(schema, tmp_path / only, example, board=kind, only=only)


@pytest.fixture(scope="module")
def board(tmp_path_factory):
    return arduino_core.simulator(tmp_path_factory.mktemp("board"))


@pytest.mark.slow
def test_sentences_go_in_and_the_packets_of_the_bench_come_out(tmp_path, board):
    # Every 15 s over midnight, with a minute without a fix, other sentences, a wrong sum, a line without end.
    seconds = range(86400 - 400, 86400 + 500, 15)
    log = "".join(gga(second, fix=not 100 <= second - 86000 < 170) for second in seconds)
    noise = "$GPTXT,01,01,02,hello*00\r\n" + gga(3)[:-6] + "00\r\n" + "x" * 300 + "\r\n" + sentence("GPGSV,1,1,00")
    sent = arduino_core.run(board, built(STARTER, tmp_path, "transmitter"), noise + log)
    wanted = expected(STARTER, "track", log, {"collar": 1, "battery": 3.5}, 30)
    assert sent == wanted
    assert len(wanted) == 30
    trails = [len(Codec(STARTER).decode(bytes.fromhex(line)).trail) for line in sent]
    assert (trails[0], max(trails)) == (0, 10)
    assert trails[6] < trails[3]  # behind the minute without a fix
    # The other side of the link: the same lines, each with its verdict.
    broken = sent[0][:-1] + ("0" if sent[0][-1] != "0" else "1")
    lines = "\n".join([*sent, "what?", "1", broken, sent[1]]) + "\n"
    received = arduino_core.run(board, built(STARTER, tmp_path, "receiver"), lines, apart=20)
    assert received == [*(f"{line} ok" for line in sent), f"{broken} bad_check", f"{sent[1]} ok"]
    # On the computer every position comes out, those of packets that were lost too.
    del received[5:9]
    (tmp_path / "radio.log").write_text("\n".join(received) + "\n", encoding="ascii")
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")
    track = tmp_path / "herd.csv"
    command = [Path(sys.executable).with_name("packetcodec"), "decode", "pasture.toml", "--follow", "-o", track.name]
    with (tmp_path / "radio.log").open(encoding="ascii") as lines:
        done = subprocess.run(command, cwd=tmp_path, stdin=lines, capture_output=True, text=True, check=False)
    assert done.returncode in {0, 1}, done.stderr
    assert len(track.read_text(encoding="utf-8").splitlines()) == 1 + sum(
        fix.has_position for fix in read_log([log.encode()]).fixes[::2]
    )


@pytest.mark.slow
def test_speed_course_and_time_come_from_both_sentences_in_either_order(tmp_path, board):
    # RMC may come before or behind GGA; "every" is the interval.
    log = "".join(
        (gga(second) + rmc(second)) if second % 2 else (rmc(second) + gga(second)) for second in range(36000, 36600, 15)
    )
    elf = built(MOTION, tmp_path, "transmitter")
    sent = arduino_core.run(board, elf, rmc(35900).replace(",A,46", ",V,46") + log)
    fixed = {"identifier": 1, "every": 30, "mood": None}
    assert sent == expected(MOTION, "track", log, {name: value for name, value in fixed.items() if value}, 30)
    assert len(sent) == 20


@pytest.mark.slow
def test_where_ages_are_coded_the_trail_is_what_was_sent_before(tmp_path, board):
    log = "".join(gga(second, fix=second % 100 != 40) for second in range(50000, 50400, 10))
    sent = arduino_core.run(board, built(CODED, tmp_path, "transmitter"), log)
    fixes = [fix for fix in read_log([log.encode()]).fixes if fix.time % 30 == 50000 % 30]
    sender = Sender(Codec(CODED), "track", fixes)
    assert sent == [sender.packet(number, fix).hex().upper() for number, fix in enumerate(fixes)]


@pytest.mark.slow
def test_the_five_commands_of_the_readme_make_a_program(tmp_path):
    arduino_core.core()
    tool("arduino-builder")
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    commands = readme.split("<!-- sketch")[1].split("```sh\n")[1].split("```")[0].splitlines()
    assert len(commands) == 5
    path = f"{Path(sys.executable).parent}:{os.environ['PATH']}"
    for command in commands:
        done = subprocess.run(
            [tool("bash"), "-c", command],
            cwd=tmp_path,
            env={**os.environ, "PATH": path},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, (command, done.stdout, done.stderr)
    assert "Sketch uses" in done.stdout
    assert (tmp_path / "build" / "transmitter.ino.hex").stat().st_size > 10_000
