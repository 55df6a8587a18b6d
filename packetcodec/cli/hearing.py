"""How packets are found in what was heard, and by which settings they are put together: options of `decode`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from packetcodec.errors import OK, PacketcodecError
from packetcodec.logs.heard import LineReader
from packetcodec.receive.framing import CobsFrames, Framing, HexLines
from packetcodec.receive.receiver import Receiver
from packetcodec.receive.references import References

if TYPE_CHECKING:
    from collections.abc import Callable

    from packetcodec.codec import Codec
    from packetcodec.logs.time_format import TimeFormat


@dataclass(frozen=True, slots=True, kw_only=True)
class Hearing:
    """What the options ask for.

    Attributes:
        cobs: COBS frames, else lines.
        pattern, time_format: as `LineReader` takes them.
        known, silent_after, interval, tracker, places, clock: as `Receiver` takes them.
    """

    cobs: bool = False
    pattern: str | None = None
    time_format: TimeFormat | None = None
    known: tuple[int, ...] | None = None
    silent_after: float | None = None
    interval: float | None = None
    tracker: str | None = None
    places: tuple[tuple[float, ...], ...] = ()
    clock: float | None = None

    def references(self, codec: Codec) -> References:
        """What is known of fields that are sent by their low bits; raises as `receiver`."""
        with _wrong():
            return References(codec, places=self.places)

    def reader(self, codec: Codec) -> LineReader:
        """What reads a line.

        Raises:
            click.UsageError: a pattern or a format that cannot be.
        """
        with _wrong():
            return LineReader(self.pattern, self.time_format, _accepts(codec))

    def frames(self, codec: Codec) -> Framing:
        """What finds packets in bytes; raises as `reader`."""
        with _wrong():
            return CobsFrames() if self.cobs else HexLines(self.pattern, self.time_format, _accepts(codec))

    def receiver(self, codec: Codec) -> Receiver:
        """What puts packets together.

        Raises:
            click.UsageError: an option that cannot be.
        """
        with _wrong():
            return Receiver(
                codec, known=self.known, silent_after=self.silent_after, interval=self.interval, tracker=self.tracker,
                places=self.places, clock=self.clock,
            )  # fmt: skip


class _wrong:  # noqa: N801  # a context manager
    """A fault of the library becomes wrong usage of an option of its name."""

    def __enter__(self) -> None:
        """Begin."""

    def __exit__(self, _kind: object, fault: BaseException | None, _traceback: object) -> None:
        if isinstance(fault, PacketcodecError):
            name = str(fault).replace("silent_after", "silent-after").replace("places", "near")
            raise click.UsageError(f"--{name}") from None


def _accepts(codec: Codec) -> Callable[[bytes], bool]:
    # Without a reference the check of low bits says nothing: such a packet is as good as its header and length.
    good = {OK, "bad_check"} if any(plan.has_low_bits for plan in codec.plans.values()) else {OK}
    return lambda data: codec.try_decode(data)[0] in good
