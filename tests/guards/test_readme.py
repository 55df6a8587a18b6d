"""What README says is what the commands print and what the example does."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from packetcodec.cli.app import run
from packetcodec.starter import schema_text

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


def blocks(language):
    return re.findall(rf"^```{language}\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)


def test_the_airtime_table_is_what_the_command_prints(capfd):
    assert run(["airtime"]) == 0
    printed = [line.strip() for line in capfd.readouterr().out.splitlines()]
    table = README.split("<!-- airtime")[1].split("```")[1]
    lines = [line.strip() for line in table.strip().splitlines()]
    assert len(lines) > 8
    assert set(lines) <= set(printed)


def test_the_example_prints_what_its_remarks_say(tmp_path):
    code, _ = blocks("python")
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True)
    said = [line.split("#")[1].strip().removesuffix(", exact") for line in code.splitlines() if line.startswith("print(")]
    assert done.stdout.splitlines() == said


COLLAR = """
#include <stdio.h>
int main(void)
{
    pasture_track now = {0};
    uint8_t packet[PASTURE_TRACK_BYTES];
    size_t i, length;
    now.has_latitude = now.has_longitude = 1;
    now.collar = 7;
    now.latitude_e7 = 465123400;
    now.longitude_e7 = 98765400;
    now.trail_count = 1;
    now.trail[0].latitude_e7 = 465120000;
    now.trail[0].longitude_e7 = 98760000;
    length = make_packet(&now, packet);
    for (i = 0; i < length; i++) printf("%02x", packet[i]);
    return length == 0;
}
"""


def test_both_sides_of_the_link_understand_each_other(tmp_path, capsys, monkeypatch):
    if not (compiler := shutil.which("gcc")):
        if os.environ.get("CI"):
            pytest.fail("no gcc")
        pytest.skip("no gcc: the C side of README is not compiled here")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")
    assert run(["emit", "c", "pasture.toml", "-o", "."]) == 0
    (tmp_path / "collar.c").write_text(blocks("c")[0] + COLLAR, encoding="utf-8")
    subprocess.run(
        [compiler, "-std=c99", "-Wall", "-Wextra", "-Werror", "collar.c", "pasture.c", "-o", "collar"], check=True
    )
    sent = subprocess.run(["./collar"], capture_output=True, text=True, check=True).stdout
    capsys.readouterr()
    scope = {}
    exec(blocks("python")[1], scope)  # noqa: S102  # README's own example
    scope["listen"]([(bytes.fromhex(sent), 1_784_000_000.0)])
    rows = [line.split() for line in capsys.readouterr().out.splitlines()]
    assert [row[3] for row in rows] == ["False", "True"]
    assert float(rows[0][1]) == pytest.approx(46.512, abs=2.3e-5)
    assert float(rows[1][2]) == pytest.approx(9.87654, abs=1.2e-5)


def test_there_are_two_set_up_commands_of_one_line_each():
    commands = [line for line in README.splitlines() if line.startswith("python3 -m venv ")]
    assert len(commands) == 2
    assert commands[0].endswith("packetcodec replay")
    assert "pytest" in commands[1]


@pytest.mark.parametrize("words", ["not permission", "no life-saving device", "can read them"])
def test_the_cautions_stand_in_it(words):
    assert words in " ".join(README.split())


def test_every_command_it_names_exists(capfd):
    for name in set(re.findall(r"`packetcodec (\w+)", README)):
        assert run([name, "--help"]) == 0
        capfd.readouterr()
