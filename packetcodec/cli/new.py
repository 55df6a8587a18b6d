"""The command `new`: a commented starter schema to edit."""

from __future__ import annotations

import json
from pathlib import Path

import click

from packetcodec.cli.files import write_file
from packetcodec.cli.streams import DataFault, say
from packetcodec.schema.json_schema import FILE_NAME, json_schema
from packetcodec.starter import schema_text


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
    _write_json_schema(Path(file).parent / FILE_NAME)


def _write_json_schema(path: Path) -> None:
    text = json.dumps(json_schema(), indent=2, ensure_ascii=False) + "\n"
    try:
        write_file(path, text, new=True)
    except FileExistsError:
        if path.read_text(encoding="utf-8", errors="replace") != text:
            say(f"{path}: exists already and is left alone, but is not what this version writes")
    else:
        say(f"wrote {path}, for editors")
