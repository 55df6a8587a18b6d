"""The command that writes a schema's encoder and decoder in another language: emit."""

from __future__ import annotations

import click

from packetcodec.cli.files import load_plan, write_folder
from packetcodec.emit import BACK_ENDS
from packetcodec.emit.back_end import with_layouts
from packetcodec.errors import PacketcodecError

_HELP = f"""Write the encoder and decoder of a schema in another language.

\b
{"".join(f"{item.name:4}{item.language} {item.purpose}.{chr(10)}" for item in BACK_ENDS.values())}
What is written is yours, free of any condition."""


@click.command(short_help="Write encoder and decoder for firmware or an app.", help=_HELP)
@click.argument("language", metavar="LANGUAGE", type=click.Choice(list(BACK_ENDS)))
@click.argument("file", metavar="SCHEMA", type=click.Path(dir_okay=False))
@click.option("-o", "--output", type=click.Path(file_okay=False), required=True, help="Write into this folder.")
@click.option(
    "--layout", "layouts", multiple=True, metavar="NAME",
    help="Only this layout; may be repeated. Packets of the others are then of an unknown layout.  [default: all]",
)  # fmt: skip
@click.option(
    "--only", type=click.Choice(sorted({part for item in BACK_ENDS.values() for part in item.parts})),
    help="Only this half, for a device that does not do the other.",
)  # fmt: skip
def emit(language: str, file: str, output: str, *, layouts: tuple[str, ...], only: str | None) -> None:
    """Write the files of a back end into a folder."""
    back_end = BACK_ENDS[language]
    if only and only not in back_end.parts:
        able = ", ".join(item.name for item in BACK_ENDS.values() if only in item.parts)
        raise click.UsageError(f"--only {only}: {language} is written as a whole; it is for {able}")
    plan = load_plan(file)
    try:
        plan = with_layouts(plan, layouts) if layouts else plan
    except PacketcodecError as fault:
        raise click.UsageError(f"--layout: {fault}") from None
    write_folder(output, back_end.write(plan, only=only) if only else back_end.write(plan))
