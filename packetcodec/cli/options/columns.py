"""The columns of a CSV log as an option of the commands that read logs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Callable


def columns_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the option; the command takes `columns`, for `columns_of`."""
    return click.option(
        "--column", "columns", multiple=True, metavar="NAME=HEADING",
        help='Which column of a CSV log has a meaning, or goes into a field: latitude="Lat [deg]"; repeatable.',
    )(command)  # fmt: skip


def columns_of(texts: tuple[str, ...]) -> dict[str, str]:
    """Meaning or name to heading.

    Raises:
        click.UsageError: one is not of this form, or a meaning or a heading is given twice.

    >>> columns_of(("latitude=Lat [deg]", "time=t=0"))
    {'latitude': 'Lat [deg]', 'time': 't=0'}
    """
    found: dict[str, str] = {}
    for text in texts:
        name, _, heading = (part.strip() for part in text.partition("="))
        if not name or not heading:
            raise click.UsageError(f"--column: {text} is not like latitude=HEADING")
        if name in found or heading.lower() in map(str.lower, found.values()):
            raise click.UsageError(f"--column: {text}: the {'name' if name in found else 'heading'} is given twice")
        found[name] = heading
    return found
