"""What every modem answers: time on air, and what payload bytes cost.

Owns one rule: how headroom, steps and the largest payload follow from the time on air. They need nothing of a
modem but that its airtime never falls when the payload grows, so all modems share them.

>>> from packetcodec.radio import LoRa
>>> LoRa(spreading_factor=12).headroom(12)
Headroom(spare_bytes=3, drop_bytes=2)
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction

from packetcodec.errors import RadioFault


@dataclass(frozen=True, slots=True)
class Headroom:
    """Payload bytes around one payload size that are free, or that would pay.

    Attributes:
        spare_bytes: bytes that can be added at no cost in airtime.
        drop_bytes: the fewest bytes to drop for a shorter airtime, or None when nothing is shorter.
    """

    spare_bytes: int
    drop_bytes: int | None


class Modem(ABC):
    """A modem with all its settings. Payload sizes are bytes handed to the radio, 0..`max_payload`.

    What raises raises RadioFault: a payload outside 0..`max_payload`, a limit that is no number of seconds.

    >>> from packetcodec.radio import LoRa
    >>> modem = LoRa(spreading_factor=10)
    >>> isinstance(modem, Modem), modem.max_payload, float(modem.airtime(14))
    (True, 255, 0.288768)
    """

    __slots__ = ()

    @property
    @abstractmethod
    def name(self) -> str:
        """The settings in a few words, for reports."""

    @property
    @abstractmethod
    def occupied_hz(self) -> Fraction:
        """Occupied bandwidth in hertz, half of it on each side of the frequency."""

    @property
    def max_payload(self) -> int:
        """The largest payload in bytes: 255, since the length field of the header and the packet buffer have eight bits."""
        return 255

    @abstractmethod
    def airtime(self, payload_bytes: int) -> Fraction:
        """Time on air in seconds, exact; `payload_bytes` is 0..`max_payload`."""

    def demand(self, payload_bytes: int, packet: str) -> None:
        """Refuse a payload outside 0..`max_payload` bytes; `packet` is what holds them, in words."""
        integer("payload_bytes", payload_bytes, 0, self.max_payload, f"bytes of {packet}")

    @property
    def label(self) -> str:
        """The modem in a word, where its other settings are said elsewhere."""
        return self.name

    def airtime_ms(self, payload_bytes: int) -> float:
        """Time on air in milliseconds, the nearest float to the exact value."""
        return float(self.airtime(payload_bytes) * 1000)

    def headroom(self, payload_bytes: int) -> Headroom:
        """What may be added at no cost, and what to drop to save a step."""
        here = self.airtime(payload_bytes)
        above = bisect_right(range(payload_bytes, self.max_payload + 1), here, key=self.airtime)
        shorter = (size for size in range(payload_bytes - 1, -1, -1) if self.airtime(size) < here)
        below = next(shorter, None)
        return Headroom(above - 1, None if below is None else payload_bytes - below)

    def steps(self, up_to: int = 255) -> tuple[int, ...]:
        """The first payload size of each airtime step, from 0 to `up_to` bytes."""
        integer("up_to", up_to, 0, 255, "bytes")
        times = [self.airtime(size) for size in range(min(up_to, self.max_payload) + 1)]
        return tuple(size for size in range(len(times)) if size == 0 or times[size] != times[size - 1])

    def largest_payload(self, limit_seconds: Fraction | float) -> int | None:
        """The largest payload whose airtime is at most the limit, or None when not even an empty one fits."""
        limit = exact_seconds("limit_seconds", limit_seconds)
        fitting = bisect_right(range(self.max_payload + 1), limit, key=self.airtime)
        return fitting - 1 if fitting else None


def integer(setting: str, value: int, low: int, high: int, note: str = "") -> None:
    """Refuse a setting that is not a whole number in low..high.

    Raises:
        RadioFault: naming setting, value and bounds.
    """
    if isinstance(value, bool) or not isinstance(value, int):
        raise RadioFault(f"{setting}: {value!r} is not a whole number in {low}..{high}")
    if not low <= value <= high:
        raise RadioFault(f"{setting}: {value} is outside {low}..{high}{f' ({note})' if note else ''}")


def switch(setting: str, value: bool) -> None:  # noqa: FBT001 - the value under test, not an option
    """Refuse a setting that is neither True nor False.

    Raises:
        RadioFault: naming setting and value.
    """
    if not isinstance(value, bool):
        raise RadioFault(f"{setting}: {value!r} is neither True nor False")


def exact_seconds(setting: str, value: Fraction | float) -> Fraction:
    """Seconds as people wrote them: the float 0.4 is taken as 2/5, not as its nearest binary fraction.

    Raises:
        RadioFault: for what is not a finite number.
    """
    if isinstance(value, bool) or not isinstance(value, (int, float, Fraction)) or not math.isfinite(value):
        raise RadioFault(f"{setting}: {value!r} is not a finite number of seconds")
    return Fraction(repr(value)) if isinstance(value, float) else Fraction(value)
