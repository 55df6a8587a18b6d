"""The group of commands, and how a fault becomes one clear line and an exit status.

Owns one rule: exit status 0 done, 1 the data or the schema is at fault, 2 wrong usage: an invalid option, one whose extra
is not installed, or a file that cannot be opened, read or written. A reader who has gone, such as `head`, changes none of
these. A fault is a line on stderr, never a traceback. `packetcodec` alone prints its help on stdout and exits with 0, as
with `--help`.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import sys
from typing import TextIO

import click

from packetcodec import __version__
from packetcodec.cli.airtime import airtime
from packetcodec.cli.budget import budget
from packetcodec.cli.check import check
from packetcodec.cli.compare import compare
from packetcodec.cli.decode import decode
from packetcodec.cli.encode import encode
from packetcodec.cli.fuzz import fuzz
from packetcodec.cli.kinds import kinds
from packetcodec.cli.page import page
from packetcodec.cli.replay import replay
from packetcodec.cli.streams import say, standing_verdict
from packetcodec.cli.write import emit, new, spec
from packetcodec.errors import PacketcodecError

_INTERRUPTED = 130
#: What click calls a type, with or without bounds, and what people call it.
_NUMBERS = {"float": "number", "integer": "whole number"}
_NOT_A_NUMBER = re.compile(r"is not a valid (float|integer)(?: range)?\.?$")
_INVALID = re.compile(r"^Invalid value for (?:'-\w' / )?'\[?(.+?)\]?': ")


@click.group(invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="packetcodec")
@click.pass_context
def app(context: click.Context) -> None:
    """Agree on a compact binary position packet.

    Start with `packetcodec new FILE`, edit the file, then check, airtime, spec. `packetcodec replay` without arguments
    sends the built-in sample log through the starter schema.

    Exit status: 0 means done, 1 that the data or the schema is at fault, 2 wrong usage: an invalid option, one whose extra
    is not installed, or a file that cannot be opened, 130 that Ctrl-C ended it.
    """
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


for command in (new, kinds, check, compare, spec, emit, encode, decode, airtime, budget, replay, page, fuzz):
    app.add_command(command)


def main() -> None:
    """Run the command line and exit."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A letter that the terminal's encoding lacks is written as its escape.
            stream.reconfigure(errors="backslashreplace")
    status = run(sys.argv[1:])
    for stream in (sys.stdout, sys.stderr):
        if stream is not None:
            _leave(stream)
    sys.exit(status)


def run(arguments: list[str]) -> int:
    """Run the command line; the exit status."""
    try:
        return _run(arguments)
    except BrokenPipeError:
        return 0  # of the help
    except OSError as fault:
        with contextlib.suppress(OSError):  # stderr may be what is full
            say(f"{fault.filename or 'stdout'}: {fault.strerror}")
        return 2


def _run(arguments: list[str]) -> int:
    if sys.stdout is None:
        say("stdout is closed")
        return 2
    try:
        # Not `app.main`, which would make 1 of a reader who has gone.
        with app.make_context("packetcodec", arguments) as context:
            try:
                status = app.invoke(context)
                sys.stdout.flush()
            except BrokenPipeError:
                # Whoever read us has gone, such as `head`: nothing more to say, and nowhere to say it.
                return standing_verdict(context)
    except click.UsageError as fault:
        said = " ".join(fault.format_message().split())
        said = _INVALID.sub(r"\1: ", said)  # in the words of all other messages
        said = _NOT_A_NUMBER.sub(lambda found: f"is not a {_NUMBERS[found[1]]}", said)
        with contextlib.suppress(BrokenPipeError):
            say(said, fault.ctx.command_path if fault.ctx else "packetcodec")
        return fault.exit_code
    except click.ClickException as fault:
        with contextlib.suppress(BrokenPipeError):
            fault.show()
        return fault.exit_code
    except click.exceptions.Exit as leaving:
        with contextlib.suppress(BrokenPipeError):
            sys.stdout.flush()
        return leaving.exit_code
    except (click.Abort, KeyboardInterrupt):
        return _INTERRUPTED
    except PacketcodecError as fault:
        with contextlib.suppress(BrokenPipeError):
            say(str(fault))
        return 1
    return status if isinstance(status, int) else 0


def _leave(stream: TextIO) -> None:
    """Write what is left; where that fails it goes nowhere, since Python would try again and complain when it ends."""
    try:
        stream.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
