"""What fields sent by their low bits gain over a replay, and how often a receiver lacks a reference near enough.

Owns one rule: two receivers are compared. One stands where the log begins, and knows of positions only that; one goes along,
and knows what the last packet said, whether it understood it or not. Both are told counters and times.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.errors import PacketFault
from packetcodec.receive.references import References
from packetcodec.schema import PLACE, Role

if TYPE_CHECKING:
    from collections.abc import Mapping

    from packetcodec.bench.sender import Sender
    from packetcodec.logs.fix import Fix
    from packetcodec.wire import Value


@dataclass(frozen=True, slots=True, kw_only=True)
class LowBitsReport:
    """What fields that are sent by their low bits gain, and what it takes.

    Attributes:
        fields: their names.
        saved_bits: bits of a packet that are not sent.
        whole_bytes: length of a packet if they were, or None for a layout with a trail, whose length varies.
        standing: packets that a receiver does not understand which knows of positions only where the log begins.
        moving: packets that one does not understand which knows what the last packet said, as if it went along.
    """

    fields: tuple[str, ...]
    saved_bits: int
    whole_bytes: int | None
    standing: int
    moving: int


class Receivers:
    """Two receivers of fields that are sent by their low bits: one that stands, and one that goes along."""

    def __init__(self, sender: Sender) -> None:
        self.codec, self.layout = sender.codec, sender.layout
        self.failed: Counter[str] = Counter()
        self.known: dict[str, References] = {}

    def hear(self, data: bytes, values: Mapping[str, Value], fix: Fix) -> Mapping[str, Value] | None:
        """Have both decode a packet; what it must be decoded to, as a reference, or None where none is needed."""
        fields = [field for _, field, _ in self.layout.low_fields]
        if not fields:
            return None
        if not self.known and fix.latitude is not None and fix.longitude is not None:
            start = fix.latitude, fix.longitude, fix.altitude or 0.0
            self.known = {name: References(self.codec, places=[start]) for name in ("standing", "moving")}
        whole = {field.name: values[field.name] for field in fields}
        on_ground = {field.name for field in fields if field.kind.role in {*PLACE, Role.HEIGHT}}
        for name, receiver in self.known.items():
            try:
                receiver.decode(data, fix.time)
            except PacketFault:
                self.failed[name] += 1
            said = {key: value for key, value in whole.items() if name == "moving" or key not in on_ground}
            receiver.learn(receiver.said(data), said)
        return whole

    def report(self) -> LowBitsReport | None:
        """What came of it."""
        fields = self.layout.low_fields
        if not fields:
            return None
        saved = sum(max(field.max_code, field.absent_code or 0).bit_length() - low.bits for _, field, low in fields)
        whole = -(-(self.layout.bits + saved) // 8) + self.layout.check_bytes
        return LowBitsReport(
            fields=tuple(field.name for _, field, _ in fields),
            saved_bits=saved,
            whole_bytes=None if self.layout.trail else whole,
            standing=self.failed["standing"],
            moving=self.failed["moving"],
        )
