"""The commands that write files of a schema: a starter schema (new), its specification (spec), code for others (emit)."""

from __future__ import annotations

import json
from pathlib import Path

import click

from packetcodec.cli.files import load_plan, write_file, write_folder
from packetcodec.cli.options.usage import wrong_option
from packetcodec.cli.streams import DataFault, say
from packetcodec.emit import BACK_ENDS
from packetcodec.emit.back_end import with_layouts
from packetcodec.emit.spec import write_spec
from packetcodec.schema.json_schema import FILE_NAME, json_schema
from packetcodec.starter import schema_text
from packetcodec.vectors import write_vectors


@click.command(short_help="Write a commented starter schema to edit.")
@click.argument("file", type=click.Path(dir_okay=False))
def new(file: str) -> None:
    """Write a commented starter schema to FILE, to edit, and packetcodec.schema.json beside it.

    The second file is a JSON Schema that the first line of FILE names: with it, an editor that knows TOML completes and
    checks the keys while you type. A file that exists is left alone.
    """
    try:
        write_file(Path(file), f"#:schema ./{FILE_NAME}\n{schema_text()}", new=True)
    except FileExistsError:
        raise DataFault(f"{file}: exists already and is left alone") from None
    say(f"wrote {file}. Edit it, then run: packetcodec check {file}")
    beside = Path(file).parent / FILE_NAME
    text = json.dumps(json_schema(), indent=2, ensure_ascii=False) + "\n"
    try:
        write_file(beside, text, new=True)
    except FileExistsError:
        if beside.read_text(encoding="utf-8", errors="replace") != text:
            say(f"{beside}: exists already and is left alone, but is not what this version writes")
    else:
        say(f"wrote {beside}, for editors")


@click.command(short_help="Write the specification and its test vectors.")
@click.argument("schema", type=click.Path(dir_okay=False))
@click.option("-o", "--output", type=click.Path(file_okay=False), help="Write specification and vectors into this folder.")
@click.option("--vectors", is_flag=True, help="Print the test vectors (JSON) instead of the text.")
def spec(schema: str, output: str | None, *, vectors: bool) -> None:
    """Write the specification of SCHEMA and its test vectors, from which anyone can program the other side."""
    if vectors and output is not None:
        raise click.UsageError("--vectors: prints the vectors; --output writes them too")
    plan = load_plan(schema)
    if output is not None:
        write_folder(output, write_spec(plan) | write_vectors(plan))
        return
    for text in (write_vectors(plan) if vectors else write_spec(plan)).values():
        click.echo(text, nl=False)


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
    language: str, files: tuple[str, ...], output: str, *, layouts: tuple[str, ...], only: str | None,
    **own: bool | str | None,
) -> None:  # fmt: skip
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
    with wrong_option("--layout"):
        plans = [with_layouts(plan, layouts) for plan in plans] if layouts else plans
    texts = back_end.write(*plans, **given, **({"only": only} if only else {}))
    write_folder(output, texts)
