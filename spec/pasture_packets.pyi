# Types of pasture_packets.py: pasture, version 1. Fingerprint 7985ffc5412132c8.
# Written by packetcodec from the schema alone. This file is yours, free of any condition.
from typing import List, Literal, NamedTuple, Optional, Sequence, Tuple, TypedDict, Union, overload

NAME: Literal["pasture"]
VERSION: Literal[1]
FINGERPRINT: Literal["7985ffc5412132c8"]

_Bytes = Union[bytes, bytearray, memoryview]
_FaultName = Literal[
    "too_short",
    "too_long",
    "unknown_version",
    "unknown_layout",
    "bad_check",
    "bad_padding",
    "out_of_range",
    "bad_trail",
]

class Point(NamedTuple):
    latitude_e7: int
    longitude_e7: int
    altitude_cm: Optional[int]
    age_s: Optional[int]

_Place = Union[Point, Tuple[int, int], Tuple[int, int, Optional[int]], Tuple[int, int, Optional[int], Optional[int]]]

# Layout "position": Sent at every interval. Without a fix, the position is absent and fix_quality is 0.
position_values = TypedDict(
    "position_values",
    {
        # number, 0..255
        "collar": int,
        # count, 0..255; beyond: wrapped
        "counter": int,
        # 1e-7 degree, -900000000..900000000 (-90..90 degrees), step 223 (0.0000223 °)
        "latitude_e7": Optional[int],
        # 1e-7 degree, -1800000000..1800000000 (-180..180 degrees), step 224 (0.0000224 °)
        "longitude_e7": Optional[int],
        # centimetre, -50000..900000 (-500..9000 m), step 233 (2.33 m); beyond: clipped
        "altitude_cm": Optional[int],
        # millivolt, 2500..4500 (2.5..4.5 V), step 20 (0.02 V); beyond: clipped
        "battery_mv": int,
        # number of the GGA sentence, 0..7
        "fix_quality": int,
    },
)
_position_needed = TypedDict(
    "_position_needed",
    {
        "collar": int,
        "counter": int,
        "battery_mv": int,
        "fix_quality": int,
    },
)
_position_optional = TypedDict(
    "_position_optional",
    {
        "latitude_e7": Optional[int],
        "longitude_e7": Optional[int],
        "altitude_cm": Optional[int],
    },
    total=False,
)

class position_input(_position_needed, _position_optional): ...

class position_packet(NamedTuple):
    layout: Literal["position"]
    values: position_values
    trail: Sequence[Point]

# Layout "track": The position and the last ten points before it: a packet that is lost leaves no hole.
track_values = TypedDict(
    "track_values",
    {
        # number, 0..255
        "collar": int,
        # count, 0..255; beyond: wrapped
        "counter": int,
        # 1e-7 degree, -900000000..900000000 (-90..90 degrees), step 223 (0.0000223 °)
        "latitude_e7": Optional[int],
        # 1e-7 degree, -1800000000..1800000000 (-180..180 degrees), step 224 (0.0000224 °)
        "longitude_e7": Optional[int],
        # centimetre, -50000..900000 (-500..9000 m), step 233 (2.33 m); beyond: clipped
        "altitude_cm": Optional[int],
        # millivolt, 2500..4500 (2.5..4.5 V), step 20 (0.02 V); beyond: clipped
        "battery_mv": int,
        # number of the GGA sentence, 0..7
        "fix_quality": int,
    },
)
_track_needed = TypedDict(
    "_track_needed",
    {
        "collar": int,
        "counter": int,
        "battery_mv": int,
        "fix_quality": int,
    },
)
_track_optional = TypedDict(
    "_track_optional",
    {
        "latitude_e7": Optional[int],
        "longitude_e7": Optional[int],
        "altitude_cm": Optional[int],
    },
    total=False,
)

class track_input(_track_needed, _track_optional): ...

class track_packet(NamedTuple):
    layout: Literal["track"]
    values: track_values
    trail: Sequence[Point]

# Layout "status": Sent now and then: how the collar and its wearer are doing.
status_values = TypedDict(
    "status_values",
    {
        # number, 0..255
        "collar": int,
        # count, 0..255; beyond: wrapped
        "counter": int,
        "activity": Optional[Literal["resting", "grazing", "walking", "alarm"]],
        # 0.1 °C, -400..600 (-40..60 °C), step 5 (0.5 °C); beyond: clipped
        "temperature_e1": Optional[int],
        # satellite, 0..30; beyond: clipped
        "satellites": Optional[int],
        # 0.01, 0..1240 (0..12.4), step 20 (0.2); beyond: clipped
        "hdop_e2": Optional[int],
        # millivolt, 2500..4500 (2.5..4.5 V), step 20 (0.02 V); beyond: clipped
        "battery_mv": int,
        # the collar saw the gate's beacon open
        "gate_open": bool,
        # Unix time, 1767225600..1830140100, step 60 (60 s)
        "time_s": int,
    },
)
_status_needed = TypedDict(
    "_status_needed",
    {
        "collar": int,
        "counter": int,
        "battery_mv": int,
        "gate_open": bool,
        "time_s": int,
    },
)
_status_optional = TypedDict(
    "_status_optional",
    {
        "activity": Optional[Literal["resting", "grazing", "walking", "alarm"]],
        "temperature_e1": Optional[int],
        "satellites": Optional[int],
        "hdop_e2": Optional[int],
    },
    total=False,
)

class status_input(_status_needed, _status_optional): ...

class status_packet(NamedTuple):
    layout: Literal["status"]
    values: status_values
    trail: Sequence[Point]

Packet = Union[
    position_packet,
    track_packet,
    status_packet,
]

_Tried = Union[Tuple[Literal["ok"], Packet], Tuple[_FaultName, None]]

class PacketFault(ValueError):
    status: _FaultName
    field: Optional[str]
    offset: int

class ValueFault(ValueError):
    layout: str
    field: Optional[str]

def decode(data: _Bytes) -> Packet: ...
def try_decode(data: _Bytes) -> _Tried: ...
@overload
def encode(layout: Literal["position"], values: position_input) -> bytes: ...
@overload
def encode(
    layout: Literal["track"], values: track_input, trail: Sequence[_Place] = ()
) -> bytes: ...
@overload
def encode(layout: Literal["status"], values: status_input) -> bytes: ...
def degrees(digits: str, hemisphere: str) -> int: ...

class TrailMemory:
    def __init__(
        self,
        layout: Literal["track"],
        spacing: Optional[int] = None,
        apart: Optional[int] = None,
    ) -> None: ...
    def remember(self, time: int, latitude_e7: int, longitude_e7: int, altitude_cm: Optional[int] = None) -> None: ...
    def points(self, now: int) -> List[Point]: ...
