"""What commands read from and write to: readers who leave, full disks, folders that are gone, planted links."""

import contextlib
import json
import os
import shutil
import subprocess
import sys

import pytest

from packetcodec.cli.app import run
from packetcodec.starter import schema_text

ROW = {"collar": 7, "counter": 1, "latitude": 46.5, "longitude": 9.9, "altitude": 2100, "battery": 3.7, "fix_quality": 1}
LINE = json.dumps({"layout": "position", "values": ROW})
MAIN = f"{sys.executable} -c 'from packetcodec.cli import main; main()'"
BASH = shutil.which("bash")


def shell(line, folder):
    """A command as bash runs it, `packetcodec` being the first word; the exit status is that of packetcodec."""
    done = subprocess.run(
        [BASH, "-c", f"{line.replace('packetcodec', MAIN, 1)}; exit ${{PIPESTATUS[0]}}"],
        cwd=folder, capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr
    return done


@pytest.fixture
def folder(cli):
    text = schema_text()
    (cli.folder / "next.toml").write_text(text.replace("bits = 12, optional", "bits = 13, optional"), encoding="utf-8")
    (cli.folder / "rows").write_text(f"{LINE}\n" * 5_000, encoding="utf-8")
    (cli.folder / "hexes").write_text("11072abad13d02afae8bcf480f2c\n" * 5_000, encoding="utf-8")
    return cli.folder


#: Each command that prints, with more output than a buffer holds where it has so much, and the status that it ends with.
LOUD = {
    "kinds": ("kinds --json", 0),
    "check": ("check pasture.toml", 0),
    "compare": ("compare pasture.toml next.toml", 1),
    "spec": ("spec pasture.toml --vectors", 0),
    "encode": ("encode pasture.toml rows", 0),
    "decode": ("decode pasture.toml -i hexes", 0),
    "airtime": ("airtime --json", 0),
    "replay": ("replay", 0),
    "fuzz": ("fuzz --no-folder --inputs 5", 0),
    "help": ("", 0),
    "help of a command": ("replay --help", 0),
}


def run_into(descriptor, line, monkeypatch):
    """The exit status of a command whose stdout is a descriptor of ours, buffered as that of a pipe is."""
    stream = os.fdopen(descriptor, "w", encoding="utf-8")
    with monkeypatch.context() as patch:
        patch.setattr(sys, "stdout", stream)
        status = run(line.split())
    with contextlib.suppress(OSError):  # what is left in its buffer
        stream.close()
    return status


@pytest.mark.usefixtures("folder")
@pytest.mark.parametrize("name", LOUD)
def test_a_reader_that_leaves_early_is_no_error(name, monkeypatch, capfd):
    line, status = LOUD[name]
    reader, writer = os.pipe()
    os.close(reader)
    assert run_into(writer, line, monkeypatch) in {0, status}
    assert capfd.readouterr().err == ""


@pytest.mark.slow
@pytest.mark.usefixtures("folder")
@pytest.mark.parametrize("name", LOUD)
def test_a_full_disk_behind_stdout_is_one_line(name, monkeypatch, capfd):
    assert run_into(os.open("/dev/full", os.O_WRONLY), LOUD[name][0], monkeypatch) == 2
    assert capfd.readouterr().err == "packetcodec: stdout: No space left on device\n"


@pytest.mark.slow
def test_all_that_a_shell_can_do_to_the_streams_is_no_traceback(folder):
    assert shell("packetcodec spec pasture.toml --vectors | head -1", folder).returncode == 0
    assert shell("packetcodec decode pasture.toml -i rows 2>&1 | true", folder).returncode in {0, 1}
    assert shell("packetcodec check nowhere.toml 2>/dev/full", folder).returncode == 2
    assert shell("packetcodec check nowhere.toml 2>&-", folder).returncode == 2
    assert shell("packetcodec replay 2>&-", folder).returncode == 0
    done = shell("packetcodec decode pasture.toml <&-", folder)
    assert (done.returncode, done.stderr) == (2, "packetcodec: stdin: Bad file descriptor\n")


@pytest.mark.parametrize("line", ["spec pasture.toml -o out", "emit js pasture.toml -o out", "new out/pasture.toml"])
def test_a_folder_that_cannot_be_had_is_named(cli, line):
    (cli.folder / "out").write_text("mine", encoding="utf-8")
    status, out, err = cli(*line.split())
    assert (status, out, len(err.splitlines())) == (2, "", 1)
    assert err.partition(": ")[2].startswith(("--output: Directory 'out' is a file.", "out/pasture.toml: Not a directory"))
    assert (cli.folder / "out").read_text(encoding="utf-8") == "mine"


def test_a_working_folder_that_is_gone_is_one_line(cli):
    gone = cli.folder / "gone"
    gone.mkdir()
    os.chdir(gone)
    gone.rmdir()
    assert cli("new", "new.toml")[::2] == (2, "packetcodec: new.toml: No such file or directory\n")
    assert cli("check", "new.toml")[::2] == (2, "packetcodec: new.toml: No such file or directory\n")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("line", "name"),
    [
        ("spec pasture.toml -o .", "pasture-v1.md"),
        ("emit js pasture.toml -o .", "pasture.mjs"),
        ("new new.toml", "new.toml"),
    ],
)
def test_a_planted_link_is_never_written_through(cli, line, name):
    (cli.folder / "victim").write_text("mine", encoding="utf-8")
    for victim in ("victim", "nowhere"):
        (cli.folder / name).unlink(missing_ok=True)
        (cli.folder / name).symlink_to(victim)
        status, _, err = cli(*line.split())
        if name == "new.toml":
            assert (status, err) == (1, "packetcodec: new.toml: exists already and is left alone\n")
        else:
            assert status == 0
            assert not (cli.folder / name).is_symlink()
    assert (cli.folder / "victim").read_text(encoding="utf-8") == "mine"
    assert not (cli.folder / "nowhere").exists()
    assert not [path for path in cli.folder.iterdir() if path.name.startswith(".")]


def test_who_reads_a_file_meanwhile_reads_it_whole(cli, folder):
    assert cli("spec", "pasture.toml", "-o", "out")[0] == 0
    before = (folder / "out" / "pasture-v1.md").read_bytes()
    with (folder / "out" / "pasture-v1.md").open("rb") as reader:
        assert cli("spec", "next.toml", "-o", "out")[0] == 0
        assert reader.read() == before
    assert (folder / "out" / "pasture-v1.md").read_bytes() != before


@pytest.mark.slow
def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(folder):
    out = folder / "out"
    out.mkdir()
    (out / "pasture-v1.md").write_text("old", encoding="utf-8")
    done = shell("ulimit -f 4; packetcodec spec pasture.toml -o out", folder)
    assert (done.returncode, done.stderr) == (2, "packetcodec: out/pasture-v1.md: File too large\n")
    assert (out / "pasture-v1.md").read_text(encoding="utf-8") == "old"
    done = shell("ulimit -f 1; packetcodec new out/new.toml", folder)
    assert (done.returncode, done.stderr) == (2, "packetcodec: out/new.toml: File too large\n")
    assert [path.name for path in out.iterdir()] == ["pasture-v1.md"]


def test_a_new_file_has_the_rights_that_the_user_asks_for(cli):
    before = os.umask(0o027)
    try:
        cli("new", "new.toml")
    finally:
        os.umask(before)
    assert (cli.folder / "new.toml").stat().st_mode & 0o777 == 0o640


HOSTILE = "\x1b]0;owned\x07\x1b[2J\x9b31m\u202e\u2028"
ESCAPED = schema_text().replace("Collars on", r"\u001b[2J\u009b")


@pytest.mark.parametrize(
    ("arguments", "content"),
    [
        (("check", "bad"), f'name = "{HOSTILE}'),
        (("check", "bad"), ESCAPED),
        (("check", "bad"), schema_text().replace('name = "collar"', r'name = "\u001b[2J\u009b"')),
        (("check", "bad"), schema_text().replace('"°C"', r'"\u001b[2J\u009b"')),
        (("check", "--json", "bad"), schema_text().replace('"°C"', r'"\u001b[2J\u009b"')),
        (("kinds", HOSTILE), ""),
        (("compare", "pasture.toml", "bad"), ESCAPED),
        (("spec", "bad"), ESCAPED),
        (("encode", "pasture.toml", "bad"), f'{{"{HOSTILE}": 1}}\n'),
        (("encode", "pasture.toml", "bad"), json.dumps({"layout": HOSTILE, "values": {HOSTILE: HOSTILE}})),
        (("encode", "pasture.toml", "bad", "--layout", "status"), json.dumps({HOSTILE: HOSTILE})),
        (("decode", "pasture.toml", "-i", "bad", "--faults"), f"{HOSTILE}\n11{HOSTILE}\n"),
        (("replay", "bad"), f"time,lat,lon,{HOSTILE}\n0,46.5,9.9,1\n{HOSTILE},1,1,1\n"),
        (("replay", "bad"), f"$GPGGA,{HOSTILE}*00\n" * 9),
        (("replay", "bad"), f"<gpx><trk><trkseg><trkpt lat='{HOSTILE}'/>"),
        (("replay", "--layout", HOSTILE), ""),
        (("replay", "--set", f"{HOSTILE}=1"), ""),
        (("replay", "--set", f"battery={HOSTILE}"), ""),
        (("replay", "--loss", HOSTILE), ""),
        (("airtime", "--region", HOSTILE), ""),
        (("airtime", "--sf", HOSTILE), ""),
        (("check", f"{HOSTILE}.toml"), ""),
        ((HOSTILE,), ""),
        (("fuzz", "--no-folder", "--play", HOSTILE), ""),
        (("fuzz", "--no-folder", "--target", HOSTILE), ""),
    ],
)
def test_no_escape_of_any_input_reaches_the_terminal(cli, arguments, content):
    (cli.folder / "bad").write_text(content, encoding="utf-8")
    _, out, err = cli(*arguments)
    assert out + err
    assert not set(out + err) & set("\x1b\x07\x9b\u202e\u2028")
