"""The fault names and the few exceptions.

Owns one rule: what can be wrong with a packet, and in which order it is looked for. Every decoder of this project
(Python, the construct reference, emitted code) gives these names in this order, and the first fault wins.

>>> FAULTS.index("bad_check") < FAULTS.index("out_of_range")
True
"""

from __future__ import annotations

from typing import Any, Final, Literal, get_args

from packetcodec.frozen import Frozen

#: A fault's name, in the order in which decoders look for them.
FaultName = Literal[
    "too_short",  # not even a whole header, or fewer bytes than the layout has
    "too_long",  # more bytes than the layout has
    "unknown_version",
    "unknown_layout",
    "bad_check",
    "bad_padding",  # a bit behind the last field that is not zero
    "out_of_range",  # a raw code that the field never sends
    "bad_trail",
]
#: What a decoder answers: "ok", or the name of the first fault.
Status = Literal["ok"] | FaultName

OK: Final = "ok"
"""The status of a packet without a fault."""

FAULTS: tuple[FaultName, ...] = get_args(FaultName)
"""The names of all faults of a packet, in the order in which decoders look for them."""

STATUSES: tuple[Status, ...] = (OK, *FAULTS)
"""All that a decoder can answer: `OK` and `FAULTS`."""


class PacketcodecError(ValueError):
    """The ancestor of all faults that come from data: packets, values, schemas, logs, radio settings.

    All of them can be pickled and copied, attributes and notes included, so they come back from a worker process.

    >>> from packetcodec import Codec
    >>> try:
    ...     Codec([])
    ... except PacketcodecError as fault:
    ...     print(fault)
    a codec needs at least one schema
    """

    def __reduce__(self) -> tuple[Any, ...]:
        # An exception is made again by calling its class with its message alone, unless told otherwise: that fails for
        # every class with arguments of its own, and a pool of workers then waits for ever.
        return _made_again, (type(self), self.args), self.__dict__


def _made_again(kind: type[PacketcodecError], args: tuple[object, ...]) -> PacketcodecError:
    return kind.__new__(kind, *args)


class PacketFault(PacketcodecError):
    """A packet that a decoder refuses.

    Attributes:
        status: one of `FAULTS`.
        field: name of the field that is out of range, or None.
        offset: first bit the fault is about, counted from the packet's first bit, or None.

    >>> fault = PacketFault("out_of_range", "battery: raw code 127", field="battery", offset=83)
    >>> str(fault), fault.status, fault.field
    ('out_of_range: battery: raw code 127', 'out_of_range', 'battery')
    """

    status: FaultName
    field: str | None
    offset: int | None

    def __init__(self, status: FaultName, message: str, *, field: str | None = None, offset: int | None = None) -> None:
        super().__init__(f"{status}: {message}")
        self.status = status
        self.field = field
        self.offset = offset


class ValueFault(PacketcodecError):
    """A value that cannot be sent: missing, not a number, beyond a range that is not clipped.

    Attributes:
        layout: name of the layout.
        field: name of the field, or None when the fault is about the layout as a whole.

    >>> fault = ValueFault("collar: 256 is outside 0..255", layout="position", field="collar")
    >>> fault.layout, fault.field
    ('position', 'collar')
    """

    layout: str
    field: str | None

    def __init__(self, message: str, *, layout: str, field: str | None = None) -> None:
        super().__init__(message)
        self.layout = layout
        self.field = field


class Problem(Frozen):
    """One fault of a schema file: where it is and what is wrong (bound and value included).

    Attributes:
        place: in words, the line and column included.
        message: what is wrong.
        line, column: both from 1; 0 for the file as a whole.

    >>> str(Problem("line 2", "version: 300 is outside 0..255"))
    'line 2: version: 300 is outside 0..255'
    """

    place: str
    message: str
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        return f"{self.place}: {self.message}" if self.place else self.message


class SchemaFault(PacketcodecError):
    """Everything that is wrong with a schema, found in one reading.

    Attributes:
        problems: each fault with its place, in the order of the file.

    >>> from packetcodec import Schema
    >>> try:
    ...     Schema.parse("version = 300")
    ... except SchemaFault as fault:
    ...     print(len(fault.problems), fault.problems[-1])
    3 line 1, column 1: version: 300 is outside 0..15
    """

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__("\n".join(map(str, problems)))
        self.problems = problems


class LogFault(PacketcodecError):
    """A recorded log that holds nothing to replay, or a place in it that cannot be read.

    >>> from packetcodec.logs import read_log
    >>> try:
    ...     read_log([b"no log at all"], name="walk.txt")
    ... except LogFault as fault:
    ...     print(fault)
    walk.txt: ...
    """


class RadioFault(PacketcodecError):
    """A radio setting outside what the modem, or the sub-band, allows.

    >>> from packetcodec.radio import LoRa
    >>> try:
    ...     LoRa(spreading_factor=13)
    ... except RadioFault as fault:
    ...     print(fault)
    spreading_factor: 13 is outside ...
    """
