"""What the header of emitted C promises: capacity, the field at fault, ages, nothing that a device does not need."""

from __future__ import annotations

import re
import subprocess

import pytest

from packetcodec import Codec, Schema, compile_plan
from packetcodec.emit.back_end import with_layouts
from packetcodec.emit.c.names import c_plan
from packetcodec.emit.c.writer import write_c
from packetcodec.errors import PacketcodecError
from packetcodec.frozen import replace
from packetcodec.starter import schema_text
from packetcodec.wire import Point, from_raw, pack
from tests.support.conformance import SANITIZERS, TWO_TRAILS, WARNINGS
from tests.support.js_material import motion, raw_codes, seeded
from tests.support.needs import tool

STARTER = Schema.parse(schema_text())
PLAN = compile_plan(STARTER)
GC = ("-ffunction-sections", "-fdata-sections", "-Wl,--gc-sections")


def answers(folder, plan, main, *flags):
    """What a program around the emitted C prints, line by line; it is compiled without a warning, and sanitized."""
    for name, text in {**write_c(plan), "main.c": f'#include "{plan.name}_packets.h"\n#include <stdio.h>\n{main}'}.items():
        (folder / name).write_text(text, encoding="utf-8")
    command = [tool("gcc"), "-std=c99", *WARNINGS, *(flags or SANITIZERS), "main.c", f"{plan.name}_packets.c"]
    subprocess.run([*command, "-o", "main"], cwd=folder, check=True)
    return subprocess.run(["./main"], cwd=folder, capture_output=True, text=True, check=True).stdout.splitlines()


def filled(layout, codes, points):
    """A struct of a layout as C initializes it, from raw codes and points."""
    bases = [
        0 if code == field.absent_code else from_raw(field, code) for field, code in zip(layout.fields, codes, strict=True)
    ]
    has = [
        int(code != field.absent_code)
        for field, code in zip(layout.fields, codes, strict=True)
        if field.absent_code is not None
    ]
    rows = []
    for point in points:
        row = [point.latitude, point.longitude]
        row += [-(2**31) + 1 if point.altitude is None else point.altitude] if layout.trail.altitude else []
        row += [f"{point.age}U"] if layout.trail.interval_seed else []
        rows.append("{" + ", ".join(map(str, row)) + "}")
    words = [f"({base}{'' if base < 2**31 else 'U'})" for base in (*bases, *has)]
    return "{" + ", ".join([*words, str(len(points)), "{" + ", ".join(rows or ["{0}"]) + "}"]) + "}"


@pytest.mark.slow
@pytest.mark.parametrize("name", ["near", "class"])
def test_a_trail_is_cut_to_the_capacity_and_a_packet_that_fits_is_written(tmp_path, name):
    plan = compile_plan(TWO_TRAILS)
    layout = plan.layout(name)
    own = next(item for item in c_plan(plan).layouts if item.plan is layout)
    rng = seeded(3)
    cases = []
    while len(cases) < 16:
        codes = raw_codes(rng, layout)
        track = [point for point in motion(rng, (46.5, 9.9)) if None not in point][: layout.trail.points]
        points = [Point(round(a * 1e7), round(b * 1e7), round(h * 100), round(t)) for a, b, h, t in track]
        if not layout.trail.altitude:
            points = [Point(point.latitude, point.longitude) for point in points]
        cases.append((codes, points))
    structs = ",\n".join(filled(layout, *case) for case in cases)
    said = answers(
        tmp_path, plan,
        f"""
        #include <stdlib.h>
        static const {own.type} cases[] = {{ {structs} }};
        int main(void)
        {{
            for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
                for (size_t capacity = 0; capacity < {layout.longest + 2}; capacity++) {{
                    uint8_t *data = malloc(capacity ? capacity : 1);
                    size_t length = 999;
                    int fault = (int){own.encode}(cases + i, data, capacity, &length, NULL);
                    printf("%d", fault);
                    if (fault && length != 999) return 1;
                    for (size_t n = 0; !fault && n < length; n++) printf("%s%02x", n ? "" : " ", data[n]);
                    printf("\\n");
                    free(data);
                }}
            return 0;
        }}
        """,
    )  # fmt: skip
    for codes, points in cases:
        for capacity in range(layout.longest + 2):
            wanted, answer = within(plan, layout, codes, points, capacity), said.pop(0)
            if layout.size <= capacity < -(-(layout.bits + layout.trail.front_bits) // 8) + layout.check_bytes:
                assert answer in {"1", f"0 {wanted.hex()}"}  # room for the fields, but perhaps not for the number of points
            else:
                assert answer == ("1" if wanted is None else f"0 {wanted.hex()}"), (codes, points, capacity)
    assert not said


def within(plan, layout, codes, points, capacity):
    """The packet of at most so many bytes, or None where there is none."""
    trail = replace(layout.trail, packet_bytes=min(capacity, layout.longest))
    return None if capacity < layout.size else pack(plan, replace(layout, trail=trail), codes, points)


@pytest.mark.slow
def test_the_place_of_the_value_at_fault_is_told_to_those_who_ask(tmp_path):
    wrong = {
        "collar = 256": 0, "latitude_e7 = 900000001": 2, "longitude_e7 = -1800000001": 3, "fix_quality = 8": 6,
        "trail_count = 11": 7, "trail[1].latitude_e7 = -900000001": 7, "trail[1].longitude_e7 = 1800000001": 7,
    }  # fmt: skip
    tries = "".join(
        f"{{ pasture_track p = good; p.{change}; field = 99;"
        f" fault = (int)pasture_encode_track(&p, data, sizeof data, &length, &field);"
        ' printf("%d %d\\n", fault, field);'
        " if (pasture_encode_track(&p, data, sizeof data, &length, NULL) != PASTURE_OUT_OF_RANGE) return 1; }\n"
        for change in wrong
    )
    packets = {}
    layout = PLAN.layout("position")
    for place, field in enumerate(layout.fields):
        if not field.uses_every_code:
            codes = [0] * len(layout.fields)
            codes[place] = field.max_code + 1
            packets[field.name] = place, raw_packet(layout, codes)
    assert len(packets) >= 3
    reads = "".join(
        f"{{ static const uint8_t bad[] = {{ {', '.join(map(str, data))} }}; field = 99;"
        " fault = (int)pasture_decode(&packet, bad, sizeof bad, &field);"
        ' printf("%d %d\\n", fault, field); }\n'
        for _, data in packets.values()
    )
    said = answers(
        tmp_path, PLAN,
        f"""
        int main(void)
        {{
            static pasture_packet packet;
            static pasture_track good;
            uint8_t data[PASTURE_TRACK_BYTES], field;
            size_t length;
            int fault;
            good.has_latitude = good.has_longitude = 1;
            good.trail_count = 2;
            {tries}
            {reads}
            return 0;
        }}
        """,
    )  # fmt: skip
    assert said == [f"7 {place}" for place in wrong.values()] + [f"7 {place}" for place, _ in packets.values()]


def raw_packet(layout, codes):
    """A packet of any codes, its check good."""
    number, bits = PLAN.version << PLAN.layout_bits | layout.id, PLAN.header_bits
    for field, code in zip(layout.fields, codes, strict=True):
        number, bits = number << field.bits | code, bits + field.bits
    return PLAN.seal((number << layout.padding).to_bytes((bits + layout.padding) // 8, "big"))


@pytest.mark.slow
def test_an_age_beyond_31_bits_is_refused_and_an_unknown_one_ends_the_list(tmp_path):
    ages = {"2147483647U": 0, "0xffffffffU": 0, "2147483648U": 7, "0xfffffffeU": 7}
    tries = "".join(
        f'p.trail[1].age_s = {age}; printf("%d\\n", (int)hut_encode_class(&p, data, sizeof data, &length, NULL));'
        for age in ages
    )
    main = f"""
    int main(void)
    {{
        static hut_class p;
        uint8_t data[HUT_CLASS_BYTES];
        size_t length;
        p.has_latitude = p.has_longitude = 1;
        p.trail_count = 2;
        p.trail[0].age_s = 30;
        {tries}
        return 0;
    }}
    """
    assert answers(tmp_path, compile_plan(TWO_TRAILS), main) == [str(fault) for fault in ages.values()]


@pytest.mark.slow
def test_no_macro_changes_what_the_header_says(tmp_path):
    header = write_c(PLAN)["pasture_packets.h"]
    assert re.findall(r"^#if.*", header, re.MULTILINE) == [
        "#ifndef PASTURE_PACKETS_H",
        "#ifdef __cplusplus",
        "#ifdef __cplusplus",
    ]
    # A program that defines what once left a layout out of a packet, for one of its files alone.
    data = Codec(STARTER).encode(
        "track", {"collar": 1, "counter": 2, "battery": 3, "fix_quality": 1, "latitude": 46.5, "longitude": 9.9},
        [(46.5, 9.9)] * 10,
    )  # fmt: skip
    main = f"""
    int main(void)
    {{
        pasture_packet packet;
        static const uint8_t data[] = {{ {", ".join(map(str, data))} }};
        int fault = (int)pasture_decode(&packet, data, sizeof data, NULL);
        printf("%d %d\\n", fault, packet.as.track.trail_count);
        return 0;
    }}
    """
    assert answers(tmp_path, PLAN, f"#define PASTURE_NO_TRACK\n#define PASTURE_NO_DEGREES\n{main}") == ["0 10"]


def test_code_for_what_no_field_does_is_not_there():
    bare = compile_plan(
        Schema.parse("""
        name = "gate"
        version = 1
        check = { crc = "none" }
        [[layouts]]
        name = "open"
        id = 1
        fields = [{ kind = "identifier" }, { kind = "flag", name = "open" }]
        """)
    )
    header, source = write_c(bare).values()
    code = source.split("ANCHOR 64U")[1]
    words = ("has_", "has;", "uint8_t known", "PutAxis", "below", " turn;", "degrees", "CLIP", "WRAP", "MASKED", "Check")
    for word in (*words, "Digit"):
        assert word not in code, word
    assert "degrees" not in header
    assert "pasture_decode" not in write_c(PLAN, only="encode")["pasture_packets.c"]
    assert "pasture_encode" not in write_c(PLAN, only="decode")["pasture_packets.c"]
    assert "trail" not in write_c(with_layouts(PLAN, ["position"]))["pasture_packets.c"]


def test_the_linker_drops_what_a_program_does_not_call(tmp_path):
    main = """
    int main(void)
    {
        static pasture_position p;
        uint8_t data[PASTURE_POSITION_BYTES];
        size_t length = 0;
        return pasture_encode_position(&p, data, sizeof data, &length, NULL) != PASTURE_OK || length != sizeof data;
    }
    """
    answers(tmp_path, PLAN, main, "-O1", "-fno-inline", *GC)
    symbols = subprocess.run(
        [tool("nm", "binutils"), "main"], cwd=tmp_path, capture_output=True, text=True, check=True
    ).stdout.split()
    assert {"pasture_encode_position", "pasturePutField", "pastureLayout0", "pastureFields0"} <= set(symbols)
    gone = {"pasture_decode", "pasture_encode_track", "pasture_degrees", "pasturePutAxis", "pastureGet"}
    gone |= {"pastureEncodeTrail", "pasturePick", "pastureLayout1", "pastureLayout2", "pastureFields1"}
    assert not gone & set(symbols)


def test_a_layout_that_is_not_there_is_named_with_those_that_are():
    with pytest.raises(PacketcodecError, match="cow is not a layout of pasture: one of position, track, status"):
        with_layouts(PLAN, ["position", "cow"])


@pytest.mark.slow
@pytest.mark.parametrize("schema", [STARTER, TWO_TRAILS], ids=["starter", "two trails"])
def test_the_header_says_what_each_struct_takes(schema, tmp_path):
    plan = compile_plan(schema)
    header = write_c(plan)[f"{plan.name}_packets.h"]
    said = re.findall(r"^\} (\w+); /\* (\d+) bytes of RAM, (\d+) where longs are aligned \*/", header, re.MULTILINE)
    assert len(said) >= 4
    sizes = ", ".join(f"(long)sizeof({name})" for name, *_ in said)
    main = f"""
    int main(void)
    {{
        long all[] = {{ {sizes} }};
        for (int n = 0; n < {len(said)}; n++) printf("%ld\\n", all[n]);
        return 0;
    }}
    """
    assert answers(tmp_path, plan, main) == [aligned for _, _, aligned in said]
    checks = "".join(f"typedef char size{n}[sizeof({name}) == {size} ? 1 : -1];\n" for n, (name, size, _) in enumerate(said))
    (tmp_path / "avr.c").write_text(f'#include "{plan.name}_packets.h"\n{checks}', encoding="utf-8")
    command = [tool("avr-gcc", "gcc-avr avr-libc"), "-mmcu=atmega328p", "-c", "avr.c", "-o", "avr.o"]
    subprocess.run(command, cwd=tmp_path, check=True)
