"""The columns of a CSV log, and what times look like, as options of the commands that read logs."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

import click

from packetcodec.bench.sender import columns_of as columns_of_field
from packetcodec.cli.options.usage import added, wrong_option
from packetcodec.logs.columns import COLUMNS, MEANINGS
from packetcodec.logs.time_format import TimeFormat
from packetcodec.spelling import nearest
from packetcodec.wire import Plan

_FORMAT = click.option(
    "--time-format",
    metavar="FORMAT",
    help="What times look like, such as '%d.%m.%Y %H:%M:%S' or '%m/%d/%Y %I:%M %p', of a CSV log too (a date in a column of "
    "its own stands before the time); default: ISO 8601 or Unix seconds.",
)
_YEAR = click.option("--year", type=int, help="Year of times whose --time-format has none.")


def time_format_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add `--time-format` and `--year`; the command takes `time_format`, a `TimeFormat` or None."""

    @wraps(command)
    def with_format(*args: Any, time_format: str | None, year: int | None, **others: Any) -> Any:
        if time_format is None and year is not None:
            raise click.UsageError("--year goes with --time-format")
        with wrong_option():
            found = None if time_format is None else TimeFormat(time_format, year)
        return command(*args, time_format=found, **others)

    return added(with_format, _FORMAT, _YEAR)


def _columns(_context: click.Context, _option: click.Parameter, texts: tuple[str, ...]) -> dict[str, str]:
    return columns_of(texts)


def columns_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add these and `--column`; the command takes `time_format`, and `columns`, meaning or name to heading."""
    return click.option(
        "--column", "columns", multiple=True, metavar="NAME=HEADING", callback=_columns,
        help='Which column of a CSV log has a meaning, or goes into a field: latitude="Lat [deg]"; repeatable.',
    )(time_format_options(command))  # fmt: skip


def columns_of(texts: tuple[str, ...]) -> dict[str, str]:
    """Meaning or name to heading.

    Raises:
        click.BadParameter: one is not of this form, or a meaning or a heading is given twice.

    >>> columns_of(("latitude=Lat [deg]", "time=t=0"))
    {'latitude': 'Lat [deg]', 'time': 't=0'}
    """
    found: dict[str, str] = {}
    for text in texts:
        name, _, heading = (part.strip() for part in text.partition("="))
        if not name or not heading:
            raise click.BadParameter(f"{text} is not like latitude=HEADING")
        if name in found or heading.lower() in map(str.lower, found.values()):
            raise click.BadParameter(f"{text}: the {'name' if name in found else 'heading'} is given twice")
        found[name] = heading
    return found


def demand_known(columns: dict[str, str], plan: Plan) -> None:
    """Refuse a name that is neither a meaning nor one that a field of the plan takes its value by."""
    fields = {name: field.name for layout in plan.layouts for field in layout.fields for name in columns_of_field(field)}
    for name in columns:
        if name.lower() not in {**MEANINGS, **fields}:
            near = nearest(name.lower(), {**MEANINGS, **fields})
            known = f"a meaning ({', '.join(column.meaning for column in COLUMNS)})"
            own = f"a field of {plan.name} ({', '.join(dict.fromkeys(fields.values()))})"
            hint = f"; did you mean {near}?" if near else ""
            raise click.UsageError(f"--column: {name} is neither {known} nor {own}{hint}")


def needs(what: str, columns: dict[str, str], time_format: TimeFormat | None) -> None:
    """Refuse these options where there is no log that they could be about."""
    if columns or time_format:
        raise click.UsageError(f"{'--column' if columns else '--time-format'}: needs {what}")
