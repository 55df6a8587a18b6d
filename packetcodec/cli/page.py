"""The command `page`: a schema to look at, one HTML file without a network; and the options of pages and pictures.

Owns one rule: what draws is loaded when it is asked for, and is an extra. No other command pays for it.
"""

from __future__ import annotations

import importlib
import signal
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from packetcodec.cli.budget import costs_of, schedule_options
from packetcodec.cli.files import load_plan, write_file
from packetcodec.cli.streams import say
from packetcodec.cli.tables.sheet import remark

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from packetcodec.cli.tables.page_plan import Whole
    from packetcodec.page import Figure


class Pictured(click.Command):
    """A command with pictures: `--picture list` needs no file."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Put an empty name where the file is left out."""
        whole: list[str] = []
        for number, word in enumerate(args):
            whole += ["--picture", "list"] if word == "--picture=list" else [word]
            behind = args[number + 1 : number + 2]
            if whole[-2:] == ["--picture", "list"] and not (behind and behind[0].lower().endswith((".svg", ".png"))):
                whole.append("")
        return super().parse_args(ctx, whole)


def picture_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the option; the command takes `pictures`, pairs of a name and a file."""
    return click.option(
        "--picture", "pictures", type=(str, click.Path(dir_okay=False)), multiple=True, metavar="NAME FILE",
        help="Write one picture of the page as .svg or .png; `--picture list` prints the names.",
    )(command)  # fmt: skip


def demand_endings(pictures: Sequence[tuple[str, str]]) -> None:
    """Refuse what is neither SVG nor PNG."""
    for _, path in pictures:
        if path and Path(path).suffix.lower() not in {".svg", ".png"}:
            raise click.UsageError(f"--picture: {path} ends neither in .svg nor in .png")


def room(name: str) -> Any:
    """A module that draws.

    Raises:
        click.UsageError: the libraries for it are not installed.
    """
    try:
        return importlib.import_module(name)
    except ImportError as fault:
        raise click.UsageError(f"a page needs the extra `page` ({fault.name}): pip install 'packetcodec[page]'") from None


def put_page(whole: Whole, path: str | None, pictures: Sequence[tuple[str, str]]) -> None:
    """Write the pictures of a page that are asked for, and the page itself where it has a file.

    Raises:
        click.UsageError: a name that no picture has.
        OSError: a file that cannot be written.
    """
    if pictures:
        _write_pictures(whole.figures, pictures)
    if path is not None:
        write_file(Path(path), drawn(whole.html))
        say(f"wrote {path}")


def _write_pictures(figures: Sequence[Figure], pictures: Sequence[tuple[str, str]]) -> None:
    known = {figure.name: figure for figure in figures}
    vega = room("packetcodec.page.vega")
    for name, path in pictures:
        if name == "list":
            click.echo("\n".join(known))
            continue
        if name not in known:
            raise click.UsageError(f"--picture: {name} is not a picture of this page: one of {', '.join(known)}")
        draw = vega.svg_picture if Path(path).suffix.lower() == ".svg" else vega.png_picture
        write_file(Path(path), drawn(draw, known[name]))
        say(f"wrote {path}")


def drawn(draw: Callable[..., Any], *what: Any) -> Any:
    """What a function draws; meanwhile Ctrl-C ends the program at once, since what draws would not let Python see it."""
    if threading.current_thread() is not threading.main_thread():
        return draw(*what)
    before = signal.signal(signal.SIGINT, signal.SIG_DFL)
    try:
        return draw(*what)
    finally:
        signal.signal(signal.SIGINT, before)


@click.command(cls=Pictured, short_help="One HTML page to look at: bits, airtime, schedule, specification.")
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
        click.echo(drawn(whole.html), nl=False)
    for words in costs.radio.remarks:
        remark(words)
