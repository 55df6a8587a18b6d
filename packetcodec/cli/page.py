"""The command `page`: a schema to look at, one HTML file without a network."""

from __future__ import annotations

from typing import Any

import click

from packetcodec.cli.budget import costs_of, schedule_options
from packetcodec.cli.files import load_plan
from packetcodec.cli.options.page import demand_endings, picture_option, put_page, room
from packetcodec.cli.tables.sheet import remark


@click.command(short_help="One HTML page to look at: bits, airtime, schedule, specification.")
@click.argument("schema", type=click.Path(dir_okay=False), required=False)
@click.option("-o", "--output", type=click.Path(dir_okay=False), help="Write the page to this file; default: stdout.")
@picture_option
@schedule_options
def page(schema: str | None, *, output: str | None, pictures: tuple[tuple[str, str], ...], **settings: Any) -> None:
    """Write one HTML file of SCHEMA (default: the starter schema) that needs no network, for a screen or for paper.

    Each layout as a picture of its bits; airtime per spreading factor with its steps; what a schedule costs; specification,
    test vectors and cautions. `packetcodec replay` writes such a page of a track, with a map, errors and losses.

    With --picture and without --output only the pictures are written.
    """
    demand_endings(pictures)
    plan = load_plan(schema)
    costs = costs_of(plan, **settings)
    whole = room("packetcodec.cli.tables.page_plan").plan_page(plan, costs)
    put_page(whole, output, pictures)
    if output is None and not pictures:
        click.echo(whole.html(), nl=False)
    for words in costs.radio.remarks:
        remark(words)
