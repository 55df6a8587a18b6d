"""Each command as a newcomer tries it, with good and with bad input. Status 0 done, 1 the data's fault, 2 wrong usage."""

import json
import os
import subprocess
import sys

import pytest

from packetcodec.cli.app import run
from packetcodec.starter import sample_log, schema_text

CAUTION = "arithmetic, not permission"


@pytest.fixture
def cli(capfd, tmp_path, monkeypatch):
    """Run a command in an empty folder: status, stdout, stderr."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")

    def call(*arguments, stdin=None):
        if stdin is not None:
            path = tmp_path / "stdin"
            path.write_bytes(stdin if isinstance(stdin, bytes) else stdin.encode())
            descriptor = os.open(path, os.O_RDONLY)
            saved = os.dup(0)
            os.dup2(descriptor, 0)
            os.close(descriptor)
        try:
            status = run(list(map(str, arguments)))
        finally:
            if stdin is not None:
                os.dup2(saved, 0)
                os.close(saved)
        out, err = capfd.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    call.folder = tmp_path
    return call


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


def test_check_warns_of_a_modem_polynomial_and_of_a_check_too_weak_for_its_length(cli):
    text = schema_text().replace("CRC-16/M17", "CRC-16/XMODEM")
    (cli.folder / "weak.toml").write_text(text, encoding="utf-8")
    assert "adds nothing" in cli("check", "weak.toml")[2]
    rows = ",".join(f'{{ kind = "identifier", name = "n{i}", bits = 32 }}' for i in range(6))
    text = schema_text().replace(
        '{ kind = "flag", name = "gate_open", doc = "the collar saw the gate\'s beacon open" }', rows
    )
    (cli.folder / "long.toml").write_text(text, encoding="utf-8")
    assert "too weak for" in cli("check", "long.toml")[2]


def test_every_fault_of_a_schema_is_a_line_with_file_and_place(cli):
    text = schema_text().replace("bits = 12", "bits = 99", 1).replace('kind = "flag"', 'kind = "flak"')
    (cli.folder / "bad.toml").write_text(text, encoding="utf-8")
    status, out, err = cli("check", "bad.toml")
    assert (status, out) == (1, "")
    assert len(err.splitlines()) == 2
    assert all(line.startswith("packetcodec: bad.toml: line ") for line in err.splitlines())


@pytest.mark.parametrize("command", ["check", "spec", "encode", "decode", "airtime"])
def test_a_file_that_is_not_there_is_one_line(cli, command):
    status, _, err = cli(command, "nowhere.toml", stdin="")
    assert status == 2
    assert err == "packetcodec: nowhere.toml: No such file or directory\n"


def test_compare_says_what_changes_the_wire(cli):
    text = schema_text().replace("bits = 12, optional", "bits = 13, optional").replace("Sent now", "Sent seldom")
    (cli.folder / "next.toml").write_text(text, encoding="utf-8")
    status, out, _ = cli("compare", "pasture.toml", "next.toml")
    assert status == 0
    assert "width 12 -> 13 bits" in out
    assert "remark changed" in out
    assert "RAISE THE VERSION" in out
    assert json.loads(cli("compare", "pasture.toml", "next.toml", "--json")[1])["changes_wire"] is True
    assert "The two are the same." in cli("compare", "pasture.toml", "pasture.toml")[1]


def test_spec_prints_the_text_and_writes_both_files(cli):
    status, out, _ = cli("spec", "pasture.toml")
    assert status == 0
    assert out.startswith("# pasture, version 1")
    assert json.loads(cli("spec", "pasture.toml", "--vectors")[1])["schema"] == "pasture"
    assert cli("spec", "pasture.toml", "-o", "out")[0] == 0
    assert (cli.folder / "out" / "pasture-v1.md").read_text(encoding="utf-8") == out


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


def test_airtime_of_the_starter_schema(cli):
    status, out, _ = cli("airtime")
    assert status == 0
    # 14 bytes at SF12, 125 kHz, 4/5, preamble 8: 1155.072 ms (computed from the reference drivers), 115.5 s at 1 %.
    assert "1,155.1 ms" in out
    assert "1 min 56 s" in out
    assert CAUTION in " ".join(out.split())
    report = json.loads(cli("airtime", "--json")[1])
    row = report["layouts"][0]["rows"][-1]
    assert (row["airtime_ms"], row["interval_s"], row["packets_per_hour"]) == (1155.072, 115.5072, 31)
    assert row["text_airtime_ms"] > row["airtime_ms"]


def test_airtime_takes_the_radio_as_options(cli):
    rows = json.loads(cli("airtime", "pasture.toml", "--sf", "9", "--frequency", "869.525", "--lorawan", "--json")[1])
    assert "sub-band 869.4-869.65 (10 %" in rows["setting"]
    assert [row["modem"] for row in rows["layouts"][0]["rows"]] == ["SF9 125 kHz 4/5"]
    assert "not permitted" in cli("airtime", "--region", "US915")[1]
    assert "SF5" in cli("airtime", "--sf", "5-6", "--preamble", "12")[1]
    assert "wants" in cli("airtime", "--sf", "5")[2]
    assert cli("airtime", "--fsk", "50000")[0] == 0
    assert cli("airtime", "--bandwidth", "31.25", "--coding-rate", "4/8", "--implicit-header", "--no-payload-crc")[0] == 0


@pytest.mark.parametrize(
    ("options", "status", "words"),
    [
        (("--frequency", "868.65"), 1, "gap"),
        (("--frequency", "868.55"), 1, "868.6"),
        (("--frequency", "100"), 1, "outside"),
        (("--frequency", "high"), 2, "high is not a number of MHz"),
        (("--region", "MOON"), 1, "'MOON' is none of EU868"),
        (("--bandwidth", "100"), 1, "100000"),
        (("--bandwidth", "wide"), 2, "wide is not one of"),
        (("--coding-rate", "4/9"), 2, "4/9 is not one of 4/5"),
        (("--sf", "13"), 1, "SF13: spreading_factor: 13"),
        (("--sf", "fast"), 2, "not like 7-12"),
        (("--sf", "9-7"), 2, "holds no spreading factor"),
        (("--sf", "6", "--chip", "sx127x"), 1, "implicit"),
        (("--preamble", "0"), 1, "preamble"),
    ],
)
def test_a_radio_that_is_not_allowed_is_one_line(cli, options, status, words):
    got, out, err = cli("airtime", *options)
    assert (got, out) == (status, "")
    assert words in err


def test_replay_without_arguments_runs_the_sample_through_the_starter_schema(cli):
    status, out, err = cli("replay")
    assert (status, err) == (0, "")
    for words in (
        "built-in sample.nmea",
        "180 packets of 14 bytes",
        "promised",
        "no fix: 2 times",
        "receiver silent: 1 times",
        "bad checksum",
        "SF12",
        CAUTION,
    ):
        assert words in " ".join(out.split())
    report = json.loads(cli("replay", "--json")[1])
    assert report["position_error"]["maximum_m"] <= report["position_bound_m"]
    assert report["text"]["bytes_max"] > 2 * report["packet_bytes"]
    assert report["packets"] == report["with_position"] + 2


def test_replay_reads_a_log_from_stdin_and_from_a_file(cli):
    log = cli.folder / "collar.nmea"
    log.write_bytes(sample_log())
    by_file = json.loads(cli("replay", "collar.nmea", "--json", "--every", "10")[1])
    by_pipe = json.loads(cli("replay", "-", "--json", "--every", "10", stdin=sample_log())[1])
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
        1,
        (
            'packetcodec: batery: not a field of layout "position", which has collar, counter, latitude, longitude, '
            "altitude, battery, fix_quality\n"
        ),
    )
    assert cli("replay", "t.csv", "--set", "battery=full")[0] == 1
    assert cli("replay", "t.csv", "--set", "battery")[0] == 2
    assert cli("replay", "t.csv", "--every", "0")[0] == 1
    assert cli("replay", "t.csv", "--every", "nan")[0] == 1
    assert cli("replay", "t.csv", "--layout", "nope")[0] == 1


def test_a_layout_that_cannot_say_no_fix_counts_what_it_cannot_send(cli):
    text = schema_text().replace("resolution_m = 2.5, optional = true", "resolution_m = 2.5")
    (cli.folder / "strict.toml").write_text(text, encoding="utf-8")
    status, out, _ = cli("replay", "-s", "strict.toml")
    assert status == 0
    assert "2 that could not be made" in " ".join(out.split())
    assert "latitude: None, but the field is not optional" in out


@pytest.mark.parametrize(
    "content", [b"", b"hello\nworld\n", bytes(range(256)) * 40, b"<gpx></gpx>", b"t_s,lat,lon\n", b"lat,lon\nx,y\n"]
)
def test_a_log_without_a_sentence_is_one_clear_line(cli, content):
    (cli.folder / "log").write_bytes(content)
    status, out, err = cli("replay", "log")
    assert (status, out) == (1, "")
    assert err.startswith("packetcodec: log: ")
    assert len(err.splitlines()) == 1


def test_wrong_usage_is_status_2(cli):
    assert cli("nonsense")[0] == 2
    assert cli("check")[0] == 2
    assert cli("airtime", "--nonsense")[0] == 2
    assert cli("--help")[0] == 0
    assert cli("--version")[0] == 0


def test_a_reader_that_leaves_early_is_no_error():
    code = "from packetcodec.cli import main; main()"
    with subprocess.Popen([sys.executable, "-c", code, "replay"], stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait() == 0
