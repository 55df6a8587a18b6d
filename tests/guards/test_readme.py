"""What README says is what the commands print and what the example does."""

import re
import subprocess
import sys
from pathlib import Path

import click
import pytest

from packetcodec import Codec, Schema, compile_plan
from packetcodec.cli.app import app, run
from packetcodec.cli.streams import MAX_LINE
from packetcodec.emit.js import write_javascript
from packetcodec.logs.log import MAX_FIXES
from packetcodec.receive.receiver import MAX_TRACKERS
from packetcodec.schema.keys import MAX_FIELDS
from packetcodec.schema.schema import MAX_TEXT
from packetcodec.starter import schema_text
from tests.support.needs import tool

REPOSITORY = Path(__file__).parents[2]
README = (REPOSITORY / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (REPOSITORY / "DEVELOPERS.md").read_text(encoding="utf-8")


#: What is read by people, and where it stands: two documents, the help of each command, and the messages of all.
TEXTS = [
    ("README.md", README),
    ("DEVELOPERS.md", DEVELOPERS),
    ("starter schema", schema_text()),
    ("packetcodec", app.get_help(click.Context(app, info_name="packetcodec"))),
    *((name, command.get_help(click.Context(command, info_name=name))) for name, command in app.commands.items()),
    *(
        (path.relative_to(REPOSITORY).as_posix(), path.read_text(encoding="utf-8"))
        for path in sorted((REPOSITORY / "packetcodec" / "cli").rglob("*.py"))
    ),
]


def blocks(language):
    return re.findall(rf"^```{language}\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)


@pytest.mark.parametrize(
    ("mark", "arguments"),
    [
        ("airtime", ["airtime"]),
        (
            "budget",
            ["budget", "--send", "position every 20s", "--send", "status every 10min", "--trackers", "12", "--sf", "9",
             "--battery", "2600"],
        ),
    ],
)  # fmt: skip
def test_a_table_is_what_its_command_prints(capfd, mark, arguments):
    assert run(arguments) == 0
    printed = [line.strip() for line in capfd.readouterr().out.splitlines()]
    table = README.split(f"<!-- {mark}")[1].split("```")[1]
    lines = [line.strip() for line in table.strip().splitlines()]
    assert len(lines) > 8
    assert set(lines) <= set(printed)


def test_the_example_prints_what_its_remarks_say(tmp_path):
    code, *_ = blocks("python")
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True)
    said = [line.split("#")[1].strip().removesuffix(", exact") for line in code.splitlines() if line.startswith("print(")]
    assert done.stdout.splitlines() == said


COLLAR = """
#include <stdio.h>
int main(void)
{
    uint8_t packet[PASTURE_TRACK_BYTES];
    size_t i, length;
    pasture_track_point here = {465120000, 98760000}, there = {465123400, 98765400};
    length = make_packet(&here, 210400, 3710, 1000, packet);
    if (length != 0) length = make_packet(&there, 210400, 3700, 1030, packet);
    for (i = 0; i < length; i++) printf("%02x", packet[i]);
    return length == 0;
}
"""


def test_both_sides_of_the_link_understand_each_other(tmp_path, capsys, monkeypatch):
    compiler = tool("gcc")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")
    assert run(["emit", "c", "pasture.toml", "-o", "."]) == 0
    (tmp_path / "collar.c").write_text(blocks("c")[0] + COLLAR, encoding="utf-8")
    subprocess.run(
        [compiler, "-std=c99", "-Wall", "-Wextra", "-Werror", "collar.c", "pasture_packets.c", "-o", "collar"], check=True
    )
    sent = subprocess.run(["./collar"], capture_output=True, text=True, check=True).stdout
    capsys.readouterr()
    packet = Codec(Schema.parse(schema_text())).decode(bytes.fromhex(sent))
    assert None not in packet.values.values()
    assert (packet.values["counter"], len(packet.trail)) == (2, 1)
    scope = {}
    exec(blocks("python")[1], scope)  # noqa: S102  # README's own example
    scope["listen"]([(bytes.fromhex(sent), 1_784_000_000.0)])
    rows = [line.split() for line in capsys.readouterr().out.splitlines()]
    assert [row[3] for row in rows] == ["False", "True"]
    assert float(rows[0][1]) == pytest.approx(46.512, abs=2.3e-5)
    assert float(rows[1][2]) == pytest.approx(9.87654, abs=1.2e-5)


def test_the_exit_statuses_stand_in_it():
    said = " ".join(README.split("Exit status: ")[1].split("\n\n")[0].split())
    assert [int(status) for status in re.findall(r"(?:^|\. )(\d+) means", said)] == [0, 1, 2, 130]
    assert "`new`, that the file exists already and is left alone" in said


def test_the_module_that_is_named_is_the_one_that_is_written():
    (named,) = re.findall(r"`packetcodec emit js pasture.toml -o app` writes `([^`]+)`", README)
    assert named in write_javascript(compile_plan(Schema.parse(schema_text())))


def test_there_are_two_set_up_commands_of_one_line_each():
    commands = [line for line in README.splitlines() if line.startswith("python3 -m venv ")]
    assert len(commands) == 2
    assert commands[0].endswith("packetcodec replay")
    assert "pytest" in commands[1]


@pytest.mark.parametrize("words", ["not permission", "no life-saving device", "can read them"])
def test_the_cautions_stand_in_it(words):
    assert words in " ".join(README.split())


@pytest.mark.parametrize(("place", "text"), TEXTS, ids=[place for place, _ in TEXTS])
def test_every_command_that_is_named_exists(place, text):
    named = set(re.findall(r"`packetcodec +([\w-]+)", text))
    assert named <= set(app.commands), place


@pytest.mark.parametrize(("place", "text"), TEXTS, ids=[place for place, _ in TEXTS])
def test_every_option_that_is_named_exists(place, text):
    for command, rest in re.findall(r"packetcodec (\w+)([^`\n]*)", text):
        if command in app.commands:
            assert options(rest) <= options_of(command), f"{place}: packetcodec {command}{rest}"
    known = options_of(place) if place in app.commands else set().union(*map(options_of, app.commands))
    assert options(re.sub(r"(pip install|-m pytest) [^`\n]*", "", text)) <= known, place


def options(text):
    return set(re.findall(r"(?<![\w-])--[a-z][\w-]*", text))


def options_of(command):
    declared = {name for parameter in app.commands[command].params for name in parameter.opts}
    return declared | {"--help", "--version"}


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README.md", "DEVELOPERS.md"])
def test_every_path_that_is_named_exists(text):
    named = {name for name in re.findall(r"`([\w./-]+)`|\]\(([\w./-]+)\)", text) for name in name if is_path(name)}
    assert len(named) > 3
    roots = (REPOSITORY, REPOSITORY / "packetcodec")
    assert sorted(name for name in named if not any((root / name).exists() for root in roots)) == []


def is_path(name):
    # What a reader's own command writes has no folder; `./mine` is the reader's.
    return ("/" in name and not name.startswith("./")) or name.endswith((".py", ".md"))


def test_every_command_stands_in_its_table():
    rows = re.findall(r"^\| `packetcodec (\w+)", README, re.MULTILINE)
    assert sorted(rows) == sorted(app.commands)


def test_the_limits_are_those_in_force():
    said = set(re.findall(r"[\d,]+", README.split("- **Limits.**")[1].split("\n## ")[0]))
    assert {f"{limit:,}" for limit in (MAX_TEXT, MAX_FIELDS, MAX_LINE, MAX_FIXES, MAX_TRACKERS)} <= said


def test_the_small_schema_costs_what_is_said_of_it(tmp_path, capfd):
    (tmp_path / "small.toml").write_text(blocks("toml")[0], encoding="utf-8")
    said = " ".join(README.split("```toml")[1].split("```")[1].split())
    bytes_said, off, text_bytes, airtime, text_airtime = re.findall(r"[\d,.]*\d", said.replace("SF12", ""))[:5]
    assert run(["check", str(tmp_path / "small.toml")]) == 0
    out = capfd.readouterr().out
    assert f": {bytes_said} bytes\n" in out
    assert f"at most {off} m" in out
    assert run(["airtime", str(tmp_path / "small.toml"), "--text", "--sf", "12"]) == 0
    out = capfd.readouterr().out
    assert f"{bytes_said} bytes, as text {text_bytes}" in out
    assert f"{airtime} ms" in out
    assert f"{text_airtime} ms" in out
