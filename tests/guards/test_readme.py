"""What README says is what the commands print and what the example does."""

import re
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
    (code,) = blocks("python")
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True)
    said = [line.split("#")[1].strip().removesuffix(", exact") for line in code.splitlines() if line.startswith("print(")]
    assert done.stdout.splitlines() == said


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
