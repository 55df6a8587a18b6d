"""The pytest fixture `packetcodec_fuzz`: a user's decoder fuzzed in the user's own test suite.

An entry point of pytest loads this module wherever the package is installed, whatever is tested there: it is thin, and loads
what it needs when the fixture is used.

    def test_our_decoder_agrees_with_the_specification(packetcodec_fuzz):
        packetcodec_fuzz("pasture.toml", decode=our_decode, seconds=5)

where `our_decode` takes a packet as bytes and gives (status, raw) or (status, raw, points), see
`packetcodec.fuzz.decoder_target`. A test that fails says the command with which pytest plays each finding again.
"""

from __future__ import annotations

import importlib
import os
import shlex
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from packetcodec.fuzz.report import Report

_PLAY = "--packetcodec-play"


def pytest_addoption(parser: pytest.Parser) -> None:
    """What plays a finding again."""
    words = "where a test uses packetcodec_fuzz: ask this again and nothing else, a question of a report or the file of many"
    parser.getgroup("packetcodec").addoption(_PLAY, metavar="HEX|QUESTION|FILE", help=words)


@pytest.fixture
def packetcodec_fuzz(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[..., Report]:
    """`packetcodec.fuzz.check`: fuzz a decoder of a schema, and fail with the smallest packets that it gets wrong."""
    room = importlib.import_module("packetcodec.fuzz.check")
    place = os.path.relpath(request.node.path, request.config.invocation_params.dir)
    test = "::".join([place, *request.node.nodeid.split("::")[1:]])
    also = {"again": f"pytest {shlex.quote(test)} {_PLAY}", "played": request.config.getoption(_PLAY), "folder": tmp_path}

    def check(*arguments: Any, **options: Any) -> Report:
        try:
            report: Report = room.check(*arguments, **also, **options)
        except (room.WrongAnswersFault, room.PacketcodecError) as fault:
            words = str(fault)
        else:
            return report
        pytest.fail(words, pytrace=False)  # outside of the handler: pytest would tell the same once more as its cause

    return check
