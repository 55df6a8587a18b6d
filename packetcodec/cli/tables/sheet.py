"""Tables for people: how a report looks on a terminal and in a pipe.

Owns one rule: a table that is wider than its terminal becomes several, each with the first columns again, and is parted
where a group of columns ends; no word and no number is ever broken.
"""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from fractions import Fraction
from typing import Any

import click
from rich import box
from rich.console import Console, ConsoleOptions
from rich.markup import escape
from rich.measure import Measurement
from rich.progress import Progress
from rich.table import Table

from packetcodec.cli.streams import json_printable, printable

#: In a pipe there is no width to fit: wide enough that no table folds.
_PIPE_WIDTH = 200
#: Of no meaning to us: reports are not paged.
_HEIGHT = 25
#: Wider than any table, to measure one that does not fit.
_ROOMY = 10_000


class Report(Console):
    """What a report is printed on. It leaves it to us what a reader who has gone means."""

    def on_broken_pipe(self) -> None:
        """Do not exit, as rich would."""
        raise BrokenPipeError

    def put(self, text: str = "", *, style: str | None = None, uncut: bool = False) -> None:
        """A line or paragraph; one that is to be copied stays uncut, for the terminal to break."""
        self.print(printable(text), markup=False, style=style, soft_wrap=uncut or None)

    def lines(self, *texts: str) -> None:
        """Some lines or paragraphs."""
        for text in texts:
            self.put(text)


def console(*, err: bool = False) -> Report:
    """The console of a report (stdout), or of remarks (stderr). On a terminal prose is wrapped at words."""
    stream = sys.stderr if err else sys.stdout
    terminal = stream is not None and stream.isatty()
    # Asked for here, and not by rich, which takes every dumb terminal to have 80 columns.
    width = shutil.get_terminal_size().columns if terminal else _PIPE_WIDTH
    return Report(stderr=err, highlight=False, width=width, height=_HEIGHT, soft_wrap=not err and not terminal)


@contextmanager
def progress(words: str, total: float | None) -> Iterator[Callable[..., None]]:
    """A bar on stderr where that is a terminal, else nothing; what is given takes how much of the total is done.

    It also takes `total` and `description` by name, where these become known or change on the way.
    """
    screen = console(err=True)
    if not screen.is_terminal:  # rich 13.7 ends a line even of a bar that is switched off
        yield lambda _done, **_other: None
        return
    with Progress(console=screen, transient=True) as bar:
        task = bar.add_task(words, total=total)
        yield lambda done, **other: bar.update(task, completed=done, **other)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table as rich prints it: whole where there is room, else several with the first `keys` columns in each."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: int
    keys: int
    prose: bool
    groups: tuple[tuple[int, ...], ...]

    def __rich_console__(self, out: Console, options: ConsoleOptions) -> Iterator[Table | str]:
        """The table, or its parts."""
        for number, part in enumerate(self._parts(out, options)):
            yield self._table(part, said=number > 0)
            yield ""

    def _parts(self, out: Console, options: ConsoleOptions) -> Iterator[list[int]]:
        roomy = options.update(width=_ROOMY)

        def fits(columns: list[int]) -> bool:
            size = Measurement.get(out, roomy, self._table(columns, said=False))
            return (size.minimum if self.prose else size.maximum) <= options.max_width

        keys = list(range(self.keys))
        part = keys
        for group in self.groups:
            # A group goes where it fits; one that fits nowhere is parted itself.
            pieces = [list(group)] if fits(keys + list(group)) else [[column] for column in group]
            for piece in pieces:
                if len(part) > self.keys and not fits(part + piece):
                    yield part
                    part = keys
                part = part + piece
        yield part

    def _table(self, columns: Sequence[int], *, said: bool) -> Table:
        title = None if said or not self.title else escape(self.title)
        made = Table(
            title=title, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False,
            collapse_padding=True,
        )  # fmt: skip
        for column in columns:
            justify: Any = "left" if column < self.left else "right"
            wraps = self.prose and column < self.left
            made.add_column(escape(self.columns[column]), justify=justify, no_wrap=not wraps, overflow="fold")
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
    groups: Sequence[int] = (),
) -> Sheet:
    """A table; the first `left` columns are words, the others numbers.

    The first `keys` columns stand in every part of one that does not fit; a column of numbers without any content is left
    out. Behind them, each of `groups` is how many columns belong together; those behind the last stand alone. With `prose`
    words are wrapped to fit.
    """
    names, cells = tuple(columns), [tuple(printable(str(cell)) for cell in row) for row in rows]
    kept = [place for place in range(len(names)) if place < left or any(row[place] for row in cells)]
    shown = tuple(tuple(row[place] for place in kept) for row in cells)
    sizes = iter(groups)
    together: list[tuple[int, ...]] = []
    place = keys
    while place < len(names):
        size = next(sizes, 1)
        together.append(tuple(kept.index(column) for column in range(place, place + size) if column in kept))
        place += size
    title = printable(title)
    return Sheet(title, tuple(names[column] for column in kept), shown, left, keys, prose, tuple(filter(None, together)))


def remark(text: str) -> None:
    """A remark on stderr, beside the report."""
    if sys.stdout is not None:
        sys.stdout.flush()  # keep the two streams in their order
    out = console(err=True)
    out.put(f"note: {text}", uncut=not out.is_terminal)


def plain(value: Any) -> Any:
    """What JSON has no words for: an exact number as a float, a dataclass as an object."""
    return float(value) if isinstance(value, Fraction) else asdict(value)


def json_line(value: Any, *, indent: int | None = None) -> str:
    """JSON for stdout: letters as they are where it can print them all, else escaped."""
    utf = (sys.stdout.encoding or "").lower().replace("-", "").startswith("utf")
    return json_printable(json.dumps(value, indent=indent, ensure_ascii=not utf, default=plain))


def as_plain(report: Any) -> Any:
    """A report as a program reads it back."""
    return json.loads(json.dumps(report, default=plain))


def put_json(report: Any) -> None:
    """A report for programs on stdout."""
    click.echo(json_line(report, indent=2))
