"""A recorded log sent through a layout, packet by packet, and what came out at the other end.

Owns two rules: where each field of a layout finds its value in a log (by kind; what a log does not hold comes from the
caller or from the middle of the field's range, and is said), and how the result is judged (the error of a position is
the geodesic from where the receiver was to where the decoded packet says it was).

The bench test of a format: every packet is really encoded and decoded, nothing is estimated.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.errors import PacketcodecError, ValueFault
from packetcodec.plan import (
    FieldPlan,
    LayoutPlan,
    OutOfRangeError,
    Value,
    from_raw,
    position_bound,
    text_line,
    to_base,
    to_value,
    worst_error,
)
from packetcodec.schema import KINDS, METRES_PER_DEGREE
from packetcodec.tracks.fix import Fix, Refusal, Refusals
from packetcodec.tracks.metres import ErrorSummary, distance, summary

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from packetcodec.codec import Codec

#: Metres a second in one of the unit. Source: definitions of the kilometre per hour and of the international knot.
_SPEED = {"m/s": 1.0, "km/h": 1 / 3.6, "knot": 1852 / 3600}


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldReport:
    """What happened to one field over a replay.

    Attributes:
        name, symbol: of the field.
        source: "log", "packet number", or the constant that was sent because the log does not hold it.
        sent: packets with a value.
        absent: packets without one.
        clipped: values beyond the range that were sent as its end.
        worst: largest difference between what went in and what came out, in the field's unit (clipped ones not
            counted); None for fields that are no measurement.
        bound: the promise for `worst`.
    """

    name: str
    symbol: str
    source: str
    sent: int
    absent: int
    clipped: int
    worst: float | None
    bound: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay:
    """The outcome of a replay.

    Attributes:
        layout: name of the layout.
        packets: packets sent and decoded.
        packet_bytes: bytes of each.
        with_position: packets that carry a position.
        refused: packets that could not be made: per field the number, and the first with its reason.
        position: errors of the decoded positions in metres, or None without one.
        bound: promised largest position error in metres, or None for a layout without position.
        fields: one report per field, in wire order.
        text_bytes: smallest, mean and largest length of the same values as a line of text, line end included.
        text_position: errors of the positions in that text.
        text_example: the first such line with a position.
        packet_example: the packet of the same values.
    """

    layout: str
    packets: int
    packet_bytes: int
    with_position: int
    refused: tuple[Refusal, ...]
    position: ErrorSummary | None
    bound: float | None
    fields: tuple[FieldReport, ...]
    text_bytes: tuple[int, float, int]
    text_position: ErrorSummary | None
    text_example: str
    packet_example: bytes


def replay(
    codec: Codec,
    layout: str,
    fixes: Sequence[Fix],
    *,
    constants: Mapping[str, Value] | None = None,
    progress: Callable[[int], None] | None = None,
) -> Replay:
    """Send each fix as a packet of the layout, decode it, and compare.

    Args:
        codec: what to encode and decode with.
        layout: name of the layout.
        fixes: what to send, as `every` picks it.
        constants: field name to the value to send where the log holds none.
        progress: called with the number of packets so far.

    Raises:
        PacketcodecError: a constant of an unknown field or out of range.
    """
    run = _Run(codec, codec.plan.layout(layout), dict(constants or {}), fixes)
    for number, fix in enumerate(fixes):
        run.send(number, fix)
        if progress is not None:
            progress(number + 1)
    return run.report()


class _Source:
    """Where one field's value comes from.

    A value stands in only for what the log never holds. A position that is missing now and then is never made up: it is
    absent, or the packet cannot be made.
    """

    def __init__(self, field: FieldPlan, constants: Mapping[str, Value], fixes: Sequence[Fix]) -> None:
        self.field = field
        self.counting = field.kind == "counter" and field.name not in constants
        held = any(_of_fix(field, fix) is not None for fix in fixes)
        self.constant = constants.get(field.name)
        self.words = "packet number" if self.counting else "log"
        if self.constant is not None and not held:
            self.words = f"constant {_shown(self.constant)}"
        elif not held and not self.counting and field.absent is None and field.kind not in METRES_PER_DEGREE:
            self.constant = _middle(field)
            self.words = f"constant {_shown(self.constant)} (not in the log)"

    def value(self, number: int, fix: Fix) -> Value:
        if self.counting:
            return number
        value = _of_fix(self.field, fix)
        return self.constant if value is None else value


def _shown(value: Value) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _middle(field: FieldPlan) -> Value:
    """A value to send for a field that must be sent and that a log does not hold."""
    if field.kind in ("identifier", "flag", "choice"):
        return to_value(field, 1 if field.kind == "identifier" else 0)
    return to_value(field, field.last // 2)


def _of_fix(field: FieldPlan, fix: Fix) -> Value:
    """The value of a field that a fix holds, in the field's unit, or None."""
    extra = fix.extra.get(field.name, fix.extra.get(field.kind))
    if isinstance(extra, float | int | str):
        return extra
    if field.kind == "time":
        return fix.time
    if field.kind == "fix_quality" and fix.fix_quality is None:
        return int(fix.has_position)
    if field.kind == "speed":
        return None if fix.speed is None else fix.speed / _SPEED[field.unit]
    if field.kind in ("latitude", "longitude", "altitude", "fix_quality", "satellites", "hdop", "course"):
        value: Value = getattr(fix, field.kind)
        return value
    return None


class _Run:
    """A replay under way."""

    def __init__(self, codec: Codec, layout: LayoutPlan, constants: dict[str, Value], fixes: Sequence[Fix]) -> None:
        self.codec, self.layout = codec, layout
        for name, value in constants.items():
            self._constant(name, value)
        self.sources = [_Source(field, constants, fixes) for field in layout.fields]
        self.refused = Refusals()
        self.sent: Counter[str] = Counter()
        self.clipped: Counter[str] = Counter()
        self.worst: dict[str, int] = {}
        self.errors: list[float] = []
        self.text_errors: list[float] = []
        self.lengths: list[int] = []
        self.packets = 0
        self.examples: tuple[str, bytes] | None = None

    def _constant(self, name: str, value: Value) -> None:
        for field in self.layout.fields:
            if field.name == name:
                try:
                    to_base(field, value)
                except OutOfRangeError as fault:
                    raise PacketcodecError(f"{name}: {fault}") from None
                return
        known = ", ".join(field.name for field in self.layout.fields)
        raise PacketcodecError(f'{name}: not a field of layout "{self.layout.name}", which has {known}')

    def send(self, number: int, fix: Fix) -> None:
        values = {source.field.name: source.value(number, fix) for source in self.sources}
        try:
            data = self.codec.encode(self.layout.name, values)
        except ValueFault as fault:
            self.refused.add(f"{fault.field} cannot be sent", f"packet {number}", str(fault))
            return
        packet = self.codec.decode(data)
        self.packets += 1
        line = text_line(self.layout, values)
        self.lengths.append(len(line.encode()) + 1)
        for field, raw in zip(self.layout.fields, packet.codes, strict=True):
            if raw != field.absent:
                self.sent[field.name] += 1
                self._measure(field, to_base(field, values[field.name]), raw)
        self._position(fix, packet.values, line)
        if self.examples is None and fix.has_position:
            self.examples = line, data

    def _measure(self, field: FieldPlan, base: int, raw: int) -> None:
        if field.policy == "clip" and not field.low <= base <= field.high:
            self.clipped[field.name] += 1
        elif not KINDS[field.kind].counting:
            error = abs(from_raw(field, raw) - base)
            if field.circle:
                error = min(error % field.circle, -error % field.circle)
            self.worst[field.name] = max(self.worst.get(field.name, 0), error)

    def _position(self, fix: Fix, values: Mapping[str, Value], line: str) -> None:
        arrived, written = {}, {}
        for field, column in zip(self.layout.fields, line.split(","), strict=True):
            if field.kind in ("latitude", "longitude") and values[field.name] is not None and column:
                arrived[field.kind], written[field.kind] = float(values[field.name] or 0), float(column)
        if fix.latitude is None or fix.longitude is None or len(arrived) < 2:
            return
        here = fix.latitude, fix.longitude
        self.errors.append(distance(*here, arrived["latitude"], arrived["longitude"]))
        self.text_errors.append(distance(*here, written["latitude"], written["longitude"]))

    def report(self) -> Replay:
        lengths = self.lengths or [0]
        line, data = self.examples or ("", b"")
        return Replay(
            layout=self.layout.name,
            packets=self.packets,
            packet_bytes=self.layout.size,
            with_position=len(self.errors),
            refused=self.refused.listed(),
            position=summary(self.errors),
            bound=position_bound(self.layout),
            fields=tuple(self._fields()),
            text_bytes=(min(lengths), sum(lengths) / len(lengths), max(lengths)),
            text_position=summary(self.text_errors),
            text_example=line,
            packet_example=data,
        )

    def _fields(self) -> Iterator[FieldReport]:
        for source in self.sources:
            field = source.field
            measured = not KINDS[field.kind].counting
            yield FieldReport(
                name=field.name,
                symbol=field.symbol,
                source=source.words,
                sent=self.sent[field.name],
                absent=self.packets - self.sent[field.name],
                clipped=self.clipped[field.name],
                worst=self.worst.get(field.name, 0) / field.scale if measured and self.sent[field.name] else None,
                bound=float(worst_error(field)) if measured else None,
            )
