"""The same, elsewhere: the written specification of a plan and the test vectors beside it, as `{file name: text}`.

Owns one rule: everything that is written comes from the plan alone, carries its fingerprint and no date or path, and is
the same on every run. Every expected result in it is computed by `packetcodec.wire`, none is typed in.

>>> from packetcodec.wire import compile_plan
>>> from packetcodec.schema import Schema
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "latitude" }, { kind = "longitude" }]
... '''))
>>> [*write_spec(plan), *write_vectors(plan)]
['pasture-v1.md', 'pasture-v1.vectors.json']
"""

from __future__ import annotations

from packetcodec.emit.c.writer import write_c
from packetcodec.emit.js.writer import write_javascript
from packetcodec.emit.spec.writer import write_spec
from packetcodec.vectors.writer import write_vectors

__all__ = ["write_c", "write_javascript", "write_spec", "write_vectors"]
