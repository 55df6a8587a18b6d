"""The group of commands, and how a fault becomes one clear line and an exit status.

Owns one rule: exit status 0 done, 1 the data or the schema is at fault, 2 wrong usage. Wrong usage is all that another
command line would mend: an option that is not of its form, one outside what the radio, the region, the schema or the log
allows, and a file that cannot be opened, read or written. A fault is a line on stderr, never a traceback.
"""

from __future__ import annotations

import io
import os
import sys

import click

from packetcodec import __version__
from packetcodec.cli.airtime import airtime
from packetcodec.cli.emit import emit
from packetcodec.cli.fuzz import fuzz
from packetcodec.cli.kinds import kinds
from packetcodec.cli.packet_commands import decode, encode
from packetcodec.cli.replay import replay
from packetcodec.cli.schema_commands import check, compare, new, spec
from packetcodec.errors import PacketcodecError


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="packetcodec")
def app() -> None:
    """Agree on a compact binary position packet.

    Start with `packetcodec new FILE`, edit the file, then check, airtime, spec. `packetcodec replay` without arguments
    sends the built-in sample log through the starter schema.
    """


for command in (new, kinds, check, compare, spec, emit, encode, decode, airtime, replay, fuzz):
    app.add_command(command)


def main() -> None:
    """Run the command line and exit."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A letter that the terminal's encoding lacks is written as its escape.
            stream.reconfigure(errors="backslashreplace")
    sys.exit(run(sys.argv[1:]))


def run(arguments: list[str]) -> int:
    """Run the command line; the exit status."""
    if sys.stdout is None:
        click.echo("packetcodec: stdout is closed", err=True)
        return 2
    try:
        status = app.main(arguments, prog_name="packetcodec", standalone_mode=False)
        sys.stdout.flush()
    except click.UsageError as fault:
        place = fault.ctx.command_path if fault.ctx else "packetcodec"
        click.echo(f"{place}: {' '.join(fault.format_message().split())}", err=True)
        return fault.exit_code
    except click.ClickException as fault:
        fault.show()
        return fault.exit_code
    except click.exceptions.Exit as leaving:
        return leaving.exit_code
    except (click.Abort, KeyboardInterrupt):
        return 130
    except PacketcodecError as fault:
        click.echo(f"packetcodec: {fault}", err=True)
        return 1
    except BrokenPipeError:
        # Whoever read us has gone, such as `head`: nothing more to say, and nowhere to say it.
        _leave_stdout()
        return 0
    except OSError as fault:
        if fault.filename is None:
            _leave_stdout()
        click.echo(f"packetcodec: {fault.filename or 'stdout'}: {fault.strerror}", err=True)
        return 2
    return status if isinstance(status, int) else 0


def _leave_stdout() -> None:
    """What is still to be written goes nowhere; Python would try again when it ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
