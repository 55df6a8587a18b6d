"""The command `replay`, the main job: a recorded log sent through a schema, and what it cost and lost."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from packetcodec.bench import Replay, every
from packetcodec.bench import replay as run_replay
from packetcodec.bench.lossy_link import LinkConditions
from packetcodec.bench.passage import send
from packetcodec.bench.sender import Sender
from packetcodec.cli.convert import output_format, write_passage
from packetcodec.cli.files import demand_different, load_schema
from packetcodec.cli.options.columns import columns_option, demand_known, needs
from packetcodec.cli.options.link import demand_trail, link_of, link_options
from packetcodec.cli.options.radio import radio_of, radio_options
from packetcodec.cli.options.schedule import duration
from packetcodec.cli.options.usage import known_layout, wrong_option
from packetcodec.cli.page import Pictured, demand_endings, picture_option, put_page, room
from packetcodec.cli.streams import STDIN_NAME, DataFault, blocks
from packetcodec.cli.tables.link_report import print_trails, send_over_link, trails_json
from packetcodec.cli.tables.replay_report import Replayed, print_replay, remarks, replay_json
from packetcodec.cli.tables.sheet import progress, put_json, remark
from packetcodec.codec import Codec
from packetcodec.logs import COLUMNS, FORMATS, RecordedLog, read_log
from packetcodec.logs.time_format import TimeFormat
from packetcodec.receive.outputs import OUTPUTS
from packetcodec.receive.outputs.track_format import utc
from packetcodec.schema import PLACE
from packetcodec.spelling import counted
from packetcodec.starter import SAMPLE_FILE, sample_log
from packetcodec.wire import LayoutPlan, Plan


class _WithColumns(Pictured):
    """A command whose help lists the columns of a table."""

    def format_epilog(self, _ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list."""
        with formatter.section("Columns of a CSV log, in any order (case does not count)"):
            formatter.write_dl([(", ".join(names), words) for _, words, names in COLUMNS])
            formatter.write_paragraph()
            formatter.write_text(
                "A unit may stand behind a name in brackets: Lat [deg], Alt (ft). With semicolons or tabs, decimals may "
                "have a comma. One named as a field of the layout goes into that field, in its unit. Others are listed."
            )


def _constants(_context: click.Context, _option: click.Parameter, texts: tuple[str, ...]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for text in texts:
        name, equals, value = text.partition("=")
        if not equals:
            raise click.BadParameter(f"{text} is not like battery=3.7")
        if value in {"true", "false"}:
            values[name] = value == "true"
            continue
        try:
            values[name] = float(value) if "." in value or "e" in value.lower() else int(value)
        except ValueError:
            values[name] = value
    return values


@click.command(cls=_WithColumns, short_help="Send a recorded log through a schema; a report.")
@click.argument("log", type=click.Path(dir_okay=False, allow_dash=True), required=False)
@click.option("-s", "--schema", type=click.Path(dir_okay=False), help="Schema file; default: the starter schema.")
@click.option("--layout", "layout_name", help="Layout; default: the first with a position (for a link: with a trail).")
@click.option("--every", "interval", metavar="TIME", default="30s", show_default=True, help="From packet to packet, as 20s.")
@click.option(
    "--format", "log_format", type=click.Choice(FORMATS), help="Format of the log; default: recognised by its content."
)
@columns_option
@click.option(
    "--set",
    "constants",
    multiple=True,
    metavar="FIELD=VALUE",
    callback=_constants,
    help="A value that the log does not hold.",
)
@link_options
@radio_options
@click.option("--packets", type=click.Path(dir_okay=False), help="Write each packet sent, lost ones too, as a line of hex.")
@click.option(
    "--track",
    type=click.Path(dir_okay=False),
    help=f"Write the positions that arrive, over the lossy link if one is tested: {' '.join(OUTPUTS)}.",
)
@click.option("--page", type=click.Path(dir_okay=False), help="Write the report as one HTML page, with a map, to this file.")
@picture_option
@click.option("--json", "as_json", is_flag=True, help="A report for programs.")
def replay(
    log: str | None, *, schema: str | None, layout_name: str | None, interval: str, log_format: str | None,
    columns: dict[str, str], time_format: TimeFormat | None, constants: dict[str, Any], page: str | None,
    packets: str | None, track: str | None, pictures: tuple[tuple[str, str], ...], as_json: bool, **settings: Any,
) -> None:  # fmt: skip
    """Send a recorded LOG (NMEA 0183, GPX or CSV; - for stdin) through a schema and report what it cost and lost.

    Without arguments: the built-in sample log, an invented collar, through the starter schema. Every packet is really
    encoded and decoded, and each position is compared with the one in the log.

    With --loss, --bit-errors, --duplicates or --reorder the packets also go over a lossy link, with trails of several
    lengths, and the report says how many points arrive. --packets and --track write what is sent and what arrives with the
    trail that the schema has.
    """
    demand_endings(pictures)
    link, settings = link_of(**settings)
    entry = None if track is None else output_format(track, "--track")
    demand_different({"LOG": log, "--packets": packets, "--track": track})
    radio, seconds = radio_of(**settings), float(duration("--every", interval))
    agreed = load_schema(schema)
    codec = Codec(agreed)
    layout = _layout(codec.plan, demand_trail(agreed, layout_name) if link else layout_name)
    with wrong_option("--set"):  # what cannot be is refused before the log is read
        Sender(codec, layout.name, (), constants)
    with wrong_option():
        every((), seconds)
    if log is None:
        needs("a LOG, the built-in sample has no columns", columns, time_format)
    demand_known(columns, codec.plan)
    recorded = _read(log, format=log_format, columns=columns, time_format=time_format)
    replayed = Replayed(agreed, codec, layout, recorded, _send(codec, layout, recorded, seconds, constants), radio, seconds,
                        constants)  # fmt: skip
    trails = send_over_link(link, replayed)
    if packets is not None or track is not None:
        sender = Sender(codec, layout.name, recorded.fixes, constants)
        conditions = link.conditions if link else LinkConditions()
        write_passage(send(sender, replayed.fixes, interval=seconds, conditions=conditions), layout, packets, track, entry)
    if page is not None or pictures:
        put_page(room("packetcodec.cli.tables.page_track").replay_page(replayed, trails), page, pictures)
    if as_json:
        put_json(replay_json(replayed) | trails_json(trails, radio))
    else:
        print_replay(replayed)
        print_trails(trails, radio)
    for words in (*radio.remarks, *remarks(replayed)):
        remark(words)


def _layout(plan: Plan, name: str | None) -> LayoutPlan:
    if name is not None:
        return known_layout(plan, name)
    for layout in plan.layouts:
        if {field.kind.role for field in layout.fields} >= PLACE:
            return layout
    raise click.UsageError(f"no layout of {plan.name} has a latitude and a longitude: choose one with --layout")


def _read(log: str | None, **how: Any) -> RecordedLog:
    size = Path(log).stat().st_size if log is not None and log != "-" else None
    name = STDIN_NAME if log == "-" else log or f"built-in {SAMPLE_FILE}"
    with progress("Reading", size) as tell:
        recorded = read_log(iter((sample_log(),)) if log is None else blocks(log), name=name, progress=tell, **how)
    first, last = recorded.fixes[0].time, recorded.fixes[-1].time
    if len(recorded.fixes) > 1 and FORMATS[recorded.format].by_time and first == last:
        records = counted(len(recorded.fixes), FORMATS[recorded.format].records.removesuffix("s"))
        said = f"all {records} have the same time, {utc(first)}"
        raise DataFault(f"{recorded.name}: {said}: a fault of the log, which cannot be replayed by time")
    return recorded


def _send(codec: Codec, layout: LayoutPlan, recorded: RecordedLog, interval: float, given: dict[str, Any]) -> Replay:
    fixes = tuple(every(recorded.fixes, interval))
    with progress("Sending", len(fixes)) as tell:
        outcome = run_replay(codec, layout.name, fixes, recording=recorded.fixes, constants=given, progress=tell)
    if not outcome.packets:
        reasons = "; ".join(refusal.first_text for refusal in outcome.refused)
        raise DataFault(f"{recorded.name}: no packet could be made: {reasons}")
    return outcome
