"""The group of commands, and how a fault becomes one clear line and an exit status.

Owns one rule: exit status 0 done, 1 the data or the schema is at fault, 2 wrong usage (a file that cannot be opened
included). A fault is a line on stderr, never a traceback.
"""

from __future__ import annotations

import os
import sys

import click

from packetcodec import __version__
from packetcodec.cli.airtime_command import airtime
from packetcodec.cli.packet_commands import decode, encode
from packetcodec.cli.replay_command import replay
from packetcodec.cli.schema_commands import check, compare, new, spec
from packetcodec.errors import PacketcodecError


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="packetcodec")
def app() -> None:
    """Agree on a compact binary position packet.

    Start with `packetcodec new FILE`, edit the file, then check, airtime, spec. `packetcodec replay` without arguments
    sends the built-in sample log through the starter schema.
    """


for command in (new, check, compare, spec, encode, decode, airtime, replay):
    app.add_command(command)


def main() -> None:
    """Run the command line and exit."""
    sys.exit(run(sys.argv[1:]))


def run(arguments: list[str]) -> int:
    """Run the command line; the exit status."""
    try:
        status = app.main(arguments, prog_name="packetcodec", standalone_mode=False)
        sys.stdout.flush()
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
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as fault:
        click.echo(f"packetcodec: {fault.filename}: {fault.strerror}", err=True)
        return 2
    return status if isinstance(status, int) else 0
