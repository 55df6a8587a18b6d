"""The lossy link as options of `replay`.

Owns one rule: how shares are written: 40% or 0.4. What a link can do to packets is said by `packetcodec.bench.lossy_link`;
here its messages get the option's name and are wrong usage.

>>> share("40%"), share("1e-4")
(0.4, 0.0001)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import click

from packetcodec.bench.link_test import MAX_POINTS
from packetcodec.bench.lossy_link import LinkConditions
from packetcodec.cli.options.usage import added, wrong_option
from packetcodec.errors import PacketcodecError
from packetcodec.schema import Schema
from packetcodec.spelling import counted


@dataclass(frozen=True, slots=True)
class LinkTest:
    """What the options ask for: what the link does, and the lengths of trail to compare; none, half and all by default."""

    conditions: LinkConditions
    lengths: tuple[int, ...]

    @property
    def description(self) -> str:
        """The link in a line."""
        conditions = self.conditions
        runs = "each on its own" if conditions.burst is None else f"in runs of {conditions.burst:g} in the mean"
        said = [f"{conditions.loss * 100:g} % of packets lost, {runs}"]
        said += [f"bit errors {conditions.bit_errors:g}"] if conditions.bit_errors else []
        said += [f"{conditions.duplicates * 100:g} % arrive twice"] if conditions.duplicates else []
        said += [f"late by up to {counted(conditions.reorder, 'packet')}"] if conditions.reorder else []
        return f"{', '.join(said)}; seed {conditions.seed}"


def _share(_context: click.Context, _option: click.Parameter, text: str | None) -> float | None:
    return None if text is None else share(text)


def _lengths(_context: click.Context, _option: click.Parameter, text: str | None) -> tuple[int, ...] | None:
    try:
        found = None if text is None else tuple(dict.fromkeys(int(part) for part in text.split(",")))
    except ValueError:
        raise click.BadParameter(f"{text} is not like 0,5,10") from None
    for points in found or ():
        if not 0 <= points <= MAX_POINTS:
            raise click.BadParameter(f"{points} is outside 0..{MAX_POINTS} points")
    return found


def link_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options; the command takes them as keyword arguments for `link_of`."""
    shares = {
        "--loss": "Also test a lossy link: mean share of packets lost, such as 40%.",
        "--bit-errors": "Bits that arrive flipped, such as 1e-4.",
        "--duplicates": "Packets that arrive twice, such as 5%.",
    }
    loss, *others = (click.option(name, metavar="SHARE", help=words, callback=_share) for name, words in shares.items())
    return added(
        command,
        loss,
        click.option("--burst", type=float, metavar="PACKETS", help="Mean run of lost packets; default: no runs."),
        *others,
        click.option("--reorder", type=int, metavar="PACKETS", help="A packet is late by up to this many."),
        click.option(
            "--trails",
            metavar="POINTS",
            help="Lengths of trail to compare; default: 0, half and all of the schema's.",
            callback=_lengths,
        ),
        click.option("--seed", type=int, help="Seed of the lossy link: the same seed gives the same losses. Default: 1."),
    )


def link_of(
    *, burst: float | None, reorder: int | None, trails: tuple[int, ...] | None, seed: int | None, **others: Any
) -> tuple[LinkTest | None, dict[str, Any]]:
    """The test that the options ask for, or None where none does; and the options that are not the link's."""
    shares = {name: others.pop(name) for name in ("loss", "bit_errors", "duplicates")}
    shares = {name: value for name, value in shares.items() if value is not None}
    tested = bool(shares) or reorder is not None or trails is not None
    if burst is not None and "loss" not in shares:
        raise click.UsageError(f"--burst: {burst:g} has no effect without --loss")
    if seed is not None and not tested:
        raise click.UsageError(f"--seed: {seed} has no effect without --loss or another option of the lossy link")
    if not tested:
        return None, others
    with wrong_option():
        conditions = LinkConditions(burst=burst, reorder=reorder or 0, seed=1 if seed is None else seed, **shares)
    return LinkTest(conditions, trails or ()), others


def share(text: str) -> float:
    """A share as a number, from 40% or 0.4."""
    number = text.strip()
    percent = number.endswith("%")
    try:
        value = float(number.removesuffix("%"))
    except ValueError:
        raise click.BadParameter(f"{text} is not like 40% or 0.4") from None
    if not percent and 1 < value <= 100:
        raise click.BadParameter(f"{text} is above 1; did you mean {number}%?")
    return float(Fraction(value) / 100) if percent and abs(value) < 1e9 else value


def demand_trail(schema: Schema, layout: str | None) -> str:
    """The layout to test: the one asked for, or the first with a trail.

    Raises:
        click.UsageError: the layout asked for has no trail.
        PacketcodecError: no layout has one.
    """
    found = [item.name for item in schema.layouts if item.trail is not None]
    if not found:
        raise PacketcodecError(
            f"no layout of {schema.name} carries a trail to test on a link: see `packetcodec new` for one"
        )
    if layout is None:
        return found[0]
    if layout in {item.name for item in schema.layouts} and layout not in found:
        raise click.UsageError(f"--layout: {layout} carries no trail to test on a link: one of {', '.join(found)}")
    return layout
