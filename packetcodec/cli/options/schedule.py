"""The schedule as options of a command: which layout is sent how often, and on which channel.

Owns one rule: how a sending is written: `position every 20s`, `alarm 5 an hour`, with ` on 869.525` behind it for a channel
of its own.
"""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

import click

from packetcodec.cli.options.usage import known_layout, wrong_option
from packetcodec.radio.schedule import Sending
from packetcodec.wire import LayoutPlan, Plan

_SECONDS = {"ms": Fraction(1, 1000), "s": Fraction(1), "min": Fraction(60), "h": Fraction(3600), "d": Fraction(86_400)}
_DURATION = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,9})?)\s*(ms|s|min|h|d)?")
_SENDING = re.compile(
    r"(\S+)\s+(?:every\s+(?P<every>\S+?(?:\s*(?:ms|s|min|h|d))?)|(?P<count>[0-9]{1,9})\s+an\s+hour)(?:\s+on\s+(?P<mhz>\S+))?\s*"
)

#: What stands for a schedule that is not given.
DEFAULT_EVERY = "60s"


class Planned(NamedTuple):
    """One sending: its layout, and the channel in MHz as it was written, or None for the channel of --frequency."""

    layout: LayoutPlan
    sending: Sending
    frequency: str | None


def duration(option: str, text: str) -> Fraction:
    """Seconds of a duration such as 20s, 1.5min or 2h; a number alone is in seconds."""
    found = _DURATION.fullmatch(text.strip())
    if not found or not Decimal(found[1]):
        raise click.UsageError(f"{option}: {text!r} is not a time such as 20s, 10min or 2h, above 0")
    return Fraction(found[1]) * _SECONDS[found[2] or "s"]


def schedule_of(plan: Plan, texts: tuple[str, ...]) -> tuple[Planned, ...]:
    """The schedule that the options say; without any, the first layout once a minute."""
    found: list[Planned] = []
    for text in texts or (f"{plan.layouts[0].name} every {DEFAULT_EVERY}",):
        match = _SENDING.fullmatch(text.strip())
        if not match:
            raise click.UsageError(f'--send: {text!r} is not like "position every 20s" or "alarm 5 an hour"')
        layout = known_layout(plan, match[1], option="--send")
        if any(item.layout == layout for item in found):
            raise click.UsageError(f"--send: {layout.name} is given twice")
        every = duration(f"--send: {layout.name}", match["every"]) if match["every"] else None
        per_hour = int(match["count"]) if match["count"] else None
        with wrong_option("--send"):
            found.append(Planned(layout, Sending(layout.name, layout.longest, every, per_hour), match["mhz"]))
    return tuple(found)
