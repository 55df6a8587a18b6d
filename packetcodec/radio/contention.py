"""How many trackers share a channel: the chance that a packet overlaps another one.

Owns one rule: unslotted ALOHA with the true airtimes of a schedule. A packet of airtime a meets one of airtime b when the
other begins less than b before it or less than a after it begins. Against a tracker that sends every T seconds at a phase
that is not known, the chance is (a + b) / T; trackers are independent of each other. Every overlap counts as a loss: no
capture effect is assumed (the stronger of two packets often survives), and nothing else than overlaps is counted.
Trackers on other spreading factors or channels are taken not to disturb. Source of the model: N. Abramson, "The ALOHA
system", 1970 (from memory).

>>> from packetcodec.radio import LoRa
>>> from packetcodec.radio.schedule import Sending
>>> cost = contention(LoRa(spreading_factor=9), (Sending("position", 14, every=Fraction(20)),), trackers=12)
>>> round(cost.loss, 4), round(cost.missed(10), 10)
(0.1671, 2.8e-09)
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import expm1, inf, log1p
from typing import TYPE_CHECKING

from packetcodec.radio.modem import integer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from packetcodec.radio.modem import Modem
    from packetcodec.radio.schedule import Sending

MODEL = (
    "Overlap model: unslotted ALOHA with the schedule's own airtimes, phases of the trackers unknown and independent. Every "
    "overlap counts as a loss: no capture effect is assumed, and fading, noise and other users of the band are not counted."
)
"""Stands with every figure made from it."""

FIXED_PHASE = (
    "These are means over the phases. Two trackers with the same fixed period keep their phase until their clocks drift "
    "apart: then one pair loses nothing for a long time, and another loses packet after packet, so that a trail cannot "
    "help. A random delay before each packet spreads the losses: with up to J seconds a pair that meets loses about "
    "(sum of both airtimes) / J of its packets instead of all, and with J as long as the interval the mean is true for "
    "every tracker."
)
"""What a fixed phase does to the mean."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contention:
    """What trackers on one channel and spreading factor do to each other.

    Attributes:
        trackers: how many, each with the same schedule.
        losses: for each sending the chance that one of its packets overlaps another tracker's.
        channel_load: share of all time in which one tracker or more would be sending, were there no overlaps.
    """

    trackers: int
    losses: tuple[float, ...]
    channel_load: Fraction

    @property
    def loss(self) -> float:
        """The chance for a packet of the first sending: the value for a lossy link on the bench."""
        return self.losses[0]

    def missed(self, points: int) -> float:
        """The chance that a position of the first sending is missed though `points` later packets carry it in their trails.

        It takes the losses of one tracker's packets as independent: true with a random delay as long as the interval
        before each packet; with fixed phases some trackers fare much better and some much worse.
        """
        result: float = self.loss ** (points + 1)
        return result


def contention(modem: Modem, sendings: Sequence[Sending], *, trackers: int, overhead: int = 0) -> Contention:
    """What `trackers` of the same schedule do to each other on one channel, `overhead` bytes on top of each payload.

    Raises:
        RadioFault: a number of trackers outside 1..100000.
    """
    integer("trackers", trackers, 1, 100_000)
    airtimes = [modem.airtime(item.payload_bytes + overhead) for item in sendings]
    rates = [item.rate for item in sendings]
    losses = []
    for airtime in airtimes:
        meets = [float(min(Fraction(1), (airtime + other) * rate)) for other, rate in zip(airtimes, rates, strict=True)]
        # Logarithms, because a chance near 0 or many trackers would lose all digits.
        alone = sum(log1p(-chance) if chance < 1 else -inf for chance in meets)
        losses.append(-expm1((trackers - 1) * alone) if trackers > 1 else 0.0)
    load = sum((airtime * rate for airtime, rate in zip(airtimes, rates, strict=True)), Fraction(0))
    return Contention(trackers=trackers, losses=tuple(losses), channel_load=load * trackers)
