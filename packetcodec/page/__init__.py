"""A schema and a track to look at: one self-contained HTML file, and its pictures one by one.

Nothing here computes a result: pictures and charts show a plan, and the reports that commands print for programs; the texts
are those of the reports. Charts need the extra `page`.
"""

from __future__ import annotations

from packetcodec.page.bit_picture import bit_picture
from packetcodec.page.markup import Figure, Section, Table, Words

__all__ = ["Figure", "Section", "Table", "Words", "bit_picture"]
