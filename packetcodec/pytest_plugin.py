"""The pytest fixture `packetcodec_fuzz`: a user's decoder fuzzed in the user's own test suite.

An entry point of pytest loads this module wherever the package is installed, whatever is tested there: it is thin, and loads
what it needs when the fixture is used.

    def test_our_decoder_agrees_with_the_specification(packetcodec_fuzz):
        packetcodec_fuzz("pasture.toml", decode=our_decode, seconds=5)

where `our_decode` takes a packet as bytes and gives (status, raw) or (status, raw, points), see
`packetcodec.fuzz.decoder_target`.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

    from packetcodec.fuzz.report import Report


@pytest.fixture
def packetcodec_fuzz() -> Callable[..., Report]:
    """`packetcodec.fuzz.check`: fuzz a decoder of a schema, and fail with the smallest packets that it gets wrong."""
    room = importlib.import_module("packetcodec.fuzz.check")

    def check(*arguments: Any, **options: Any) -> Report:
        try:
            report: Report = room.check(*arguments, **options)
        except (room.WrongAnswersFault, room.PacketcodecError) as fault:
            pytest.fail(str(fault), pytrace=False)
        return report

    return check
