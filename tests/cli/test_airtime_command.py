"""airtime: what a layout costs, under which limits, and radios that cannot be."""

import contextlib
import fcntl
import json
import os
import pty
import re
import struct
import subprocess
import sys
import termios

import pytest

CAUTION = "arithmetic, not permission"


def test_airtime_of_the_starter_schema(cli):
    status, out, _ = cli("airtime")
    assert status == 0
    # 14 bytes at SF12, 125 kHz, 4/5, preamble 8: 1155.072 ms (computed from the reference drivers), 31 an hour at 1 %.
    assert "1,155.1 ms" in out
    assert "1 min 57 s" in out
    assert CAUTION in " ".join(out.split())
    report = json.loads(cli("airtime", "--json")[1])
    row = report["layouts"][0]["sizes"][0]["rows"][-1]
    packet = row["packet"]
    assert (packet["airtime_ms"], packet["period_s"], packet["packets_per_hour"]) == (1155.072, 3600 / 31, 31)
    assert packet["average_interval_s"] == 115.5072
    assert row["text"]["airtime_ms"] > packet["airtime_ms"]


def test_airtime_takes_the_radio_as_options(cli):
    rows = json.loads(cli("airtime", "pasture.toml", "--sf", "9", "--frequency", "869.525", "--lorawan", "--json")[1])
    assert "sub-band 869.4-869.65, route duty-cycle (10 % of any hour; 500 mW" in rows["setting"]
    assert [row["modem"] for row in rows["layouts"][0]["sizes"][0]["rows"]] == ["SF9 125 kHz 4/5"]
    assert "not permitted" in cli("airtime", "--region", "US915")[1]
    assert "SF5" in cli("airtime", "--sf", "5-6", "--preamble", "12")[1]
    assert "wants" in cli("airtime", "--sf", "5")[2]
    assert cli("airtime", "--fsk", "50000")[0] == 0
    assert cli("airtime", "--bandwidth", "31.25", "--coding-rate", "4/8", "--implicit-header", "--no-payload-crc")[0] == 0


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--frequency", "868.65"), "--frequency: 868.65 MHz +- 62.5 kHz takes 868.5875..868.7125 MHz"),
        (("--frequency", "868.55"), "reaches into the gap 868.6..868.7 MHz"),
        (("--frequency", "100"), "is outside every sub-band"),
        (("--frequency", "high"), "--frequency: high is not a number of MHz"),
        (("--frequency", "868100000"), "--frequency: 868100000 MHz is outside 0.000001..10000 MHz"),
        (("--frequency", "nan"), "--frequency: nan is not a number of MHz"),
        (("--region", "eu688"), "(did you mean EU868?)"),
        (("--region", "help"), "--region: 'help' is none of EU868"),
        (("--bandwidth", "100"), "--bandwidth: '100' is not one of '7.8', '10.4'"),
        (("--bandwidth", "125000"), "'125000' is not one of '7.8'"),
        (("--bandwidth", "wide"), "'wide' is not one of"),
        (("--coding-rate", "4/9"), "--coding-rate: '4/9' is not one of '4/5'"),
        (("--chip", "sx1"), "--chip: 'sx1' is not one of 'sx126x', 'sx127x'"),
        (("--sf", "7-13"), "--sf: 13 is outside 5..12"),
        (("--sf", "fast"), "not like 7-12"),
        (("--sf", "7-"), "--sf: 7- is not like 7-12"),
        (("--sf", "9-7"), "holds no spreading factor"),
        (("--sf", "1-99999999999"), "--sf: 1 is outside"),
        (("--sf", "6", "--chip", "sx127x"), "give --implicit-header too"),
        (("--sf", "5", "--low-data-rate", "on"), "--low-data-rate: on is outside"),
        (("--preamble", "-3"), "airtime: --preamble: -3 is outside 1..65535 (symbols)"),
        (("--route", "hybrid"), "--route: 'hybrid' is not a route of 868.0-868.6 in EU868: duty-cycle, listen"),
        (("--region", "EU433", "--route", "narrow"), "is not a route of 433.05-434.79"),
        (("--channels", "0"), "--channels: 0 is outside 1..10000"),
        (("--fsk", "50"), "--fsk: 50 is outside 600..300000 (bits per second)"),
        (("--fsk", "50000", "--sf", "7"), "--sf: is about LoRa, and --fsk sends without it"),
        (("--fsk", "50000", "--implicit-header"), "--implicit-header: is about LoRa"),
        (("--lr-fhss", "1/3", "--sf", "7"), "--sf: is about LoRa, and --lr-fhss sends without it"),
        (("--lr-fhss", "1/3", "--fsk", "50000"), "--lr-fhss: --fsk is given too"),
        (("--coding-rate", "LI 4/5"), "--coding-rate: LI 4/5 is for --chip sx128x only"),
        (("--bandwidth", "812.5"), "--bandwidth: 812500 is none of 7800"),
        (("--chip", "sx128x", "--bandwidth", "125"), "--bandwidth: 125000 is none of 203125"),
        (("--chip", "sx128x", "--low-data-rate", "on"), "--low-data-rate: sx128x decides itself"),
        (("--nonsense",), "No such option"),
    ],
)
def test_an_option_that_cannot_be_is_one_line_of_wrong_usage(cli, options, words):
    status, out, err = cli("airtime", *options)
    assert (status, out) == (2, "")
    assert err.startswith("packetcodec airtime: ")
    assert len(err.splitlines()) == 1
    assert words in err


def test_a_factor_given_twice_is_shown_once(cli):
    report = json.loads(cli("airtime", "--sf", "7,7,SF7", "--json")[1])
    assert [row["label"] for row in report["layouts"][0]["sizes"][0]["rows"]] == ["SF7"]


def test_a_shortest_interval_is_never_shown_shorter_than_it_is(cli):
    out = cli("airtime", "--sf", "7,11")[1]
    rows = {line.split()[0]: line for line in out.splitlines() if line.startswith("SF")}
    # 46.336 ms and 659.456 ms: 776 and 54 packets in 1 % of an hour, one every 4.6392 s and every 66.6667 s.
    assert "4.64 s" in rows["SF7"] or "4.13 s" in rows["SF7"]
    assert " 46.3 ms " in out
    assert "4.64 s" in out
    assert "4.63 s" not in out
    assert "66.7 s" in out
    assert "66.6 s" not in out


def test_where_nothing_may_be_sent_the_interval_is_never(cli):
    out = cli("airtime", "--region", "US915", "--sf", "7", "--text")[1]
    rows = [line.split() for line in out.splitlines() if line.startswith("SF7 ") or " SF7 " in line]
    assert rows
    assert all(row.count("never") == 2 and row.count("permitted") == 2 for row in rows)
    # One sentence for all layouts, not one per layout and modem.
    assert out.count("not permitted in 902-928 MHz") == 1
    assert "hopping (at least 50 channels)" in out
    assert "wideband (a bandwidth of at least 500 kHz)" in out
    assert "every packet: a single fixed channel" in out
    row = json.loads(cli("airtime", "--region", "US915", "--sf", "7", "--json")[1])["layouts"][0]["sizes"][0]["rows"][0]
    assert (row["packet"]["never"], row["packet"]["period_s"]) == (True, None)


def test_a_limit_that_is_exceeded_says_which_and_for_what(cli):
    out = cli("airtime", "--region", "AS923-1", "--sf", "10-12")[1]
    assert "over dwell" in out
    assert "position of 14 bytes, track (no points) of 15 bytes, status of 12 bytes at SF11: airtime" not in out
    assert "exceeds the 400 ms" in out
    dr13 = cli("airtime", "--region", "US915", "--sf", "7,8", "--bandwidth", "500", "--lorawan")[1]
    assert "every packet at SF7: this setting is DR13 of US915, for gateways only" in dr13
    assert "SF7 500 kHz 4/5 is" not in dr13


def test_a_layout_with_a_trail_is_shown_without_with_all_and_at_its_longest(cli):
    out = cli("airtime", "--sf", "10")[1]
    rows = [line.split() for line in out.splitlines() if " SF10 " in line and ("points" in line or "longest" in line)]
    assert [row[:2] for row in rows] == [["no", "points"], ["10", "points"], ["longest", "SF10"]]
    report = json.loads(cli("airtime", "--json")[1])["layouts"][1]
    none, full, longest = report["sizes"]
    assert (report["bytes"], report["max_bytes"], longest["bytes"]) == (14, 32, 32)
    assert none["bytes"] < full["bytes"] <= longest["bytes"]
    # The text has ten more positions, each of "latitude,longitude" behind a semicolon.
    assert none["text"].count(";") == 0
    assert full["text"].startswith(none["text"])
    assert full["text"].count(";") == 10


@pytest.mark.slow
@pytest.mark.parametrize(
    ("arguments", "width"),
    [
        (("airtime",), 60),
        (("airtime",), 80),
        (("airtime",), 100),
        (("airtime", "--text"), 80),
        (("check", "pasture.toml"), 80),
        (("kinds",), 60),
        (("replay",), 80),
    ],
)
def test_no_table_is_wider_than_its_terminal_or_breaks_a_number(cli, width, arguments):
    main, other = pty.openpty()
    fcntl.ioctl(other, termios.TIOCSWINSZ, struct.pack("HHHH", 50, width, 0, 0))
    code = "from packetcodec.cli import main; main()"
    environment = {**os.environ, "TERM": "dumb", "NO_COLOR": "1", "COLUMNS": str(width)}
    command = [sys.executable, "-c", code, *arguments]
    with subprocess.Popen(command, stdout=other, stderr=other, env=environment, cwd=cli.folder) as process:
        os.close(other)
        shown = b""
        with contextlib.suppress(OSError):  # the end of a terminal
            while block := os.read(main, 65_536):
                shown += block
        assert process.wait() == 0
    os.close(main)
    lines = re.sub(rb"\x1b\[[0-9;]*m", b"", shown).decode().replace("\r", "").splitlines()
    long = [line for line in lines if len(line) > width]
    # Only what is to be copied is left to the terminal to break.
    assert all(line.lstrip().startswith(("text", "packet ")) for line in long), long
    assert "…" not in "".join(lines)
    if arguments == ("airtime",):
        numbers = {"1,155.1 ms", "1 min 57 s", "1,810.4 ms", "3 min 10 s", "not measured"}
        assert all(number in " ".join(" ".join(lines).split()) for number in numbers)


def test_the_route_is_said_with_its_conditions_and_the_others(cli):
    out = " ".join(cli("airtime", "--route", "listen", "--sf", "9")[1].split())
    assert "route listen (100 s in any hour, at most 1000 ms at a time, 100 ms of pause; 25 mW e.r.p.)" in out
    assert "clear channel assessment of at least 160 us" in out
    assert "other routes of 868.0-868.6 (--route): duty-cycle (1 % of any hour; 25 mW e.r.p.)" in out
    assert "EU868: Duty cycle counts over any continuous hour" in out
    hybrid = cli("airtime", "--region", "US915", "--channels", "8", "--sf", "9")[1]
    assert "route hybrid" in hybrid
    # 8 channels, two packets on each in 3.2 s: nothing that a tracker would want to know, so whole seconds.
    assert next(line.split()[-4:] for line in hybrid.splitlines() if line.startswith("SF9")) == ["1", "s", "-", "within"]


def test_lr_fhss_and_lora_at_2_4_ghz_are_modems_too(cli):
    # Bits and symbols as the maker's drivers count them, see tests/radio/test_other_modems.py.
    row = json.loads(cli("airtime", "--lr-fhss", "1/3", "--json")[1])["layouts"][0]["sizes"][0]["rows"][0]
    assert (row["modem"], row["packet"]["airtime_ms"]) == ("LR-FHSS 1/3 3 headers", 762 / 488.28125 * 1000)
    options = ("--region", "ISM2400", "--chip", "sx128x", "--sf", "10", "--preamble", "12")
    row = json.loads(cli("airtime", *options, "--json")[1])["layouts"][0]["sizes"][0]["rows"][0]
    assert (row["modem"], row["packet"]["airtime_ms"]) == ("SF10 812.5 kHz 4/5", pytest.approx(49.467, abs=0.001))
    assert "No limit of this range was read" in cli("airtime", *options)[1]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--chip", "sx128x"), "--chip: sx128x sends at 2.4 GHz; for 868.1 MHz it is sx126x and sx127x"),
        (
            ("--region", "ISM2400", "--chip", "sx126x"),
            "--chip: sx126x and sx127x send below 1 GHz; for 2441.75 MHz it is sx128x",
        ),
    ],
)
def test_a_chip_that_does_not_send_there_is_refused_and_the_one_that_does_is_the_default(cli, options, words):
    assert cli("airtime", *options)[::2] == (2, f"packetcodec airtime: {words}\n")
    assert "812.5 kHz 4/5" in cli("airtime", "--region", "ISM2400", "--sf", "7")[1]


def test_the_smallest_size_of_a_trail_is_explained(cli):
    assert 'layout "track": 14 to 32 bytes, 14 without a position' in cli("airtime", "--sf", "10")[1]
    text = (cli.folder / "pasture.toml").read_text(encoding="utf-8")
    text = re.sub('(kind = "l(at|ong)itude".*?), optional = true', r"\1", text)
    (cli.folder / "always.toml").write_text(text, encoding="utf-8")
    assert 'layout "track": 14 to 32 bytes, 15 without points' in cli("airtime", "always.toml", "--sf", "10")[1]


@pytest.mark.parametrize(
    ("region", "words"),
    [
        ("US915", "limits of 902-928, hopping: 47 CFR 15.247, 2021 (read in a quotation of it, not in the document)"),
        ("EU868", "Decision 2017/1483 (read), 2025-03; the figures used are those marked (read)"),
        ("AU915", "region_au_915_defs.h (read), 2000; the figures used are those marked (quoted)"),
    ],
)
def test_of_several_documents_it_is_said_which_the_figures_come_from(cli, region, words):
    assert words in cli("airtime", "--region", region)[1].replace("\n", " ")
