"""The plan: places of bits, the fingerprint, what two versions differ in, the promise in metres."""

import re

import pytest

from packetcodec.schema import Schema
from packetcodec.starter import schema_text
from packetcodec.wire import compile_plan, pack, position_bound, promised, text_line
from packetcodec.wire.compare import compare

TEXT = schema_text()


def plan(text=TEXT):
    return compile_plan(Schema.parse(text))


def test_fields_stand_back_to_back_behind_the_header_and_zero_bits_fill_the_last_byte():
    for layout in plan().layouts:
        offset = 8
        for field in layout.fields:
            assert field.offset == offset
            offset += field.bits
        assert layout.bits == offset
        if layout.trail is None:
            assert 0 <= layout.padding < 8
            assert (layout.bits + layout.padding) % 8 == 0
            assert layout.size * 8 == layout.bits + layout.padding + 16
        else:
            assert layout.size < layout.longest == layout.trail.packet_bytes


# What a decoder does not read does not count.
SILENT = [
    ('name = "pasture"', 'name = "alp"'),
    ('name = "position"', 'name = "place"'),
    ('name = "collar"', 'name = "tag"'),
    ('doc = "Sent now and then', 'doc = "Sent rarely'),
    ('note = "First version."', 'note = "The first."'),
    ("resolution = 0.02 }", 'resolution = 0.02, policy = "refuse" }'),
    ("resolution_m = 2.5", "resolution_m = 2.499"),
    ('unit = "°C"', 'unit = "degC"'),
    ('"resting", "grazing"', '"lying", "eating"'),
    ("# Edit it", "# Please edit it"),
]
LOUD = [
    ("version = 1 ", "version = 2 "),
    ("version_bits = 4", "version_bits = 3"),
    ("id = 3", "id = 4"),
    ("CRC-16/M17", "CRC-16/EN-13757"),
    ("bits = 12, optional = true", "bits = 12"),
    ("bits = 12, optional", "bits = 13, optional"),
    ("resolution_m = 2.5, optional", "resolution_m = 5, optional"),
    ("minimum = -40", "minimum = -30"),
    (
        'kind = "hdop", resolution = 0.2, maximum = 12.4',
        'kind = "number", minimum = 0, resolution = 0.2, maximum = 12.4',
    ),
    ("epoch = 2026-01-01", "epoch = 2026-01-02"),
    ('"walking", "alarm"]', '"walking"]'),
    ("points = 10", "points = 11"),
    ("speed = 0.5", "speed = 5"),
    ("speed = 0.5 ", "wandering = true, initial_scale = 6, scale_rate = 1 ".replace(", ", "\n")),
    ("packet_bytes = 32", "packet_bytes = 33"),
    ('too_long = "drop"', 'too_long = "coarsen"'),
    ("spacing = 30 ", "spacing = 31 "),
]


@pytest.mark.parametrize(("old", "new"), SILENT)
def test_renaming_and_commenting_keep_the_fingerprint(old, new):
    assert old in TEXT
    assert plan(TEXT.replace(old, new)).fingerprint == plan().fingerprint


@pytest.mark.parametrize(("old", "new"), LOUD)
def test_whatever_changes_the_wire_changes_the_fingerprint(old, new):
    assert old in TEXT
    assert plan(TEXT.replace(old, new)).fingerprint != plan().fingerprint


@pytest.mark.parametrize(("old", "new"), SILENT + LOUD)
def test_compare_calls_a_change_a_change_of_the_wire_just_when_the_fingerprint_moves(old, new):
    if old.startswith(("#", "note")) or (old.startswith("resolution_m = 2.5") and "2.499" in new):
        return  # what the plan does not hold cannot be compared
    outcome = compare(plan(), plan(TEXT.replace(old, new)))
    assert outcome.differences
    assert any(item.wire for item in outcome.differences) is ((old, new) in LOUD)


def test_compare_says_to_raise_the_version_when_the_wire_changed_under_the_same_number():
    outcome = compare(plan(), plan(TEXT.replace("bits = 12, optional", "bits = 13, optional")))
    assert any("RAISE THE VERSION" in line for line in outcome.receivers)
    assert any("bad_check" in line for line in outcome.receivers)


def test_a_name_that_moves_to_another_code_needs_a_version_and_a_new_name_of_a_code_does_not():
    moved = compare(plan(), plan(TEXT.replace('"grazing", "walking"', '"walking", "grazing"')))
    assert (moved.wire, moved.meaning, moved.unversioned) == (False, True, True)
    assert moved.receivers[0].startswith("The bytes are the same, but codes mean other names: RAISE THE VERSION.")
    renamed = compare(plan(), plan(TEXT.replace('"grazing", "walking"', '"feeding", "walking"')))
    assert (renamed.meaning, renamed.unversioned) == (False, False)
    raised = TEXT.replace("version = 1 ", "version = 2 ").replace('"grazing", "walking"', '"walking", "grazing"')
    assert not compare(plan(), plan(raised)).unversioned


def test_another_unit_of_a_number_is_asked_about_and_a_finer_step_names_no_range():
    (words,) = compare(plan(), plan(TEXT.replace('unit = "°C"', 'unit = "°F"'))).warnings
    assert "unit °C -> °F: if that is another unit" in words
    finer = compare(plan(), plan(TEXT.replace("resolution = 0.5", "resolution = 0.25")))
    assert [item.what.split()[0] for item in finer.differences if "temperature" in item.place] == ["width", "step", "absent"]


def test_compare_follows_a_field_that_was_renamed_and_moved():
    swapped = re.sub(r"(  \{ kind = \"counter\".*\n)(  \{ kind = \"latitude\".*\n)", r"\2\1", TEXT).replace(
        'name = "temperature"', 'name = "warmth"'
    )
    said = {(item.place, item.what): item.wire for item in compare(plan(), plan(swapped)).differences}
    assert said[('layout "position", counter', "moved from bit 16 to bit 39")]
    assert said[('layout "status", warmth', 'was called "temperature"')] is False


def test_compare_of_two_versions_tells_what_each_receiver_does():
    outcome = compare(plan(), plan(TEXT.replace("version = 1 ", "version = 2 ")))
    assert not outcome.wire
    assert any("decodes each packet by the version" in line for line in outcome.receivers)
    assert any("unknown_version to version 2" in line for line in outcome.receivers)


def test_another_header_makes_two_versions_inseparable():
    outcome = compare(plan(), plan(TEXT.replace("version_bits = 4", "version_bits = 3")))
    assert any("cannot tell them apart" in line for line in outcome.receivers)


def test_bind_schema_moves_the_start_of_the_crc_and_nothing_else():
    bound, free = plan(), plan(TEXT.replace("bind_schema = true", "bind_schema = false"))
    assert free.seed == free.crc.initial
    assert bound.seed == bound.crc.register_after(bytes.fromhex(bound.fingerprint))
    assert bound.fingerprint == free.fingerprint


@pytest.mark.parametrize("count", [0, 2, 8])
def test_codes_that_are_not_one_for_each_field_are_no_packet(count):
    plan = compile_plan(Schema.parse(schema_text()))
    with pytest.raises(ValueError, match=f"{count} codes for the 7 fields of layout 'position'"):
        pack(plan, plan.layout("position"), (1,) * count)


def test_a_position_is_promised_within_half_a_cell_each_way():
    layout = plan().layout("position")
    # Steps of 223 and 224 base units of 1e-7 degree: half a step and half a base unit, in metres at the longest degree.
    latitude, longitude = 111.5e-7 * 111_693.98, 112.5e-7 * 111_319.49
    assert position_bound(layout) == pytest.approx((latitude**2 + longitude**2) ** 0.5, rel=1e-6)
    # A promise is shown rounded up, never to the nearest.
    assert [promised(2.97254), promised(2.97), promised(1.1), promised(2.0001, 3)] == ["2.98", "2.97", "1.10", "2.001"]
    assert position_bound(plan().layout("status")) is None


def test_the_text_line_is_as_fine_as_the_packet():
    layout = plan().layout("position")
    values = {"collar": 7, "counter": 44, "latitude": 46.512349, "longitude": None, "altitude": 2104.0, "battery": 3.72}
    assert text_line(layout, {**values, "fix_quality": 1}) == "7,44,46.51235,,2104,3.72,1"
