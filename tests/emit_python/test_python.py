"""The emitted Python module: its text and types, faults and refusals to the bit, and what a tracker remembers.

That it codes as all back ends do, on CPython and on MicroPython, `tests/emit_c/test_conformance.py` asks.
"""

from __future__ import annotations

import ast
import json
import os
import random
import shutil
import subprocess
import sys
from collections import Counter
from pathlib import Path
from types import ModuleType

import pytest

from packetcodec import FAULTS, Codec, PacketFault, Schema, compile_plan
from packetcodec.bench.history import History
from packetcodec.cli.app import run
from packetcodec.emit import HARNESSES
from packetcodec.emit.python import write_python
from packetcodec.emit.python.writer import PythonLayout, write_harness
from packetcodec.frozen import replace
from packetcodec.fuzz.compiled import build
from packetcodec.fuzz.oracle import degrees
from packetcodec.logs import Fix
from packetcodec.schema import Form
from packetcodec.starter import schema_text
from packetcodec.vectors import write_vectors
from packetcodec.wire import from_raw, to_base
from tests.support.conformance import Subject, differences, encodings, micropython, packets
from tests.support.js_material import seeded, to_decode, trail_schema
from tests.support.needs import library, tool

STARTER = Schema.parse(schema_text())
SPEC = Path(__file__).parents[2] / "spec"

BARE = Schema.parse("""
name = "class"
version = 5
check = { crc = "none" }
[header]
version_bits = 3
layout_bits = 0
[[layouts]]
name = "import"
fields = [
  { kind = "flag", name = "def" },
  { kind = "identifier", name = "none", bits = 32, optional = true },
  { kind = "number", name = "a", unit = "x", minimum = 0, maximum = 1, resolution = 0.1 },
  { kind = "number", name = "a_e1", unit = "", minimum = 0, maximum = 9, bits = 4 },
  { kind = "longitude", bits = 32, policy = "wrap" },
  { kind = "time", period = 4294967295 },
  { kind = "choice", name = "with", choices = ["lambda", "null"], optional = true },
]
""")

LOW = Schema.parse("""
name = "low"
version = 2
check = { crc = "CRC-16/DNP", bind_schema = true }
[[layouts]]
name = "beacon"
id = 1
fields = [
  { kind = "flag" },
  { kind = "latitude", resolution_m = 2.5, within_m = 20000, optional = true },
  { kind = "longitude", resolution_m = 2.5, within_m = 20000, max_latitude = 70, optional = true },
  { kind = "counter", bits = 31, low_bits = 8 },
  { kind = "time", epoch = 2026-01-01T00:00:00Z, resolution = 7, low_bits = 6 },
]
trail = { points = 5, resolution_m = 5, spacing = 30 }
[[layouts]]
name = "plain"
id = 2
fields = [{ kind = "longitude", bits = 24, low_bits = 16, policy = "wrap" }, { kind = "altitude", low_bits = 7 }]
""")


def module(schema: Schema) -> ModuleType:
    files = write_python(compile_plan(schema))
    name = next(name for name in files if name.endswith(".py"))
    made = ModuleType(name.removesuffix(".py"))
    exec(compile(files[name], name, "exec"), made.__dict__)  # noqa: S102  # what is tested
    return made


# --- its text -------------------------------------------------------------------------------------------------------


def test_the_module_of_the_starter_schema_is_the_one_in_the_repository(tmp_path):
    # To renew it: packetcodec emit python packetcodec/starter/pasture.toml -o spec
    files = write_python(compile_plan(STARTER))
    assert files == {
        name: (SPEC / name).read_text(encoding="utf-8") for name in ("pasture_packets.py", "pasture_packets.pyi")
    }
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")
    assert run(["emit", "python", str(tmp_path / "pasture.toml"), "-o", str(tmp_path / "out")]) == 0
    assert {path.name: path.read_text(encoding="utf-8") for path in (tmp_path / "out").iterdir()} == files


@pytest.mark.parametrize("schema", [STARTER, BARE, LOW, trail_schema(seeded(4))], ids=["starter", "bare", "low", "trail"])
def test_it_is_python_3_8_that_micropython_has_and_says_whose_it_is(schema):
    module_text, types = write_python(compile_plan(schema)).values()
    tree = ast.parse(module_text, feature_version=(3, 8))
    ast.parse(types, feature_version=(3, 8))
    imported = [node for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom)]
    assert [ast.unparse(node) for node in imported] == ["from collections import namedtuple"]
    lacking = (ast.JoinedStr, ast.AnnAssign, ast.NamedExpr, ast.Starred, ast.Yield, ast.Lambda, ast.With, ast.Assert)
    assert not [node for node in ast.walk(tree) if isinstance(node, lacking)]
    assert not [node for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, float)]
    assert not [node for node in ast.walk(tree) if isinstance(node, ast.Div)]
    for text in (module_text, types):
        assert compile_plan(schema).fingerprint in text
        assert "is yours, free of any condition" in text
        assert max(map(len, text.splitlines())) <= 120
    assert "nothing here is secret" in module_text


def python_3_8():
    """The oldest Python that the module is for: on the path, or among those that pyenv installed; in the end, no test."""
    kept = sorted((Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions").glob("3.8*/bin/python3.8"))
    found = next((str(path) for path in kept), shutil.which("python3.8"))
    if found is None or subprocess.run([found, "--version"], capture_output=True, check=False).returncode:
        pytest.skip("python3.8 is not installed")
    return found


@pytest.mark.slow
def test_python_3_8_reads_and_writes_as_the_codec_does():
    target = build(HARNESSES["python-module"], write_harness(compile_plan(STARTER)), tool=python_3_8())
    subject = Subject("python 3.8", "base", lambda _: target)
    lines = list(encodings(STARTER, seed=8, count=200))
    assert differences(STARTER, subject, packets(STARTER, seed=8, count=200), lines) == []


def test_a_remark_ends_no_string_and_is_no_order_to_a_checker():
    wild = '""" # type: ignore \\\n"""\nraise SystemExit\n# mypy: ignore-errors\nx: int = "'
    layouts = tuple(
        replace(layout, doc=wild, fields=tuple(replace(field, doc=wild) for field in layout.fields))
        for layout in BARE.layouts
    )
    schema = replace(BARE, doc=wild, layouts=layouts)
    assert compile_plan(BARE).fingerprint == module(schema).FINGERPRINT
    types = write_python(compile_plan(schema))["class_packets.pyi"]
    assert "# type" not in types
    assert "# mypy" not in types
    bare = write_python(compile_plan(BARE))["class_packets.pyi"]
    assert ast.dump(ast.parse(types)) == ast.dump(ast.parse(bare))


def test_the_example_at_its_head_runs_and_gives_the_packet_that_it_says(monkeypatch):
    made = module(STARTER)
    monkeypatch.setitem(sys.modules, "pasture_packets", made)
    lines = [line[4:] for line in made.__doc__.splitlines() if line.startswith("    ")]
    *code, packet, value = lines
    scope = {}
    exec("\n".join(code), scope)  # noqa: S102  # the example itself
    for line in (packet, value):
        expression, said = line.split("  # ")
        assert eval(expression, scope) == ast.literal_eval(said)  # noqa: S307


# --- its types ------------------------------------------------------------------------------------------------------

USE = """
import pasture_packets as pasture
from pasture_packets import Packet, PacketFault, Point, TrailMemory, ValueFault, decode, degrees, encode, try_decode

memory = TrailMemory("track")
memory.remember(0, degrees("4630.7404", "N"), 98_000_000)
usual: pasture.track_input = {"collar": 1, "counter": 2, "battery_mv": 3700, "fix_quality": 1}
data = encode("track", {**usual, "altitude_cm": 210_400}, memory.points(30))


def show(packet: Packet) -> None:
    if packet.layout == "status":
        is_open: bool = packet.values["gate_open"]
        activity = packet.values["activity"]
        print(is_open, activity.upper() if activity else "-", pasture.FINGERPRINT)
        activity.upper()  # bad: may be absent
    elif packet.layout == "track":
        points: list[Point] = list(packet.trail)
        print([point.latitude_e7 for point in points])


try:
    show(decode(memoryview(data)))
except PacketFault as fault:
    print(fault.status == "bad_check", fault.offset + 1)
pair = try_decode(data)
if pair[0] == "ok":
    show(pair[1])
encode("status", {"collar": 1})  # bad: a value is missing
encode("position", {"collar": 1, "counter": 2, "battery_mv": 3.7, "fix_quality": 0})  # bad: a float
encode("position", usual, memory.points(30))  # bad: this layout carries no trail
TrailMemory("position")  # bad: nor has it a memory
"""


@pytest.mark.slow
def test_the_types_hold_under_the_strict_checker(tmp_path):
    library("mypy")
    for schema in (STARTER, BARE, LOW):
        for name, text in write_python(compile_plan(schema)).items():
            (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "use.py").write_text(USE, encoding="utf-8")
    command = [sys.executable, "-m", "mypy", "--strict", "--cache-dir", str(tmp_path / "cache"), "--config-file="]
    done = subprocess.run(
        [*command, "use.py", "class_packets.pyi", "low_packets.pyi"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    bad = [number for number, line in enumerate(USE.splitlines(), 1) if "# bad" in line]
    said = [line for line in done.stdout.splitlines() if " error: " in line]
    assert sorted({int(line.split(":")[1]) for line in said}) == bad, done.stdout


@pytest.mark.parametrize("schema", [STARTER, BARE, LOW], ids=["starter", "bare", "low"])
def test_types_and_module_have_the_same_public_names(schema):
    types = next(text for name, text in write_python(compile_plan(schema)).items() if name.endswith(".pyi"))
    made, layouts = module(schema), [layout.name for layout in schema.layouts]
    for_types_alone = {f"{name}_{what}" for name in layouts for what in ("values", "input", "packet")} | {"Reference"}
    declared = set()
    for node in ast.parse(types).body:
        if isinstance(node, ast.ClassDef | ast.FunctionDef):
            declared.add(node.name)
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            declared.add((node.target if isinstance(node, ast.AnnAssign) else node.targets[0]).id)
    public = {name for name in vars(made) if not name.startswith("_")} - {"namedtuple"}
    assert {name for name in declared if not name.startswith("_")} - for_types_alone == public


# --- packets --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("schema", [STARTER, BARE, trail_schema(seeded(4))], ids=["starter", "bare", "trail"])
def test_the_vectors_come_out_as_they_say(schema):
    plan, made = compile_plan(schema), module(schema)
    vectors = json.loads(next(iter(write_vectors(plan).values())))
    for vector in vectors["bad"]:
        with pytest.raises(made.PacketFault) as caught:
            made.decode(bytes.fromhex(vector["hex"]))
        said = caught.value.status, caught.value.offset
        assert said == (vector["status"], vector["offset"]), vector
        assert (caught.value.field is None) == (vector["field"] is None), vector
        assert made.try_decode(bytes.fromhex(vector["hex"])) == (vector["status"], None)
    for vector in vectors["good"]:
        status, packet = made.try_decode(bytearray.fromhex(vector["hex"]))
        assert (status, packet.layout) == ("ok", vector["layout"]), vector
        fields = plan.layout(packet.layout).fields
        for field, value in zip(fields, packet.values.values(), strict=True):
            told = vector["values"][field.name]
            if type(value) is int:
                told = to_base(field, told) + field.origin
            assert value == told, vector
        ages = [point.get("age") for point in vector.get("trail", [])]
        assert [point.age_s for point in packet.trail] == ages, vector


def test_faults_are_those_of_the_codec_to_the_bit():
    met = set()
    for schema in (STARTER, BARE):
        codec, made = Codec(schema), module(schema)
        for data in to_decode(seeded(7), codec, 300):
            try:
                codec.decode(data)
                wanted = None
            except PacketFault as fault:
                wanted = fault.status, fault.offset
            try:
                made.decode(data)
                said = None
            except made.PacketFault as fault:
                said = fault.status, fault.offset
            assert said == wanted, data.hex()
            met.add(wanted and wanted[0])
    assert met == {None, *FAULTS}


BAD_VALUES = [
    ({"latitude_e7": 900_000_001}, "latitude_e7", "latitude_e7: 900000001 is outside -900000000..900000000"),
    ({"collar": 256}, "collar", "collar: 256 is outside 0..255"),
    ({"collar": True}, "collar", "collar: True is not a whole number"),
    ({"battery_mv": 3.7}, "battery_mv", "battery_mv: 3.7 is not a whole number"),
    ({"battery_mv": None}, "battery_mv", "battery_mv: missing, and not optional"),
    ({"battery": 3700}, "battery", "battery: no such value"),
]


@pytest.mark.parametrize(("values", "field", "words"), BAD_VALUES)
def test_a_refusal_names_value_and_bound(values, field, words):
    made = module(STARTER)
    usual = {"collar": 1, "counter": 2, "battery_mv": 3700, "fix_quality": 1}
    with pytest.raises(made.ValueFault) as caught:
        made.encode("position", {**usual, **values})
    assert (str(caught.value), caught.value.layout, caught.value.field) == (words, "position", field)


@pytest.mark.parametrize(
    "point",
    [
        (),
        (1,),
        (900_000_001, 0),
        (0, -1_800_000_001),
        (1.0, 2),
        (1, True),
        (1, 2, "3"),
        (1, 2, None, -1),
        (1, 2, None, 1 << 31),
    ],
)
def test_points_that_are_no_position_are_refused(point):
    made = module(STARTER)
    usual = {"collar": 1, "counter": 2, "battery_mv": 3700, "fix_quality": 1}
    with pytest.raises(made.ValueFault, match="trail: point 2: "):
        made.encode("track", usual, [(1, 2), point])
    with pytest.raises(made.ValueFault, match="carries none"):
        made.encode("position", usual, [(1, 2)])


def test_what_a_receiver_prints_is_read_as_the_rule_says():
    made, draw = module(STARTER), random.Random(1)  # noqa: S311
    texts = [
        "4630.7404",
        "18000",
        "9000.0000001",
        "9000.000003",
        "0000.0000029",
        "0000.000003",
        "46.30",
        "",
        "4660.0",
        "463",
        "x",
    ]
    texts += [f"{draw.randrange(19000):04d}.{draw.randrange(10**8):0{draw.choice((8, 9))}d}" for _ in range(500)]
    for text in texts:
        for hemisphere in ("N", "S", "E", "W", "n", ""):
            try:
                said = str(made.degrees(text, hemisphere))
            except ValueError:
                said = "refused"
            assert said == degrees(text, hemisphere), (text, hemisphere)


# --- memory ---------------------------------------------------------------------------------------------------------


def schema_of_trail(spacing: str) -> Schema:
    return Schema.parse(
        f"""
        name = "herd"
        version = 1
        [[layouts]]
        name = "track"
        id = 1
        fields = [
          {{ kind = "latitude" }}, {{ kind = "longitude" }},
          {{ kind = "number", name = "pace", unit = "s", minimum = 10, maximum = 100, resolution = 10 }},
        ]
        trail = {{ points = 6, resolution_m = 5, spacing = {spacing}, altitude_resolution = 1 }}
    """.replace(", altitude_resolution = 1", "")
    )


def remembered(memory, now: int) -> list[tuple[int, int]]:
    return [(point.longitude_e7, point.age_s) for point in memory.points(now)]


@pytest.mark.parametrize("spacing", ["30", '"pace"', '"coded"'])
def test_memory_holds_what_a_log_looked_back_into_holds(spacing):
    made, draw = module(schema_of_trail(spacing)), random.Random(5)  # noqa: S311
    seconds = 0 if spacing == '"coded"' else 30
    for _ in range(40):
        memory, history, now = made.TrailMemory("track", 30, 0), History(()), 0
        for _ in range(150):
            now += draw.choice((1, 1, 2, 5, 29, 30, 31, draw.randrange(1, 90)))
            if draw.random() < 0.8:
                memory.remember(now, 465_000_000, now)
                history.add(Fix(float(now), 46.5, now / 1e7))
            if draw.random() < 0.01:
                now -= draw.randrange(40)
                memory.remember(now, 465_000_000, now)
                history.add(Fix(float(now), 46.5, now / 1e7))
            asked = now + draw.choice((0, 0, 7))
            wanted = [(round(point.longitude * 1e7), point.age) for point in history.points(asked, count=6, spacing=seconds)]
            assert remembered(memory, asked) == wanted


def test_a_gap_ends_the_list_where_a_place_is_an_age():
    memory = module(schema_of_trail("30")).TrailMemory("track")
    for time in (0, 30, 60, 120, 150):
        memory.remember(time, 465_000_000, time)
    assert remembered(memory, 180) == [(150, 30), (120, 60)]
    assert remembered(memory, 30) == [(0, 30)]
    coded = module(schema_of_trail('"coded"')).TrailMemory("track")
    for time in (0, 30, 60, 120, 150):
        coded.remember(time, 465_000_000, time)
    assert remembered(coded, 180) == [(150, 30), (120, 60), (60, 120), (30, 150), (0, 180)]


def test_memory_stays_small_and_a_point_is_hardly_older_than_its_place_says():
    memory = module(schema_of_trail("3600")).TrailMemory("track")
    for time in range(40_000):
        memory.remember(time, 465_000_000, time)
    assert len(memory._kept) < 6 * 32 + 20
    assert len(memory.points(40_000)) == 6
    assert all(0 <= 40_000 - age - longitude <= 3600 // 16 for longitude, age in remembered(memory, 40_000))


def test_a_memory_wants_a_layout_with_a_trail_and_a_spacing():
    made = module(STARTER)
    for layout in ("position", "cow"):
        with pytest.raises(made.ValueFault):
            made.TrailMemory(layout)
    paced = module(schema_of_trail('"pace"'))
    with pytest.raises(paced.ValueFault, match="give the spacing"):
        paced.TrailMemory("track")


ASK = """
import pasture_packets as module


def answer(line):
    if line == "sync":
        return "?"
    memory = module.TrailMemory("track")
    for time in range(0, 400, 7):
        memory.remember(time, 465000000 + 10 * time, 1799997000 + 5 * time)
    try:
        module.encode("track", {"collar": "7"})
    except module.ValueFault as fault:
        said = "%s %s %s" % (fault, fault.layout, fault.field)
    points = memory.points(401)
    usual = {"collar": 1, "counter": 2, "battery_mv": 3700, "fix_quality": 1}
    usual["latitude_e7"], usual["longitude_e7"] = 465004010, 1799999999
    data = module.encode("track", usual, points)
    packet = module.decode(data)
    values = sorted(packet.values.items())
    return "%r %r %r %r %s" % ([tuple(point) for point in points], data, values, packet.trail, said)
"""


def test_memory_and_faults_are_the_same_under_micropython():
    micropython()
    files = {**write_harness(compile_plan(STARTER)), "harness.py": ASK}
    target = build(HARNESSES["micropython"], files, tool=tool("node", "nodejs"), timeout=30)
    try:
        (said,) = target.ask(["go"]).lines
    finally:
        target.close()
    scope = {"module": module(STARTER)}
    exec(ASK.replace("import pasture_packets as module", ""), scope)  # noqa: S102  # the same lines
    wanted = scope["answer"]("go")
    assert len(scope["module"].TrailMemory("track").points(0)) == 0
    assert said.replace(" ", "") == wanted.replace(" ", "")


# --- low bits -------------------------------------------------------------------------------------------------------


def in_units(field, base):
    """Base units in the field's unit."""
    if base is None or field.kind.form is Form.FLAG:
        return base
    return base + field.origin if field.scale == 1 else base / field.scale


@pytest.mark.slow
def test_low_bits_are_sent_and_found_again_as_by_the_codec():
    codec, made, draw = Codec(LOW), module(LOW), random.Random(3)  # noqa: S311
    met = Counter()
    for _ in range(3000):
        layout = draw.choice(codec.plan.layouts)
        keyed = dict(PythonLayout(layout).items)
        bases, around = {}, {}
        for key, field in keyed.items():
            code = draw.choice((0, 1, field.max_code // 2, field.max_code, draw.randrange(field.max_code + 1)))
            bases[key] = from_raw(field, code)
            if field.low_bits:
                reach = field.low_bits.reach
                off = draw.choice((0, 1, -1, reach, -reach, reach + 1, draw.randrange(-reach, reach))) * field.step
                around[key] = bases[key] + off if draw.random() < 0.97 else None
            if field.absent_code is not None and draw.random() < 0.1:
                bases[key] = None
        given = {key: None if base is None else base + keyed[key].origin for key, base in bases.items()}
        data = made.encode(layout.name, given)
        assert data == codec.encode(layout.name, {field.name: in_units(field, bases[key]) for key, field in keyed.items()})
        known = {keyed[key].name: in_units(keyed[key], base) for key, base in around.items()}
        wanted, packet = codec.try_decode(data, reference=known)
        said, other = made.try_decode(data, {k: None if b is None else b + keyed[k].origin for k, b in around.items()})
        assert said == wanted, (data.hex(), around)
        if packet:
            told = {key: packet.values[field.name] for key, field in keyed.items()}
            assert other.values == {key: v and round(v * keyed[key].scale) for key, v in told.items()}
        met[said] += 1
    assert met.keys() == {"ok", "bad_check"}
    assert min(met.values()) > 300


def test_a_reference_is_a_whole_number():
    made = module(LOW)
    data = made.encode("plain", {"longitude_e7": 98_000_000, "altitude_cm": 210_000})
    assert made.decode(data, {"longitude_e7": 98_000_000, "altitude_cm": 211_000}).values["altitude_cm"] == 210_000
    with pytest.raises(made.ValueFault, match=r"reference: altitude_cm: 2100\.0 is not a whole number"):
        made.decode(data, {"longitude_e7": 98_000_000, "altitude_cm": 2100.0})
