"""Good packets and what is made of them: raw codes at the borders, and bytes with something done to them.

Owns one rule: how content is chosen. A code is one time in two anything the field sends, else a border: first, second,
last but one, last, absent, a single bit, a run of ones; base units lie around codes, ties, ends of the range and beyond.

>>> from random import Random
>>> from packetcodec.starter import example_plan
>>> plan = example_plan()
>>> maker = Maker(plan, plan.layouts[0], Random(1))
>>> all(raw <= field.max_code for raw, field in zip(maker.codes(), plan.layouts[0].fields))
True
"""

from __future__ import annotations

import itertools
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from packetcodec.fuzz.random_tracks import random_track
from packetcodec.schema import PLACE, Role
from packetcodec.vectors.borders import field_bases, field_codes
from packetcodec.wire import FieldPlan, LayoutPlan, Plan, Point, anchor_of, from_raw, pack
from packetcodec.wire.low_bits import high_bytes, known, resolved
from packetcodec.wire.packing import assemble
from packetcodec.wire.trail.cells import POLE
from packetcodec.wire.trail.coding import front, prefixes

if TYPE_CHECKING:
    from collections.abc import Sequence
    from random import Random

    from packetcodec.vectors.references import Known
    from packetcodec.wire.trail.numbers import Bits

_I32 = 1 << 31
#: Codes next to a pole that are looked at: the finest latitudes have many more within the reach of a track.
_LOOKED_AT = 1024


class Made(NamedTuple):
    """A good packet, and what it was made of.

    Attributes:
        maker: of its layout.
        data: the packet.
        references: what its receiver knows, in base units.
        codes, points: what it says; of the points as many as it has room for.
        received: the points as a receiver has them, where that is known.
    """

    maker: Maker
    data: bytes
    references: Known = {}  # noqa: RUF012
    codes: tuple[int, ...] = ()
    points: tuple[Point, ...] = ()
    received: tuple[Point, ...] = ()

    @property
    def layout(self) -> LayoutPlan:
        """The layout of the packet."""
        return self.maker.layout


class Maker:
    """Makes the content of one layout's packets."""

    def __init__(self, plan: Plan, layout: LayoutPlan, random: Random) -> None:
        self.plan = plan
        self.layout = layout
        self.random = random
        self._codes = [(field.max_code + 1, _borders(field)) for field in layout.fields]
        self._bases = [
            (field.low, field.max_input, field.step, field.max_code, field.absent_code is not None, _base_borders(field))
            for field in layout.fields
        ]
        #: Bases of each field at the ends of 32 bits, next to its range and many turns of a circle away.
        self.wide = [_wide(field) for field in layout.fields]
        #: The places of latitude and longitude among the fields; empty without both.
        self.position = tuple(
            place for role in (Role.NORTH, Role.EAST) for place, field in enumerate(layout.fields) if field.kind.role is role
        )

    @cached_property
    def polar(self) -> list[tuple[int, int]]:
        """Codes of the latitude next to a pole, and how often a trail is coarsened, where a cell ends just about there.

        Its middle lies half a cell beyond the pole, which may be sent, or one unit more, which may not, or nearly so.
        """
        north, trail, found = self.layout.role(Role.NORTH), self.layout.trail, []
        if trail is None or north is None:
            return []
        for coarsened, near in itertools.product(range(trail.coarsenings + 1), (range(_LOOKED_AT), range(-_LOOKED_AT, 0))):
            step = trail.step << coarsened
            codes = [code % (north.max_code + 1) for code in near]
            ways = [(POLE - abs(from_raw(north, code)), code) for code in codes]
            ends = sorted((abs(2 * (-way % step) - step), way, code) for way, code in ways if way < _LOOKED_AT * step)
            for beyond in (False, True):
                found += [(code, coarsened) for _, way, code in ends if (2 * (-way % step) > step) is beyond][:3]
        return found

    def codes(self) -> tuple[int, ...]:
        """Raw codes that the fields send."""
        random = self.random
        bits = random.getrandbits(2 * len(self._codes))
        codes = []
        for count, borders in self._codes:
            if bits & 3:
                codes.append(int(random.random() * count))
            else:
                codes.append(borders[int(random.random() * len(borders))])
            bits >>= 2
        return tuple(codes)

    def located(self) -> tuple[int, ...]:
        """Raw codes with a position, for a trail to hang on."""
        codes = list(self.codes())
        for place, field in enumerate(self.layout.fields):
            if field.kind.role in PLACE and codes[place] == field.absent_code:
                codes[place] = self.random.randint(0, field.max_code)
            if field.kind.role is Role.NORTH and self.random.randrange(2):
                codes[place] = self._at_a_degree(field)
        return tuple(codes)

    def _at_a_degree(self, field: FieldPlan) -> int:
        """The code on this side or on that of a whole degree, where the width of a cell changes; or next to a pole."""
        if self.polar and not self.random.randrange(8):
            return self.random.choice(self.polar)[0]
        degree = self.random.choice((90, -90, *[self.random.randint(-90, 90)] * 4))
        off = self.random.choice((-1, 0, 0, 0, 1, 1, 2))
        if abs(degree) == 90:
            off = -degree // 90 * self.random.randint(0, self.random.choice((9, 600)))
        base = max(field.low, min(field.max_input, degree * 10_000_000))
        return max(0, min(field.max_code, (base - field.low) // field.step + off))

    def bases(self) -> tuple[int | None, ...]:
        """Base units for an encoder: in the range, around its codes and ties, at its ends, beyond it."""
        random = self.random.random
        found: list[int | None] = []
        wild = random() < 2 / 3  # one in three is good as a whole
        for low, top, step, most, optional, borders in self._bases:
            way = random() * 8
            if way < 1 and optional:
                found.append(None)
            elif way < 4:
                found.append(low + int(random() * (top - low + 1)))
            elif way < 6 or not wild:
                base = low + int(random() * (most + 1)) * step + step // 2 + int(random() * 3) - 1
                found.append(low if base < low else min(base, top))
            else:
                found.append(borders[int(random() * len(borders))])
        return tuple(found)

    def near(self, codes: Sequence[int]) -> tuple[int | None, ...]:
        """Base units that are rounded to these codes, most of them."""
        random, found = self.random.random, []
        for (low, top, step, _, _, _), code, field in zip(self._bases, codes, self.layout.fields, strict=True):
            absent = code == field.absent_code
            found.append(None if absent else min(low + code * step + int(random() * step) - step // 2, top))
        return tuple(found)

    def made(self, codes: tuple[int, ...], points: tuple[Point, ...] = (), *, wild: bool = False) -> Made:
        """The packet of these codes and points. `wild`: its receiver knows less than it should."""
        return self._told(pack(self.plan, self.layout, codes, points), codes, points, wild=wild)

    def made_twice(self, codes: tuple[int, ...], points: tuple[Point, ...]) -> tuple[Made, Made | None]:
        """The packet of these codes and points; and one with the newest few of its points beside other codes.

        The second costs next to nothing. There is none where the first has no trail, or one on a coarser grid.
        """
        layout, trail, anchor = self.layout, self.layout.trail, anchor_of(self.layout, codes)
        if trail is None or anchor is None or not points:
            return self.made(codes, points), None
        room = 8 * (layout.longest - layout.check_bytes) - layout.bits
        received: list[Point] = []
        written = list(prefixes(trail, anchor, points[: trail.points], 0, room=room, received=received))

        def behind(count: int) -> Bits:
            bits = front(trail, count, 0)
            bits.put(written[count].number, written[count].length)
            return bits

        whole, count = behind(len(written) - 1), self.random.randrange(len(written))
        if whole.length > room:
            return self.made(codes, points), None
        others = list(self.codes())
        for place in layout.anchor_places:
            if place is not None:
                others[place] = codes[place]
        data = assemble(self.plan, layout, codes, whole)
        shorter = assemble(self.plan, layout, others, behind(count))
        told, less = self._told(data, codes, points), self._told(shorter, tuple(others), points[:count])
        return told._replace(received=tuple(received)), less._replace(received=tuple(received[:count]))

    def behind(self, codes: tuple[int, ...], bits: Bits) -> Made:
        """The packet of these codes and bits of a trail, which no encoder need write."""
        return self._told(assemble(self.plan, self.layout, codes, bits), codes, ())

    def _told(self, data: bytes, codes: tuple[int, ...], points: tuple[Point, ...], *, wild: bool = False) -> Made:
        known = self.references(codes, wild=wild) if self.layout.low_fields else {}
        return Made(self, data, known, codes, points)

    def references(self, codes: Sequence[int], *, wild: bool) -> Known:
        """References for a packet of these codes: within reach, at its ends; `wild`: one may be farther off or missing."""
        random, found = self.random, {}
        astray = random.choice(self.layout.low_fields)[0] if wild and self.layout.low_fields else None
        for place, field, low in self.layout.low_fields:
            way = random.randrange(8) if place == astray else 7
            shift = random.choice((0, low.reach, -low.reach, random.randint(-low.reach, low.reach)))
            if way < 4:
                shift = random.choice((-1, 1)) * random.choice((low.reach + 1, low.reach + 2, low.modulus, 3 * low.modulus))
            code = codes[place] + shift if codes[place] != field.absent_code else random.randint(0, field.max_code)
            base = from_raw(field, code % (field.max_code + 1) if field.modulus else min(max(code, 0), field.max_code))
            base += random.choice((0, 0, -(field.step // 2), (field.step - 1) // 2))  # as far as its code reaches
            if not 0 <= code <= field.max_code:  # cut to the range, or taken round the circle
                beyond = [base for base in self.wide[place] if (base > field.max_input if code > 0 else base < field.low)]
                turned = base + (field.modulus or 0) * (1 if code > 0 else -1)
                base = turned if field.modulus else random.choice(beyond or [base])
            if way == 4 or not askable(field, base):
                base = random.choice(self.wide[place])
            if way != 5:
                found[field.name] = base
        return found

    def trail(self, codes: Sequence[int]) -> tuple[Point, ...]:
        """Earlier positions for a packet of these codes."""
        anchor = anchor_of(self.layout, codes)
        if self.layout.trail is None or anchor is None:
            return ()
        return random_track(self.random, self.layout.trail, anchor)

    def coded(self, bases: Sequence[int | None]) -> tuple[Point, ...]:
        """Earlier positions for base units, from where the position of the packet roughly is."""
        trail = self.layout.trail
        if trail is None:
            return ()
        north, east, height = (None if place is None else bases[place] for place in self.layout.anchor_places)
        latitude, longitude, altitude = north or 0, east or 0, height
        anchor = Point(max(-900_000_000, min(900_000_000, latitude)), longitude, altitude)
        return random_track(self.random, trail, anchor)


def sealed(plan: Plan, body: bytes, bases: Known) -> bytes:
    """The packet of a header and fields, under the check that is right for a receiver with these references."""
    if not plan.has_low_bits:
        return plan.seal(body)
    number, below = int.from_bytes(body, "big"), 8 * len(body) - plan.header_bits
    layout = plan.by_id.get(number >> below & (1 << plan.layout_bits) - 1) if below >= 0 else None
    if layout is None or not layout.low_fields or 8 * len(body) < layout.bits:
        return plan.seal(body)
    codes = next(resolved(layout, layout.carried(body), known(bases)), None)
    return plan.seal(body, high_bytes(layout, codes) if codes else b"")


def _borders(field: FieldPlan) -> tuple[int, ...]:
    codes = [code for _, code in field_codes(field)] + [(1 << bit) - 1 for bit in range(1, field.field.grid.bits)]
    found = [code for code in dict.fromkeys((*codes, field.max_code // 2)) if 0 <= code <= field.max_code]
    if field.absent_code is not None:
        found += [field.absent_code] * max(1, len(found) // 4)
    return tuple(found)


def _base_borders(field: FieldPlan) -> tuple[int, ...]:
    found = [base for _, base in field_bases(field)]
    found += [field.low + 1, field.low - 1, field.max_input, field.max_input - 1, field.high + 1]
    found += [from_raw(field, field.max_code), field.low - 1000 * field.scale, field.high + 1000 * field.scale]
    if field.modulus:
        found += [field.high + field.modulus // 3, field.low - field.modulus // 3]
    found += [base for base in (0, -1, 1) if field.low <= base <= field.high]
    return tuple(dict.fromkeys(base for base in found if askable(field, base)))


def _wide(field: FieldPlan) -> list[int]:
    wide = [-_I32, _I32 - 1, 2 * _I32 - 1, field.low - 1, field.max_input + 1, 0]
    turns = [field.low + turn * field.modulus for turn in (-3, -2, 2, 3, 7)] if field.modulus else []
    return [base for base in (*wide, *turns) if askable(field, base)] or [field.low]


def askable(field: FieldPlan, base: int) -> bool:
    """Whether an encoder can be asked for a base, in the range or beyond: firmware holds it in 32 bits.

    They are unsigned for ranges beyond signed numbers, and for numbers that count where no negative one means anything.
    """
    if field.high >= _I32 or (field.low >= 0 and field.policy != "clip" and field.kind.counting):
        return 0 <= base < 2 * _I32
    return -_I32 <= base < _I32
