"""Arduino: the C of a plan as a library with two sketches; also for PlatformIO, ESP-IDF and CMake."""

from __future__ import annotations

from packetcodec.emit.arduino.writer import write_arduino
from packetcodec.emit.back_end import BackEnd

BACK_END = BackEnd(
    name="arduino",
    language="Arduino library",
    purpose="for Arduino, PlatformIO, ESP-IDF and CMake: the C99 code with a transmitter and a receiver sketch",
    write=write_arduino,
    harnesses=(),  # it is the C of the back end of that name
    parts=("encode", "decode"),
    texts={
        "author": 'who made the library, as "Name <mail>"  [default: a name that says that it is to be changed]',
        "url": "where it is found, http:// or https://  [default: an example to be changed]",
    },
)

__all__ = ["BACK_END", "write_arduino"]
