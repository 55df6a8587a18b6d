"""What a tracker sends: the values, the trail and the packet of each position of a recording.

Owns one rule: where each field of a layout finds its value in a log. By kind; a column of a table by its name; what the
log never holds comes from the caller, or from the middle of the field's range, and is said. A position is never made up.

>>> from packetcodec.codec import Codec
>>> from packetcodec.schema import Schema
>>> from packetcodec.logs.fix import Fix
>>> codec = Codec(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "counter" }, { kind = "latitude" }, { kind = "longitude" }]
... '''))
>>> sender = Sender(codec, "beacon", (Fix(0.0, 46.5, 9.9), Fix(30.0, 46.5, 9.9)))
>>> sender.values(5, Fix(30.0, 46.5, 9.9))
{'counter': 5, 'latitude': 46.5, 'longitude': 9.9}
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.bench.history import History
from packetcodec.errors import PacketcodecError
from packetcodec.schema import PLACE, Role
from packetcodec.wire import FieldPlan, OutOfRangeFault, Value, bounds, to_base, to_value

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from packetcodec.codec import Codec, TrailPoint
    from packetcodec.logs.fix import Fix


class Sender:
    """Makes packets of one layout from the positions of a recording."""

    def __init__(
        self, codec: Codec, layout: str, recording: Sequence[Fix], constants: Mapping[str, Value] | None = None
    ) -> None:
        """Prepare to send.

        Args:
            codec: encodes.
            layout: name of the layout.
            recording: the whole log, for the trail and for what it holds at all.
            constants: field name to the value to send where the log holds none.

        Raises:
            PacketcodecError: a constant of an unknown field or out of range.
        """
        self.codec = codec
        self.layout = codec.plan.layout(layout)
        given = dict(constants or {})
        for name, value in given.items():
            self._demand(name, value)
        self.sources = [_Source(field, given, recording) for field in self.layout.fields]
        self._history = History(recording) if self.layout.trail else None

    def values(self, number: int, fix: Fix) -> dict[str, Value]:
        """The values of packet `number`, by field name."""
        return {source.field.name: source.value(number, fix) for source in self.sources}

    def trail(self, fix: Fix, values: Mapping[str, Value]) -> list[TrailPoint]:
        """The earlier positions to send along, newest first; none for a packet without a position."""
        trail = self.layout.trail
        if trail is None or self._history is None:
            return []
        if not fix.has_position:
            self._history.without(fix.time)
            return []
        spacing = values.get(trail.spacing_field) if trail.spacing_field else trail.spacing_seconds or 0
        if not isinstance(spacing, float | int) or (trail.spacing_field and spacing <= 0):
            return []
        return self._history.points(fix.time, count=trail.points, spacing=spacing)

    def packet(self, number: int, fix: Fix) -> bytes:
        """The packet of a fix.

        Raises:
            ValueFault: it cannot be made.
        """
        values = self.values(number, fix)
        return self.codec.encode(self.layout.name, values, self.trail(fix, values))

    def _demand(self, name: str, value: Value) -> None:
        for field in self.layout.fields:
            if field.name == name:
                try:
                    base = to_base(field, value)
                except OutOfRangeFault as fault:
                    raise PacketcodecError(f"{name}: {fault}") from None
                # A value that is given once and for all is not clipped packet by packet.
                if field.policy != "wrap" and not field.low <= base <= field.max_input:
                    raise PacketcodecError(f"{name}: {value} is outside {bounds(field)}")
                return
        known = ", ".join(field.name for field in self.layout.fields)
        raise PacketcodecError(f'{name}: not a field of layout "{self.layout.name}", which has {known}')


class _Source:
    """Where one field's value comes from.

    A value stands in only for what the log never holds. A position that is missing now and then is never made up: it is
    absent, or the packet cannot be made.
    """

    def __init__(self, field: FieldPlan, constants: Mapping[str, Value], fixes: Sequence[Fix]) -> None:
        self.field = field
        self.counting = field.kind.role is Role.SEQUENCE and field.name not in constants
        held = any(value_of_fix(field, fix) is not None for fix in fixes)
        self.constant = constants.get(field.name)
        self.description = "packet number" if self.counting else "log"
        if self.constant is not None and not held:
            self.description = f"constant {_shown(self.constant)}"
        elif not held and not self.counting and field.absent_code is None and field.kind.role not in PLACE:
            self.constant = _middle(field)
            self.description = f"constant {_shown(self.constant)} (not in the log)"

    def value(self, number: int, fix: Fix) -> Value:
        if self.counting:
            return number
        value = value_of_fix(self.field, fix)
        return self.constant if value is None else value


def _shown(value: Value) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _middle(field: FieldPlan) -> Value:
    """A value to send for a field that must be sent and that a log does not hold."""
    code = field.kind.stand_in
    return to_value(field, field.max_code // 2 if code is None else code)


def columns_of(field: FieldPlan) -> tuple[str, ...]:
    """The columns of a table that a field takes its value from, first choice first."""
    return field.name, f"{field.kind}_{field.unit.name}", field.kind.name


def value_of_fix(field: FieldPlan, fix: Fix) -> Value:
    """The value of a field that a fix holds, in the field's unit, or None."""
    for name in columns_of(field):
        extra = fix.extra.get(name)
        if isinstance(extra, float | int | str):
            return extra
    if not field.kind.source:
        return None
    value: Value = getattr(fix, field.kind.source)
    return value / field.unit.si if isinstance(value, float) and field.unit.si != 1 else value
