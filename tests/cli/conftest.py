"""Running a command of the command line inside the test's own process."""

import os

import pytest

from packetcodec.cli.app import run
from packetcodec.starter import schema_text


@pytest.fixture
def cli(capfd, tmp_path, monkeypatch):
    """Run a command in an empty folder: status, stdout, stderr."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pasture.toml").write_text(schema_text(), encoding="utf-8")

    def call(*arguments, stdin=None):
        if stdin is not None:
            path = tmp_path / "stdin"
            path.write_bytes(stdin if isinstance(stdin, bytes) else stdin.encode())
            descriptor = os.open(path, os.O_RDONLY)
            saved = os.dup(0)
            os.dup2(descriptor, 0)
            os.close(descriptor)
        try:
            status = run(list(map(str, arguments)))
        finally:
            if stdin is not None:
                os.dup2(saved, 0)
                os.close(saved)
        out, err = capfd.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    call.folder = tmp_path
    return call
