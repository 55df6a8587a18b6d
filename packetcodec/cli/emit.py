"""The command that writes a schema's encoder and decoder in another language: emit."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from packetcodec.cli.files import load_plan, write_folder
from packetcodec.emit.c import write_c
from packetcodec.emit.js import write_javascript

if TYPE_CHECKING:
    from collections.abc import Callable

    from packetcodec.wire import Plan

_LANGUAGES: dict[str, Callable[[Plan], dict[str, str]]] = {"c": write_c, "js": write_javascript}


@click.command(short_help="Write encoder and decoder for firmware or an app.")
@click.argument("language", type=click.Choice(list(_LANGUAGES)))
@click.argument("file", metavar="SCHEMA", type=click.Path(dir_okay=False))
@click.option("-o", "--output", type=click.Path(file_okay=False), required=True, help="Write into this folder.")
def emit(language: str, file: str, output: str) -> None:
    """Write the encoder and decoder of a schema: C99 for firmware (c), or an ES module for apps (js).

    The module is for browsers, Node.js and embedded engines; the C takes only stdint, stddef and string.

    What is written is yours, free of any condition.
    """
    write_folder(output, _LANGUAGES[language](load_plan(file)))
