"""A recorded log sent through a layout, packet by packet, and what came out at the other end.

Owns one rule: how the result is judged. The error of a position is the geodesic from where the receiver was to where the
decoded packet says it was; a field that was clipped has no error, it is counted.

The bench test of a format: every packet is really encoded and decoded, nothing is estimated.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.bench.geodesic import ErrorSummary, distance, summary
from packetcodec.bench.low_bits import LowBitsReport, Receivers
from packetcodec.bench.sender import Sender
from packetcodec.errors import ValueFault
from packetcodec.logs.fix import Fix, Refusal, Refusals
from packetcodec.schema import PLACE, Role
from packetcodec.wire import (
    FieldPlan,
    Value,
    bounds,
    clipped,
    clipping,
    from_raw,
    max_error,
    position_bound,
    text_line,
    to_base,
    trail_bound,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from packetcodec.codec import Codec


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldReport:
    """What happened to one field over a replay.

    Attributes:
        name, symbol: of the field.
        source: "log", "packet number", or the constant that was sent because the log does not hold it.
        sent: packets with a value.
        absent: packets without one.
        clipped: values beyond the range that were sent as its end.
        first_clipped: what became of the first of them, in words; "" where there is none.
        range: the range in words.
        max_error: largest difference between what went in and what came out, in the field's unit (clipped ones not
            counted); None for fields that are no measurement, and where no value was within the range.
        bound: the promise for `max_error`.
    """

    name: str
    symbol: str
    source: str
    sent: int
    absent: int
    clipped: int
    first_clipped: str
    range: str
    max_error: float | None
    bound: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay:
    """The outcome of a replay.

    Attributes:
        layout: name of the layout.
        packets: packets sent and decoded.
        packet_bytes: smallest, mean and largest length of a packet.
        with_position: packets that carry a position.
        refused: packets that could not be made: per field the number, and the first with its reason.
        position: errors of the decoded positions in metres, or None without one.
        bound: promised largest position error in metres, or None for a layout without position.
        fields: one report per field, in wire order.
        text_bytes: smallest, mean and largest length of the same values as a line of text, line end included.
        text_position: errors of the positions in that text.
        trail: errors of the positions in the trails, or None where there are none.
        trail_bound: promised largest of them, on the schema's own grid, or None for a layout without a trail.
        trail_points: mean number of points in a trail.
        text_example: the first such line with a position and the longest trail.
        packet_example: the packet of the same values.
        errors, trail_errors: the errors behind `position` and `trail`, in metres, one by one.
        low_bits: what fields sent by their low bits gain, or None where there is none.
    """

    layout: str
    packets: int
    packet_bytes: tuple[int, float, int]
    with_position: int
    refused: tuple[Refusal, ...]
    position: ErrorSummary | None
    bound: float | None
    fields: tuple[FieldReport, ...]
    text_bytes: tuple[int, float, int]
    text_position: ErrorSummary | None
    trail: ErrorSummary | None
    trail_bound: float | None
    trail_points: float
    text_example: str
    packet_example: bytes
    errors: tuple[float, ...]
    trail_errors: tuple[float, ...]
    low_bits: LowBitsReport | None


def replay(
    codec: Codec,
    layout: str,
    fixes: Sequence[Fix],
    *,
    recording: Sequence[Fix] = (),
    constants: Mapping[str, Value] | None = None,
    progress: Callable[[int], None] | None = None,
) -> Replay:
    """Send each fix as a packet of the layout, decode it, and compare.

    Args:
        codec: what to encode and decode with.
        layout: name of the layout.
        fixes: what to send, as `every` picks it.
        recording: the whole log, which trails look back into; `fixes` if it is not given.
        constants: field name to the value to send where the log holds none.
        progress: called with the number of packets so far.

    Raises:
        PacketcodecError: a constant of an unknown field or out of range.

    >>> from packetcodec import Codec, Schema
    >>> from packetcodec.bench import every
    >>> from packetcodec.logs import read_log
    >>> from packetcodec.starter import sample_log, schema_text
    >>> fixes = every(read_log([sample_log()]).fixes, 60)
    >>> outcome = replay(Codec(Schema.parse(schema_text())), "position", list(fixes))
    >>> isinstance(outcome, Replay), outcome.packets, outcome.packet_bytes
    (True, 90, (14, 14.0, 14))
    >>> outcome.position.maximum < outcome.bound
    True
    >>> [field.name for field in outcome.fields if isinstance(field, FieldReport) and field.clipped]
    []
    """
    run = _Run(Sender(codec, layout, recording or fixes, constants))
    for number, fix in enumerate(fixes):
        run.send(number, fix)
        if progress is not None:
            progress(number + 1)
    return run.report()


def _lengths(found: Sequence[int]) -> tuple[int, float, int]:
    return (min(found), sum(found) / len(found), max(found)) if found else (0, 0.0, 0)


class _Run:
    """A replay under way."""

    def __init__(self, sender: Sender) -> None:
        self.sender = sender
        self.layout = sender.layout
        self.refused = Refusals()
        self.sent: Counter[str] = Counter()
        self.clipped: Counter[str] = Counter()
        self.first_clipped: dict[str, str] = {}
        self.max_errors: dict[str, int] = {}
        self.errors: list[float] = []
        self.text_errors: list[float] = []
        self.trail_errors: list[float] = []
        self.trail_points: list[int] = []
        self.sizes: list[int] = []
        self.lengths: list[int] = []
        self.examples: tuple[str, bytes] | None = None
        self.most = 0  # points in the trail of the example
        self.receivers = Receivers(sender)

    def send(self, number: int, fix: Fix) -> None:
        values = self.sender.values(number, fix)
        trail = self.sender.trail(fix, values)
        try:
            data = self.sender.codec.encode(self.layout.name, values, trail)
        except ValueFault as fault:
            self.refused.add(f"{fault.field} cannot be sent", f"packet {number + 1}", str(fault))
            return
        packet = self.sender.codec.decode(data, reference=self.receivers.hear(data, values, fix))
        self.sizes.append(len(data))
        line = text_line(self.layout, values, trail)
        self.lengths.append(len(line.encode()) + 1)
        for field, raw in zip(self.layout.fields, packet.codes, strict=True):
            if raw != field.absent_code:
                self.sent[field.name] += 1
                self._measure(field, to_base(field, values[field.name]), raw)
        self._position(fix, packet.values, line)
        self.trail_points.append(len(packet.trail))
        for there, here in zip(packet.trail, trail, strict=False):
            self.trail_errors.append(distance(here.latitude, here.longitude, there.latitude, there.longitude))
        if fix.has_position and (self.examples is None or len(trail) > self.most):
            self.examples, self.most = (line, data), len(trail)

    def _measure(self, field: FieldPlan, base: int, raw: int) -> None:
        if clipped(field, base):
            self.clipped[field.name] += 1
            if field.name not in self.first_clipped:
                self.first_clipped[field.name] = clipping(field, base)
        elif not field.kind.counting:
            error = abs(from_raw(field, raw) - base)
            if field.modulus:
                error = min(error % field.modulus, -error % field.modulus)
            self.max_errors[field.name] = max(self.max_errors.get(field.name, 0), error)

    def _position(self, fix: Fix, values: Mapping[str, Value], line: str) -> None:
        arrived: dict[Role | None, float] = {}
        written: dict[Role | None, float] = {}
        for field, column in zip(self.layout.fields, line.split(";", maxsplit=1)[0].split(","), strict=True):
            if field.kind.role in PLACE and values[field.name] is not None and column:
                arrived[field.kind.role], written[field.kind.role] = float(values[field.name] or 0), float(column)
        if fix.latitude is None or fix.longitude is None or len(arrived) < 2:
            return
        here = fix.latitude, fix.longitude
        self.errors.append(distance(*here, arrived[Role.NORTH], arrived[Role.EAST]))
        self.text_errors.append(distance(*here, written[Role.NORTH], written[Role.EAST]))

    def report(self) -> Replay:
        line, data = self.examples or ("", b"")
        return Replay(
            layout=self.layout.name,
            packets=len(self.sizes),
            packet_bytes=_lengths(self.sizes),
            with_position=len(self.errors),
            refused=self.refused.listed(),
            position=summary(self.errors),
            bound=position_bound(self.layout),
            fields=tuple(self._fields()),
            text_bytes=_lengths(self.lengths),
            text_position=summary(self.text_errors),
            trail=summary(self.trail_errors),
            trail_bound=trail_bound(self.layout),
            trail_points=sum(self.trail_points) / max(1, len(self.trail_points)),
            text_example=line,
            packet_example=data,
            errors=tuple(self.errors),
            trail_errors=tuple(self.trail_errors),
            low_bits=self.receivers.report(),
        )

    def _fields(self) -> Iterator[FieldReport]:
        for source in self.sender.sources:
            field = source.field
            measured = not field.kind.counting
            yield FieldReport(
                name=field.name,
                symbol=field.unit.symbol,
                source=source.description,
                sent=self.sent[field.name],
                absent=len(self.sizes) - self.sent[field.name],
                clipped=self.clipped[field.name],
                first_clipped=self.first_clipped.get(field.name, ""),
                range=bounds(field),
                max_error=self.max_errors[field.name] / field.scale if field.name in self.max_errors else None,
                bound=float(max_error(field)) if measured else None,
            )
