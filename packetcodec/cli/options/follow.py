"""What was heard, as options of `decode`: converted to tracks, or followed."""

from __future__ import annotations

import time
from functools import wraps
from typing import TYPE_CHECKING, Any

import click

from packetcodec.cli.convert import Converting
from packetcodec.cli.follow import Following
from packetcodec.cli.hearing import Hearing
from packetcodec.cli.options.columns import time_format_options
from packetcodec.cli.options.usage import added
from packetcodec.logs.values import RecordFault, moment
from packetcodec.receive.outputs import OUTPUTS

if TYPE_CHECKING:
    from collections.abc import Callable

_MAX_BAUD = 100_000_000
_ENDINGS = ", ".join(f"{entry.suffix} ({entry.description})" for entry in OUTPUTS.values())
_OPTIONS = (
    click.option("--follow", is_flag=True, help="Wait for more, and put the packets together into tracks."),
    click.option("--baud", type=click.IntRange(1, _MAX_BAUD), help="Bits per second of a serial port (default: 115200)."),
    click.option("--cobs", is_flag=True, help="The input is COBS frames between zero bytes, not lines of hex."),
    click.option(
        "--pattern",
        help="Regular expression that finds the hex in a line by its one group; or, by named groups, hex or base64, time, "
        "rssi, snr.",
    ),
    time_format_options,
    click.option("-o", "--output", type=click.Path(dir_okay=False), help=f"File of tracks to write: {_ENDINGS}."),
    click.option(
        "--state",
        type=click.Path(dir_okay=False),
        help="File that remembers where it stopped: a restart goes on there, tells no position twice and adds to --output.",
    ),
    click.option(
        "--sync",
        type=click.FloatRange(min=0),
        metavar="SECONDS",
        help="How often files are brought to the disk, for a power failure (default: 10).",
    ),
    click.option("--known", help="Numbers of the trackers to listen to, such as 7,8."),
    click.option("--silent-after", type=float, metavar="SECONDS", help="Say so when a tracker is silent for so long."),
    click.option("--interval", type=float, metavar="SECONDS", help="From packet to packet (default: learned)."),
    click.option(
        "--near",
        multiple=True,
        metavar="LAT,LON",
        help="Place of the receiver, for positions sent by their low bits; several allowed; LAT,LON,METRES with altitude.",
    ),
    click.option(
        "--clock", metavar="TIME", help="About when, for times sent by their low bits (default: lines' times, now)."
    ),
    click.option("--tracker", metavar="FIELD", help="What tells trackers apart (default: the identifier)."),
)


#: Options that need positions to be put together, and those that need a source that is followed.
_TRACKS = ("cobs", "known", "interval", "tracker")
_LIVE = ("baud", "state", "sync", "silent_after")


def follow_options(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command these options; it gets them as `tracks`, a `Following`, a `Converting` or None, and as `hearing`."""

    @wraps(command)
    def with_options(
        *args: Any, follow: bool, known: str | None, near: tuple[str, ...], clock: str | None, **given: Any
    ) -> int:
        names = ("cobs", "pattern", "time_format", "silent_after", "interval", "tracker")
        heard = {name: given.pop(name) for name in names}
        live = {name: given.pop(name) for name in ("baud", "output", "state", "sync")}
        _demand(heard | live | {"known": known}, follow=follow, faults=bool(given.get("faults")))
        hearing = Hearing(known=_numbers(known), places=_places(near), clock=_clock(clock), **heard)
        tracks: Following | Converting | None = None
        if follow:
            live["sync"] = 10.0 if live["sync"] is None else live["sync"]
            tracks = Following(hearing=hearing, **live | {"baud": live["baud"] or 115_200})
        elif live["output"] is not None:
            tracks = Converting(live["output"], hearing)
        return command(*args, tracks=tracks, hearing=hearing, **given)

    return added(with_options, *_OPTIONS)


def _demand(given: dict[str, Any], *, follow: bool, faults: bool) -> None:
    """Refuse an option where it would do nothing."""
    for names, allowed, need in (
        (_LIVE, follow, "--follow"), (_TRACKS, follow or given["output"] is not None, "--follow or --output")
    ):  # fmt: skip
        for name in names:
            if not allowed and given[name] not in (None, False):
                raise click.UsageError(f"--{name.replace('_', '-')} goes with {need}")
    if faults and (follow or given["output"] is not None):
        raise click.UsageError("--faults goes without --follow and --output, which say faults on stderr")
    for name in ("pattern", "time_format"):
        if given["cobs"] and given[name] is not None:
            raise click.UsageError(f"--{name.replace('_', '-')} is for lines of hex, not for --cobs")


def _places(texts: tuple[str, ...]) -> tuple[tuple[float, ...], ...]:
    try:
        return tuple(tuple(float(part) for part in text.split(",")) for text in texts)
    except ValueError:
        raise click.UsageError(f"--near: {' '.join(texts)!r} is not like 46.5,9.8") from None


def _clock(text: str | None) -> float:
    if text is None:
        return time.time()
    try:
        return float(text) if text.replace(".", "", 1).isdigit() else moment(text)
    except RecordFault:
        raise click.UsageError(f"--clock: {text!r} is neither ISO 8601 nor Unix seconds") from None


def _numbers(known: str | None) -> tuple[int, ...] | None:
    if known is None:
        return None
    try:
        return tuple(int(number) for number in known.split(","))
    except ValueError:
        raise click.UsageError(f"--known: {known!r} is not a list of whole numbers such as 7,8") from None
