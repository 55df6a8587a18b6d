"""The pytest fixture `packetcodec_fuzz`: a user's decoder fuzzed in the user's own test suite.

Owns no rule. It is an entry point of pytest, so it is there wherever this package is installed:

    def test_our_decoder_agrees_with_the_specification(packetcodec_fuzz):
        packetcodec_fuzz("pasture.toml", decode=our_decode, seconds=5)

where `our_decode` takes a packet as bytes and gives (status, raw) or (status, raw, points), see
`packetcodec.fuzz.decoder_target`.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any, Protocol

import pytest

if TYPE_CHECKING:
    import os
    from collections.abc import Callable, Sequence

    from packetcodec.fuzz import Report


class Fuzz(Protocol):
    """What the fixture gives."""

    def __call__(
        self,
        schema: str | os.PathLike[str],
        decode: Callable[[bytes], Sequence[Any]] | None = None,
        encode: Callable[..., bytes] | None = None,
        *,
        command: Sequence[str] = (),
        seconds: float = 5.0,
        seed: int = 0,
        most_inputs: int | None = None,
    ) -> Report:
        """Fuzz functions, or a program (`command`) that speaks the line protocol; fail the test with what was found."""


@pytest.fixture
def packetcodec_fuzz() -> Fuzz:
    """Fuzz a decoder of a schema, and fail with the smallest packets that it gets wrong."""
    # Loaded on use: pytest loads this module wherever the package is installed, whatever is tested there.
    fuzz = importlib.import_module("packetcodec.fuzz")
    report_words = importlib.import_module("packetcodec.fuzz.describe").report_words
    read = importlib.import_module("packetcodec.schema").Schema.load

    def check(
        schema: str | os.PathLike[str],
        decode: Callable[[bytes], Sequence[Any]] | None = None,
        encode: Callable[..., bytes] | None = None,
        *,
        command: Sequence[str] = (),
        seconds: float = 5.0,
        seed: int = 0,
        most_inputs: int | None = None,
    ) -> Report:
        plan = fuzz.compile_plan(read(schema))
        if decode is not None:
            target = fuzz.decoder_target(plan, decode, encode)
        elif command:
            target = fuzz.Program(command)
        else:
            pytest.fail("packetcodec_fuzz: give decode, or the command of a program", pytrace=False)
        try:
            report: Report = fuzz.run(target, plan, seconds=seconds, seed=seed, most_inputs=most_inputs)
        finally:
            target.close()
        if not report.clean:
            pytest.fail(report_words(report), pytrace=False)
        return report

    return check
