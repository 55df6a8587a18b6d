"""Files that a user names: schemas, logs, lines of hex or JSON; `-` is stdin."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from packetcodec.errors import SchemaFault
from packetcodec.schema import Schema
from packetcodec.starter import schema_text

if TYPE_CHECKING:
    from collections.abc import Iterator

_BLOCK = 1 << 16
_STDIN = 0
#: What messages call it.
STDIN_NAME = "stdin"


class DataFault(click.ClickException):
    """Data or a schema at fault: each line of the message stands alone on stderr, and the exit status is 1."""

    exit_code = 1

    def show(self, file: object = None) -> None:  # noqa: ARG002  # the signature is click's
        """Print the lines."""
        for line in self.message.splitlines():
            click.echo(f"packetcodec: {line}", err=True)


def load_schema(path: str | None) -> Schema:
    """The schema of a file, or the starter schema for None.

    Raises:
        DataFault: everything that is wrong with it, one line each.
    """
    try:
        return Schema.parse(schema_text()) if path is None else Schema.load(path)
    except SchemaFault as fault:
        raise DataFault("\n".join(f"{path}: {problem}" for problem in fault.problems)) from None


def blocks(path: str) -> Iterator[bytes]:
    """The bytes of a file or of stdin, as they come."""
    if path == "-":
        while block := _read_stdin():
            yield block
        return
    with Path(path).open("rb") as handle:
        while block := handle.read(_BLOCK):
            yield block


def _read_stdin() -> bytes:
    try:
        return os.read(_STDIN, _BLOCK)
    except OSError as fault:  # closed, or a folder
        raise OSError(fault.errno, fault.strerror, STDIN_NAME) from None


def lines(path: str) -> Iterator[tuple[int, str]]:
    """The lines of a text file or of stdin with their numbers; blank ones and those that begin with # are left out."""
    number, rest = 0, b""
    for block in blocks(path):
        *whole, rest = (rest + block).split(b"\n")
        for line in whole:
            number += 1
            if text := _text(line):
                yield number, text
    if text := _text(rest):
        yield number + 1, text


def _text(line: bytes) -> str:
    text = line.decode("utf-8", "replace").strip().removeprefix("\ufeff")
    return "" if text.startswith("#") else text
