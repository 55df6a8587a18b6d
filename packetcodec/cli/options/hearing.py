"""How packets are found in what was heard, and by which settings they are put together, as options of `decode`."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any

import click

from packetcodec.cli.options.columns import time_format_options
from packetcodec.cli.options.usage import Real, added, wrong_option
from packetcodec.codec import Codec
from packetcodec.errors import OK
from packetcodec.logs.heard import LineReader
from packetcodec.logs.time_format import TimeFormat
from packetcodec.logs.values import RecordFault, moment
from packetcodec.receive.framing import CobsFrames, Framing, HexLines
from packetcodec.receive.outputs import OUTPUTS
from packetcodec.receive.receiver import Receiver
from packetcodec.receive.references import References


@dataclass(frozen=True, slots=True)
class Hearing:
    """What the options ask for.

    Attributes:
        cobs: COBS frames, else lines.
        pattern, time_format: as `LineReader` takes them.
        settings: those of a `Receiver`, places and clock among them.

    The methods raise click.UsageError for an option that cannot be.
    """

    cobs: bool
    pattern: str | None
    time_format: TimeFormat | None
    settings: dict[str, Any]

    @property
    def clock(self) -> float:
        """About when, in Unix seconds, for times sent by their low bits."""
        clock: float = self.settings["clock"]
        return clock

    @property
    def places(self) -> tuple[tuple[float, ...], ...]:
        """Places of the receiver."""
        places: tuple[tuple[float, ...], ...] = self.settings["places"]
        return places

    def references(self, codec: Codec) -> References:
        """What is known of fields that are sent by their low bits."""
        with wrong_option():
            return References(codec, places=self.places)

    def reader(self, codec: Codec) -> LineReader:
        """What reads a line."""
        with wrong_option():
            return LineReader(self.pattern, self.time_format, _accepts(codec))

    def frames(self, codec: Codec) -> Framing:
        """What finds packets in bytes."""
        with wrong_option():
            return CobsFrames() if self.cobs else HexLines(self.pattern, self.time_format, _accepts(codec))

    def receiver(self, codec: Codec) -> Receiver:
        """What puts packets together."""
        with wrong_option():
            return Receiver(codec, **self.settings)


def _accepts(codec: Codec) -> Callable[[bytes], bool]:
    # Without a reference the check of low bits says nothing: such a packet is as good as its header and length.
    good = {OK, "bad_check"} if any(plan.has_low_bits for plan in codec.plans.values()) else {OK}
    return lambda data: codec.try_decode(data)[0] in good


def _places(_context: click.Context, _option: click.Parameter, texts: tuple[str, ...]) -> tuple[tuple[float, ...], ...]:
    try:
        found = tuple(tuple(float(part) for part in text.split(",")) for text in texts)
    except ValueError:
        found = ((),)
    if not all(len(place) in {2, 3} for place in found):
        raise click.BadParameter(f"{' '.join(texts)!r} is not like 46.5,9.8: latitude first, a comma, no blank")
    return found


def _clock(_context: click.Context, _option: click.Parameter, text: str | None) -> float:
    if text is None:
        return time.time()
    try:
        return float(text) if text.replace(".", "", 1).isdigit() else moment(text)
    except RecordFault:
        raise click.BadParameter(f"{text!r} is neither ISO 8601 nor Unix seconds") from None


def _numbers(_context: click.Context, _option: click.Parameter, known: str | None) -> tuple[int, ...] | None:
    try:
        return None if known is None else tuple(int(number) for number in known.split(","))
    except ValueError:
        raise click.BadParameter(f"{known!r} is not a list of whole numbers such as 7,8") from None


_ENDINGS = ", ".join(f"{entry.suffix} ({entry.description})" for entry in OUTPUTS.values())
_OPTIONS = (
    click.option("--follow", is_flag=True, help="Wait for more, and put the packets together into tracks."),
    click.option("--baud", type=click.IntRange(1, 10**8), help="Bits per second of a serial port (default: 115200)."),
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
        type=Real(min=0),
        metavar="SECONDS",
        help="How often files are brought to the disk, for a power failure (default: 10).",
    ),
    click.option("--known", help="Numbers of the trackers to listen to, such as 7,8.", callback=_numbers),
    click.option("--silent-after", type=float, metavar="SECONDS", help="Say so when a tracker is silent for so long."),
    click.option("--interval", type=float, metavar="SECONDS", help="From packet to packet (default: learned)."),
    click.option(
        "--near", "places", multiple=True, metavar="LAT,LON", callback=_places,
        help="Place of the receiver, for positions sent by their low bits; several allowed; LAT,LON,METRES with altitude.",
    ),
    click.option(
        "--clock", metavar="TIME", callback=_clock,
        help="About when, for times sent by their low bits (default: lines' times, now).",
    ),
    click.option("--tracker", metavar="FIELD", help="What tells trackers apart (default: the identifier)."),
)  # fmt: skip
#: Options that need positions to be put together, and those that need a source that is followed.
_TRACKS = ("cobs", "known", "interval", "tracker")
_LIVE = ("baud", "state", "sync", "silent_after")


def hearing_options(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command these options; what is heard comes as `hearing`, the others by their names."""

    @wraps(command)
    def with_options(*args: Any, cobs: bool, pattern: str | None, time_format: TimeFormat | None, **others: Any) -> int:
        _demand({"cobs": cobs, "pattern": pattern, "time_format": time_format, **others})
        names = ("known", "silent_after", "interval", "tracker", "places", "clock")
        hearing = Hearing(cobs, pattern, time_format, {name: others.pop(name) for name in names})
        return command(*args, hearing=hearing, **others)

    return added(with_options, *_OPTIONS)


def _demand(said: dict[str, Any]) -> None:
    """Refuse an option where it would do nothing."""
    follow, tracks = said["follow"], said["follow"] or said["output"] is not None
    refused = [(name, "goes with --follow") for name in _LIVE if not follow]
    refused += [(name, "goes with --follow or --output") for name in _TRACKS if not tracks]
    refused += [(name, "is for lines of hex, not for --cobs") for name in ("pattern", "time_format") if said["cobs"]]
    refused += [("faults", "goes without --follow and --output, which say faults on stderr")] if tracks else []
    for name, why in refused:
        if said[name] not in (None, False):
            raise click.UsageError(f"--{name.replace('_', '-')} {why}")
