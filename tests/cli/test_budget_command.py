"""The command budget: its tables say what the library computes, and bad input is one line."""

import json
from fractions import Fraction

import pytest

from packetcodec.radio import LoRa, region
from packetcodec.radio.contention import contention
from packetcodec.radio.energy import DEFAULT_DERATING, Draw, energy
from packetcodec.radio.schedule import Sending, schedule_load

HERD = ("--send", "position every 20s", "--send", "status every 10min")
SENT = (Sending("position", 14, every=Fraction(20)), Sending("status", 12, every=Fraction(600)))


def test_the_report_holds_every_number_of_the_library(cli):
    status, out, _ = cli("budget", *HERD, "--trackers", "12", "--sf", "9,10", "--battery", "2600", "--json")
    assert status == 0
    report = json.loads(out)
    band = region("EU868").sub_band(868_100_000, 125_000)
    for row, sf in zip(report["limits"], (9, 10), strict=True):
        load = schedule_load(LoRa(spreading_factor=sf), SENT, band)
        assert row["share"] == float(load.share)
        assert row["verdict"] == ("within" if sf == 9 else "exceeded")
        assert row["costliest"] == "position"
    shared = contention(LoRa(spreading_factor=9), SENT, trackers=12)
    first = report["channel"]["rows"][0]
    assert (first["layout"], first["loss"]) == ("position", float(shared.loss))
    assert first["missed_with_points"]["10"] == float(shared.missed(10))
    use = energy(Draw(), LoRa(spreading_factor=9), SENT)
    assert report["battery"][0]["days"] == use.days(2600, derating=DEFAULT_DERATING)
    assert report["margin_db"] == {"SF9": 0.0, "SF10": pytest.approx(2.5)}
    assert report["room"][0] == {"layout": "position", "modem": "SF9 125 kHz 4/5", "bytes": 14, "largest": 21}
    assert "not permission" in report["caution"]


def test_the_report_for_people_has_the_same_and_the_cautions(cli):
    _, out, _ = cli("budget", *HERD, "--trackers", "12", "--sf", "9,10", "--battery", "2600")
    said = " ".join(out.split())
    for words in (
        "84.9 %", "exceeded", "How many bytes may I use?", "Which field should I shrink?", "To the next shorter airtime",
        "0.1719", "no capture effect", "not permission",
        "is a default: ", "No kilometres", "other routes of 868.0-868.6",
    ):  # fmt: skip
        assert words in said
    assert "trackers on the channel" not in cli("budget", *HERD, "--sf", "9")[1]


def test_a_layout_may_have_a_channel_of_its_own(cli):
    report = json.loads(cli("budget", *HERD[:2], "--send", "status 5 an hour on 869.525", "--sf", "9", "--json")[1])
    assert [row["sub_band"] for row in report["limits"]] == ["868.0-868.6", "869.4-869.65"]
    assert report["limits"][1]["worst_seconds"] == pytest.approx(5 * 0.144384)
    assert report["channels"][1]["sent"] == [{"layout": "status", "bytes": 12, "every_s": None, "per_hour": 5}]


def test_a_log_sets_its_ranges_beside_those_of_the_fields(cli):
    log = cli.folder / "log.csv"
    log.write_text("time,latitude,longitude,altitude\n0,46.5,9.8,2000\n10,46.6,9.9,2100\n")
    rows = json.loads(cli("budget", "--sf", "9", "--log", str(log), "--json")[1])["fields"]
    seen = {row["field"]: row["in_the_log"] for row in rows}
    assert (seen["latitude"], seen["altitude"], seen["collar"]) == ("46.5..46.6", "2000..2100", "")


def test_airtime_tells_the_largest_payload_at_an_interval(cli):
    report = json.loads(cli("airtime", "--every", "20s", "--sf", "7,9,12", "--json")[1])
    # 36 s an hour: 180 packets of at most 0.2 s. SF7: 123 bytes take 199.9 ms, SF9: 20 bytes 185.3 ms; SF12 has none.
    most = report["largest_payload"]
    assert most["SF12"] is None
    for sf in (7, 9):
        modem = LoRa(spreading_factor=sf)
        assert 180 * modem.airtime(most[f"SF{sf}"]) <= 36 < 180 * modem.airtime(most[f"SF{sf}"] + 1)
    assert "The largest payload that may be sent every 20 s" in cli("airtime", "--every", "20s")[1]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--send", "position every 0s"), "--send: position: '0s' is not a time such as 20s, 10min or 2h, above 0"),
        (("--send", "position every soon"), "'soon' is not a time such as 20s"),
        (("--send", "position"), 'is not like "position every 20s"'),
        (
            ("--send", "positon every 20s"),
            "--send: 'positon' is not a layout of pasture: one of position, track",
        ),
        (("--send", "position every 20s", "--send", "position 5 an hour"), "--send: position is given twice"),
        (("--send", "position every 20s on 868.65"), "--send: position: 868.65 MHz"),
        (("--send", "position every 90d"), "an interval of 7.776e+06 s is outside 0..604800 s"),
        (("--send", "position every 0.01s"), "--send: position: an interval of 0.01 s is shorter than the packet's airtime"),
        (("--trackers", "0"), "--trackers: 0 is outside 1..100000"),
        (("--sleep-ua", "5"), "--sleep-ua: needs --battery beside it"),
        (("--derating", "0.5"), "--derating: needs --battery beside it"),
        (("--battery", "0"), "--battery: 0 mAh is not above 0"),
        (("--battery", "100", "--derating", "2"), "--derating: 2 is outside 0..1"),
        (("--battery", "100", "--gnss-ma", "-1"), "--gnss-ma: -1 is not a number of 0 or more"),
        (("--region", "EU868", "--frequency", "862"), "is outside every sub-band"),
        (("--region", "MOON"), "--region: 'MOON' is none of"),
    ],
)
def test_what_cannot_be_is_one_line_of_wrong_usage(cli, arguments, words):
    status, out, err = cli("budget", *arguments)
    assert (status, out) == (2, "")
    assert len(err.splitlines()) == 1
    assert words in err


def test_a_combination_without_a_route_says_what_would_permit_it(cli):
    status, out, _ = cli("budget", "--region", "US915", "--sf", "9")
    assert status == 0
    assert "not permitted" in out
    assert "hopping (at least 50 channels)" in out


def test_airtime_and_budget_agree_where_a_limit_leaves_much(cli):
    # 47 CFR 15.247: 400 ms on one frequency in any 20 s, 50 channels: SF10 one packet on each, one every 0.4 s.
    options = ("--region", "US915", "--channels", "50", "--sf", "10")
    assert "no limit" not in cli("airtime", *options)[1].partition("other routes")[0].partition("layout")[2]
    for every, verdict in (("0.3s", "exceeded"), ("0.4s", "within"), ("1 s", "within")):
        report = json.loads(cli("budget", *options, "--send", f"position every {every}", "--json")[1])
        assert report["limits"][0]["verdict"] == verdict


@pytest.mark.parametrize(("points", "shown"), [("10", ["0", "5", "10"]), ("8", ["0", "4", "8"]), ("1", ["0", "1"])])
def test_missed_positions_are_counted_for_trails_that_the_schema_can_carry(cli, points, shown):
    text = (cli.folder / "pasture.toml").read_text(encoding="utf-8").replace("points = 10", f"points = {points}")
    (cli.folder / "other.toml").write_text(text, encoding="utf-8")
    options = ("budget", "other.toml", *HERD, "--sf", "9", "--trackers", "12")
    rows = json.loads(cli(*options, "--json")[1])["channel"]["rows"]
    assert [list(row["missed_with_points"]) for row in rows] == [shown, shown]
    out = cli(*options)[1]
    assert all(f"missed, {count} points" in out for count in shown[1:])
    assert ("missed, 10 points" in out) is (points == "10")


def test_concessions_are_not_called_the_smallest_set(cli):
    out = cli("budget", "--sf", "9")[1]
    assert "concessions that suffice" in out
    assert "smallest" not in out.partition("To the next shorter airtime")[2]
