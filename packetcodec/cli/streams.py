r"""Lines in, remarks out: how a command reads what is piped into it, and how it says something.

Owns three rules. Everything that a person reads is printable: a control character that came in with a schema, a log or a
packet is shown as its escape and never reaches the terminal. A remark is a line on stderr. And a stream goes on past a bad
line: the line is named with its number and its fault, it is counted, and the exit status is 1 at the end.

>>> printable("Bella\x1b[2J")
'Bella\\x1b[2J'
"""

from __future__ import annotations

import contextlib
import os
import re
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import click

from packetcodec.spelling import counted

_BLOCK = 1 << 16
_STDIN = 0
#: Bytes of a line: no packet and no object that describes one comes near.
MAX_LINE = 1 << 24
#: Where a command's context keeps the exit status that it has said.
_VERDICT = "packetcodec.verdict"
#: What messages call it.
STDIN_NAME = "stdin"
#: What moves a cursor, turns text round or ends a line: control characters, directions of writing, separators, surrogates.
_UNPRINTABLE = re.compile("[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")


class DataFault(click.ClickException):
    """Data or a schema at fault: each line of the message stands alone on stderr, and the exit status is 1."""

    exit_code = 1

    def show(self, file: object = None) -> None:  # noqa: ARG002  # the signature is click's
        """Print the lines."""
        for line in self.message.split("\n"):
            say(line)


def printable(text: str) -> str:
    """The text with an escape in place of whatever would not be printed but obeyed."""
    return _UNPRINTABLE.sub(lambda found: ascii(found[0])[1:-1], text)


def json_printable(text: str) -> str:
    """JSON with the escapes of JSON in those places."""
    return _UNPRINTABLE.sub(lambda found: found[0] if found[0] == "\n" else f"\\u{ord(found[0]):04x}", text)


def say(text: str, who: str = "packetcodec") -> None:
    """A line on stderr, behind what already went to stdout."""
    if sys.stdout is not None:
        with contextlib.suppress(OSError):  # what cannot be written is said where it was written
            sys.stdout.flush()
    if sys.stderr is not None:
        click.echo(f"{who}: {printable(text)}", err=True)


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


def lines(path: str, tally: Tally) -> Iterator[tuple[int, str]]:
    """The lines of a text file or of stdin with their numbers; blank ones and those that begin with # are left out.

    One that is too long to keep is refused.
    """
    number, size, kept = 1, 0, list[bytes]()
    for piece, ends in _pieces(path):
        size += len(piece)
        if size <= MAX_LINE:
            kept.append(piece)
        if ends:
            if size > MAX_LINE:
                tally.refuse(number, f"longer than {MAX_LINE:,} bytes")
            elif text := _text(b"".join(kept)):
                yield number, text
            number, size, kept = number + 1, 0, []


def _pieces(path: str) -> Iterator[tuple[bytes, bool]]:
    """What stands between line ends, cut where a block ends, and whether a line ends there."""
    for block in blocks(path):
        *whole, rest = block.split(b"\n")
        for piece in whole:
            yield piece, True
        yield rest, False
    yield b"", True


def _text(line: bytes) -> str:
    text = line.decode("utf-8", "replace").strip().removeprefix("\ufeff")
    return "" if text.startswith("#") else text


def verdict(status: int) -> int:
    """Say what the exit status is even if nobody reads what is printed from now on; the status."""
    if context := click.get_current_context(silent=True):
        context.meta[_VERDICT] = status
    return status


def standing_verdict(context: click.Context) -> int:
    """The exit status that a command has said; 0 if it has said none."""
    status: int = context.meta.get(_VERDICT, 0)
    return status


class Tally:
    """Counts good and refused lines, and says so at the end."""

    def __init__(self) -> None:
        self.good = 0
        self.refused = 0
        self.clipped: Counter[str] = Counter()
        self.passed: Counter[str] = Counter()
        self._told: set[str] = set()

    def refuse(self, number: int, message: str) -> None:
        """Say what is wrong with a line, and count it."""
        self.refused += 1
        verdict(1)
        say(f"line {number}: {message}")

    def pass_over(self, why: str) -> None:
        """Count a line that is refused without a word of its own: how many there were is said at the end."""
        self.passed[why] += 1
        verdict(1)

    def tell_once(self, number: int, what: str, words: str) -> None:
        """Say of the first line with such a thing what became of it."""
        if what not in self._told:
            say(f"line {number}: {words} (told once)")
            self._told.add(what)

    def clip(self, number: int, field: str, words: str) -> None:
        """Count a value that was sent as the end of its range; say of the first one of a field what became of it."""
        if field not in self.clipped:
            say(f"line {number}: {field}: {words}")
        self.clipped[field] += 1

    def close(self) -> int:
        """Say what was counted; the exit status.

        Raises:
            DataFault: there was no line at all.
        """
        if self.clipped:
            fields = ", ".join(f"{name} {count}" for name, count in self.clipped.items())
            say(f"{counted(self.clipped.total(), 'value')} clipped to the end of a range: {fields}")
        for why, count in self.passed.items():
            say(f"{counted(count, 'line')}: {why}")
        refused = self.refused + self.passed.total()
        if refused:
            say(f"{counted(self.good, 'packet')} done, {refused} refused")
        elif not self.good:
            raise DataFault("no line of input")
        return 1 if refused else 0
