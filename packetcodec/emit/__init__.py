"""The same, elsewhere: encoder and decoder of a plan in other languages, its specification, and the vectors beside it.

Owns one rule: everything that is written comes from the plan alone, as `{file name: text}`, carries its fingerprint and no
date or path, and is the same on every run. A new back end is a folder here with a `BACK_END`, and its line in the registry.

>>> from packetcodec.starter import example_plan
>>> [*write_spec(example_plan()), *BACK_ENDS["js"].write(example_plan(), formatter=True)]
['pasture-v1.md', 'pasture-v1.deployment.md', 'pasture.formatter.js']
"""

from __future__ import annotations

from packetcodec.emit import arduino, c, js, python
from packetcodec.emit.arduino import write_arduino
from packetcodec.emit.back_end import BackEnd, Harness
from packetcodec.emit.c import write_c
from packetcodec.emit.js import write_javascript
from packetcodec.emit.python import write_python
from packetcodec.emit.spec.writer import write_spec
from packetcodec.vectors.writer import write_vectors

#: The back ends by name.
BACK_ENDS: dict[str, BackEnd] = {item.name: item for item in (c.BACK_END, arduino.BACK_END, js.BACK_END, python.BACK_END)}
#: Every way to ask the code that a back end has written, by the name of the target.
HARNESSES: dict[str, Harness] = {item.name: item for back_end in BACK_ENDS.values() for item in back_end.harnesses}

__all__ = [
    "BACK_ENDS",
    "HARNESSES",
    "BackEnd",
    "Harness",
    "write_arduino",
    "write_c",
    "write_javascript",
    "write_python",
    "write_spec",
    "write_vectors",
]
