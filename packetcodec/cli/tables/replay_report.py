"""What came of a replay, for people and for programs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from packetcodec.bench import ErrorSummary, FieldReport, Replay, Span, every, silences, without_fix
from packetcodec.bench.low_bits import LowBitsReport
from packetcodec.bench.outcome import histogram
from packetcodec.bench.sender import columns_of
from packetcodec.cli.options.radio import Radio
from packetcodec.cli.tables.figures import budget_json, complaints, decimal, milliseconds, seconds, shortest
from packetcodec.cli.tables.sheet import Sheet, console, table
from packetcodec.codec import Codec
from packetcodec.logs import FORMATS, Fix, RecordedLog
from packetcodec.radio import CAUTION, Budget
from packetcodec.schema import Schema
from packetcodec.spelling import counted
from packetcodec.wire import LayoutPlan, promised


@dataclass(frozen=True, slots=True)
class Replayed:
    """A replay, as its report has it: what was sent how, and what came of it."""

    schema: Schema
    codec: Codec
    layout: LayoutPlan
    recorded: RecordedLog
    outcome: Replay
    radio: Radio
    interval: float
    constants: dict[str, Any]

    @property
    def fixes(self) -> tuple[Fix, ...]:
        """Those of the log that were sent."""
        return tuple(every(self.recorded.fixes, self.interval))


def print_replay(replayed: Replayed) -> None:
    """The report for people."""
    out, outcome, radio = console(), replayed.outcome, replayed.radio
    out.lines(*log_words(replayed.recorded, replayed.layout), "", *packet_words(outcome, replayed.interval))
    if outcome.text_example:
        length = len(outcome.text_example.encode()) + 1
        out.put(f"  packet {outcome.packet_example.hex()}", uncut=True)
        out.put(f"  text   {outcome.text_example} ({length} bytes with its line end)", uncut=True)
    if outcome.low_bits is not None:
        out.put(_low_bits_words(outcome, outcome.low_bits, radio))
    out.print(error_table(outcome))
    out.print(field_table(outcome.fields))
    out.lines(radio.description, radio.source)
    out.print(airtime_table(replayed))
    sizes = [("the packet", outcome.packet_bytes[2]), ("the text", outcome.text_bytes[2])]
    out.lines(*complaints(sizes, radio), *radio.notes)
    out.put(CAUTION, style="italic")


def remarks(replayed: Replayed) -> Iterator[str]:
    """What a reader of the report should not overlook."""
    outcome = replayed.outcome
    refused = sum(refusal.count for refusal in outcome.refused)
    if refused > outcome.packets:
        yield f"most packets could not be made: {refused} of {refused + outcome.packets}, see the reasons in the report."
    for field in outcome.fields:
        if field.clipped * 2 >= field.sent > 0:
            many = f"{field.clipped} of {counted(field.sent, 'value')} beyond {field.range}"
            yield f"{field.name}: {many}; the first: {field.first_clipped}."
        if field.name in replayed.constants and field.source == "log":
            yield f"--set {field.name}: the log holds this field; your value is sent only where the log has none."


def log_words(recorded: RecordedLog, layout: LayoutPlan) -> Iterator[str]:
    """What the log holds."""
    fixes = recorded.fixes
    part = FORMATS[recorded.format].records.removesuffix("s")
    span = seconds(max(0.0, fixes[-1].time - fixes[0].time))
    located = sum(fix.has_position for fix in fixes)
    sizes = (counted(recorded.size, "byte"), counted(recorded.sentences, part), counted(len(fixes), "epoch"))
    yield f"{recorded.name}: {recorded.format.upper()}, {', '.join(sizes)} over {span}, {located:,} with a position."
    for refusal in recorded.refused:
        yield f"  {refusal.count} x {refusal.reason}, first at {refusal.first_place}: {refusal.first_text}"
    if recorded.moved:
        yield f"  sorted by time: {counted(recorded.moved, part)} stood below a later one"
    if recorded.same_time:
        yield f"  the same time: {counted(recorded.same_time, part)} have that of another one: no time tells them apart"
    if unused := _unused(recorded, layout):
        yield f"  columns that this layout has no field for: {', '.join(unused)}"
    yield from _gaps("no fix", without_fix(fixes), fixes)
    yield from _gaps("receiver silent", silences(fixes), fixes)


def _gaps(words: str, spans: Sequence[Span], fixes: Sequence[Fix]) -> Iterator[str]:
    if spans:
        longest = max(spans, key=lambda item: item.seconds)
        yield (
            f"  {words}: {counted(len(spans))}, {seconds(sum(item.seconds for item in spans))} in all, the longest "
            f"{seconds(longest.seconds)} at {seconds(longest.start - fixes[0].time)} into the log"
        )


def _unused(recorded: RecordedLog, layout: LayoutPlan) -> list[str]:
    """The columns of a table that go into no field, by the names they have in it."""
    used = {"time", "date", "latitude", "longitude", *(name for field in layout.fields for name in columns_of(field))}
    if "speed" in used:
        used |= {"speed_kmh", "speed_knot"}
    return [name or "(no name)" for name, meaning in recorded.columns if meaning not in used]


def packet_words(outcome: Replay, interval: float) -> Iterator[str]:
    """What was sent, and what could not be."""
    refused = sum(refusal.count for refusal in outcome.refused)
    least, mean, most = outcome.packet_bytes
    size = f"{least}" if least == most else f"{least} to {most} (mean {mean:.1f})"
    yield (
        f'A packet every {interval:g} s in layout "{outcome.layout}": {counted(outcome.packets, "packet")} of {size} '
        f"bytes, {outcome.with_position} with a position, {outcome.packets - outcome.with_position} without, "
        f"{refused} that could not be made."
    )
    for refusal in outcome.refused:
        yield f"  {refusal.count} x {refusal.first_text} (first: {refusal.first_place})"


def _low_bits_words(outcome: Replay, found: LowBitsReport, radio: Radio) -> str:
    """What fields sent by their low bits gain, and how often a receiver does not find the rest."""
    most, gain = outcome.packet_bytes[2], ""
    if found.whole_bytes is not None:
        (modem, ours), (_, whole) = radio.budgets(most)[-1], radio.budgets(found.whole_bytes)[-1]
        gain = f": {most} instead of {found.whole_bytes} bytes"
        if ours and whole:
            gain += f", {milliseconds(ours.airtime)} instead of {milliseconds(whole.airtime)} at {modem.label}"
    return (
        f"Low bits of {', '.join(found.fields)}: {found.saved_bits} bits are not sent{gain}. No reference near enough: "
        f"{found.standing:,} of {outcome.packets:,} packets for a receiver that knows only where the log begins, "
        f"{found.moving:,} for one that knows the last packet."
    )


def error_table(outcome: Replay) -> Sheet:
    """Errors of the positions in packets, text and trails."""

    def row(name: str, errors: ErrorSummary | None, bound: float | None) -> tuple[str, ...]:
        if errors is None:
            return name, "-", "-", "-", "-"
        cells = (errors.rms, errors.percent_95, errors.maximum)
        return name, *(f"{cell:.3f} m" for cell in cells), "-" if bound is None else f"{promised(bound)} m"

    rows = [
        row("packet", outcome.position, outcome.bound),
        row("text", outcome.text_position, None),
    ]
    if outcome.trail_bound is not None:
        rows.append(row(f"trail, {outcome.trail_points:.1f} points", outcome.trail, outcome.trail_bound))
    return table("Position error against the log", ("", "root mean square", "95 %", "largest", "promised"), rows)


def field_table(fields: tuple[FieldReport, ...]) -> Sheet:
    """What happened to each field."""
    rows = []
    for field in fields:
        unit = f" {field.symbol}".rstrip()
        error = "exact" if field.bound is None else "-" if field.max_error is None else f"{decimal(field.max_error)}{unit}"
        promised = "" if field.bound is None else f"{decimal(field.bound)}{unit}"
        rows.append((field.name, field.source, field.sent, field.absent, field.clipped, error, promised))
    return table("Fields", ("field", "from", "sent", "absent", "clipped", "largest error", "promised"), rows, left=2)


def airtime_table(replayed: Replayed) -> Sheet:
    """What packet and text cost on air."""
    (least, _, most), (_, _, text) = replayed.outcome.packet_bytes, replayed.outcome.text_bytes
    interval, radio = replayed.interval, replayed.radio
    rows = [
        (modem.label, *_airtime_cells(ours, interval), *_airtime_cells(theirs, interval))
        for (modem, ours), (_, theirs) in zip(radio.budgets(most), radio.budgets(text), strict=True)
    ]
    columns = (
        "modem", f"packet, {'up to ' if least < most else ''}{most} bytes", "interval", f"every {interval:g} s",
        f"text, up to {text} bytes", "text interval", f"every {interval:g} s",
    )  # fmt: skip
    return table("Airtime and shortest fixed interval under the limits", columns, rows, groups=(3, 3))


def _airtime_cells(budget: Budget | None, interval: float) -> tuple[str, str, str]:
    if budget is None:
        return "-", "too long", "-"
    fits = budget.permitted and interval >= (budget.period or budget.airtime)
    return milliseconds(budget.airtime), shortest(budget), "yes" if fits else "no"


def replay_json(replayed: Replayed) -> dict[str, Any]:
    """The report for programs."""
    outcome, radio = replayed.outcome, replayed.radio
    least, mean, most = outcome.text_bytes
    budgets = zip(radio.budgets(outcome.packet_bytes[2]), radio.budgets(most), strict=True)
    return {
        "log": _log_json(replayed.recorded), "interval_s": replayed.interval, "layout": outcome.layout,
        "packets": outcome.packets, "packet_bytes": outcome.packet_bytes[2], "packet_bytes_mean": outcome.packet_bytes[1],
        "with_position": outcome.with_position, "refused": outcome.refused, "low_bits": outcome.low_bits,
        "position_error": _errors_json(outcome.position), "position_bound_m": _bound(outcome.bound),
        "error_histogram": histogram(outcome.errors, outcome.bound),
        "trail_error": _errors_json(outcome.trail),
        "trail_error_histogram": histogram(outcome.trail_errors, outcome.trail_bound),
        "trail_bound_m": _bound(outcome.trail_bound), "trail_points_mean": outcome.trail_points,
        "fields": [
            {"name": field.name, "from": field.source, "sent": field.sent, "absent": field.absent, "clipped": field.clipped,
             "max_error": field.max_error, "bound": field.bound, "unit": field.symbol}
            for field in outcome.fields
        ],
        "text": {
            "bytes_min": least, "bytes_mean": mean, "bytes_max": most,
            "position_error": _errors_json(outcome.text_position),
        },
        "setting": radio.description,
        "airtime": [
            {"modem": modem.name, "packet": budget_json(ours), "text": budget_json(text)}
            for (modem, ours), (_, text) in budgets
        ],
        "caution": CAUTION,
    }  # fmt: skip


def _log_json(recorded: RecordedLog) -> dict[str, Any]:
    return {
        "name": recorded.name, "format": recorded.format, "bytes": recorded.size, "sentences": recorded.sentences,
        "epochs": len(recorded.fixes), "refused": recorded.refused, "sorted_rows": recorded.moved,
        "same_time": recorded.same_time, "columns": dict(recorded.columns), "silences": silences(recorded.fixes),
        "without_fix": without_fix(recorded.fixes),
    }  # fmt: skip


def _bound(bound: float | None) -> float | None:
    return None if bound is None else float(promised(bound))


def _errors_json(found: ErrorSummary | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {"rms_m": found.rms, "percent_95_m": found.percent_95, "maximum_m": found.maximum, "count": found.count}
