"""The command `new`: a commented starter schema to edit."""

from __future__ import annotations

from pathlib import Path

import click

from packetcodec.cli.files import write_file
from packetcodec.cli.streams import DataFault, say
from packetcodec.starter import schema_text


@click.command(short_help="Write a commented starter schema to edit.")
@click.argument("file", type=click.Path(dir_okay=False))
def new(file: str) -> None:
    """Write a commented starter schema to FILE, to edit. A file that exists is left alone."""
    try:
        write_file(Path(file), schema_text(), new=True)
    except FileExistsError:
        raise DataFault(f"{file}: exists already and is left alone") from None
    say(f"wrote {file}. Edit it, then run: packetcodec check {file}")
