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
from typing import TYPE_CHECKING

import click

from packetcodec.errors import PacketcodecError

if TYPE_CHECKING:
    from collections.abc import Iterator

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
    "hopping_channels": "--channels",
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
