"""A schema and a track to look at: one self-contained HTML file, and its pictures one by one.

Nothing here computes a result: pictures and charts show a plan, and the reports that commands print for programs; the texts
are those of the reports. Charts need the extra `page`.

>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> picture = Figure("bits-position", "Layout position", svg=bit_picture(plan, plan.layout("position")))
>>> sizes = Table("Sizes", ("layout", "bytes"), (("position", "14"),))
>>> part = Section("Packets", (picture, Words("Each row is a byte."), sizes))
>>> [item.kind for item in part.parts], picture.svg.startswith("<svg")
(['figure', 'words', 'table'], True)
"""

from __future__ import annotations

from packetcodec.page.bit_picture import bit_picture
from packetcodec.page.markup import Figure, Section, Table, Words

__all__ = ["Figure", "Section", "Table", "Words", "bit_picture"]
