"""Following as options of `decode`."""

from __future__ import annotations

from functools import wraps
from typing import TYPE_CHECKING, Any

import click

from packetcodec.cli.follow import Following
from packetcodec.cli.options.usage import added
from packetcodec.receive.outputs import OUTPUTS

if TYPE_CHECKING:
    from collections.abc import Callable

_MAX_BAUD = 100_000_000
_ENDINGS = ", ".join(f"{entry.suffix} ({entry.description})" for entry in OUTPUTS.values())
_OPTIONS = (
    click.option("--follow", is_flag=True, help="Wait for more, and put the packets together into tracks."),
    click.option("--baud", type=click.IntRange(1, _MAX_BAUD), help="Bits per second of a serial port (default: 115200)."),
    click.option("--cobs", is_flag=True, help="The input is COBS frames between zero bytes, not lines of hex."),
    click.option("--pattern", help="Regular expression whose one group is the hex in a line."),
    click.option("-o", "--output", type=click.Path(dir_okay=False), help=f"File to write: {_ENDINGS}."),
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
    click.option("--tracker", metavar="FIELD", help="What tells trackers apart (default: the identifier)."),
)


def follow_options(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the options of `--follow`; it gets them as `following`, a `Following`, or None without `--follow`."""

    @wraps(command)
    def with_options(*args: Any, follow: bool, known: str | None, baud: int | None, sync: float | None, **given: Any) -> int:
        names = ("cobs", "pattern", "output", "state", "silent_after", "interval", "tracker")
        mine = {name: given.pop(name) for name in names}
        if not follow:
            for name, value in {**mine, "known": known, "baud": baud, "sync": sync}.items():
                if value not in (None, False):
                    raise click.UsageError(f"--{name.replace('_', '-')} goes with --follow")
            return command(*args, following=None, **given)
        if given.get("faults"):
            raise click.UsageError("--faults goes without --follow, which says faults on stderr")
        if mine["cobs"] and mine["pattern"] is not None:
            raise click.UsageError("--pattern is for lines of hex, not for --cobs")
        following = Following(known=_numbers(known), baud=baud or 115_200, sync=10.0 if sync is None else sync, **mine)
        return command(*args, following=following, **given)

    return added(with_options, *_OPTIONS)


def _numbers(known: str | None) -> tuple[int, ...] | None:
    if known is None:
        return None
    try:
        return tuple(int(number) for number in known.split(","))
    except ValueError:
        raise click.UsageError(f"--known: {known!r} is not a list of whole numbers such as 7,8") from None
