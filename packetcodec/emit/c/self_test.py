"""The test vectors as C tries them on a device: one row of bytes, which a short runner reads.

Owns one rule: the form of a row. Kind, place of the layout, bytes of the packet and the packet itself; then what its kind
needs. A struct is told by what differs from the row before of the same layout, what arrives by a digest of its words.

>>> from packetcodec.emit.c.names import c_plan
>>> from packetcodec.starter import example_plan
>>> rows = vector_rows(c_plan(example_plan()))
>>> rows[0][:3].hex(), len(rows) > 300
('02000e', True)
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.errors import STATUSES
from packetcodec.vectors.malformed import malformed
from packetcodec.vectors.references import usual
from packetcodec.vectors.valid import decodings, encodings, refusals
from packetcodec.wire import from_raw, unpack
from packetcodec.wire.low_bits import known

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from packetcodec.emit.c.names import CLayout, CPlan
    from packetcodec.wire import Point

BAD, GOOD, ENCODE, REFUSED = range(4)
_U32 = 2**32


def digest(words: Iterable[int]) -> int:
    """A digest of words of 32 bits, as the runner computes it (FNV-1a over words)."""
    found = 2_166_136_261
    for word in words:
        found = (found ^ word % _U32) * 16_777_619 % _U32
    return found


def vector_rows(c: CPlan) -> list[bytes]:
    """The rows of what is written: packets that are good and bad to a decoder, values that an encoder sends and refuses."""
    writer = _Rows(c)
    found = []
    numbers = {layout.plan.id: layout for layout in c.layouts}
    if c.encodes:
        for example in encodings(c.plan):
            layout = numbers[example.layout.id]
            if writer.fits(layout, example.bases, example.points):
                row = writer.head(ENCODE, layout, example.data) + writer.struct(layout, example.bases, example.points)
                found.append(row + writer.decoded(example.data, usual(layout.plan, example.codes)))
        for refusal in refusals(c.plan):
            layout, bases = numbers[refusal.layout.id], refusal.bases
            if bases and writer.fits(layout, list(bases.values()), ()):
                place = [member.field.name for member in layout.members].index(refusal.field)
                row = writer.head(REFUSED, layout, b"") + writer.struct(layout, list(bases.values()), ())
                found.append(row + bytes([place]))
    if c.decodes:
        for good in decodings(c.plan):
            row = writer.head(GOOD, numbers[good.layout.id], good.data)
            found.append(row + writer.decoded(good.data, good.references or {}))
        for bad in malformed(c.plan):
            if len(bad.data) < 256:  # its length is one byte
                row = writer.head(BAD, c.layouts[0], bad.data) + writer.known(bad.references or {})
                found.append(row + bytes([STATUSES.index(bad.status)]))
    return found


class _Rows:
    def __init__(self, c: CPlan) -> None:
        self.c = c
        self.before: dict[str, list[int | None]] = {}

    @staticmethod
    def fits(layout: CLayout, bases: Sequence[int | None], points: Sequence[Point]) -> bool:
        """Whether a struct can hold these."""
        both = zip(layout.members, bases, strict=True)
        good = all(base is None or -(2**31) * member.signed <= base < 2 ** (32 - member.signed) for member, base in both)
        return good and (layout.plan.trail is None or len(points) <= layout.plan.trail.points)

    def head(self, kind: int, layout: CLayout, data: bytes) -> bytes:
        return bytes([kind, layout.number, len(data)]) + data

    def struct(self, layout: CLayout, bases: Sequence[int | None], points: Sequence[Point]) -> bytes:
        """Members that differ from before: place, whether known, value; then the points."""
        before = self.before.get(layout.type, [0 if not member.has else None for member in layout.members])
        changed = [place for place, base in enumerate(bases) if base != before[place]]
        self.before[layout.type] = list(bases)
        row = bytes([len(changed)])
        for place in changed:
            row += bytes([place, bases[place] is not None]) + _word(bases[place] or 0)
        if layout.plan.trail:
            row += bytes([len(points)]) + b"".join(map(_word, self.point_words(layout, points)))
        return row

    @staticmethod
    def point_words(layout: CLayout, points: Sequence[Point]) -> list[int]:
        trail = layout.plan.trail
        words = []
        for point in points:
            words += [point.latitude, point.longitude]
            words += [-(2**31) if point.altitude is None else point.altitude] if trail and trail.altitude else []
            words += [-1 if point.age is None else point.age] if trail and trail.interval_seed else []
        return words

    def known(self, references: Mapping[str, int]) -> bytes:
        """What is known beforehand, of each value that is sent by its low bits."""
        row = b""
        for member, _ in self.c.references:
            base, (low, high) = references.get(member.field.name), self.c.reference_range(member)
            if base is not None and not member.field.modulus:
                base = min(max(base, low), high)
            row += bytes([base is not None]) + _word(base or 0)
        return row

    def decoded(self, data: bytes, references: Mapping[str, int]) -> bytes:
        """References, and the digest of what arrives; nothing where nothing is decoded."""
        if not self.c.decodes:
            return b""
        _, plan, codes, points = unpack({self.c.plan.version: self.c.plan}, data, known(references))
        layout = next(item for item in self.c.layouts if item.plan.id == plan.id)
        both = list(zip(plan.fields, codes, strict=True))
        words = [0 if code == field.absent_code else from_raw(field, code) for field, code in both]
        words += [int(code != field.absent_code) for field, code in both if field.absent_code is not None]
        words += [len(points), *self.point_words(layout, points)] if plan.trail else []
        return self.known(references) + _word(digest(words))


def _word(number: int) -> bytes:
    return (number % _U32).to_bytes(4, "big")
