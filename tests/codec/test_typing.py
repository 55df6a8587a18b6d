"""What a user's type checker says about a user's program: README's, and one that asks for the status of a packet."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.needs import library

pytestmark = pytest.mark.slow
README = Path(__file__).parents[2] / "README.md"
PROGRAMS = {
    f"README, block {number}": text
    for number, text in enumerate(re.findall(r"```python\n(.*?)```", README.read_text(), re.DOTALL))
    if not re.search("^import (pyarrow|dask)", text, re.MULTILINE)  # those have no types
}
NARROWED = """
from collections.abc import Mapping
from typing import Any, assert_type

from packetcodec import Codec, Packet, PacketFault
from packetcodec.errors import FaultName


def layout(codec: Codec, data: bytes) -> str:
    status, packet = codec.try_decode(data)
    if packet is not None:
        return packet.layout
    return status


def layout_by_status(codec: Codec, data: bytes) -> str:
    result = codec.try_decode(data)
    if result[0] == "ok":
        return result[1].layout
    assert_type(result, tuple[FaultName, None])
    return result[0]


def layout_by_match(codec: Codec, data: bytes) -> str:
    match codec.try_decode(data):
        case ("ok", Packet() as packet):
            return packet.layout
        case (fault, None):
            return fault


def own(fault: PacketFault, packet: Packet) -> int:
    assert_type(packet.codes, tuple[int, ...])
    return packet.raw["counter"] if fault.status == "bad_check" else 0


class Counting(Codec):
    heard = 0

    def decode(self, data: bytes | bytearray | memoryview, *, reference: Mapping[str, Any] | None = None) -> Packet:
        self.heard += 1
        return super().decode(data, reference=reference)
"""
MISTAKEN = """
from packetcodec import Codec


def short(codec: Codec, data: bytes) -> bool:
    status, packet = codec.try_decode(data)
    return status == "to_short" or packet.layout == "position"
"""


def checked(folder: Path, text: str) -> list[str]:
    """What mypy says of a program, line by line; nothing where it is content."""
    library("mypy")
    (folder / "program.py").write_text(text)
    command = [
        sys.executable,
        "-m",
        "mypy",
        "--strict",
        "--config-file=",
        "--cache-dir",
        str(README.parent / ".cache" / "mypy"),
    ]
    done = subprocess.run([*command, "program.py"], cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode in {0, 1}, done.stderr
    return [line for line in done.stdout.splitlines() if "error:" in line]


@pytest.mark.parametrize("text", [*PROGRAMS.values(), NARROWED], ids=[*PROGRAMS, "status"])
def test_a_users_program_passes_without_a_cast(tmp_path, text):
    typed = text.replace("def listen(packets):", "def listen(packets: list[tuple[bytes, float]]) -> None:")
    assert checked(tmp_path, typed) == []


def test_a_mistyped_status_and_a_packet_that_may_be_none_are_noticed(tmp_path):
    words = "\n".join(checked(tmp_path, MISTAKEN))
    assert "comparison-overlap" in words
    assert "union-attr" in words
