"""new, check, compare, spec, kinds: commands about a schema."""

import json
from math import hypot

import pytest

from packetcodec.schema import KINDS, Schema
from packetcodec.schema.json_schema import json_schema
from packetcodec.schema.keys import TABLES
from packetcodec.starter import schema_text
from packetcodec.wire import compile_plan, max_error


def test_new_writes_a_schema_that_checks_and_leaves_a_file_alone(cli):
    assert cli("new", "mine.toml")[0] == 0
    assert cli("check", "mine.toml")[0] == 0
    (cli.folder / "mine.toml").write_text("mine", encoding="utf-8")
    status, _, err = cli("new", "mine.toml")
    assert (status, err) == (1, "packetcodec: mine.toml: exists already and is left alone\n")
    assert (cli.folder / "mine.toml").read_text(encoding="utf-8") == "mine"


def test_check_tells_what_was_chosen_and_what_it_promises(cli):
    status, out, err = cli("check", "pasture.toml")
    assert status == 0
    for words in (
        'layout "position", id 1: 14 bytes',
        "resolution 2.5 m",
        "23",
        "1.77 m",
        "Hamming distance 5",
        "65,536",
    ):
        assert words in out
    assert err == ""
    report = json.loads(cli("check", "pasture.toml", "--json")[1])
    assert [layout["bytes"] for layout in report["layouts"]] == [14, 14, 12]
    assert report["layouts"][0]["hamming_distance"] == 5


@pytest.mark.slow
@pytest.mark.parametrize("resolution", ["2.5", "3.3", "4.2", "25"])
def test_a_promise_is_rounded_up_and_is_the_same_everywhere(cli, resolution):
    text = schema_text().replace("resolution_m = 2.5", f"resolution_m = {resolution}")
    (cli.folder / "mine.toml").write_text(text, encoding="utf-8")
    layout = compile_plan(Schema.parse(text)).layout("track")
    exact = hypot(*(float(max_error(field)) * field.unit.metres for field in layout.fields[2:4]))
    bound = json.loads(cli("check", "mine.toml", "--json")[1])["layouts"][1]["position_bound_m"]
    assert exact <= bound < exact + 0.01
    report = json.loads(cli("replay", "-s", "mine.toml", "--layout", "track", "--json")[1])
    assert report["position_bound_m"] == bound
    assert f"{bound:.2f} m" in cli("replay", "-s", "mine.toml", "--layout", "track")[1]
    assert f"at most {bound:.2f} m" in cli("check", "mine.toml")[1]
    assert f"{bound:.2f} m" in cli("spec", "mine.toml")[1]
    trail = report["trail_bound_m"]
    assert f"at most {trail:.2f} m" in cli("check", "mine.toml")[1]
    assert f"{trail:.2f} m" in cli("spec", "mine.toml")[1]


@pytest.mark.slow
def test_a_modem_polynomial_is_warned_of_and_a_check_too_weak_for_its_length(cli):
    text = schema_text().replace("CRC-16/M17", "CRC-16/XMODEM")
    (cli.folder / "weak.toml").write_text(text, encoding="utf-8")
    assert "adds nothing" in cli("check", "weak.toml")[2]
    rows = ",".join(f'{{ kind = "identifier", name = "n{i}", bits = 32 }}' for i in range(6))
    text = schema_text().replace(
        '{ kind = "flag", name = "gate_open", doc = "the collar saw the gate\'s beacon open" }', rows
    )
    (cli.folder / "long.toml").write_text(text, encoding="utf-8")
    for command in ("check", "airtime"):
        assert "too weak for" in cli(command, "long.toml")[2]
        assert "too weak for" not in cli(command, "pasture.toml")[2]


def test_check_says_that_180_comes_back_as_minus_180_where_the_longitude_is_a_circle(cli):
    words = "A longitude of 180 degrees is the same place as -180 degrees, and comes back as -180."
    assert words in " ".join(cli("check", "pasture.toml")[1].split())
    text = schema_text().replace('kind = "longitude"', 'kind = "longitude", minimum = 5, maximum = 180')
    (cli.folder / "half.toml").write_text(text, encoding="utf-8")
    status, out, err = cli("check", "half.toml")
    assert (status, "comes back" in out + err) == (0, False)


def test_every_fault_of_a_schema_is_a_line_with_file_and_place(cli):
    text = schema_text().replace("bits = 12", "bits = 99", 1).replace('kind = "flag"', 'kind = "flak"')
    (cli.folder / "bad.toml").write_text(text, encoding="utf-8")
    status, out, err = cli("check", "bad.toml")
    assert (status, out) == (1, "")
    assert len(err.splitlines()) == 2
    assert all(line.startswith("packetcodec: bad.toml: line ") for line in err.splitlines())


def test_compare_says_what_changes_the_wire(cli):
    text = schema_text().replace("bits = 12, optional", "bits = 13, optional").replace("Sent now", "Sent seldom")
    (cli.folder / "next.toml").write_text(text, encoding="utf-8")
    status, out, _ = cli("compare", "pasture.toml", "next.toml")
    assert status == 1
    assert "width 12 -> 13 bits" in out
    assert "remark changed" in out
    assert "RAISE THE VERSION" in out
    status, out, _ = cli("compare", "pasture.toml", "next.toml", "--json")
    report = json.loads(out)
    assert (status, report["changes_wire"], report["unversioned"]) == (1, True, True)
    status, out, _ = cli("compare", "pasture.toml", "pasture.toml")
    assert status == 0
    assert "The two are the same." in out


EXTRA = """
[[layouts]]
name = "gate"
id = 9
fields = [{ kind = "flag", name = "open" }]
"""
FREE = schema_text().replace("bind_schema = true", "bind_schema = false")


@pytest.mark.parametrize(
    ("old", "new", "status", "words"),
    [
        (FREE, FREE + EXTRA, 0, "the version may stay"),
        (FREE + EXTRA, FREE, 1, "RAISE THE VERSION"),
        (schema_text(), schema_text() + EXTRA, 1, "RAISE THE VERSION"),
        (FREE, FREE.replace("bits = 12, optional", "bits = 13, optional") + EXTRA, 1, "RAISE THE VERSION"),
        (FREE, FREE.replace("version = 1 ", "version = 2 ", 1) + EXTRA, 0, "by the version in its header"),
        (FREE.replace("version = 1 ", "version = 2 ", 1), FREE, 1, "by the version in its header"),
        (
            FREE,
            FREE.replace("layout_bits = 4", "layout_bits = 3").replace("version = 1 ", "version = 2 ", 1),
            1,
            "no receiver",
        ),
        (FREE, FREE.replace("version_bits = 4", "version_bits = 3"), 1, "no receiver"),
        (FREE, FREE.replace("Sent now", "Sent seldom"), 0, "the version may stay"),
    ],
    ids=["added", "removed", "bound", "changed", "raised", "down", "header", "same version, header", "remark"],
)
def test_compare_fails_a_build_where_the_version_does_not_tell_packets_apart(cli, old, new, status, words):
    (cli.folder / "old.toml").write_text(old, encoding="utf-8")
    (cli.folder / "new.toml").write_text(new, encoding="utf-8")
    found, out, _ = cli("compare", "old.toml", "new.toml")
    assert found == status
    assert words in out


def test_spec_prints_the_text_and_writes_both_files(cli):
    status, out, _ = cli("spec", "pasture.toml")
    assert status == 0
    assert out.startswith("# pasture, version 1")
    assert json.loads(cli("spec", "pasture.toml", "--vectors")[1])["schema"] == "pasture"
    assert cli("spec", "pasture.toml", "-o", "out")[0] == 0
    assert cli("spec", "pasture.toml", "--vectors", "-o", "out")[::2] == (
        2, "packetcodec spec: --vectors: prints the vectors; --output writes them too\n",
    )  # fmt: skip
    written = {path.name: path.read_text(encoding="utf-8") for path in (cli.folder / "out").iterdir()}
    assert json.loads(written.pop("pasture-v1.vectors.json"))["schema"] == "pasture"
    assert out.startswith(written["pasture-v1.md"])
    assert sorted(out) == sorted("".join(written.values()))


def test_dates_stand_where_seconds_would_say_nothing(cli):
    out = cli("check", "pasture.toml")[1]
    # 2026 began at 1767225600 (Unix seconds); 20 bits of minutes later is 2027-12-30 04:15 (computed by hand).
    assert "2026-01-01T00:00Z..2027-12-30T04:15Z" in out
    assert "1767225600" not in out
    assert "half a base unit where the value is first rounded" in out


def test_a_byte_order_mark_before_a_schema_is_no_fault(cli):
    (cli.folder / "marked.toml").write_text("\ufeff" + schema_text(), encoding="utf-8")
    assert cli("check", "marked.toml")[0::2] == (0, "")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a = " + "[" * 100_000, "line 1, column 13: not a schema: nested more than 8 levels deep"),
        ("version = " + "9" * 10_000, "a number has too many digits"),
        ("version = " + "9" * 4_000, "a number of 13288 bits is outside 0..15"),
        ("#" * (1 << 20) + "\n", "longer than 1,048,576 bytes"),
        (
            schema_text().replace("maximum = 4.5", "maximum = 1e999999"),
            "maximum: 1E+999999 is outside -1000000000000000..1000000000000000",
        ),
        (schema_text().replace("bits = 12, optional", "bits = 12, max = 9, optional"), "did you mean maximum?"),
        (schema_text().replace("minimum = 2.5, maximum = 4.5", 'unit = "%"'), "did you mean percent?"),
    ],
    ids=["brackets", "digits", "long", "file", "decimal", "key", "unit"],
)
def test_a_poisoned_schema_is_a_clear_line(cli, text, words):
    (cli.folder / "poison.toml").write_text(text, encoding="utf-8")
    status, out, err = cli("check", "poison.toml")
    assert (status, out) == (1, "")
    assert words in err
    assert max(map(len, err.splitlines())) < 300


def test_what_has_no_end_is_not_read_to_its_end(cli):
    assert "longer than 1,048,576 bytes" in cli("check", "/dev/zero")[2]


def test_kinds_lists_every_kind_with_its_units_and_keys(cli):
    out = cli("kinds")[1]
    assert all(kind in out and unit in out for kind in KINDS for unit in KINDS[kind].units)
    report = json.loads(cli("kinds", "--json")[1])
    kinds = {row["kind"]: row for row in report["kinds"]}
    assert list(kinds) == list(KINDS)
    assert all(set(kinds[kind]["keys"]) == KINDS[kind].keys for kind in KINDS)
    assert kinds["battery"]["units"][1] == {"unit": "percent", "symbol": "%", "minimum": 0, "maximum": 100, "step": 1}


def test_kinds_lists_every_key_of_a_schema_with_its_meaning_bounds_and_default(cli):
    out = " ".join(cli("kinds")[1].split())
    rows = [row for keys in TABLES.values() for row in keys.keys.values()]
    assert all(f"{row.name} {row.type}" in out and row.meaning in out for row in rows)
    assert "points integer [point] 1..63 10 most points" in out
    assert "spacing seconds or text [s] 1..86400 required from point to point" in out
    report = json.loads(cli("kinds", "--json")[1])["keys"]
    assert [(row["table"], row["key"]) for row in report] == [
        (keys.written, key) for keys in TABLES.values() for key in keys.keys
    ]


def test_new_writes_a_json_schema_beside_the_file_and_names_it_in_the_first_line(cli):
    said = cli("new", "mine.toml")[2]
    assert "wrote packetcodec.schema.json, for editors" in said
    assert (cli.folder / "mine.toml").read_text(encoding="utf-8") == f"#:schema ./packetcodec.schema.json\n{schema_text()}"
    written = (cli.folder / "packetcodec.schema.json").read_text(encoding="utf-8")
    assert json.loads(written) == json_schema() == json.loads(cli("kinds", "--json-schema")[1])
    assert "json" not in cli("new", "second.toml")[2]
    (cli.folder / "packetcodec.schema.json").write_text("mine", encoding="utf-8")
    status, _, said = cli("new", "third.toml")
    assert (status, said.count("packetcodec.schema.json: exists already and is left alone")) == (0, 1)
    assert (cli.folder / "packetcodec.schema.json").read_text(encoding="utf-8") == "mine"


def test_compare_tells_sizes_airtimes_remarks_and_a_version_that_goes_down(cli):
    text = schema_text().replace("bits = 12, optional", "bits = 28, optional").replace("version = 1 ", "version = 2 ", 1)
    text = text.replace("to a receiver in the hut", "to the hut")
    (cli.folder / "next.toml").write_text(text, encoding="utf-8")
    status, out, err = cli("compare", "pasture.toml", "next.toml")
    assert (status, err) == (0, "")
    assert "14 -> 16" in out
    # 14 and 16 bytes at SF10, 125 kHz, 4/5: 288.8 and 329.7 ms (computed from the reference drivers).
    assert "288.8 -> 329.7 ms" in out
    assert "schema  remark changed" in out
    assert "the version goes down, 2 -> 1" in cli("compare", "next.toml", "pasture.toml")[2]
    report = json.loads(cli("compare", "pasture.toml", "next.toml", "--json")[1])
    assert report["sizes"][0]["bytes"] == [14, 16]


def test_an_empty_name_is_one_line(cli):
    assert cli("new", "") == (2, "", "packetcodec new: the name of the file to write is empty\n")


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ("version = 1 ", "verson = 1 "),
        ("id = 1", "idd = 1"),
        ("minimum = 2.5", "minimm = 2.5"),
        ('kind = "altitude"', 'knd = "altitude"'),
        ("points = 10", "pionts = 10"),
        ("spacing = 30", "spaceing = 30"),
    ],
)
def test_a_misspelt_key_is_one_fault_and_not_a_missing_one_too(cli, right, wrong):
    (cli.folder / "wrong.toml").write_text(schema_text().replace(right, wrong, 1), encoding="utf-8")
    status, out, err = cli("check", "wrong.toml")
    assert (status, out, len(err.splitlines())) == (1, "", 1)
    assert f"did you mean {right.split(' ')[0]}?" in err


def test_a_misspelt_range_of_a_number_is_one_fault(cli):
    field = '{ kind = "number", name = "x", minimm = 0, maximum = 9, resolution = 1 },\n  { kind = "battery"'
    (cli.folder / "wrong.toml").write_text(schema_text().replace('{ kind = "battery"', field, 1), encoding="utf-8")
    err = cli("check", "wrong.toml")[2]
    assert len(err.splitlines()) == 1
    assert "minimm: not a key of a field of kind number; did you mean minimum?" in err
