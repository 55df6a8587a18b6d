"""The command that writes a schema's encoder and decoder in another language: emit."""

from __future__ import annotations

import click

from packetcodec.cli.files import load_plan, write_folder
from packetcodec.cli.streams import DataFault
from packetcodec.emit import BACK_ENDS
from packetcodec.emit.back_end import with_layouts
from packetcodec.errors import PacketcodecError

_WIDTH = max(map(len, BACK_ENDS)) + 2
_HELP = f"""Write the encoder and decoder of a schema in another language.

\b
{"".join(f"{item.name:{_WIDTH}}{item.language} {item.purpose}.{chr(10)}" for item in BACK_ENDS.values())}
What is written is yours, free of any condition."""

#: Options that one back end alone knows: whose, what each is, whether it takes a text.
_OWN = {
    name.replace("_", "-"): (item.name, words, name in item.texts)
    for item in BACK_ENDS.values()
    for name, words in {**item.flags, **item.texts}.items()
}


@click.command(
    short_help="Write encoder and decoder for firmware or an app.", help=_HELP,
    params=[
        click.Option([f"--{option}"], is_flag=not text, metavar="TEXT" if text else None, help=f"Of {name}: {words}.")
        for option, (name, words, text) in _OWN.items()
    ],
)  # fmt: skip
@click.argument("language", metavar="LANGUAGE", type=click.Choice(list(BACK_ENDS)))
@click.argument("files", metavar="SCHEMA...", nargs=-1, required=True, type=click.Path(dir_okay=False))
@click.option("-o", "--output", type=click.Path(file_okay=False), required=True, help="Write into this folder.")
@click.option(
    "--layout", "layouts", multiple=True, metavar="NAME",
    help="Only this layout; may be repeated. Packets of the others are then of an unknown layout.  [default: all]",
)  # fmt: skip
@click.option(
    "--only", type=click.Choice(sorted({part for item in BACK_ENDS.values() for part in item.parts})),
    help="Only this half, for a device that does not do the other.",
)  # fmt: skip
def emit(
    language: str,
    files: tuple[str, ...],
    output: str,
    *,
    layouts: tuple[str, ...],
    only: str | None,
    **own: bool | str | None,
) -> None:
    """Write the files of a back end into a folder."""
    back_end = BACK_ENDS[language]
    if only and only not in back_end.parts:
        able = ", ".join(item.name for item in BACK_ENDS.values() if only in item.parts)
        raise click.UsageError(f"--only {only}: {language} is written as a whole; it is for {able}")
    given: dict[str, object] = {name: value for name, value in own.items() if value}
    for name in given:
        if name not in {**back_end.flags, **back_end.texts}:
            option = name.replace("_", "-")
            raise click.UsageError(f"--{option}: is for {_OWN[option][0]}, not for {language}")
    if len(files) > 1 and not back_end.many:
        able = ", ".join(item.name for item in BACK_ENDS.values() if item.many)
        raise click.UsageError(f"{files[1]}: {language} is written for one version; several are for {able}")
    plans = [load_plan(file) for file in files]
    try:
        plans = [with_layouts(plan, layouts) for plan in plans] if layouts else plans
    except PacketcodecError as fault:
        raise click.UsageError(f"--layout: {fault}") from None
    try:
        texts = back_end.write(*plans, **given, **({"only": only} if only else {}))
    except PacketcodecError as fault:
        raise DataFault(str(fault)) from None
    write_folder(output, texts)
