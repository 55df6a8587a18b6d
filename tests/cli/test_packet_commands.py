"""encode and decode: streams of packets, good and bad."""

import json

import pytest

from packetcodec.cli.streams import MAX_LINE
from packetcodec.starter import schema_text

ROW = {
    "collar": 7,
    "counter": 1,
    "latitude": 46.5,
    "longitude": 9.9,
    "altitude": 2100,
    "battery": 3.7,
    "fix_quality": 1,
}


def test_encode_and_decode_are_a_pair(cli):
    lines = "\n".join(json.dumps({"layout": "position", "values": {**ROW, "counter": n}}) for n in range(3))
    status, out, err = cli("encode", "pasture.toml", stdin=lines)
    assert (status, err, len(out.splitlines())) == (0, "", 3)
    status, out, err = cli("decode", "pasture.toml", stdin=out)
    rows = [json.loads(line) for line in out.splitlines()]
    assert (status, err) == (0, "")
    assert [row["values"]["counter"] for row in rows] == [0, 1, 2]
    assert rows[0]["status"] == "ok"
    again = "".join(json.dumps(row) + "\n" for row in rows)
    assert cli("decode", "pasture.toml", stdin=cli("encode", "pasture.toml", stdin=again)[1])[1] == out


def test_a_stream_goes_on_past_bad_lines_and_counts_them(cli):
    good = cli("encode", "pasture.toml", "--layout", "position", stdin=json.dumps(ROW))[1].strip()
    lines = [
        good,
        "zz",
        good[:-1],
        good[:-2],
        "",
        "# a remark",
        good[:-1] + "0",
        "ff" + good[2:],
        "0x" + good,
        good[:4] + " " + good[4:],
    ]
    status, out, err = cli("decode", "pasture.toml", "--faults", stdin="\n".join(lines))
    assert status == 1
    assert sum(json.loads(line)["status"] == "ok" for line in out.splitlines()) == 3
    said = err.splitlines()
    for line, words in zip(
        said,
        [
            "line 2: not hex: 'z' at column 1",
            "line 3: not whole bytes: 27 hex digits",
            "line 4: too_short: 13 bytes",
            "line 7: bad_check",
            "line 8: unknown_version",
        ],
        strict=False,
    ):
        assert words in line
    assert said[-1] == "packetcodec: 3 packets done, 5 refused"
    assert len(cli("decode", "pasture.toml", stdin="\n".join(lines))[1].splitlines()) == 3


STATUS = {"collar": 1, "counter": 1, "battery": 3.7, "time": 1_784_010_600}

BAD_ROWS = [
    ("{", "not JSON: Expecting property name enclosed in double quotes at column 2"),
    ("3", "not a JSON object: 3"),
    ("{}", "no layout"),
    ('{"layout": "nope", "values": {}}', "'nope' is not a layout of version 1: one of position, track, status"),
    ('{"layout": "position", "values": 3}', "values: not a JSON object: 3"),
    (json.dumps({"layout": "position", "values": {**ROW, "latitude": 91}}), "latitude: 91 is outside -90..90 degrees"),
    ('{"layout": "position", "values": {"latitude": NaN}}', "collar: missing"),
    (json.dumps({"layout": "position", "values": {**ROW, "altitude": float("nan")}}), "nan is not a finite number"),
    (json.dumps({"layout": "position", "values": {**ROW, "battery": "full"}}), "'full' is not a number"),
]


@pytest.mark.parametrize(("line", "words"), BAD_ROWS, ids=[row[1] for row in BAD_ROWS])
def test_a_bad_line_to_encode_is_named_with_its_number(cli, line, words):
    status, out, err = cli("encode", "pasture.toml", stdin=f"\n{line}\n")
    assert (status, out) == (1, "")
    first, last = err.splitlines()
    assert first.startswith("packetcodec: line 2: ")
    assert words in first
    assert last == "packetcodec: 0 packets done, 1 refused"


def test_no_input_at_all_is_said(cli):
    assert cli("decode", "pasture.toml", stdin="")[0::2] == (1, "packetcodec: no line of input\n")


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("[" * 3_000_000, "brackets are nested too deeply"),
        ("9" * 3_000_000, "a number has too many digits"),
        ('{"layout": "position", "vals": {}}', 'values: missing beside "layout"'),
        ('{"layout": "position", "values": {}, "trial": []}', '"trial": stands beside "values" and is none of layout'),
        ('{"layout": "position", "values": {"collar": 1, "collar": 2}}', '"collar": stands twice'),
        (json.dumps({"layout": "position", "values": {**ROW, "battery": True}}), "battery: true is not a number"),
        (json.dumps({"layout": "position", "values": {**ROW, "battery": None}}), "battery: no value, but"),
        (json.dumps({"layout": "status", "values": {"gate_open": "yes"}}), "collar: missing"),
        (
            json.dumps({"layout": "status", "values": {**STATUS, "gate_open": "yes"}}),
            "gate_open: 'yes' is neither true nor false",
        ),
    ],
    ids=["brackets", "digits", "vals", "trial", "twice", "true", "null", "missing", "yes"],
)
def test_one_poisoned_line_does_not_end_the_stream(cli, line, words):
    good = json.dumps({"layout": "position", "values": ROW})
    status, out, err = cli("encode", "pasture.toml", stdin=f"{line}\n{good}\n")
    assert (status, len(out.splitlines())) == (1, 1)
    assert err.startswith("packetcodec: line 1: ")
    assert words in err
    assert err.splitlines()[-1] == "packetcodec: 1 packet done, 1 refused"


def test_a_line_without_end_is_refused_and_the_next_one_is_read(cli):
    stdin = b"0" * (MAX_LINE + 1) + b"\n11072abad13d02afae8bcf480f2c\n" + b"1" * (3 * MAX_LINE)
    status, out, err = cli("decode", "pasture.toml", stdin=stdin)
    assert (status, len(out.splitlines())) == (1, 1)
    assert err.splitlines() == [
        f"packetcodec: line 1: longer than {MAX_LINE:,} bytes",
        f"packetcodec: line 3: longer than {MAX_LINE:,} bytes",
        "packetcodec: 1 packet done, 2 refused",
    ]


def test_values_that_are_clipped_are_told_once_for_each_field_and_counted(cli):
    rows = [{**ROW, "altitude": 99_000}, {**ROW, "altitude": -9_000, "battery": 9}, ROW]
    lines = "\n".join(json.dumps({"layout": "position", "values": row}) for row in rows)
    status, _, err = cli("encode", "pasture.toml", stdin=lines)
    assert status == 0
    # 9000 m is the end of the range; the last code stands for 233 cm * 4077 - 500 m.
    assert err.splitlines() == [
        "packetcodec: line 1: altitude: 99000 m is above 9000 m, sent as 8999.41 m",
        "packetcodec: line 2: battery: 9 V is above 4.5 V, sent as 4.5 V",
        "packetcodec: 3 values clipped to the end of a range: altitude 2, battery 1",
    ]


def test_half_a_position_is_told_once(cli):
    whole = {**ROW, "latitude": 46.5, "longitude": 9.8}
    halves = [{**whole, "longitude": None}, {name: value for name, value in whole.items() if name != "latitude"}]
    none = {**whole, "latitude": None, "longitude": None}
    for rows, said in [
        ([whole, none], []),
        ([whole, *halves], ["line 2: latitude without longitude: the packet holds half a position (told once)"]),
        ([halves[1]], ["line 1: longitude without latitude: the packet holds half a position (told once)"]),
    ]:
        lines = "\n".join(json.dumps({"layout": "position", "values": row}) for row in rows)
        status, out, err = cli("encode", "pasture.toml", stdin=lines)
        assert (status, len(out.splitlines())) == (0, len(rows))
        assert err.splitlines() == [f"packetcodec: {words}" for words in said]


def test_all_faults_of_a_line_are_told_in_one(cli):
    row = {"collar": 999, "batery": 3.7, "latitude": 146.5}
    status, out, err = cli("encode", "pasture.toml", "--layout", "position", stdin=json.dumps(row))
    assert (status, out) == (1, "")
    assert err.splitlines()[0] == (
        'packetcodec: line 1: batery: not a field of layout "position"; did you mean battery?; collar: 999 is outside '
        "0..255; counter: missing; latitude: 146.5 is outside -90..90 degrees; battery: missing; fix_quality: missing "
        '(layout "position")'
    )


def test_a_time_may_be_a_date_with_offset(cli):
    row = {"collar": 7, "counter": 1, "battery": 3.7, "gate_open": False}
    hexes = [
        cli("encode", "pasture.toml", "--layout", "status", stdin=json.dumps({**row, "time": time}))[1]
        for time in (1_784_010_600, "2026-07-14T06:30:00Z", "2026-07-14T08:30:00+02:00")  # computed by date(1)
    ]
    assert len(set(hexes)) == 1
    assert hexes[0]
    for wrong in ("2026-07-14T06:30:00", "soon"):
        err = cli("encode", "pasture.toml", "--layout", "status", stdin=json.dumps({**row, "time": wrong}))[2]
        assert f'time: "{wrong}" is neither a number of seconds nor a date and time with offset' in err


def test_a_layout_that_is_not_there_is_wrong_usage_before_anything_is_read(cli):
    status, _, err = cli("encode", "pasture.toml", "--layout", "positon", stdin="{}")
    assert status == 2
    wanted = "'positon' is not a layout of pasture: one of position, track, status (did you mean position?)"
    assert err == f"packetcodec encode: --layout: {wanted}\n"


def test_hex_may_have_colons_and_what_is_not_hex_has_a_status(cli):
    good = cli("encode", "pasture.toml", "--layout", "position", stdin=json.dumps(ROW))[1].strip()
    parted = ":".join(good[at : at + 2] for at in range(0, len(good), 2))
    status, out, err = cli("decode", "pasture.toml", "--faults", stdin=parted.encode() + b"\n\x1b[2J\xff\n" + b"ffff\n")
    rows = [json.loads(line) for line in out.splitlines()]
    assert [row["status"] for row in rows] == ["ok", "not_hex", "unknown_version"]
    assert rows[2]["offset"] == 0
    assert status == 1
    assert "not hex: '\\x1b' at column 1" in err


def test_packets_named_as_a_schema_are_a_hint_to_the_option(cli):
    (cli.folder / "hexes").write_text("1107\n", encoding="utf-8")
    status, _, err = cli("decode", "pasture.toml", "hexes")
    wanted = "a schema's name ends in .toml; packets are read from stdin, or with -i hexes"
    assert (status, err) == (2, f"packetcodec decode: hexes: {wanted}\n")


def test_two_schemas_of_one_version_are_named(cli):
    (cli.folder / "other.toml").write_text(schema_text(), encoding="utf-8")
    status, _, err = cli("decode", "pasture.toml", "other.toml", stdin="")
    assert (status, err) == (
        1,
        "packetcodec: pasture.toml and other.toml: both are version 1, which is what tells packets apart\n",
    )


def test_a_pattern_that_finds_nothing_is_told_once_with_its_count(cli):
    status, out, err = cli("decode", "pasture.toml", "--pattern", "rx=([0-9a-f]+)", stdin="one\ntwo\nthree\n")
    assert (status, out) == (1, "")
    assert err.splitlines() == [
        "packetcodec: 3 lines: --pattern finds no packet in it",
        "packetcodec: 0 packets done, 3 refused",
    ]


def test_points_that_are_not_sent_are_told(cli):
    points = [{"latitude": ROW["latitude"], "longitude": ROW["longitude"]}, {"latitude": 0, "longitude": 0}]
    line = json.dumps({"layout": "track", "values": ROW, "trail": points})
    status, _, err = cli("encode", "pasture.toml", stdin=f"{line}\n")
    words = "line 1: a trail of 2 points: 1 sent, the next one is too far away, or finds no room (told once)"
    assert (status, err) == (0, f"packetcodec: {words}\n")
    whole = json.dumps({"layout": "track", "values": ROW, "trail": points[:1]})
    assert cli("encode", "pasture.toml", stdin=f"{whole}\n")[2] == ""


def test_a_trail_without_a_position_to_count_it_from_is_told_once(cli):
    row = {key: value for key, value in ROW.items() if key not in {"latitude", "longitude"}}
    line = json.dumps({"layout": "track", "values": row, "trail": [{"latitude": 46.5, "longitude": 9.9}]})
    status, out, err = cli("encode", "pasture.toml", stdin=f"{line}\n{line}\n")
    assert (status, len(out.splitlines())) == (0, 2)
    assert err == (
        "packetcodec: line 1: a trail of 1 point without a position to count it from: it is not sent (told once)\n"
    )


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("%d.%m. %H:%M",), "--year: missing; time format '%d.%m. %H:%M' has a day but no year (%Y or %y)"),
        (("%H:%M", "--year", "2026"), "--year: 2026 is not needed; time format '%H:%M' has no day"),
        (("%d.%m.", "--year", "0"), "--year: 0 is outside 1..9999"),
        (("%Q",), "--time-format '%Q': %Q is none of"),
    ],
)
def test_a_fault_of_a_time_format_names_the_option_that_mends_it(cli, options, words):
    status, out, err = cli("decode", "pasture.toml", "--time-format", *options, stdin="")
    assert (status, out, len(err.splitlines())) == (2, "", 1)
    assert words in err
