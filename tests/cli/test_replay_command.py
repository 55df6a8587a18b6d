"""replay: recorded logs of every sort, and what the report says about them."""

import json

import pytest

from packetcodec.starter import sample_log, schema_text

CAUTION = "arithmetic, not permission"


def test_replay_without_arguments_runs_the_sample_through_the_starter_schema(cli):
    status, out, err = cli("replay")
    assert (status, err) == (0, "")
    for words in (
        "built-in sample.nmea",
        "180 packets of 14 bytes",
        "promised",
        "no fix: 2 times",
        "receiver silent: 1 time,",
        "bad checksum",
        "SF12",
        CAUTION,
    ):
        assert words in " ".join(out.split())
    report = json.loads(cli("replay", "--json")[1])
    assert report["position_error"]["maximum_m"] <= report["position_bound_m"]
    assert report["text"]["bytes_max"] > 2 * report["packet_bytes"]
    assert report["packets"] == report["with_position"] + 2


@pytest.mark.slow
def test_replay_reads_a_log_from_stdin_and_from_a_file(cli):
    log = cli.folder / "collar.nmea"
    log.write_bytes(sample_log())
    by_file = json.loads(cli("replay", "collar.nmea", "--json", "--every", "10")[1])
    by_pipe = json.loads(cli("replay", "-", "--json", "--every", "10s", stdin=sample_log())[1])
    assert by_file["position_error"] == by_pipe["position_error"]
    assert by_file["packets"] > 500


def test_replay_takes_constants_and_says_what_a_log_does_not_hold(cli):
    (cli.folder / "t.csv").write_text("t_s,lat,lon,alt_m\n0,46.5,9.9,12000\n30,46.501,9.9,2000\n", encoding="utf-8")
    report = json.loads(cli("replay", "t.csv", "--set", "battery=3.9", "--json")[1])
    fields = {field["name"]: field for field in report["fields"]}
    assert fields["battery"]["from"] == "constant 3.9"
    assert "not in the log" in fields["collar"]["from"]
    assert fields["altitude"]["clipped"] == 1
    assert cli("replay", "t.csv", "--set", "batery=3")[::2] == (
        2,
        (
            'packetcodec replay: --set: batery: not a field of layout "position", which has collar, counter, latitude, '
            "longitude, altitude, battery, fix_quality\n"
        ),
    )


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--set", "battery=full"), "--set: battery: 'full' is not a number"),
        (("--set", "battery"), "--set: battery is not like battery=3.7"),
        (("--set", "battery=99"), "--set: battery: 99 is outside 2.5..4.5 V"),
        (("--set", "foo=1"), "--set: foo: not a field of layout"),
        (("--every", "0"), "--every: '0' is not a time such as 20s, 10min or 2h, above 0"),
        (("--every", "1ms"), "--every: 0.001 is not a finite number of seconds above 0.001"),
        (("--every", "nan"), "--every: 'nan' is not a time such as 20s, 10min or 2h, above 0"),
        (("--layout", "nope"), "--layout: 'nope' is not a layout of pasture"),
    ],
)
def test_an_option_that_cannot_be_is_one_line_of_wrong_usage(cli, options, words):
    status, out, err = cli("replay", *options)
    assert (status, out, len(err.splitlines())) == (2, "", 1)
    assert err.startswith(f"packetcodec replay: {words}")


def test_a_layout_that_cannot_say_no_fix_counts_what_it_cannot_send(cli):
    text = schema_text().replace("resolution_m = 2.5, optional = true", "resolution_m = 2.5")
    (cli.folder / "strict.toml").write_text(text, encoding="utf-8")
    status, out, _ = cli("replay", "-s", "strict.toml")
    assert status == 0
    assert "2 that could not be made" in " ".join(out.split())
    assert "latitude: no value, but the field is not optional" in out


@pytest.mark.parametrize(
    "content", [b"", b"hello\nworld\n", bytes(range(256)) * 40, b"<gpx></gpx>", b"t_s,lat,lon\n", b"lat,lon\nx,y\n"]
)
def test_a_log_without_a_sentence_is_one_clear_line(cli, content):
    (cli.folder / "log").write_bytes(content)
    status, out, err = cli("replay", "log")
    assert (status, out) == (1, "")
    assert err.startswith("packetcodec: log: ")
    assert len(err.splitlines()) == 1


def test_a_table_is_sorted_by_time_and_says_so(cli):
    rows = [f"{second},46.5{second:03d},9.9" for second in range(0, 300, 10)]
    for name, lines in (("up.csv", rows), ("down.csv", rows[::-1])):
        (cli.folder / name).write_text("\n".join(["time,lat,lon", *lines]) + "\n", encoding="utf-8")
    up, down = (json.loads(cli("replay", name, "--json")[1]) for name in ("up.csv", "down.csv"))
    assert up["packets"] == down["packets"] == 10
    assert up["position_error"] == down["position_error"]
    assert (up["log"]["sorted_rows"], down["log"]["sorted_rows"]) == (0, 29)
    assert "sorted by time: 29 rows stood below a later one" in cli("replay", "down.csv")[1]


def test_columns_are_listed_in_the_help_and_those_not_used_in_the_report(cli):
    out = cli("replay", "--help")[1]
    assert all(name in out for name in ("timestamp", "lng", "speed_kmh", "batt_pct", "kilometres an hour"))
    (cli.folder / "t.csv").write_text("Time (UTC),LONG,lat,speed,Name\n0,9.9,46.5,1,Bella\n", encoding="utf-8")
    status, out, _ = cli("replay", "t.csv")
    assert status == 0
    assert "columns that this layout has no field for: speed, Name" in out


def test_a_percentage_of_a_log_goes_into_a_field_in_percent(cli):
    text = schema_text().replace("minimum = 2.5, maximum = 4.5, resolution = 0.02", 'unit = "percent"')
    (cli.folder / "percent.toml").write_text(text, encoding="utf-8")
    (cli.folder / "t.csv").write_text("t,lat,lon,batt_pct\n0,46.5,9.9,71\n30,46.5,9.9,70\n", encoding="utf-8")
    fields = json.loads(cli("replay", "t.csv", "-s", "percent.toml", "--json")[1])["fields"]
    assert next(field["from"] for field in fields if field["name"] == "battery") == "log"
    # The starter schema wants volts: a percentage is named as not used, never taken for one.
    assert "no field for: batt_pct" in cli("replay", "t.csv")[1]


def test_what_should_not_be_overlooked_is_noted(cli):
    rows = "".join(f"{30 * n},46.5,9.9,12000,3.7\n" for n in range(3))
    (cli.folder / "high.csv").write_text("t,lat,lon,alt,battery_v\n" + rows, encoding="utf-8")
    status, out, err = cli("replay", "high.csv", "--set", "battery=3.9")
    assert status == 0
    assert "note: altitude: 3 of 3 values beyond -500..9000 m; the first: 12000 m is above 9000 m, sent as 8999.41 m." in err
    assert "note: --set battery: the log holds this field" in err
    row = next(line for line in out.splitlines() if line.startswith("altitude"))
    assert row.split()[-4:] == ["3", "-", "1.165", "m"]
    text = schema_text().replace("resolution_m = 2.5, optional = true", "resolution_m = 2.5")
    (cli.folder / "strict.toml").write_text(text, encoding="utf-8")
    (cli.folder / "lost.csv").write_text("t,lat,lon\n0,46.5,9.9\n30,,\n60,,\n", encoding="utf-8")
    status, out, err = cli("replay", "lost.csv", "-s", "strict.toml")
    assert status == 0
    assert "note: most packets could not be made: 2 of 3" in err
    assert "(first: packet 2)" in out


def test_stdin_is_called_by_its_name(cli):
    assert cli("replay", "-", stdin="")[2] == "packetcodec: stdin: is empty\n"


TABLE = "Wann;Breite [deg];Laenge;Volt\n0;46,5;9,9;3,70\n30;46,501;9,9;3,71\n"
COLUMNS = (
    "--column",
    "time=Wann",
    "--column",
    "latitude=Breite [deg]",
    "--column",
    "lon=Laenge",
    "--column",
    "battery=Volt",
)


def test_a_date_beside_the_time_is_used(cli):
    (cli.folder / "t.csv").write_text("Date,Time,lat,lon,Speed [kn]\n2026-07-01,12:00:00,46.5,9.9,1\n", encoding="utf-8")
    assert "columns that this layout has no field for: Speed [kn]\n" in cli("replay", "t.csv")[1]


def test_columns_of_any_name_are_mapped(cli):
    (cli.folder / "t.csv").write_text(TABLE, encoding="utf-8")
    report = json.loads(cli("replay", "t.csv", *COLUMNS, "--json")[1])
    assert (report["packets"], report["with_position"]) == (2, 2)
    assert next(field["from"] for field in report["fields"] if field["name"] == "battery") == "log"
    assert cli("budget", "--log", "t.csv", *COLUMNS)[0] == 0
    status, _, err = cli("replay", "t.csv", "--column", "latitude=North")
    assert status == 1
    assert err == (
        "packetcodec: t.csv: line 1: no column is named 'North', to be read as latitude; "
        "the header row names 'Wann', 'Breite [deg]', 'Laenge', 'Volt'\n"
    )


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("replay", "t.csv", "--column", "latitude"), "--column: latitude is not like latitude=HEADING"),
        (("replay", "t.csv", "--column", "latitude="), "--column: latitude= is not like latitude=HEADING"),
        (("replay", "t.csv", "--column", "lat=a", "--column", "lat=b"), "--column: lat=b: the name is given twice"),
        (("replay", "t.csv", "--column", "lat=a", "--column", "lon=A"), "--column: lon=A: the heading is given twice"),
        (("replay", "--column", "lat=a"), "--column: needs a LOG, the built-in sample has no columns"),
        (("budget", "--column", "lat=a"), "--column: needs --log beside it"),
    ],
)
def test_a_column_option_that_cannot_be_is_wrong_usage(cli, arguments, words):
    (cli.folder / "t.csv").write_text(TABLE, encoding="utf-8")
    assert cli(*arguments) == (2, "", f"packetcodec {arguments[0]}: {words}\n")


@pytest.mark.parametrize("command", [("replay", "t.csv"), ("budget", "--log", "t.csv")])
def test_a_name_that_no_column_can_have_is_refused_with_those_that_one_can(cli, command):
    (cli.folder / "t.csv").write_text(TABLE, encoding="utf-8")
    status, out, err = cli(*command, *COLUMNS, "--column", "lattitude=Breite")
    assert (status, out) == (2, "")
    assert "--column: lattitude is neither a meaning (time, latitude, longitude, date, " in err
    assert "nor a field of pasture (collar, counter, " in err
    assert err.endswith("; did you mean latitude?\n")
    for name in ("collar", "battery_volt", "SATS"):  # a field, what a field takes its value by, another name of a meaning
        assert "neither" not in cli(*command, *COLUMNS[:6], "--column", f"{name}=Volt")[2]


@pytest.mark.parametrize(
    ("name", "head", "record", "tail", "said"),
    [
        (
            "t.gpx",
            '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><trk><trkseg>',
            '<trkpt lat="46.5{}" lon="9.9"><time>2026-07-01T12:00:00Z</time></trkpt>',
            "</trkseg></trk></gpx>",
            "track points",
        ),
        ("t.csv", "time,lat,lon\n", "2026-07-01T12:00:00Z,46.5{},9.9\n", "", "rows"),
    ],
)
def test_points_that_share_one_time_are_a_fault_of_the_log_not_one_packet(cli, name, head, record, tail, said):
    (cli.folder / name).write_text(head + "".join(map(record.format, range(5))) + tail, encoding="utf-8")
    words = f"{name}: all 5 {said} have the same time, 2026-07-01T12:00:00.000Z: "
    words += "a fault of the log, which cannot be replayed by time"
    assert cli("replay", name) == (1, "", f"packetcodec: {words}\n")
    (cli.folder / name).write_text(head + record.format(1) + tail, encoding="utf-8")
    assert cli("replay", name)[0] == 0
