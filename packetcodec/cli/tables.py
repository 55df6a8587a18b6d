"""Tables for people: how a report looks on a terminal and in a pipe."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Any

import click
from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table

if TYPE_CHECKING:
    from collections.abc import Iterable
    from fractions import Fraction

    from packetcodec.plan import LayoutPlan

#: In a pipe there is no width to fit: wide enough that no table folds.
_PIPE_WIDTH = 200


class _Console(Console):
    """A console that leaves it to us what a reader who has gone means."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


def console(*, err: bool = False) -> Console:
    """The console of a report (stdout), or of remarks (stderr)."""
    stream = sys.stderr if err else sys.stdout
    return _Console(stderr=err, highlight=False, width=None if stream.isatty() else _PIPE_WIDTH, soft_wrap=not err)


def table(title: str, columns: Iterable[str], rows: Iterable[Iterable[object]], *, left: int = 1) -> Table:
    """A table; the first `left` columns are words, the others numbers."""
    made = Table(title=escape(title), title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False, title_style="bold")
    for number, name in enumerate(columns):
        made.add_column(escape(name), justify="left" if number < left else "right", overflow="fold")
    for row in rows:
        made.add_row(*(escape(str(cell)) for cell in row))
    return made


def put_json(report: Any) -> None:
    """A report for programs on stdout."""
    click.echo(json.dumps(report, indent=2, ensure_ascii=False))


def seconds(value: float | None) -> str:
    """A time for people: 4.12 s, 3 min 20 s, 2 h 05 min."""
    if value is None:
        return "-"
    if value < 100:
        return f"{value:.2f} s" if value < 10 else f"{value:.1f} s"
    minutes, rest = divmod(round(value), 60)
    return f"{minutes} min {rest:02d} s" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


def milliseconds(budget_airtime: Fraction) -> str:
    """An airtime for people."""
    return f"{float(budget_airtime * 1000):,.1f} ms"


def metres(value: float | None) -> str:
    """A length for people."""
    if value is None:
        return "-"
    return f"{value:.3g} m" if value < 1000 else f"{value / 1000:.4g} km"


def size_words(layout: LayoutPlan) -> str:
    """The size of a layout's packets."""
    return f"{layout.size} bytes" if layout.trail is None else f"{layout.size} to {layout.longest} bytes"
