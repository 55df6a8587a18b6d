"""The whole command line: exit status, one line for a fault, streams that are closed, full or gone."""

import json
import os
import shlex
import subprocess
import sys

import pytest

from tests.cli.test_fuzz import GATE, RUBBISH


@pytest.mark.parametrize("command", ["check", "spec", "encode", "decode", "airtime"])
def test_a_file_that_is_not_there_is_one_line(cli, command):
    status, _, err = cli(command, "nowhere.toml", stdin="")
    assert status == 2
    assert err == "packetcodec: nowhere.toml: No such file or directory\n"


def test_wrong_usage_is_status_2(cli):
    assert cli("nonsense")[0] == 2
    assert cli("check")[0] == 2
    assert cli("airtime", "--nonsense")[0] == 2
    assert cli("--help")[0] == 0
    assert cli("--version")[0] == 0


def shell(line, folder, **environment):
    """A command as a shell runs it, `packetcodec` being the first word."""
    code = "from packetcodec.cli import main; main()"
    line = line.replace("packetcodec", f"{sys.executable} -c '{code}'", 1)
    return subprocess.run(  # noqa: S602  # the redirections of a shell are what is tested
        line, shell=True, executable="bash", cwd=folder, capture_output=True, text=True, check=False,
        env={**os.environ, **environment},
    )  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("packetcodec check pasture.toml >&-", "packetcodec: stdout is closed\n"),
        ("packetcodec check pasture.toml >/dev/full", "packetcodec: stdout: No space left on device\n"),
        ("packetcodec encode pasture.toml <&-", "packetcodec: stdin: Bad file descriptor\n"),
        ("packetcodec check .", "packetcodec check: SCHEMA: File '.' is a directory.\n"),
        ("packetcodec emit c pasture.toml -o /dev/full", "packetcodec: /dev/full: is not a folder\n"),
        ("packetcodec fuzz --seconds soon", "packetcodec fuzz: --seconds: 'soon' is not a number\n"),
        ("packetcodec fuzz --inputs 1.5", "packetcodec fuzz: --inputs: '1.5' is not a whole number\n"),
    ],
)
def test_streams_and_words_that_cannot_be_are_one_line(cli, line, words):
    done = shell(line, cli.folder)
    assert (done.returncode, done.stderr) == (2, words)


@pytest.mark.slow
def test_a_terminal_that_knows_ascii_alone_gets_escapes(cli):
    done = shell("packetcodec check pasture.toml", cli.folder, PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (0, "")
    assert r"-90..90 \xb0" in done.stdout
    done = shell("packetcodec check pasture.toml --json", cli.folder, PYTHONIOENCODING="ascii")
    assert "°" in {field["unit"] for field in json.loads(done.stdout)["layouts"][0]["fields"]}


def test_an_interrupt_while_the_libraries_load_is_no_traceback():
    code = (
        "import sys\n"
        "class Interrupt:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == 'rich': raise KeyboardInterrupt\n"
        "sys.meta_path.insert(0, Interrupt())\n"
        "from packetcodec.cli import main\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (130, "")


def test_the_help_says_whole_sentences(cli):
    out = cli("--help")[1]
    assert "..." not in out.split("Commands:")[1]


@pytest.mark.slow
def test_a_reader_that_leaves_early_is_no_error():
    code = "from packetcodec.cli import main; main()"
    with subprocess.Popen([sys.executable, "-c", code, "replay"], stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait() == 0


@pytest.mark.slow
@pytest.mark.parametrize(
    ("line", "status"),
    [
        ("packetcodec compare pasture.toml finer.toml | true", 1),
        ("packetcodec compare pasture.toml pasture.toml | true", 0),
        ("packetcodec check wrong.toml 2>&1 | true", 1),
        ("packetcodec check pasture.toml --nonsense 2>&1 | true", 2),
        ("packetcodec decode pasture.toml --faults < bad.txt | true", 1),
        ("packetcodec encode pasture.toml < bad.txt 2>&1 | true", 1),
        ("packetcodec fuzz --play 'encode_base 1' | true", 2),
        (f"packetcodec fuzz {GATE} --target {shlex.quote(RUBBISH)} --inputs 1500 --seconds 600 --no-folder | true", 1),
        ("packetcodec --help | true", 0),
    ],
)
def test_a_reader_that_leaves_does_not_change_what_a_command_says_at_its_end(cli, line, status):
    text = (cli.folder / "pasture.toml").read_text(encoding="utf-8")
    (cli.folder / "finer.toml").write_text(text.replace("bits = 12,", "bits = 13,"), encoding="utf-8")
    (cli.folder / "wrong.toml").write_text("nonsense = 1", encoding="utf-8")
    (cli.folder / "bad.txt").write_text("11 zz\n" * 3, encoding="utf-8")
    # Whoever reads has gone before anything is printed.
    line = line.replace("packetcodec", "sleep 0.2; packetcodec", 1)
    done = shell(f"set -o pipefail; ({line.replace(' | true', ') | true')}", cli.folder)
    assert (done.returncode, "Traceback" in done.stderr) == (status, False)
