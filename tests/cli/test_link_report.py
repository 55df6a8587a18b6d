"""`replay` over a lossy link: the table, the report for programs, the suggestion, and options that cannot be."""

from __future__ import annotations

import json

import pytest

from packetcodec.cli.app import run
from packetcodec.starter import schema_text

LINK = ("--loss", "40%", "--burst", "5", "--bit-errors", "1e-4", "--duplicates", "5%", "--reorder", "2", "--seed", "1")


@pytest.fixture
def cli(capfd, tmp_path, monkeypatch):
    """Run `replay` in an empty folder on the built-in sample: status, stdout, stderr."""
    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        status = run(["replay", *arguments])
        out, err = capfd.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    call.folder = tmp_path
    return call


@pytest.mark.slow
def test_the_table_tells_how_many_points_arrive_for_each_length(cli):
    status, out, err = cli(*LINK, "--trails", "0,5,10")
    assert status == 0
    assert 'in layout "track"' in out
    assert "40 % of packets lost, in runs of 5 in the mean, bit errors 0.0001, 5 % arrive twice" in out
    rows = [line for line in out.splitlines() if line.lstrip().startswith(("none ", "5 points ", "10 points "))]
    assert len(rows) == 3
    assert "0 (0.0 %)" in rows[0]
    assert "A model of losses, not your link" in out
    assert "stand at the end of the log" in err
    assert cli(*LINK)[1] == out  # the same seed, and 0,5,10 are the lengths if none are given


def test_the_lengths_are_none_half_and_all_of_the_schemas_trail(cli):
    (cli.folder / "short.toml").write_text(schema_text().replace("points = 10", "points = 3"), encoding="utf-8")
    out = cli("-s", "short.toml", "--loss", "40%", "--every", "600")[1]
    rows = out[out.index("trail of ") :].splitlines()[2:]
    assert [row.partition("  ")[0] for row in rows[: rows.index("")]] == ["none", "1 point", "3 points"]


@pytest.mark.slow
def test_programs_get_the_same_figures(cli):
    report = json.loads(cli(*LINK, "--json")[1])
    none, five, ten = report["link"]["trails"]
    assert [each["trail"] for each in (none, five, ten)] == [0, 5, 10]
    assert none["by_trail"] == 0 < five["by_trail"] <= ten["by_trail"]
    assert none["missing"] > five["missing"] >= ten["missing"]
    for each in (none, five, ten):
        assert each["direct"] + each["by_trail"] + each["missing"] == each["points"]
        assert sum(each["sizes"].values()) == each["sent"]
        assert set(each["mean_airtime_ms"]) == {f"SF{factor}" for factor in range(7, 13)}
    assert report["link"]["seed"] == 1
    assert report["suggestion"]["gain_bytes"] >= 0
    assert "link" not in json.loads(cli("--json")[1])


@pytest.mark.slow
def test_starting_values_are_suggested_for_a_layout_with_a_trail_and_only_there(cli):
    assert "Starting values of the trail: initial_scale = " in cli("--layout", "track")[1]
    assert "Starting values" not in cli("--layout", "position")[1]
    (cli.folder / "fast.toml").write_text(schema_text().replace("speed = 0.5", "speed = 40"), encoding="utf-8")
    assert "bytes shorter" in cli("-s", "fast.toml", "--layout", "track")[1]


@pytest.mark.slow
def test_shares_are_written_either_way(cli):
    assert cli("--loss", "0.4", "--trails", "0")[1] == cli("--loss", "40%", "--trails", "0")[1]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--loss", "much"), "--loss: much is not like 40% or 0.4"),
        (("--loss", "40"), "--loss: 40 is above 1; did you mean 40%?"),
        (("--loss", "100%"), "--loss: 1 is outside 0 up to (not including) 1"),
        (("--loss", "nan"), "--loss: nan is outside 0 up to (not including) 1"),
        (("--loss", "inf%"), "--loss: inf is outside 0 up to (not including) 1"),
        (("--loss=-5%",), "--loss: -0.05 is outside 0 up to (not including) 1"),
        (("--loss", "40%", "--burst", "0.5"), "--burst: 0.5 is below 1 packets, the least at this loss"),
        (("--burst", "5"), "--burst: 5 has no effect without --loss"),
        (("--burst", "5", "--reorder", "1"), "--burst: 5 has no effect without --loss"),
        (("--seed", "5"), "--seed: 5 has no effect without --loss or another option of the lossy link"),
        (("--bit-errors", "150%"), "--bit-errors: 1.5 is outside 0..1"),
        (("--duplicates=-1",), "--duplicates: -1 is outside 0..1"),
        (("--reorder=-1",), "--reorder: -1 is outside 0..1000 packets"),
        (("--trails", "ten"), "--trails: ten is not like 0,5,10"),
        (("--trails", "0,64"), "--trails: 64 is outside 0..63 points"),
        (("--loss", "40%", "--layout", "status"), "--layout: status carries no trail to test on a link: one of track"),
    ],
)
def test_an_option_that_cannot_be_is_one_line_and_wrong_usage(cli, arguments, message):
    status, out, err = cli(*arguments)
    assert (status, out) == (2, "")
    assert err == f"packetcodec replay: {message}\n"


def test_a_schema_without_a_trail_is_told_so(cli):
    text = schema_text()
    start, end = text.index("[layouts.trail]"), text.index('[[layouts]]\nname = "status"')
    (cli.folder / "bare.toml").write_text(text[:start] + text[end:], encoding="utf-8")
    status, out, err = cli("-s", "bare.toml", "--loss", "40%")
    assert (status, out) == (1, "")
    assert err == "packetcodec: no layout of pasture carries a trail to test on a link: see `packetcodec new` for one\n"
