"""The pytest fixture, in a test suite of a user's own."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

EXAMPLES = Path(__file__).parent / "examples"
SUITE = """
import sys
sys.path.insert(0, {examples!r})
from gate_decoder import decode

def test_right(packetcodec_fuzz):
    report = packetcodec_fuzz({schema!r}, decode=decode, seconds=20, max_inputs=1500)
    assert report.inputs >= 1500

def test_wrong(packetcodec_fuzz):
    def wrong(data):
        return decode(data) if data[3:4] != b"\\x20" else ("ok", [1, 2, 3, 0])

    packetcodec_fuzz({schema!r}, decode=wrong, seconds=20, max_inputs=1500)

def test_program(packetcodec_fuzz):
    packetcodec_fuzz({schema!r}, command=[sys.executable, {wire!r}], seconds=20, max_inputs=500)

def test_nothing(packetcodec_fuzz):
    packetcodec_fuzz({schema!r})
"""


def pytest_says(folder, *arguments):
    # An installed package brings the fixture by its entry point; here it may be installed without.
    plugin = ["-p", "packetcodec.pytest_plugin"] if "packetcodec" not in entry_points() else []
    command = [sys.executable, "-m", "pytest", *plugin, "-q", "-p", "no:cacheprovider", *arguments]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False).stdout


@pytest.fixture(scope="module")
def suite(tmp_path_factory):
    path = tmp_path_factory.mktemp("suite") / "test_ours.py"
    names = {"examples": str(EXAMPLES), "schema": str(EXAMPLES / "gate.toml"), "wire": str(EXAMPLES / "wire.py")}
    path.write_text(SUITE.format(**names), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def said(suite):
    return pytest_says(suite.parent, suite.name)


def entry_points():
    from importlib.metadata import entry_points as found  # noqa: PLC0415  # the function's name is that of the library's

    return {point.name for point in found(group="pytest11")}


def test_a_right_decoder_and_a_right_program_pass(said):
    assert "2 failed, 2 passed" in said
    assert "FAILED test_ours.py::test_wrong" in said
    assert "FAILED test_ours.py::test_nothing" in said


def test_a_wrong_decoder_fails_with_the_smallest_packet_and_its_rule_and_no_traceback(said):
    assert "asked     decode 12" in said
    assert "rule      section" in said
    assert "Traceback" not in said
    assert "During handling" not in said
    told = said.split("short test summary info")[0]  # which holds the whole message once more where CI is set
    assert told.count("  rule      section") == int(re.search(r"(\d+) findings?\.", told)[1])


def test_the_command_of_a_report_plays_the_finding_again_and_passes_once_it_is_mended(suite, said):
    line = next(line for line in said.splitlines() if line.startswith("  again     pytest test_ours.py::test_wrong "))
    arguments = shlex.split(line)[2:]
    assert arguments[:2] == ["test_ours.py::test_wrong", "--packetcodec-play"]
    again = pytest_says(suite.parent, *arguments)
    assert "1 failed" in again
    assert f"asked     decode {arguments[2]}" in again
    assert "played" in again
    text = suite.read_text(encoding="utf-8")
    suite.write_text(text.replace('("ok", [1, 2, 3, 0])', "decode(data)"), encoding="utf-8")
    assert "1 passed" in pytest_says(suite.parent, *arguments)
    assert "decode: 'xy' is not hex" in pytest_says(suite.parent, arguments[0], arguments[1], "xy")
    suite.write_text(text, encoding="utf-8")


def test_a_test_that_gives_nothing_is_told_so(said):
    assert "give decode, or the command of a program" in said


def test_a_run_of_pytest_that_does_not_fuzz_loads_nothing_for_it(tmp_path):
    (tmp_path / "test_quiet.py").write_text(
        "import sys\n\ndef test_quiet():\n"
        "    heavy = {'numpy', 'construct', 'jinja2', 'hypothesis', 'click', 'rich', 'geographiclib'}\n"
        "    assert 'packetcodec.pytest_plugin' in sys.modules\n"
        "    assert 'packetcodec.fuzz' not in sys.modules\n"
        "    assert not heavy & {name.split('.')[0] for name in sys.modules}\n",
        encoding="utf-8",
    )
    said = pytest_says(tmp_path, "-p", "no:hypothesispytest", "test_quiet.py")  # other plugins load what they like
    assert "1 passed" in said, said
