"""The command `replay`, the main job: a recorded log sent through a schema, and what it cost and lost."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from rich.progress import Progress

from packetcodec.bench import ErrorSummary, FieldReport, Replay, every, silences, without_fix
from packetcodec.bench import replay as run_replay
from packetcodec.bench.sender import Sender, columns_of
from packetcodec.cli.files import STDIN_NAME, DataFault, blocks, load_schema
from packetcodec.cli.options.radio import Radio, radio_of, radio_options
from packetcodec.cli.options.usage import wrong_option
from packetcodec.cli.tables.limits import budget_json, complaints, never, shortest
from packetcodec.cli.tables.link_report import demand_trail, link_of, link_options, print_trails, send_over_link, trails_json
from packetcodec.cli.tables.sheet import console, milliseconds, put_json, remark, seconds, table, times
from packetcodec.codec import Codec
from packetcodec.logs import COLUMNS, FORMATS, RecordedLog, read_log
from packetcodec.radio import CAUTION
from packetcodec.starter import SAMPLE_FILE, sample_log

if TYPE_CHECKING:
    from collections.abc import Iterator

    from packetcodec.wire import LayoutPlan, Plan


class _WithColumns(click.Command):
    """A command whose help lists the columns of a table."""

    def format_epilog(self, _ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list."""
        with formatter.section("Columns of a CSV log, in any order (case does not count)"):
            formatter.write_dl([(", ".join(names), words) for _, words, names in COLUMNS])
            formatter.write_paragraph()
            formatter.write_text("One named as a field of the layout goes into that field, in its unit. Others are listed.")


@click.command(cls=_WithColumns, short_help="Send a recorded log through a schema; a report.")
@click.argument("log", type=click.Path(dir_okay=False, allow_dash=True), required=False)
@click.option("-s", "--schema", type=click.Path(dir_okay=False), help="Schema file; default: the starter schema.")
@click.option("--layout", "layout_name", help="Layout; default: the first with a position (for a link: with a trail).")
@click.option("--every", "interval", type=float, default=30.0, show_default=True, help="Seconds from packet to packet.")
@click.option(
    "--format", "log_format", type=click.Choice(FORMATS), help="Format of the log; default: seen from its content."
)
@click.option("--set", "constants", multiple=True, metavar="FIELD=VALUE", help="A value that the log does not hold.")
@link_options
@radio_options
@click.option("--json", "as_json", is_flag=True, help="A report for programs.")
def replay(
    log: str | None,
    *,
    schema: str | None,
    layout_name: str | None,
    interval: float,
    log_format: str | None,
    constants: tuple[str, ...],
    as_json: bool,
    **settings: Any,
) -> None:
    """Send a recorded LOG (NMEA 0183, GPX or CSV; - for stdin) through a schema and report what it cost and lost.

    Without arguments: the built-in sample log, an invented collar, through the starter schema. Every packet is really
    encoded and decoded, and each position is compared with where the receiver was.

    With --loss, --bit-errors, --duplicates or --reorder the packets also go over a lossy link, with trails of several
    lengths, and the report says how many points arrive.
    """
    link, settings = link_of(**settings)
    radio = radio_of(**settings)
    agreed = load_schema(schema)
    codec = Codec(agreed)
    layout = _layout(codec.plan, demand_trail(agreed, layout_name) if link else layout_name)
    given = _constants(constants)
    with wrong_option("--set"):
        Sender(codec, layout.name, (), given)
    with wrong_option():
        every((), interval)
    recorded, outcome = _run(codec, layout, log, log_format, interval, given)
    if not outcome.packets:
        reasons = "; ".join(refusal.first_text for refusal in outcome.refused)
        raise DataFault(f"{recorded.name}: no packet could be made: {reasons}")
    trails = send_over_link(link, agreed, layout.name, recorded.fixes, interval=interval, constants=given)
    if as_json:
        put_json(_json(recorded, outcome, radio, interval) | trails_json(trails, radio))
    else:
        _print(recorded, outcome, layout, radio, interval)
        print_trails(trails, radio)
    for words in (*radio.remarks, *_remarks(outcome, given)):
        remark(words)


def _layout(plan: Plan, name: str | None) -> LayoutPlan:
    if name is not None:
        for layout in plan.layouts:
            if layout.name == name:
                return layout
        known = ", ".join(layout.name for layout in plan.layouts)
        raise click.UsageError(f"--layout: {name!r} is not a layout of {plan.name}: one of {known}")
    for layout in plan.layouts:
        if {"latitude", "longitude"} <= {field.kind for field in layout.fields}:
            return layout
    raise click.UsageError(f"no layout of {plan.name} has a latitude and a longitude: choose one with --layout")


def _constants(texts: tuple[str, ...]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for text in texts:
        name, equals, value = text.partition("=")
        if not equals:
            raise click.UsageError(f"--set: {text} is not like battery=3.7")
        if value in {"true", "false"}:
            values[name] = value == "true"
            continue
        try:
            values[name] = float(value) if "." in value or "e" in value.lower() else int(value)
        except ValueError:
            values[name] = value
    return values


def _run(
    codec: Codec, layout: LayoutPlan, log: str | None, log_format: str | None, interval: float, given: dict[str, Any]
) -> tuple[RecordedLog, Replay]:
    screen = console(err=True)
    with Progress(console=screen, transient=True, disable=not screen.is_terminal) as progress:
        total = Path(log).stat().st_size if log not in {None, "-"} and log is not None else None
        reading = progress.add_task("Reading", total=total)
        recorded = read_log(
            _source(log),
            format=log_format,
            name=STDIN_NAME if log == "-" else log or f"built-in {SAMPLE_FILE}",
            progress=lambda size: progress.update(reading, completed=size),
        )
        fixes = tuple(every(recorded.fixes, interval))
        sending = progress.add_task("Sending", total=len(fixes))
        outcome = run_replay(
            codec,
            layout.name,
            fixes,
            recording=recorded.fixes,
            constants=given,
            progress=lambda count: progress.update(sending, completed=count),
        )
    return recorded, outcome


def _source(log: str | None) -> Iterator[bytes]:
    return iter((sample_log(),)) if log is None else blocks(os.fspath(log))


def _remarks(outcome: Replay, given: dict[str, Any]) -> Iterator[str]:
    """What a reader of the report should not overlook."""
    refused = sum(refusal.count for refusal in outcome.refused)
    if refused > outcome.packets:
        yield f"most packets could not be made: {refused} of {refused + outcome.packets}, see the reasons in the report."
    for field in outcome.fields:
        if field.clipped * 2 >= field.sent > 0:
            yield f"{field.name}: {field.clipped} of {times(field.sent, 'value')} beyond its range, sent as the end of it."
        if field.name in given and field.source == "log":
            yield f"--set {field.name}: the log holds this field; your value is sent only where the log has none."


def _print(recorded: RecordedLog, outcome: Replay, layout: LayoutPlan, radio: Radio, interval: float) -> None:
    out = console()
    for line in _log_words(recorded, layout):
        out.print(line, markup=False)
    out.print()
    refused = sum(refusal.count for refusal in outcome.refused)
    size = _span(outcome.packet_bytes)
    out.print(
        f'A packet every {interval:g} s in layout "{outcome.layout}": {outcome.packets} packets of {size} '
        f"bytes, {outcome.with_position} with a position, {outcome.packets - outcome.with_position} without, "
        f"{refused} that could not be made.",
        markup=False,
    )
    for refusal in outcome.refused:
        out.print(f"  {refusal.count} x {refusal.first_text} (first: {refusal.first_place})", markup=False)
    if outcome.text_example:
        length = len(outcome.text_example.encode()) + 1
        # Left to the terminal to break: a line that is cut up cannot be copied.
        out.print(f"  packet {outcome.packet_example.hex()}", markup=False, soft_wrap=True)
        out.print(f"  text   {outcome.text_example} ({length} bytes with its line end)", markup=False, soft_wrap=True)
    out.print(_error_table(outcome))
    out.print(_field_table(outcome.fields))
    out.print(radio.words, markup=False)
    out.print(radio.source, markup=False)
    out.print(_airtime_table(outcome, radio, interval))
    for line in complaints([("the packet", outcome.packet_bytes[2]), ("the text", outcome.text_bytes[2])], radio):
        out.print(line, markup=False)
    out.print(CAUTION, markup=False, style="italic")


def _span(found: tuple[int, float, int]) -> str:
    """A length, or the range and the mean of several."""
    least, mean, most = found
    return f"{least}" if least == most else f"{least} to {most} (mean {mean:.1f})"


def _log_words(recorded: RecordedLog, layout: LayoutPlan) -> Iterator[str]:
    fixes = recorded.fixes
    what = FORMATS[recorded.format].records
    span = seconds(max(0.0, fixes[-1].time - fixes[0].time))
    located = sum(fix.has_position for fix in fixes)
    yield (
        f"{recorded.name}: {recorded.format.upper()}, {recorded.size:,} bytes, {recorded.sentences:,} {what}, "
        f"{len(fixes):,} epochs over {span}, {located:,} with a position."
    )
    for refusal in recorded.refused:
        yield f"  {refusal.count} x {refusal.reason}, first at {refusal.first_place}: {refusal.first_text}"
    if recorded.moved:
        yield f"  sorted by time: {times(recorded.moved, what.removesuffix('s'))} stood below a later one"
    if unused := _unused(recorded, layout):
        yield f"  columns that this layout has no field for: {', '.join(unused)}"
    for words, spans in (("no fix", without_fix(fixes)), ("receiver silent", silences(fixes))):
        if spans:
            longest = max(spans, key=lambda item: item.seconds)
            yield (
                f"  {words}: {times(len(spans))}, {seconds(sum(item.seconds for item in spans))} in all, the longest "
                f"{seconds(longest.seconds)} at {seconds(longest.start - fixes[0].time)} into the log"
            )


def _unused(recorded: RecordedLog, layout: LayoutPlan) -> list[str]:
    """The columns of a table that go into no field, by the names they have in it."""
    used = {"time", "latitude", "longitude", *(name for field in layout.fields for name in columns_of(field))}
    if "speed" in used:
        used |= {"speed_kmh", "speed_knot"}
    return [name or "(no name)" for name, meaning in recorded.columns if meaning not in used]


def _error_table(outcome: Replay) -> Any:
    def row(name: str, errors: ErrorSummary | None, bound: float | None) -> tuple[str, ...]:
        if errors is None:
            return name, "-", "-", "-", "-"
        cells = (errors.rms, errors.percent_95, errors.maximum)
        return name, *(f"{cell:.3f} m" for cell in cells), "-" if bound is None else f"{bound:.3f} m"

    rows = [
        row("packet", outcome.position, outcome.bound),
        row("text", outcome.text_position, None),
    ]
    if outcome.trail_bound is not None:
        rows.append(row(f"trail, {outcome.trail_points:.1f} points", outcome.trail, outcome.trail_bound))
    return table("Position error against the log", ("", "root mean square", "95 %", "largest", "promised"), rows)


def _field_table(fields: tuple[FieldReport, ...]) -> Any:
    rows = []
    for field in fields:
        unit = f" {field.symbol}".rstrip()
        worst = "exact" if field.bound is None else "-" if field.worst is None else f"{field.worst:.3g}{unit}"
        promised = "" if field.bound is None else f"{field.bound:.3g}{unit}"
        rows.append((field.name, field.source, field.sent, field.absent, field.clipped, worst, promised))
    return table("Fields", ("field", "from", "sent", "absent", "clipped", "largest error", "promised"), rows, left=2)


def _airtime_table(outcome: Replay, radio: Radio, interval: float) -> Any:
    longest = outcome.text_bytes[2]
    rows = []
    for label, ours, text in zip(radio.labels, radio.budgets(outcome.packet_bytes[2]), radio.budgets(longest), strict=True):
        cells = [label]
        for budget in (ours, text):
            if budget is None:
                cells += ["-", "too long", "-"]
                continue
            fits = not never(budget) and (budget.interval is None or interval >= budget.interval)
            cells += [milliseconds(budget.airtime), shortest(budget), "yes" if fits else "no"]
        rows.append(cells)
    least, _, most = outcome.packet_bytes
    up_to = "up to " if least < most else ""
    columns = (
        "modem", f"packet, {up_to}{most} bytes", "interval", f"every {interval:g} s",
        f"text, up to {outcome.text_bytes[2]} bytes", "text interval", f"every {interval:g} s",
    )  # fmt: skip
    return table("Airtime and shortest average interval under the limit", columns, rows)


def _json(recorded: RecordedLog, outcome: Replay, radio: Radio, interval: float) -> dict[str, Any]:
    def errors(found: ErrorSummary | None) -> dict[str, Any] | None:
        if found is None:
            return None
        return {"rms_m": found.rms, "percent_95_m": found.percent_95, "maximum_m": found.maximum, "count": found.count}

    def spans(found: Any) -> list[dict[str, float]]:
        return [{"start": span.start, "seconds": span.seconds} for span in found]

    def refusals(found: Any) -> list[dict[str, Any]]:
        return [
            {"reason": r.reason, "count": r.count, "first_place": r.first_place, "first_text": r.first_text} for r in found
        ]

    pairs = zip(radio.modems, radio.budgets(outcome.packet_bytes[2]), radio.budgets(outcome.text_bytes[2]), strict=True)
    return {
        "log": {
            "name": recorded.name,
            "format": recorded.format,
            "bytes": recorded.size,
            "sentences": recorded.sentences,
            "epochs": len(recorded.fixes),
            "refused": refusals(recorded.refused),
            "sorted_rows": recorded.moved,
            "columns": dict(recorded.columns),
            "silences": spans(silences(recorded.fixes)),
            "without_fix": spans(without_fix(recorded.fixes)),
        },
        "interval_s": interval,
        "layout": outcome.layout,
        "packets": outcome.packets,
        "packet_bytes": outcome.packet_bytes[2],
        "packet_bytes_mean": outcome.packet_bytes[1],
        "with_position": outcome.with_position,
        "refused": refusals(outcome.refused),
        "position_error": errors(outcome.position),
        "position_bound_m": outcome.bound,
        "trail_error": errors(outcome.trail),
        "trail_bound_m": outcome.trail_bound,
        "trail_points_mean": outcome.trail_points,
        "fields": [
            {
                "name": f.name, "from": f.source, "sent": f.sent, "absent": f.absent, "clipped": f.clipped,
                "worst_error": f.worst, "bound": f.bound, "unit": f.symbol,
            }
            for f in outcome.fields
        ],
        "text": {
            "bytes_min": outcome.text_bytes[0],
            "bytes_mean": outcome.text_bytes[1],
            "bytes_max": outcome.text_bytes[2],
            "position_error": errors(outcome.text_position),
        },
        "setting": radio.words,
        "airtime": [
            {
                "modem": modem.name,
                "packet": budget_json(ours),
                "text": budget_json(text),
            }
            for modem, ours, text in pairs
        ],
        "caution": CAUTION,
    }  # fmt: skip
