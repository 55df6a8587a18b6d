"""Reading a schema file: what is accepted, and what is said about what is not."""

import copy
import pickle
import re
from decimal import Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packetcodec.errors import SchemaFault
from packetcodec.frozen import replace
from packetcodec.schema import KINDS, METRES_PER_DEGREE_NORTH, CodedSpacing, ConstantSpacing, FieldSpacing, Schema
from packetcodec.starter import schema_text
from packetcodec.wire import compile_plan, max_error, position_bound, to_base, to_raw, to_value, trail_bound
from tests.support import schemas

TEMPLATE = """\
name = "pasture"
version = 1
[[layouts]]
name = "beacon"
id = 1
fields = [
  {field},
]
"""


def field(text):
    """The field that a table of one schema row becomes."""
    return Schema.parse(TEMPLATE.format(field="{ " + text + " }")).layouts[0].fields[0]


def faults(text):
    with pytest.raises(SchemaFault) as caught:
        Schema.parse(text)
    return [str(problem) for problem in caught.value.problems]


def test_the_starter_schema_reads_without_a_fault():
    schema = Schema.parse(schema_text())
    assert [layout.name for layout in schema.layouts] == ["position", "track", "status"]
    assert schema.check.crc.polynomial != 0x1021


@pytest.mark.parametrize("name", list(KINDS))
def test_every_kind_has_a_field_that_needs_the_least_said(name):
    extra = {
        "time": ", epoch = 2026-01-01T00:00:00Z",
        "choice": ', choices = ["a", "b"]',
        "number": ", minimum = 0, maximum = 5, bits = 4",
    }
    assert field(f'kind = "{name}"{extra.get(name, "")}').grid.bits <= 32


# (row, bits, step in base units, last code): each worked out by hand from the step rule.
GRIDS = [
    ('kind = "latitude", bits = 24', 24, 108, 16_666_667),  # ceil(1.8e9 / 2**24) = 108 base units
    ('kind = "longitude", bits = 25', 25, 108, 33_333_333),  # 2**25 cells would be 107.3 units wide
    ('kind = "latitude", resolution = 0.00001', 25, 100, 18_000_000),
    ('kind = "longitude", resolution_m = 2.5', 24, 224, 16_071_428),  # 2.5 m / 111319.49 m = 224.58 units
    ('kind = "latitude", resolution_m = 2.5', 23, 223, 8_071_749),  # 2.5 m / 111693.98 m = 223.8 units
    ('kind = "latitude", minimum = 45, maximum = 48, bits = 20', 20, 29, 1_034_483),
    ('kind = "altitude", bits = 12, optional = true', 12, 233, 4077),
    ('kind = "battery", minimum = 2.5, maximum = 4.5, resolution = 0.02', 7, 20, 100),
    ('kind = "battery", unit = "percent"', 7, 1, 100),
    ('kind = "battery", unit = "percent", bits = 4', 4, 7, 14),
    ('kind = "fix_quality"', 4, 1, 8),
    ('kind = "fix_quality", bits = 3', 3, 1, 7),
    ('kind = "satellites", bits = 5, optional = true', 5, 1, 30),
    ('kind = "hdop"', 8, 10, 250),
    ('kind = "speed", unit = "knot", maximum = 102.2, resolution = 0.1', 10, 10, 1022),
    ('kind = "course"', 9, 100, 359),
    ('kind = "course", bits = 8', 8, 141, 255),
    ('kind = "time", epoch = 2026-01-01T00:00:00Z', 32, 1, 4_294_967_295),
    ('kind = "time", epoch = 2026-01-01T00:00:00Z, resolution = 60', 27, 60, 71_582_788),
    ('kind = "time", epoch = 2026-01-01T00:00:00Z, resolution = 60, bits = 30', 30, 60, 71_582_788),
    ('kind = "time", period = 3600', 12, 1, 3599),
    ('kind = "time", period = 86400, bits = 12', 12, 22, 3927),
    ('kind = "time", epoch = 2026-01-01T00:00:00Z, resolution = 60, bits = 20', 20, 60, 1_048_575),
    ('kind = "identifier", maximum = 1000', 10, 1, 1000),
    ('kind = "counter", bits = 6', 6, 1, 63),
    ('kind = "counter", bits = 6, optional = true', 6, 1, 62),
    ('kind = "flag"', 1, 1, 1),
    ('kind = "flag", optional = true', 2, 1, 1),
    ('kind = "choice", choices = ["a", "b", "c"]', 2, 1, 2),
    ('kind = "choice", choices = ["a", "b", "c"], bits = 4', 4, 1, 2),
    ('kind = "number", minimum = -40, maximum = 60, resolution = 0.5', 8, 5, 200),
    ('kind = "number", minimum = -210, maximum = 211.1081215, resolution = 0.0000001', 32, 1, 4_211_081_215),
]


@pytest.mark.parametrize(("row", "bits", "step", "last"), GRIDS, ids=[row[0] for row in GRIDS])
def test_bits_follow_from_a_resolution_and_a_step_from_bits(row, bits, step, last):
    grid = field(row).grid
    assert (grid.bits, grid.step, grid.max_code) == (bits, step, last)


@pytest.mark.parametrize("resolution", ["2", "5", "10", "0.2", "250", "1"])
def test_a_number_is_rounded_to_its_nearest_code_though_its_bounds_and_step_are_whole(resolution):
    got = (
        compile_plan(
            Schema.parse(
                f'{HEAD}[[layouts]]\nname = "a"\nid = 1\nfields = [{{ kind = "number", minimum = 0, maximum = 1000, '
                f"resolution = {resolution} }}]"
            )
        )
        .layouts[0]
        .fields[0]
    )
    half = float(resolution) / 2
    assert max_error(got) <= Fraction(resolution) / 2 * Fraction(101, 100)
    for value in (12.6, 13.0, 499.4, 637.35, 3.141, 999.4):
        nearest = min((code * 2 * half for code in range(got.max_code + 1)), key=lambda there: abs(there - value))
        there = to_value(got, to_raw(got, to_base(got, value)))
        assert abs(there - value) <= abs(nearest - value) + half / 50, (value, there, nearest)


def test_a_number_of_twelve_point_six_with_step_two_arrives_as_twelve():
    got = field('kind = "number", minimum = 0, maximum = 100, resolution = 2')
    assert (got.scale, got.grid.step, got.grid.bits) == (100, 200, 6)


def test_a_number_given_in_bits_loses_less_than_one_per_cent_to_its_base_unit():
    got = field('kind = "number", minimum = 0, maximum = 100, bits = 8')
    assert got.grid.step / got.scale == pytest.approx(100 / 255.5, rel=0.01)


def test_a_number_far_from_zero_may_be_given_in_bits():
    got = field('kind = "number", minimum = 100000, maximum = 100100, bits = 16')
    assert got.high < 2**31
    assert got.grid.step / got.scale <= 100 / 2**15


def test_a_narrowed_longitude_is_no_circle():
    assert field('kind = "longitude"').modulus
    assert not field('kind = "longitude", minimum = 5, maximum = 11').modulus


# (row, words that the message must have: place, bound, value)
FIELD_FAULTS = [
    ('kind = "altitud"', ["altitud", "did you mean altitude?"]),
    ('name = "x"', ["kind is missing", "latitude"]),
    ('kind = "altitude", bit = 3', ["bit", "not a key", "did you mean bits?"]),
    ('kind = "altitude", epoch = 3', ["epoch", "not a key of a field of kind altitude"]),
    ('kind = "identifier", bits = 33', ["33 is outside 1..32"]),
    ('kind = "identifier", bits = 0', ["0 is outside 1..32"]),
    ('kind = "identifier", bits = "8"', ["whole number", '"8"']),
    ('kind = "identifier", bits = true', ["whole number", "true"]),
    ('kind = "latitude", minimum = -91', ["-91 is outside -90..90"]),
    ('kind = "latitude", minimum = 46.00000001', ["46.00000001", "finer than the base unit, 1e-7 degree"]),
    ('kind = "latitude", resolution = 0', ["0 is not above 0"]),
    ('kind = "latitude", resolution = 0.00000001', ["finer than the base unit"]),
    ('kind = "latitude", resolution = nan', ["finite"]),
    ('kind = "latitude", bits = 20, resolution = 1', ["resolution and bits both given"]),
    ('kind = "altitude", minimum = 10, maximum = 10', ["minimum 10", "maximum 10"]),
    ('kind = "altitude", maximum = inf', ["finite"]),
    ('kind = "altitude", policy = "wrap"', ["only a circle can wrap"]),
    ('kind = "longitude", policy = "clip"', ["a circle has no end"]),
    ('kind = "altitude", policy = "drop"', ['"drop"', "clip, refuse"]),
    ('kind = "battery", unit = "amp"', ['"amp"', "volt, percent"]),
    ('kind = "fix_quality", bits = 3, maximum = 8', ["codes 0..8", "4 bits, not 3"]),
    ('kind = "flag", bits = 3', ["not a key of a field of kind flag"]),
    ('kind = "counter", bits = 32', ["32 is outside 1..31"]),
    ('kind = "number", minimum = 0, maximum = 1, resolution = 1e-16', ["more than 15 decimals"]),
    ('kind = "satellites", maximum = 256', ["256 is outside 1..255"]),
    ('kind = "altitude", bits = 1, optional = true', ["1 bit leave", "1 code beside absent"]),
    ('kind = "time"', ["needs an epoch", "or a period"]),
    ('kind = "time", epoch = 2026-01-01', ["offset", "2026-01-01"]),
    ('kind = "time", epoch = 2026-01-01T00:00:00Z, period = 60', ["an epoch or a period, not both"]),
    ('kind = "choice"', ["choices is missing: the names"]),
    ('kind = "choice", choices = ["a", "a"]', ['"a" stands twice']),
    ('kind = "choice", choices = ["Rest", "b"]', ['"Rest" is not a name']),
    ('kind = "choice", choices = ["a", "b", "c"], bits = 1', ["codes 0..2", "2 bits, not 1"]),
    ('kind = "number", bits = 3', ["minimum is missing"]),
    ('kind = "number", minimum = 0, maximum = 3', ["needs one of resolution, max_error, bits"]),
    ('kind = "number", minimum = -1, maximum = 3000000000, resolution = 1', ["32-bit"]),
    ('kind = "choice", choices = ["a"]', ["choices: must be a list of 2..256 names, not a list of 1 element"]),
    ('kind = "altitude", maximum = -499.7, resolution = 5', ["a step of 5 m leaves no second code in a range of 0.3 m"]),
    ('kind = "latitude", max_error_m = 0.005', ["max_error_m: 0.005 is finer than the base unit, 1e-7 degree"]),
    ('kind = "altitude", max_error = 0', ["max_error: 0 is not above 0"]),
    ('kind = "battery", resolution_m = 3', ["resolution_m: not a key of a field of kind battery"]),
    ('kind = "altitude", max_error_m = 3', ["max_error_m: not a key of a field of kind altitude; did you mean max_error?"]),
    ('kind = "latitude", max_error_m = 3, resolution_m = 3', ["resolution_m and max_error_m both given"]),
    ('kind = "time", epoch = 9999-12-31T23:59:59Z', ["9999-12-31 23:59:59+00:00", "leave the years 1 to 9999"]),
    ('kind = "time", epoch = 0001-01-01T00:00:00+23:59', ["leave the years 1 to 9999"]),
    ('kind = "altitude", name = "9x"', ['"9x" is not a name']),
    ('kind = "altitude", name = "Höhe"', ["is not a name"]),
    ('kind = "altitude", optional = "yes"', ["true or false", '"yes"']),
]


@pytest.mark.parametrize(("row", "words"), FIELD_FAULTS, ids=[row[0] for row in FIELD_FAULTS])
def test_a_fault_of_a_field_names_its_place_its_bound_and_the_value(row, words):
    said = faults(TEMPLATE.format(field="{ " + row + " }"))
    assert all(re.match(r'line 7, column \d+: layout 1 "beacon", field 1', line) for line in said)
    assert any(all(word in line for word in words) for line in said), said


HEAD = 'name = "pasture"\nversion = 1\n'
LAYOUT = '[[layouts]]\nname = "{name}"\nid = {id}\nfields = [{{ kind = "identifier" }}]\n'
FILE_FAULTS = [
    ("", ["name is missing", "version is missing", "layouts is missing"]),
    ("name = 'x", ["not TOML"]),
    (HEAD + "[header]\nversion_bits = 9\n", ["line 4, column 1: header, version_bits: 9 is outside 1..8"]),
    (HEAD + "header = 3\n", ["header: must be a table, not 3"]),
    (HEAD.replace("1", "16") + LAYOUT.format(name="a", id=1), ["line 2, column 1: version: 16 is outside 0..15"]),
    (HEAD + LAYOUT.format(name="a", id=16), ['line 5, column 1: layout 1 "a", id: 16 is outside 0..15']),
    (
        HEAD + LAYOUT.format(name="a", id=1) * 2,
        ['"a" is already the name of layout 1', "1 is already the id of layout 1"],
    ),
    (HEAD + LAYOUT.format(name="a", id=1).replace("id = 1\n", ""), ["id is missing: a number within 0..15"]),
    (HEAD + 'check = { crc = "CRC-16/DNPP" }\n' + LAYOUT.format(name="a", id=1), ["CRC-16/DNPP", "CRC-16/DNP"]),
    (HEAD + "check = { width = 12 }\n" + LAYOUT.format(name="a", id=1), ["12 is not one of 8, 16, 24, 32"]),
    (HEAD + "check = { width = 16, polynomial = 0x1020 }\n" + LAYOUT.format(name="a", id=1), ["even"]),
    (HEAD + 'check = { crc = "none", bind_schema = true }\n' + LAYOUT.format(name="a", id=1), ["no CRC to bind"]),
    (HEAD + "layouts = 3\n", ["layouts: must be a list of tables, not 3"]),
    (HEAD + '[[layouts]]\nname = "a"\nid = 1\nfields = [1]\n', ["must be a table, not 1"]),
    (
        HEAD + '[[layouts]]\nname = "a"\nid = 1\nfields = []\n',
        ["fields: must be a list of 1..63 tables, not a list of 0 elements"],
    ),
    (HEAD + LAYOUT.format(name="a", id=1) + "[[history]]\nversion = 1\n", ["note is missing"]),
]


@pytest.mark.parametrize(("text", "words"), FILE_FAULTS, ids=range(len(FILE_FAULTS)))
def test_a_fault_of_the_file_is_one_clear_line(text, words):
    said = faults(text)
    for word in words:
        assert any(word in line for line in said), said
    assert not any("\n" in line for line in said)


def test_faults_come_in_the_order_of_the_file_with_line_and_column():
    with pytest.raises(SchemaFault) as caught:
        Schema.parse(
            HEAD + '[[layouts]]\nid = 99\nfields = [{ kind = "counter", bits = 0 }]\nname = 3\n[check]\nwidth = 1\n'
        )
    places = [(problem.line, problem.column) for problem in caught.value.problems]
    assert places == [(4, 1), (5, 31), (6, 1), (8, 1)]


@pytest.mark.parametrize("again", [copy.copy, copy.deepcopy, lambda schema: pickle.loads(pickle.dumps(schema))])
@pytest.mark.parametrize("text", [schema_text(), *schemas.SCHEMAS.values()], ids=["starter", *schemas.SCHEMAS])
def test_a_schema_its_plan_and_their_parts_pickle_and_copy(text, again):
    schema = Schema.parse(text)
    assert again(schema) == schema
    assert again(compile_plan(schema)) == compile_plan(schema)
    for layout in schema.layouts:
        assert again(layout.fields) == layout.fields
        assert all(again(field.kind) is field.kind for field in layout.fields)


def test_a_fault_of_a_schema_pickles_and_copies():
    with pytest.raises(SchemaFault) as caught:
        Schema.parse(HEAD)
    for again in (pickle.loads(pickle.dumps(caught.value)), copy.copy(caught.value), copy.deepcopy(caught.value)):
        assert (again.problems, str(again)) == (caught.value.problems, str(caught.value))


def test_all_faults_of_a_file_are_reported_at_once():
    text = schema_text().replace("version = 1 ", "version = 99 ", 1).replace("bits = 12", "bits = 99", 1)
    text = text.replace('kind = "flag"', 'kind = "flak"').replace("CRC-16/M17", "CRC-16/NONE")
    assert len(faults(text)) == 4


BEACON = """\
{ kind = "latitude" }, { kind = "longitude" },
{ kind = "number", name = "gap", minimum = 0, maximum = 60, resolution = 1 }"""
TRAIL = HEAD + '[[layouts]]\nname = "a"\nid = 1\nfields = [BEACON]\ntrail = { TRAIL }\n'.replace(
    "BEACON", BEACON.replace("\n", " ")
)


def trail(text):
    return Schema.parse(TRAIL.replace("TRAIL", text)).layouts[0].trail


def test_speed_spacing_and_resolution_become_starting_values():
    # FIRST = speed * spacing / resolution, CHANGE = a fifth of it, both rounded and at least 1.
    got = trail("points = 10, resolution_m = 2.5, spacing = 10")
    assert (got.step, got.initial_scale, got.scale_rate, got.spacing) == (223, 16, 3, ConstantSpacing(10))
    got = trail("points = 10, resolution_m = 2.5, spacing = 30, speed = 0.5")
    assert (got.initial_scale, got.scale_rate, got.wandering) == (6, 1, False)
    # One that wanders: half of speed * spacing / resolution = 30, and its square root.
    got = trail("resolution_m = 2.5, spacing = 30, speed = 2.5, wandering = true")
    assert (got.initial_scale, got.scale_rate, got.wandering) == (15, 5, True)
    assert trail("resolution_m = 0.02, spacing = 86400, speed = 1000, wandering = true").scale_rate == 4096
    got = trail('resolution_m = 5, spacing = "gap", usual_spacing = 20, initial_scale = 7, scale_rate = 9')
    assert (got.points, got.spacing, got.initial_scale, got.scale_rate) == (10, FieldSpacing("gap"), 7, 9)
    assert trail('resolution_m = 5, spacing = "coded", usual_spacing = 20').spacing == CodedSpacing(20)
    assert trail('resolution_m = 100, spacing = 9, too_long = "coarsen"').coarsenings == 3  # 8926 << 3 still fits 32 bits
    assert trail("resolution_m = 5, spacing = 9, points = 4").packet_bytes == 25  # 9 of fields, 2 of check, 2 + 3 a point


def test_no_point_of_a_trail_gets_as_old_as_a_signed_number_of_32_bits_cannot_say():
    text = TRAIL.replace("maximum = 60", "maximum = 34087042").replace(
        "TRAIL", 'resolution_m = 5, spacing = "gap", points = 63'
    )
    layout = Schema.parse(text).layouts[0]
    assert 63 * layout.fields[2].high < 2**31
    with pytest.raises(SchemaFault, match="gap goes up to 34087043 s: a maximum of 34087042 s"):
        Schema.parse(text.replace("34087042", "34087043"))


TRAIL_FAULTS = [
    ("spacing = 10", ["needs a resolution_m or a max_error_m"]),
    ("resolution_m = 5", ["spacing is missing"]),
    ("resolution_m = 5, spacing = 0", ["spacing: 0 is outside 1..86400"]),
    ('resolution_m = 5, spacing = "pace"', ['"pace" is not a field of kind number', "one of gap"]),
    ("resolution_m = 0.01, spacing = 1", ["resolution_m: 0.01 is outside 0.02..1000 m"]),
    ("resolution_m = 5, max_error_m = 5, spacing = 1", ["resolution_m and max_error_m both given"]),
    ("max_error_m = 0.02, spacing = 1", ["max_error_m: 0.02 is outside 0.03..700 m"]),
    ("resolution_m = 5, spacing = 1, points = 64", ["points: 64 is outside 1..63"]),
    ("resolution_m = 5, spacing = 1, speed = 0", ["speed: 0 is outside 0.01..1000 m/s"]),
    ("resolution_m = 5, spacing = 1, altitude_resolution = 5", ["one field of kind altitude", "has 0"]),
    ("resolution_m = 5, spacing = 1, packet_bytes = 1", ["packet_bytes: 1 is below 11"]),
    ("resolution_m = 5, spacing = 1, packet_bytes = 10", ["packet_bytes: 10 is below 11"]),
    ("resolution_m = 5, spacing = 1, packet_bytes = 256", ["packet_bytes: 256 is outside 1..255"]),
    ('resolution_m = 5, spacing = 1, too_long = "cut"', ['"cut" is not one of drop, coarsen']),
    ("resolution_m = 5, spacing = 1, usual_spacing = 2", ["only where the spacing is a field or coded"]),
    ("resolution_m = 5, spacing = 1, point = 2", ["point: not a key of a trail; did you mean points?"]),
]


@pytest.mark.parametrize(("text", "words"), TRAIL_FAULTS, ids=[row[0] for row in TRAIL_FAULTS])
def test_a_fault_of_a_trail_names_its_place_its_bound_and_the_value(text, words):
    said = faults(TRAIL.replace("TRAIL", text))
    assert len(said) == 1
    assert re.match(r'line 7, column \d+: layout 1 "a", trail', said[0])
    assert all(word in said[0] for word in words), said


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ('"latitude"', '"latitud"', '"latitud" is not a kind; did you mean latitude?'),
        ('kind = "longitude"', 'kind = "longitude", max_error = "x"', "max_error: "),
        ('kind = "longitude"', 'kint = "longitude"', "kint: "),
        ('kind = "longitude"', 'kind = ["longitude"]', "is not a kind"),
        ("maximum = 60", "maximum = -60", "-60"),
        (BEACON.replace("\n", " "), "", "fields: "),
    ],
)
def test_a_field_at_fault_is_not_called_missing_by_its_trail(old, new, word):
    text = TRAIL.replace("TRAIL", 'resolution_m = 5, spacing = "gap"')
    assert old in text
    said = faults(text.replace(old, new))
    assert said
    assert not [fault for fault in said if "trail" in fault], said
    assert word in "".join(said)


def test_a_trail_still_asks_for_the_fields_that_no_row_at_fault_can_be():
    said = faults(
        TRAIL.replace("TRAIL", "resolution_m = 5, spacing = 1, altitude_resolution = 5").replace(
            '"latitude"', '"latitude", bits = 99'
        )
    )
    assert [fault.rpartition(": ")[2] for fault in said][1:] == ["needs one field of kind altitude, the layout has 0"]


def identifiers(count):
    rows = ", ".join(f'{{ kind = "identifier", name = "n{i}", bits = 32 }}' for i in range(count))
    return (
        HEAD + f'header = {{ version_bits = 8, layout_bits = 8 }}\nlayouts = [{{ name = "a", id = 1, fields = [{rows}] }}]\n'
    )


def layout_of(fields, rest=""):
    return compile_plan(Schema.parse(HEAD + f'[[layouts]]\nname = "a"\nid = 1\nfields = [{fields}]\n{rest}\n')).layouts[0]


#: From the base unit of a position (1e-7 degree, 1.1 cm) to a fifth of the globe.
METRES = st.decimals("0.012", 4_000_000, places=3)


def with_step(field, step):
    return replace(field, field=replace(field.field, grid=replace(field.field.grid, step=step)))


@given(METRES)
def test_a_position_asked_for_by_its_largest_error_is_never_further_off(metres):
    def asked(metres, more=""):
        key = f"max_error_m = {metres}{more}"
        return layout_of(f'{{ kind = "latitude", {key} }}, {{ kind = "longitude", {key} }}')

    layout = asked(metres)
    assert position_bound(layout) <= metres
    # A step two base units coarser (one of the same parity) would not do.
    coarser = [with_step(field, field.step + 2) for field in layout.fields]
    assert position_bound(replace(layout, fields=tuple(coarser))) > metres


@given(st.decimals("0.03", 700, places=2))
def test_a_trail_asked_for_by_its_largest_error_is_never_further_off(metres):
    place = '{ kind = "latitude", bits = 20 }, { kind = "longitude", bits = 20 }'
    layout = layout_of(place, f"trail = {{ max_error_m = {metres}, spacing = 9 }}")
    coarser = replace(layout, trail=replace(layout.trail, step=layout.trail.step + 1))
    assert trail_bound(layout) <= metres < trail_bound(coarser)


MEASURES = [
    ('kind = "altitude"', "0.01"), ('kind = "battery"', "0.001"), ('kind = "battery", unit = "percent"', "0.5"),
    ('kind = "hdop"', "0.005"), ('kind = "speed", unit = "km/h"', "0.005"), ('kind = "course"', "0.005"),
    ('kind = "number", minimum = -40, maximum = 60', "0.001"), ('kind = "number", minimum = 0, maximum = 100000', "0.1"),
    ('kind = "latitude"', "0.001"),
]  # fmt: skip


@given(st.sampled_from(MEASURES), st.decimals(1, 40, places=2))
def test_a_value_asked_for_by_its_largest_error_is_never_further_off(measure, times):
    row, least = measure
    error = times * Decimal(least)
    field = layout_of(f"{{ {row}, max_error = {error} }}").fields[0]
    assert error * Decimal("0.6") - Decimal(1) / field.scale <= max_error(field) <= error


def test_three_metres_are_what_check_promises_and_what_the_starter_says_of_them():
    fine = layout_of('{ kind = "latitude", resolution_m = 3 }, { kind = "longitude", resolution_m = 3 }')
    assert 2.1 < position_bound(fine) < 2.2
    layout = layout_of('{ kind = "latitude", max_error_m = 3 }, { kind = "longitude", max_error_m = 3 }')
    assert 2.98 < position_bound(layout) <= 3
    assert layout.fields[0].step / 10**7 * METRES_PER_DEGREE_NORTH == pytest.approx(4.2, abs=0.05)
    assert [field.field.requested for field in layout.fields] == ["max_error 3 m"] * 2


def test_a_packet_longer_than_a_radio_takes_is_refused():
    assert len(Schema.parse(identifiers(62)).layouts[0].fields) == 62
    assert faults(identifiers(63)) == [
        'line 4, column 12: layout 1 "a": the packet takes 256 bytes, at most 255 fit a radio\'s payload'
    ]


def test_a_layout_has_63_fields_at_most():
    assert 'line 4, column 34: layout 1 "a", fields: must be a list of 1..63 tables, not a list of 64 elements' in faults(
        identifiers(64)
    )


def test_a_file_that_is_not_text_is_one_fault(tmp_path):
    path = tmp_path / "pasture.toml"
    path.write_bytes(b"name = \xff")
    with pytest.raises(SchemaFault, match="UTF-8: byte 7 is 0xff"):
        Schema.load(path)


def test_sections_and_inline_tables_give_the_same_schema():
    inline = Schema.parse(TEMPLATE.format(field='{ kind = "altitude", bits = 12 }'))
    blocks = TEMPLATE.split("fields", maxsplit=1)[0] + '[[layouts.fields]]\nkind = "altitude"\nbits = 12\n'
    assert Schema.parse(blocks) == inline
    assert faults(blocks.replace("12", "99"))[0].startswith("line 8, column 1: layout 1")


@pytest.mark.parametrize("digits", [1, 3, 60])
def test_a_schema_means_the_same_whatever_arithmetic_a_program_has_set(digits):
    text = TEMPLATE.format(field='{ kind = "number", minimum = -0.125, maximum = 376.5, max_error = 0.3 }')
    with localcontext() as context:
        context.prec = digits
        here = Schema.parse(text)
    assert here == Schema.parse(text)
