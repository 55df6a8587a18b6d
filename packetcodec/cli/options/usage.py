"""Options that say something impossible: from the library's words to the option's.

Owns one rule: how a setting of the library is called on the command line: as the option whose parameter has its name. What
an option may be is the library's to say; here its message gets the option's name. `packetcodec.cli.app` makes it wrong
usage, exit status 2.

>>> try:
...     with wrong_option("--preamble"):
...         raise PacketcodecError("0 is outside 1..65535 (symbols)")
... except click.UsageError as fault:
...     print(fault.message)
--preamble: 0 is outside 1..65535 (symbols)
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from math import isnan
from typing import Any

import click

from packetcodec.errors import PacketcodecError
from packetcodec.spelling import nearest
from packetcodec.wire import LayoutPlan, Plan


class Real(click.FloatRange):
    """A number of a range, which "nan" is in no range."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number, or wrong usage."""
        found = float(super().convert(value, param, ctx))
        if isnan(found):
            self.fail(f"{value} is no number", param, ctx)
        return found


@contextmanager
def wrong_option(name: str | None = None) -> Iterator[None]:
    """Inside, a fault is one of the option `name`; without a name, of the option that gives the setting it begins with."""
    try:
        yield
    except PacketcodecError as fault:
        raise click.UsageError(_said(str(fault)) if name is None else f"{name}: {fault}") from None


def _said(fault: str) -> str:
    """A fault that begins with a setting, and maybe its value in quotation marks, with the option in its place."""
    for option in click.get_current_context().command.params:
        for setting in (option.name or "", (option.name or "").replace("_", " ")):
            rest = fault.removeprefix(setting)
            if rest != fault and rest.startswith((": ", " '", ' "')):
                return f"{option.opts[-1]}{rest.replace(': True ', ': on ', 1)}"
    return fault


def given(name: str) -> bool:
    """Whether the parameter of that name stands on the command line."""
    return click.get_current_context().get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE


def known_layout(plan: Plan, name: str, *, option: str = "--layout") -> LayoutPlan:
    """The layout that an option names."""
    known = {layout.name: layout for layout in plan.layouts}
    if name not in known:
        near = nearest(name, known)
        hint = f" (did you mean {near}?)" if near else ""
        raise click.UsageError(f"{option}: {name!r} is not a layout of {plan.name}: one of {', '.join(known)}{hint}")
    return known[name]


def added(command: Callable[..., Any], *options: Callable[..., Any]) -> Callable[..., Any]:
    """A command with options that several commands share, in the order of their help."""
    for option in reversed(options):
        command = option(command)
    return command


def one_of(values: Mapping[str, Any], **how: Any) -> dict[str, Any]:
    """How an option is declared that takes one of these names; the command gets what stands behind it."""
    return {"type": click.Choice(list(values)), "callback": lambda _context, _option, name: values[name], **how}
