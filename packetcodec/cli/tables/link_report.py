"""The bench test of the link in `replay`: its options, its table, and the starting values that suit a log.

Owns one rule: how shares are written: 40% or 0.4. What a link can do to packets is said by `packetcodec.bench.lossy_link`;
here its messages get the option's name and are wrong usage.

>>> share("--loss", "40%"), share("--bit-errors", "1e-4")
(0.4, 0.0001)
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import click
from rich.progress import Progress

from packetcodec.bench import every
from packetcodec.bench.link_test import MAX_POINTS, LinkReport, bench, with_trail
from packetcodec.bench.lossy_link import Harm
from packetcodec.bench.sender import Sender
from packetcodec.bench.tune_trail import Suggestion, suggest, windows
from packetcodec.cli.tables.sheet import console, milliseconds, remark, seconds, table, times
from packetcodec.codec import Codec
from packetcodec.errors import PacketcodecError
from packetcodec.radio import LORAWAN_OVERHEAD

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from packetcodec.cli.options.radio import Radio
    from packetcodec.logs import Fix
    from packetcodec.radio import Modem
    from packetcodec.schema import Schema
    from packetcodec.wire import Value

#: A gain below this is none: it would not change one packet in ten.
_WORTH_SAYING = 0.1

NOT_YOUR_LINK = "A model of losses, not your link: it compares trails. Nothing here promises that a packet arrives."


@dataclass(frozen=True, slots=True)
class LinkTest:
    """What the options ask for: what the link does, and the lengths of trail to compare."""

    harm: Harm
    lengths: tuple[int, ...]

    @property
    def words(self) -> str:
        """The link in a line."""
        harm = self.harm
        runs = "each on its own" if harm.burst is None else f"in runs of {harm.burst:g} in the mean"
        said = [f"{harm.loss * 100:g} % of packets lost, {runs}"]
        said += [f"bit errors {harm.bit_errors:g}"] if harm.bit_errors else []
        said += [f"{harm.duplicates * 100:g} % arrive twice"] if harm.duplicates else []
        said += [f"late by up to {harm.reorder} packets"] if harm.reorder else []
        return f"{', '.join(said)}; seed {harm.seed}"


def link_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options; the command takes them as keyword arguments for `link_of`."""
    for option in reversed(
        (
            click.option("--loss", metavar="SHARE", help="Also test a lossy link: packets lost in the mean, such as 40%."),
            click.option("--burst", type=float, metavar="PACKETS", help="Mean run of lost packets; default: no runs."),
            click.option("--bit-errors", metavar="SHARE", help="Bits that arrive flipped, such as 1e-4."),
            click.option("--duplicates", metavar="SHARE", help="Packets that arrive twice, such as 5%."),
            click.option("--reorder", type=int, metavar="PACKETS", help="A packet is late by up to this many."),
            click.option("--trails", metavar="POINTS", help="Lengths of trail to compare; default: 0,5,10."),
            click.option("--seed", type=int, help="Of the link; the same seed, the same losses. Default: 1."),
        )
    ):
        command = option(command)
    return command


def link_of(
    *,
    loss: str | None,
    burst: float | None,
    bit_errors: str | None,
    duplicates: str | None,
    reorder: int | None,
    trails: str | None,
    seed: int | None,
    **others: Any,
) -> tuple[LinkTest | None, dict[str, Any]]:
    """The test that the options ask for, or None where none does; and the options that are not the link's.

    Raises:
        click.UsageError: an option that is not of its form or range.
    """
    if all(value is None for value in (loss, bit_errors, duplicates, reorder, trails)):
        for name, value in (("--burst", burst), ("--seed", seed)):
            if value is not None:
                raise click.UsageError(f"{name}: {value:g} says nothing without --loss or another harm of the link")
        return None, others
    if burst is not None and loss is None:
        raise click.UsageError(f"--burst: {burst:g} says nothing without --loss")
    shares = {
        name: share(f"--{name.replace('_', '-')}", text)
        for name, text in (("loss", loss), ("bit_errors", bit_errors), ("duplicates", duplicates))
        if text is not None
    }
    try:
        harm = Harm(burst=burst, reorder=reorder or 0, seed=1 if seed is None else seed, **shares)
    except PacketcodecError as fault:
        name, _, said = str(fault).partition(": ")
        raise click.UsageError(f"--{name.replace(' ', '-')}: {said}") from None
    return LinkTest(harm, _lengths(trails or "0,5,10")), others


def share(option: str, text: str) -> float:
    """A share as a number, from 40% or 0.4.

    Raises:
        click.UsageError: it is neither.
    """
    number = text.strip()
    percent = number.endswith("%")
    try:
        value = float(number.removesuffix("%"))
    except ValueError:
        raise click.UsageError(f"{option}: {text} is not like 40% or 0.4") from None
    if not percent and 1 < value <= 100:
        raise click.UsageError(f"{option}: {text} is above 1; did you mean {number}%?")
    return float(Fraction(value) / 100) if percent and abs(value) < 1e9 else value


def _lengths(text: str) -> tuple[int, ...]:
    try:
        found = tuple(dict.fromkeys(int(part) for part in text.split(",")))
    except ValueError:
        raise click.UsageError(f"--trails: {text} is not like 0,5,10") from None
    for points in found:
        if not 0 <= points <= MAX_POINTS:
            raise click.UsageError(f"--trails: {points} is outside 0..{MAX_POINTS} points")
    return found


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


@dataclass(frozen=True, slots=True)
class Trails:
    """What `replay` says of trails: values that suit the log (None without a trail), and the link test if one was asked."""

    suggestion: Suggestion | None
    test: LinkTest | None
    reports: tuple[LinkReport, ...]


def send_over_link(
    test: LinkTest | None,
    schema: Schema,
    layout: str,
    recording: Sequence[Fix],
    *,
    interval: float,
    constants: Mapping[str, Value],
) -> Trails:
    """Look for starting values, and send the log over the link once for each length, with progress shown.

    Raises:
        click.UsageError: a length that does not fit the packet.
    """
    trail = next((item.trail for item in schema.layouts if item.name == layout), None)
    if trail is None:
        return Trails(None, None, ())
    fixes = tuple(every(recording, interval))
    suggestion = suggest(trail, windows(Sender(Codec(schema), layout, recording, constants), fixes))
    if test is None:
        return Trails(suggestion, None, ())
    for points in test.lengths:
        try:
            with_trail(schema, layout, points)
        except PacketcodecError as fault:
            raise click.UsageError(f"--trails: {str(fault).removeprefix('trail: ')}") from None
    screen = console(err=True)
    with Progress(console=screen, transient=True, disable=not screen.is_terminal) as progress:
        task = progress.add_task("Testing the link", total=len(fixes) * len(test.lengths))
        reports = bench(
            schema, layout, fixes, interval=interval, harm=test.harm, recording=recording, lengths=test.lengths,
            constants=constants, progress=lambda count: progress.update(task, completed=count),
        )  # fmt: skip
    return Trails(suggestion, test, reports)


def print_trails(trails: Trails, radio: Radio) -> None:
    """The report for people."""
    out = console()
    if trails.suggestion is not None:
        out.print(_suggestion_words(trails.suggestion), markup=False)
    if trails.test is not None:
        out.print(_table(trails.test, trails.reports, radio))
        out.print(NOT_YOUR_LINK, markup=False, style="italic")
        for words in _remarks(trails.reports):
            remark(words)


def trails_json(trails: Trails, radio: Radio) -> dict[str, Any]:
    """The report for programs."""
    said: dict[str, Any] = {}
    if trails.suggestion is not None:
        said["suggestion"] = asdict(trails.suggestion) | {"gain_bytes": trails.suggestion.gain_bytes}
    if trails.test is not None:
        said["link"] = asdict(trails.test.harm) | {
            "caution": NOT_YOUR_LINK,
            "trails": [_report_json(report, radio) for report in trails.reports],
        }
    return said


def _table(test: LinkTest, reports: Sequence[LinkReport], radio: Radio) -> Any:
    """How many points arrive, and how, for each length of trail; airtime on the first and the last modem."""
    shown = {0, len(radio.modems) - 1}
    modems = [
        (modem, name) for place, (modem, name) in enumerate(zip(radio.modems, radio.labels, strict=True)) if place in shown
    ]
    rows = []
    for report in reports:
        airtimes = [_airtime(report, modem, lorawan=radio.lorawan) for modem, _ in modems]
        rows.append(
            (
                f"{report.trail} points" if report.trail else "none",
                f"{report.mean_bytes:.1f}",
                *("too long" if time is None else milliseconds(time) for time in airtimes),
                f"{report.received:,}",
                f"{report.refused:,}",
                *(_part(count, report.points) for count in (report.direct, report.by_trail, report.missing)),
                seconds(report.longest_hole) if report.longest_hole else "-",
            )
        )
    points = reports[0].points if reports else 0
    columns = (
        "trail of", "mean bytes", *(f"airtime {name}" for _, name in modems), "received", "refused", "told directly",
        "by a trail", "not at all", "longest hole",
    )  # fmt: skip
    return table(f"{points:,} points over a link: {test.words}", columns, rows)


def _remarks(reports: Sequence[LinkReport]) -> Iterator[str]:
    """What the table does not say."""
    for report in reports:
        of = f"trail of {report.trail}" if report.trail else "no trail"
        if report.pending:
            yield f"{of}: {times(report.pending, 'point')} of those not told stand at the end, where no later packet follows"
        if report.unnoticed:
            yield f"{of}: {report.unnoticed} packets with bit errors were accepted: what they say is false"
        if report.repeated:
            yield (
                f"{of}: {times(report.repeated, 'point')} told twice: times of reception do not say which point it is; "
                "a field of kind time in the layout helps"
            )


def _part(count: int, whole: int) -> str:
    return f"{count:,} ({100 * count / whole:.1f} %)" if whole else f"{count}"


def _airtime(report: LinkReport, modem: Modem, *, lorawan: bool) -> Fraction | None:
    more = LORAWAN_OVERHEAD * lorawan
    if any(size + more > modem.max_payload for size, _ in report.sizes):
        return None
    return report.mean_airtime(lambda size: modem.airtime(size + more))


def _report_json(report: LinkReport, radio: Radio) -> dict[str, Any]:
    airtimes = {
        name: _airtime(report, modem, lorawan=radio.lorawan) for name, modem in zip(radio.labels, radio.modems, strict=True)
    }
    return asdict(report) | {
        "sizes": {str(size): count for size, count in report.sizes},
        "mean_bytes": report.mean_bytes,
        "mean_airtime_ms": {name: None if time is None else float(time * 1000) for name, time in airtimes.items()},
    }


def _suggestion_words(found: Suggestion) -> str:
    """The suggestion in a line."""
    present = f"initial_scale = {found.present_initial_scale}, scale_rate = {found.present_scale_rate}"
    if found.gain_bytes < _WORTH_SAYING:
        return (
            f"Starting values of the trail: {present} suit this log ({found.windows} trails of {found.bits / 8:.1f} bytes)."
        )
    speed = "" if found.speed is None else f", as for a speed of {found.speed:.2g} m/s"
    return (
        f"Starting values of the trail: initial_scale = {found.initial_scale}, scale_rate = {found.scale_rate}{speed}, "
        f"would make the trails of this log {found.gain_bytes:.1f} bytes shorter: {found.bits / 8:.1f} instead of "
        f"{found.present_bits / 8:.1f} bytes in the mean with {present} ({found.windows} trails looked at, padding "
        f"and the packet's limit not counted)."
    )
