"""The command `emit`: what its help lists, what it leaves out, what it refuses."""

import re

import pytest

from packetcodec.cli.app import run
from packetcodec.emit import BACK_ENDS
from packetcodec.starter import schema_text


@pytest.fixture
def schema(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")
    return "pasture.toml"


def test_help_has_a_line_for_each_back_end(capfd):
    assert run(["emit", "--help"]) == 0
    said = capfd.readouterr().out
    for back_end in BACK_ENDS.values():
        (line,) = [line for line in said.splitlines() if line.split()[:1] == [back_end.name]]
        assert back_end.language in line


@pytest.mark.parametrize("name", BACK_ENDS)
def test_layouts_that_a_device_does_not_know_are_left_out(schema, tmp_path, name):
    assert run(["emit", name, schema, "-o", "whole"]) == 0
    assert run(["emit", name, schema, "-o", "part", "--layout", "status", "--layout", "position"]) == 0
    whole, part = (
        "".join(path.read_text(encoding="utf-8") for path in sorted((tmp_path / folder).rglob("*.*")))
        for folder in ("whole", "part")
    )
    named = re.compile(r"[\"'_]track\b|\btrack[_:]")
    assert named.search(whole)
    assert not named.search(part)
    assert "7985ffc5412132c8" in part  # the fingerprint is the schema's


def test_half_of_it_is_written_where_the_language_has_halves(schema, tmp_path, capfd):
    for only, other in (("encode", "decode"), ("decode", "encode")):
        assert run(["emit", "c", schema, "-o", only, "--only", only]) == 0
        header = (tmp_path / only / "pasture_packets.h").read_text(encoding="utf-8")
        assert f"pasture_{only}" in header
        assert f"pasture_{other}" not in header
    capfd.readouterr()
    assert run(["emit", "js", schema, "-o", "js", "--only", "encode"]) == 2
    assert "--only encode: js is written as a whole; it is for c" in capfd.readouterr().err
    assert not (tmp_path / "js").exists()


def test_a_name_that_is_no_layout_or_no_back_end_is_wrong_usage_in_one_line(schema, tmp_path, capfd):
    assert run(["emit", "c", schema, "-o", "out", "--layout", "cow"]) == 2
    assert "--layout: cow is not a layout of pasture: one of position, track, status" in capfd.readouterr().err
    assert run(["emit", "cobol", schema, "-o", "out"]) == 2
    assert all(f"'{name}'" in capfd.readouterr().err for name in list(BACK_ENDS)[:1])
    assert not (tmp_path / "out").exists()
