"""The bench test of the link in `replay`: its table, and the starting values of the trail that suit a log."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from fractions import Fraction
from typing import Any

from packetcodec.bench.history import trail_lengths
from packetcodec.bench.link_test import LinkReport, link_test, with_trail
from packetcodec.bench.outcome import along_time
from packetcodec.bench.sender import Sender
from packetcodec.bench.tune_trail import Suggestion, tune_trail, windows
from packetcodec.cli.options.link import LinkTest
from packetcodec.cli.options.radio import Radio
from packetcodec.cli.options.usage import wrong_option
from packetcodec.cli.tables.figures import milliseconds, seconds
from packetcodec.cli.tables.replay_report import Replayed
from packetcodec.cli.tables.sheet import Sheet, console, progress, remark, table
from packetcodec.radio import Modem
from packetcodec.spelling import counted

#: A gain below this is none: it would not change one packet in ten.
_WORTH_SAYING = 0.1

NOT_YOUR_LINK = "A model of losses, not your link: it compares trails. Nothing here promises that a packet arrives."


@dataclass(frozen=True, slots=True)
class Trails:
    """What `replay` says of trails: values that suit the log (None without a trail), and the link test if one was asked."""

    suggestion: Suggestion | None
    test: LinkTest | None
    reports: tuple[LinkReport, ...]


def send_over_link(test: LinkTest | None, replayed: Replayed) -> Trails:
    """Look for starting values, and send the log over the link once for each length, with progress shown."""
    schema, layout, recording = replayed.schema, replayed.layout, replayed.recorded.fixes
    if layout.trail is None:
        return Trails(None, None, ())
    fixes = replayed.fixes
    sender = Sender(replayed.codec, layout.name, recording, replayed.constants)
    suggestion = tune_trail(layout.trail, windows(sender, fixes), compare=True)
    if test is None:
        return Trails(suggestion, None, ())
    lengths = test.lengths or trail_lengths(layout.trail.points)
    for points in lengths:
        with wrong_option():
            with_trail(schema, layout.name, points)
    with progress("Testing the link", len(fixes) * len(lengths)) as tell:
        reports = link_test(
            schema, layout.name, fixes, interval=replayed.interval, conditions=test.conditions, recording=recording,
            lengths=lengths, constants=replayed.constants, progress=tell,
        )  # fmt: skip
    return Trails(suggestion, test, reports)


def print_trails(trails: Trails, radio: Radio) -> None:
    """The report for people."""
    out = console()
    if trails.suggestion is not None:
        out.put(suggestion_words(trails.suggestion))
    if trails.test is not None:
        out.print(link_table(trails.test, trails.reports, radio))
        out.put(NOT_YOUR_LINK, style="italic")
        for words in link_remarks(trails.reports):
            remark(words)


def trails_json(trails: Trails, radio: Radio) -> dict[str, Any]:
    """The report for programs."""
    said: dict[str, Any] = {}
    if trails.suggestion is not None:
        said["suggestion"] = asdict(trails.suggestion) | {"gain_bytes": trails.suggestion.gain_bytes}
    if trails.test is not None:
        said["link"] = asdict(trails.test.conditions) | {
            "caution": NOT_YOUR_LINK,
            "trails": [_report_json(report, radio) for report in trails.reports],
        }
    return said


def link_table(test: LinkTest, reports: Sequence[LinkReport], radio: Radio) -> Sheet:
    """How many points arrive, and how, for each length of trail; airtime on the first and the last modem."""
    modems = list(dict.fromkeys((radio.modems[0], radio.modems[-1])))
    rows = [
        (
            length_of(report), f"{report.mean_bytes:.1f}",
            *("too long" if time is None else milliseconds(time) for time in (_airtime(report, m, radio) for m in modems)),
            f"{report.received:,}", f"{report.refused:,}",
            *(_part(count, report.points) for count in (report.direct, report.by_trail, report.missing)),
            seconds(report.longest_hole) if report.longest_hole else "-",
        )
        for report in reports
    ]  # fmt: skip
    points = reports[0].points if reports else 0
    columns = (
        "trail of", "mean bytes", *(f"airtime {modem.label}" for modem in modems), "received", "refused", "points direct",
        "by trail", "missing", "longest gap",
    )  # fmt: skip
    return table(f"{counted(points, 'point')} over a link: {test.description}", columns, rows)


def length_of(report: LinkReport) -> str:
    """The length of trail of a report in words."""
    return counted(report.trail, "point") if report.trail else "none"


def link_remarks(reports: Sequence[LinkReport]) -> Iterator[str]:
    """What the table does not say."""
    for report in reports:
        of = f"trail of {report.trail}" if report.trail else "no trail"
        if report.pending:
            yield (
                f"{of}: of the points that did not arrive, {report.pending} stand at the end of the log, "
                "where no later packet could bring them"
            )
        if report.unnoticed:
            yield f"{of}: {counted(report.unnoticed, 'packet')} with bit errors passed the check: these values are wrong"
        if report.undated:
            yield f"{of}: {counted(report.undated, 'point')} reported with a time that is not known"
        if report.repeated:
            yield (
                f"{of}: {counted(report.repeated, 'point')} reported twice, because the time of reception alone does not "
                "identify a point; a field of kind time in the layout does"
            )


def _part(count: int, whole: int) -> str:
    return f"{count:,} ({100 * count / whole:.1f} %)" if whole else f"{count}"


def _airtime(report: LinkReport, modem: Modem, radio: Radio) -> Fraction | None:
    if any(size + radio.overhead > modem.max_payload for size, _ in report.sizes):
        return None
    return report.mean_airtime(lambda size: modem.airtime(size + radio.overhead))


def _report_json(report: LinkReport, radio: Radio) -> dict[str, Any]:
    airtimes = {modem.label: _airtime(report, modem, radio) for modem in radio.modems}
    said = asdict(replace(report, outcomes=()))
    del said["outcomes"]
    return said | {
        "along_time": along_time(report.outcomes),
        "sizes": {str(size): count for size, count in report.sizes},
        "mean_bytes": report.mean_bytes,
        "mean_airtime_ms": {name: time and time * 1000 for name, time in airtimes.items()},
    }


def suggestion_words(found: Suggestion) -> str:
    """The suggestion in a line."""
    gain = 0 if found.wandering_bits is None else (found.bits - found.wandering_bits) / 8
    wanders = f" With wandering = true too, {gain:.1f} bytes less at best." if gain >= _WORTH_SAYING else ""
    present = f"initial_scale = {found.present_initial_scale}, scale_rate = {found.present_scale_rate}"
    if found.gain_bytes < _WORTH_SAYING:
        return (
            f"Starting values of the trail: {present} suit this log ({found.windows} trails of {found.bits / 8:.1f} bytes)."
            f"{wanders}"
        )
    speed = "" if found.speed is None else f", as for a speed of {found.speed:.2g} m/s"
    return (
        f"Starting values of the trail: initial_scale = {found.initial_scale}, scale_rate = {found.scale_rate}{speed}, "
        f"would make the trails of this log {found.gain_bytes:.1f} bytes shorter: {found.bits / 8:.1f} instead of "
        f"{found.present_bits / 8:.1f} bytes in the mean with {present} ({found.windows} trails looked at, padding "
        f"and the packet's limit not counted).{wanders}"
    )
