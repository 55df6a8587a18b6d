"""Random whole command lines: whatever is asked for, the exit status is 0, 1 or 2, and a fault is one line a fault."""

import contextlib
import io
import os

import click
import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from packetcodec.cli.app import app, run
from packetcodec.starter import sample_log, schema_text
from tests.support.effort import examples

TEXT = schema_text()
FILES = {
    "good.toml": TEXT,
    "next.toml": TEXT.replace("version = 1 ", "version = 2 ", 1),
    "broken.toml": TEXT.replace("bits = 12", "bits = 99"),
    "bare.toml": 'name = "a"\nversion = 0\n[[layouts]]\nname = "b"\nid = 0\nfields = [{ kind = "flag" }]\n',
    "none.toml": TEXT.replace('crc = "CRC-16/M17"', 'crc = "none"').replace("bind_schema = true", ""),
    "empty": "",
    "noise": "\x00\x1b[2J\ufeff[[[\n" * 9,
    "hexes": "11072abad13d02afae8bcf480f2c\nzz\n00\n",
    "rows": '{"layout": "status", "values": {}}\n{"collar": 1}\n[]\n',
    "log.csv": "time,lat,lon\n0,46.5,9.9\n30,46.6,9.9\n60,,\n",
    "log.nmea": sample_log()[:20_000].decode(),
    "log.gpx": "<gpx><trk><trkseg><trkpt lat='46' lon='9'><time>2026-07-01T00:00:00Z</time></trkpt></trkseg></trk></gpx>",
}
NAMES = [*FILES, "nowhere", ".", "out", "", "-", "nowhere/deep"]
NUMBERS = ["0", "1", "-1", "7", "12", "0.5", "1e999", "nan", "99999999999999999999", "-0", "1_0", "0x10", "٣"]
WORDS = [
    "EU868", "US915", "eu688", "868.1", "125", "4/5", "7-12", "12,7", "9-7", "40%", "101%", "auto", "on", "sx127x", "track",
    "position", "status", "collar=7", "battery=x", "=", "a=b=c", "0,5,63,64", "position every 20s", "x every", "nmea", "csv",
    "python", "reference", "'", "true", "11072abad13d02afae8bcf480f2c", "decode 00", "decode\n00", "\x1b[2J",
    "\udcff", "é", "7,8",
]  # fmt: skip
#: What waits for ever, listens on ports, or runs for minutes, is asked with its brake on, or left out.
BRAKES = {"fuzz": ("--inputs", "3", "--no-folder", "--target", "python", "--seconds", "1")}
LEFT_OUT = {"--follow", "--seconds", "--target", "--inputs", "--folder", "--self-test"}


def values_of(parameter):
    if isinstance(parameter.type, click.Choice):
        return st.sampled_from([*map(str, parameter.type.choices), "nonsense"])
    if isinstance(parameter.type, click.Path):
        return st.sampled_from(NAMES)
    return st.sampled_from([*NUMBERS, *WORDS])


@st.composite
def lines(draw):
    """A command with options and arguments of its own, mostly of their form, now and then anything."""
    name = draw(st.sampled_from(sorted(app.commands)))
    words = []
    options = [
        item for item in app.commands[name].params if isinstance(item, click.Option) and not LEFT_OUT & set(item.opts)
    ]
    for option in draw(st.lists(st.sampled_from(options), max_size=3)) if options else ():
        words.append(option.opts[-1])
        if not option.is_flag:
            words.append(draw(values_of(option)))
    for argument in (item for item in app.commands[name].params if isinstance(item, click.Argument)):
        if argument.required or draw(st.booleans()):
            words += draw(
                st.lists(values_of(argument), min_size=argument.required, max_size=2 if argument.nargs == -1 else 1)
            )
    if draw(st.integers(0, 9)) == 0:
        words.insert(
            draw(st.integers(0, len(words))), draw(st.sampled_from([*WORDS, *NUMBERS, *NAMES, "--", "--no-such", "-h"]))
        )
    return [name, *BRAKES.get(name, ()), *words]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("lines")
    for name, content in FILES.items():
        (made / name).write_text(content, encoding="utf-8", errors="surrogatepass")
    return made


@contextlib.contextmanager
def inside(folder):
    """In a folder, with nothing to read on stdin and both outputs kept: the two texts, once it is left."""
    kept = {name: io.TextIOWrapper(io.BytesIO(), "utf-8", errors="backslashreplace") for name in ("stdout", "stderr")}
    stdin, nothing = os.dup(0), os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    said = []
    try:
        with (
            contextlib.chdir(folder),
            contextlib.redirect_stdout(kept["stdout"]),
            contextlib.redirect_stderr(kept["stderr"]),
        ):
            yield said
    finally:
        os.dup2(stdin, 0)
        os.close(stdin)
        os.close(nothing)
        for stream in kept.values():
            stream.flush()
            said.append(stream.buffer.getvalue().decode("utf-8"))


@examples(120, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(words=lines())
def test_any_command_line_ends_with_a_status_and_a_line_for_each_fault(folder, words):
    with inside(folder) as said:
        status = run(words)
    out, err = said
    assert status in {0, 1, 2}
    assert "Traceback" not in out + err
    assert not set(out + err) & set("\x1b\x07\x9b")
    remarks = err.splitlines()
    if status == 2:
        assert out == "" or "packetcodec: stdout" in err
        assert len(remarks) == 1
    assert all(line.startswith(("packetcodec", "note: ")) for line in remarks), err
    assert max(map(len, remarks), default=0) < 1_000
