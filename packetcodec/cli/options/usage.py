"""Options that say something impossible: from the library's words to the option's.

Owns one rule: how a setting of the library is called on the command line. What an option may be is the library's to say;
here its message gets the option's name. `packetcodec.cli.app` makes it wrong usage, exit status 2.

>>> try:
...     with wrong_option():
...         raise PacketcodecError("preamble: 0 is outside 1..65535 (symbols)")
... except click.UsageError as fault:
...     print(fault.message)
--preamble: 0 is outside 1..65535 (symbols)
"""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from packetcodec.errors import PacketcodecError
from packetcodec.spelling import nearest

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from packetcodec.wire import LayoutPlan, Plan

#: Setting of the library to the option that gives it.
_OPTIONS = {
    "interval": "--every",
    "region": "--region",
    "frequency": "--frequency",
    "spreading_factor": "--sf",
    "bandwidth_hz": "--bandwidth",
    "coding_rate": "--coding-rate",
    "preamble": "--preamble",
    "explicit_header": "--implicit-header",
    "low_data_rate": "--low-data-rate",
    "chip": "--chip",
    "bit_rate": "--fsk",
    "channels": "--channels",
    "route": "--route",
    "loss": "--loss",
    "burst": "--burst",
    "bit errors": "--bit-errors",
    "duplicates": "--duplicates",
    "reorder": "--reorder",
    "trail": "--trails",
    "trackers": "--trackers",
    "battery": "--battery",
    "derating": "--derating",
    "sleep_ua": "--sleep-ua",
    "gnss_ma": "--gnss-ma",
    "gnss_seconds": "--gnss-seconds",
    "transmit_ma": "--transmit-ma",
    "receive_ma": "--receive-ma",
    "receive_seconds": "--receive-seconds",
}


@contextmanager
def wrong_option(name: str | None = None) -> Iterator[None]:
    """Inside, a fault is one of the option `name`; without a name, of the option that gives the setting it begins with.

    Raises:
        click.UsageError: in place of the fault.
    """
    try:
        yield
    except PacketcodecError as fault:
        said = str(fault)
        setting, colon, rest = said.partition(": ")
        if name is None and colon and setting in _OPTIONS:
            said = f"{_OPTIONS[setting]}: {rest.replace('True ', 'on ', 1)}"
        elif name is not None:
            said = f"{name}: {said}"
        raise click.UsageError(said) from None


def known_layout(plan: Plan, name: str, *, option: str = "--layout") -> LayoutPlan:
    """The layout that an option names.

    Raises:
        click.UsageError: the schema has no such layout.
    """
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
