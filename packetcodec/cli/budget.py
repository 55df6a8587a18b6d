"""The command `budget`: what a schedule costs, on air, on the channel and from the battery."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from packetcodec.cli.files import load_plan
from packetcodec.cli.options.columns import columns_option, demand_known, needs
from packetcodec.cli.options.radio import Radio, radio_of, radio_options
from packetcodec.cli.options.schedule import DEFAULT_EVERY, Planned, schedule_of
from packetcodec.cli.options.usage import added, wrong_option
from packetcodec.cli.streams import STDIN_NAME, blocks
from packetcodec.cli.tables.budget_costs import Costs
from packetcodec.cli.tables.budget_report import budget_report_json, print_budget
from packetcodec.cli.tables.sheet import put_json, remark
from packetcodec.logs import read_log
from packetcodec.logs.time_format import TimeFormat
from packetcodec.radio.energy import DEFAULT_DERATING, DEFAULTS, Draw
from packetcodec.wire import Plan

_DRAW_HELP = {
    "sleep_ua": "Current asleep, in microamperes.",
    "gnss_ma": "Current of the GNSS receiver in use, in milliamperes.",
    "gnss_seconds": "Seconds that the receiver is in use for each packet.",
    "transmit_ma": "Current while sending, in milliamperes.",
    "receive_ma": "Current while listening, in milliamperes.",
    "receive_seconds": "Seconds of listening behind each packet.",
}


def _battery_options(command: Callable[..., Any]) -> Callable[..., Any]:
    return added(
        command,
        click.option("--battery", metavar="MAH", type=float, help="Capacity as printed on it; without it no days."),
        click.option("--derating", type=float, help=f"Share of it that can be used; default: {DEFAULT_DERATING:g}."),
        *(
            click.option(
                f"--{name.replace('_', '-')}", type=float,
                help=f"{words} Default: {DEFAULTS[name][0]:g} ({DEFAULTS[name][1]}).",
            )
            for name, words in _DRAW_HELP.items()
        ),
    )  # fmt: skip


def schedule_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options of schedule, radio and battery; the command takes them as keyword arguments for `costs_of`."""
    send = click.option(
        "--send", "texts", multiple=True, metavar="TEXT",
        help='A layout and how often: "position every 20s", "alarm 5 an hour", with " on 869.525" for a channel of its own. '
        f"Default: the first layout every {DEFAULT_EVERY}.",
    )  # fmt: skip
    trackers = click.option(
        "--trackers", type=int, default=1, show_default=True, help="Trackers on the channel, all with this schedule."
    )
    log = click.option("--log", metavar="FILE", help="A recorded log: its ranges stand beside those of the fields.")
    return added(radio_options(_battery_options(command)), send, trackers, log, columns_option)


@click.command(short_help="What a schedule costs: limits, bytes, channel, battery.")
@click.argument("schema", type=click.Path(dir_okay=False), required=False)
@schedule_options
@click.option("--json", "as_json", is_flag=True, help="A report for programs.")
def budget(schema: str | None, *, as_json: bool, **settings: Any) -> None:
    """What a schedule of SCHEMA (default: the starter schema) costs, for each spreading factor.

    Share of the limit in the worst continuous hour; the largest payload that the intervals leave room for; what each field
    could give, and what makes a packet shorter; the chance that packets of several trackers overlap; charge and days from
    the battery; link margin. Limits are arithmetic, not permission.
    """
    costs = costs_of(load_plan(schema), **settings)
    if as_json:
        put_json(budget_report_json(costs))
        return
    print_budget(costs)
    for words in costs.radio.remarks:
        remark(words)


def costs_of(
    plan: Plan, *, texts: tuple[str, ...], trackers: int, log: str | None, columns: dict[str, str],
    time_format: TimeFormat | None, battery: float | None, derating: float | None, **settings: Any,
) -> Costs:  # fmt: skip
    """What the schedule of the options costs."""
    draws = {name: value for name in _DRAW_HELP if (value := settings.pop(name)) is not None}
    if battery is None and (draws or derating is not None):
        first = next(iter(draws), "derating")
        raise click.UsageError(f"--{first.replace('_', '-')}: needs --battery beside it")
    with wrong_option():
        draw = Draw(**draws)
    radio = radio_of(**settings)
    planned = schedule_of(plan, texts)
    radios = {item.frequency: _tuned(radio, item, settings) for item in planned}
    if log is None:
        needs("--log beside it", columns, time_format)
    demand_known(columns, plan)
    name = STDIN_NAME if log == "-" else log or ""
    fixes = () if log is None else read_log(blocks(log), name=name, columns=columns, time_format=time_format).fixes
    costs = Costs(
        plan=plan, planned=planned, radios=radios, trackers=trackers, draw=draw, battery=battery,
        derating=DEFAULT_DERATING if derating is None else derating, fixes=fixes,
    )  # fmt: skip
    with wrong_option("--send"):
        list(costs.loads())
    with wrong_option():
        list(costs.shared())
        list(costs.charge())
    return costs


def _tuned(radio: Radio, item: Planned, settings: dict[str, Any]) -> Radio:
    """The radio on the channel of a sending."""
    if item.frequency is None:
        return radio
    try:
        return radio_of(**settings | {"frequency": item.frequency})
    except click.UsageError as fault:
        raise click.UsageError(f"--send: {item.sending.name}: {fault.message.removeprefix('--frequency: ')}") from None
