"""Tables and figures for people: how a report looks on a terminal and in a pipe.

Owns two rules. A shortest interval is rounded up, never to the nearest: the figure shown may be kept. And a table that is
wider than its terminal becomes several, each with the first columns again; no word and no number is ever broken.

>>> interval(Fraction(46336, 10000))
'4.64 s'
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING, Any

import click
from rich import box
from rich.console import Console
from rich.markup import escape
from rich.measure import Measurement
from rich.table import Table

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from rich.console import ConsoleOptions

    from packetcodec.wire import LayoutPlan

#: In a pipe there is no width to fit: wide enough that no table folds.
_PIPE_WIDTH = 200
#: Wider than any table, to measure one that does not fit.
_ROOMY = 10_000


class _Console(Console):
    """A console that leaves it to us what a reader who has gone means."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


def console(*, err: bool = False) -> Console:
    """The console of a report (stdout), or of remarks (stderr). On a terminal prose is wrapped at words."""
    stream = sys.stderr if err else sys.stdout
    terminal = stream.isatty()
    return _Console(stderr=err, highlight=False, width=None if terminal else _PIPE_WIDTH, soft_wrap=not err and not terminal)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table as rich prints it: whole where there is room, else several with the first `keys` columns in each."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: int
    keys: int
    prose: bool

    def __rich_console__(self, out: Console, options: ConsoleOptions) -> Iterator[Table]:
        """The table, or its parts."""
        first = tuple(range(self.keys))
        part, said = list(first), False
        roomy = options.update(width=_ROOMY)
        for column in range(self.keys, len(self.columns)):
            wider = self._table((*part, column), said=said)
            size = Measurement.get(out, roomy, wider)
            if len(part) > self.keys and (size.minimum if self.prose else size.maximum) > options.max_width:
                yield self._table(part, said=said)
                part, said = list(first), True
            part.append(column)
        yield self._table(part, said=said)

    def _table(self, columns: Sequence[int], *, said: bool) -> Table:
        title = None if said or not self.title else escape(self.title)
        made = Table(title=title, title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False, title_style="bold")
        for column in columns:
            justify: Any = "left" if column < self.left else "right"
            wraps = self.prose and column < self.left
            made.add_column(escape(self.columns[column]), justify=justify, no_wrap=not wraps)
        for row in self.rows:
            made.add_row(*(escape(row[column]) for column in columns))
        return made


def table(
    title: str,
    columns: Iterable[str],
    rows: Iterable[Iterable[object]],
    *,
    left: int = 1,
    keys: int = 1,
    prose: bool = False,
) -> Sheet:
    """A table; the first `left` columns are words, the others numbers.

    The first `keys` columns stand in every part of one that does not fit; a column of numbers without any content is left
    out. With `prose` words are wrapped to fit.
    """
    names, cells = tuple(columns), [tuple(map(str, row)) for row in rows]
    kept = [place for place in range(len(names)) if place < left or any(row[place] for row in cells)]
    shown = tuple(tuple(row[place] for place in kept) for row in cells)
    return Sheet(title, tuple(names[place] for place in kept), shown, left, keys, prose)


def remark(text: str) -> None:
    """A remark on stderr, beside the report."""
    sys.stdout.flush()  # keep the two streams in their order
    console(err=True).print(f"note: {text}", markup=False, soft_wrap=not sys.stderr.isatty())


def json_line(value: Any, *, indent: int | None = None) -> str:
    """JSON for stdout: letters as they are where it can print them all, else escaped."""
    plain = (sys.stdout.encoding or "").lower().replace("-", "").startswith("utf")
    return json.dumps(value, indent=indent, ensure_ascii=not plain)


def put_json(report: Any) -> None:
    """A report for programs on stdout."""
    click.echo(json_line(report, indent=2))


def times(count: int, what: str = "time") -> str:
    """A count for people: 1 time, 2 times."""
    return f"{count:,} {what}" if count == 1 else f"{count:,} {what}s"


def interval(value: Fraction) -> str:
    """A shortest interval for people, rounded up."""
    finest = Fraction(1, 100) if value < 10 else Fraction(1, 10) if value < 100 else Fraction(1)
    return seconds(float(ceil(value / finest) * finest), up=True)


def seconds(value: float | None, *, up: bool = False) -> str:
    """A time for people: 4.12 s, 3 min 20 s, 2 h 05 min; the last minute of hours is begun, with `up`."""
    if value is None:
        return "-"
    if value < 100:
        return f"{value:.2f} s" if value < 10 else f"{value:.1f} s"
    minutes, rest = divmod(round(value), 60)
    if minutes < 60:
        return f"{minutes} min {rest:02d} s"
    minutes += up and rest > 0
    return f"{minutes // 60} h {minutes % 60:02d} min"


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
