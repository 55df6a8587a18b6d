"""The holes in the track of one tracker: packets that were missed, and what makes them good later.

Owns one rule: how many packets a hole still lacks. The counter says how many were missed; a trail point within the hole
brings those from there on, a late packet brings one.

>>> gaps = Gaps(tracker=7, limit=64)
>>> gaps.open(0.0, 120.0, packets=3)
>>> gaps.repair([60.0, 90.0], horizon=0.0)
[Repaired(tracker=7, points=2, lost_packets=2), Lost(tracker=7, packets=1, seconds=60.0)]
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.receive.events import Event, Lost, Repaired

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


@dataclass(slots=True)
class _Gap:
    """A hole on the tracker's line: its ends, the packets in it whose place is not known, and whether it was told."""

    low: float
    high: float
    packets: int
    told: bool = False


class Gaps:
    """Those of one tracker."""

    def __init__(self, tracker: int | None, limit: int) -> None:
        """Begin with none; about `limit` are remembered, the latest ones."""
        self._tracker = tracker
        self._limit = limit
        self._gaps: list[_Gap] = []

    def __len__(self) -> int:
        return len(self._gaps)

    def clear(self) -> None:
        """Forget them: the tracker counts anew."""
        self._gaps.clear()

    def open(self, low: float, high: float, packets: int) -> None:
        """A packet in order shows that some were missed before it."""
        if packets > 0:
            self._gaps = [*self._gaps[-self._limit :], _Gap(low, high, packets)]

    def move(self, moments: Mapping[float, float]) -> None:
        """The packets at their ends stand elsewhere on the line."""
        for gap in self._gaps:
            gap.low, gap.high = moments.get(gap.low, gap.low), moments.get(gap.high, gap.high)

    def late(self, line: float) -> None:
        """A late packet brings a place that was not known."""
        for gap in self._gaps:
            gap.packets -= gap.low < line < gap.high

    def repair(self, points: Sequence[float], horizon: float) -> list[Event]:
        """What trail points, by their moments, make good; what they leave of a gap that was opened since is told."""
        events: list[Event] = []
        for gap in self._gaps:
            inside = [point for point in points if gap.low < point < gap.high]
            hole = (min(inside) if inside else gap.high) - gap.low
            if inside:
                interval = (gap.high - gap.low) / (gap.packets + 1)
                left = min(gap.packets, max(0, round(hole / interval) - 1))
                events.append(Repaired(self._tracker, len(inside), gap.packets - left))
                gap.packets, gap.high = left, min(inside)
            if not gap.told and gap.packets:
                events.append(Lost(self._tracker, gap.packets, hole))
            gap.told = True
        self._gaps = [gap for gap in self._gaps if gap.packets > 0 and gap.high > horizon]
        return events
