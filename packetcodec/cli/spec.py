"""The command `spec`: the written specification of a schema, and its test vectors."""

from __future__ import annotations

import click

from packetcodec.cli.files import load_plan, write_folder
from packetcodec.emit.spec import write_spec
from packetcodec.vectors import write_vectors


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
