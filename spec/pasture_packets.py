"""pasture, version 1: an encoder and a decoder of its packets. Fingerprint 7985ffc5412132c8.

Collars on a summer pasture report where they are to a receiver in the hut.

Written by packetcodec from the schema alone: change the schema and write it again instead of editing here.
This file is yours, free of any condition, and comes without warranty.
One module without dependency, for CPython 3.8 or later, MicroPython and CircuitPython with long integers. The types
of all that is public stand in pasture_packets.pyi, for editors and type checkers; a device does not need that file.

    import pasture_packets

    data = pasture_packets.encode("position", {
        "collar": 7,
        "counter": 42,
        "latitude_e7": 465123400,
        "longitude_e7": 98765400,
        "altitude_cm": 210400,
        "battery_mv": 3710,
        "fix_quality": 1,
    })
    data.hex()  # "11072abad13d02afae8bcf480f2c"
    pasture_packets.decode(data).values["collar"]  # 7

Numbers are whole numbers of base units, as the end of a key says: 1e-7 degree (_e7), centimetre (_cm), millivolt (_mv);
no float is used. A choice is its name, a flag is True or False, what is absent is None, a time with an epoch is Unix
time. Whoever receives a packet can read it: nothing here is secret. No life-saving device may depend on it.
"""

from collections import namedtuple

NAME = "pasture"
VERSION = 1
FINGERPRINT = "7985ffc5412132c8"
# Of a layout: name, id, bits before padding or trail, least and most bytes, fields, trail.
# Of a field: key, bits, low, high, step, last code of a value, code for absent, circumference, whether a value beyond
# the range is refused (else it is clipped, or wrapped where there is a circumference), names.
_LAYOUTS = (
    (
        "position", 1, 93, 14, 14,
        (
            ("collar", 8, 0, 255, 1, 255, None, None, True, ()),
            ("counter", 8, 0, 255, 1, 255, None, 256, False, ()),
            ("latitude_e7", 23, -900000000, 900000000, 223, 8071749, 8388607, None, True, ()),
            ("longitude_e7", 24, -1800000000, 1800000000, 224, 16071428, 16777215, 3600000000, True, ()),
            ("altitude_cm", 12, -50000, 900000, 233, 4077, 4095, None, False, ()),
            ("battery_mv", 7, 2500, 4500, 20, 100, None, None, False, ()),
            ("fix_quality", 3, 0, 7, 1, 7, None, None, True, ()),
        ),
        None,
    ),
    (
        "track", 2, 93, 14, 32,
        (
            ("collar", 8, 0, 255, 1, 255, None, None, True, ()),
            ("counter", 8, 0, 255, 1, 255, None, 256, False, ()),
            ("latitude_e7", 23, -900000000, 900000000, 223, 8071749, 8388607, None, True, ()),
            ("longitude_e7", 24, -1800000000, 1800000000, 224, 16071428, 16777215, 3600000000, True, ()),
            ("altitude_cm", 12, -50000, 900000, 233, 4077, 4095, None, False, ()),
            ("battery_mv", 7, 2500, 4500, 20, 100, None, None, False, ()),
            ("fix_quality", 3, 0, 7, 1, 7, None, None, True, ()),
        ),
        # Points, bits of their count, how often cells may be doubled; of the position: places among the fields, cell,
        # starting values; of altitude: place, cell, starting values; of time: the seconds that are expected between
        # points where they are coded, those that are fixed, or the place and scale of the field that holds them.
        (10, 4, 0, (2, 3, 223, 6, 1, 1), None, (None, 30, None, None)),
    ),
    (
        "status", 3, 74, 12, 12,
        (
            ("collar", 8, 0, 255, 1, 255, None, None, True, ()),
            ("counter", 8, 0, 255, 1, 255, None, 256, False, ()),
            ("activity", 3, 0, 3, 1, 3, 7, None, True, ("resting", "grazing", "walking", "alarm")),
            ("temperature_e1", 8, -400, 600, 5, 200, 255, None, False, ()),
            ("satellites", 5, 0, 30, 1, 30, 31, None, False, ()),
            ("hdop_e2", 6, 0, 1240, 20, 62, 63, None, False, ()),
            ("battery_mv", 7, 2500, 4500, 20, 100, None, None, False, ()),
            ("gate_open", 1, 0, 1, 1, 1, None, None, True, (False, True)),
            ("time_s", 20, 1767225600, 1830140100, 60, 1048575, None, None, True, ()),
        ),
        None,
    ),
)

_VERSION_BITS = 4
_LAYOUT_BITS = 4
_CHECK_BYTES = 2
_POLE = 900000000
_HALF_CIRCLE = 1800000000
_MAX_CELLS = 1048575
_MAX_CLIMB = 1000000000

# A good packet: the name of its layout, its values, the points of its trail (newest first).
Packet = namedtuple("Packet", ("layout", "values", "trail"))
# An earlier position; altitude and age (seconds before the packet's own position) are None where they are not known.
Point = namedtuple("Point", ("latitude_e7", "longitude_e7", "altitude_cm", "age_s"))


class PacketFault(ValueError):
    """A packet that is refused: its first fault in decoding order, the key out of range or None, the first bit."""

    def __init__(self, status, field, offset):
        super().__init__(status if field is None else "%s: %s" % (status, field))
        self.status = status
        self.field = field
        self.offset = offset


class ValueFault(ValueError):
    """A value that cannot be sent: the layout it was meant for, its key or None."""

    def __init__(self, message, layout, field):
        super().__init__(message)
        self.layout = layout
        self.field = field


def decode(data):
    """What a packet (bytes, bytearray or memoryview) says, or PacketFault."""
    length = len(data)
    if length * 8 < _VERSION_BITS + _LAYOUT_BITS:
        raise PacketFault("too_short", None, 0)
    if _bits(data, 0, _VERSION_BITS) != VERSION:
        raise PacketFault("unknown_version", None, 0)
    layout = _by_id(_bits(data, _VERSION_BITS, _LAYOUT_BITS))
    behind = layout[2]
    if length < layout[3]:
        raise PacketFault("too_short", None, length * 8)
    if length > layout[4]:
        raise PacketFault("too_long", None, layout[4] * 8)
    end = length - _CHECK_BYTES
    codes = []
    at = _VERSION_BITS + _LAYOUT_BITS
    for field in layout[5]:
        codes.append(_bits(data, at, field[1]))
        at += field[1]
    if bytes(data[end:]) != _check(data[:end]):
        raise PacketFault("bad_check", None, end * 8)
    if layout[6] is None and _bits(data, behind, end * 8 - behind):
        raise PacketFault("bad_padding", None, behind)
    values = {}
    bases = []
    at = _VERSION_BITS + _LAYOUT_BITS
    for place, (key, bits, low, high, step, max_code, absent, _, _, names) in enumerate(layout[5]):
        code = codes[place]
        base = min(low + code * step, high)
        if code == absent:
            base = values[key] = None
        elif code > max_code:
            raise PacketFault("out_of_range", key, at)
        else:
            values[key] = names[code] if names else base
        bases.append(base)
        at += bits
    trail = ()
    if layout[6] is not None:
        trail = _read_trail(_Trail(layout[6]), bases, _Reader(data, behind, end * 8))
    return Packet(layout[0], values, trail)


def try_decode(data):
    """("ok", the packet), or the fault's name and None: never raises on the content of a packet."""
    try:
        return "ok", decode(data)
    except PacketFault as fault:
        return fault.status, None


def encode(layout, values, trail=()):
    """The packet of a layout's values (a dict, key to value), or ValueFault."""
    plan = _by_name(layout)
    fields = plan[5]
    for key in values:
        if not any(field[0] == key for field in fields):
            raise ValueFault("%s: no such value" % key, layout, key)
    writer = _Writer()
    writer.put(VERSION, _VERSION_BITS)
    writer.put(plan[1], _LAYOUT_BITS)
    codes = []
    for field in fields:
        codes.append(_code(layout, field, values.get(field[0])))
        writer.put(codes[-1], field[1])
    bases = []
    for field, code in zip(fields, codes):
        bases.append(None if code == field[6] else min(field[2] + code * field[4], field[3]))
    if plan[6] is not None:
        _write_trail(_Trail(plan[6]), layout, bases, trail, writer, (plan[4] - _CHECK_BYTES) * 8)
    elif trail:
        raise ValueFault("trail: this layout carries none", layout, "trail")
    data = writer.packed()
    data += _check(data)
    return data


def degrees(digits, hemisphere):
    """Degrees and minutes as a receiver prints them ("4630.7404", "N") in 1e-7 degree, halves away from zero.

    Reading ends at the first character that is no digit or point. ValueError: no such number, minutes of 60 or more,
    beyond 90 or 180 degrees, or fewer than four digits before the point, as decimal degrees have.
    """
    whole = 0
    while whole < len(digits) and "0" <= digits[whole] <= "9":
        whole += 1
    if whole < 4 or hemisphere not in ("N", "S", "E", "W"):
        raise ValueError("not degrees and minutes: %s %s" % (digits, hemisphere))
    micro = 0  # minutes in millionths: a half of 1e-7 degree is a whole number of them
    for place in range(6):
        at = whole + 1 + place
        good = digits[whole:whole + 1] == "." and at < len(digits) and "0" <= digits[at] <= "9"
        if not good:
            micro *= 10 ** (6 - place)
            break
        micro = micro * 10 + int(digits[at])
    minutes = int(digits[whole - 2:whole])
    e7 = int(digits[:whole - 2]) * 10000000 + (minutes * 1000000 + micro + 3) // 6
    if minutes > 59 or e7 > (900000000 if hemisphere in ("N", "S") else 1800000000):
        raise ValueError("not degrees and minutes: %s %s" % (digits, hemisphere))
    return -e7 if hemisphere in ("S", "W") else e7


def _by_id(number):
    for layout in _LAYOUTS:
        if layout[1] == number:
            return layout
    raise PacketFault("unknown_layout", None, _VERSION_BITS)


def _by_name(name):
    for layout in _LAYOUTS:
        if layout[0] == name:
            return layout
    raise ValueFault("%s is not a layout" % (name,), name, None)


def _bits(data, first, width):
    """`width` bits from the bit `first` on, most significant first."""
    value = 0
    end = first + width
    for place in range(first >> 3, (end + 7) >> 3):
        value = value << 8 | data[place]
    return value >> (-end & 7) & (1 << width) - 1


class _Writer:
    """Bits, one to a byte."""

    def __init__(self):
        self.bits = bytearray()

    def put(self, value, width):
        for place in range(width - 1, -1, -1):
            self.bits.append(value >> place & 1)

    def packed(self):
        data = bytearray((len(self.bits) + 7) >> 3)
        for place, bit in enumerate(self.bits):
            data[place >> 3] |= bit << (7 - (place & 7))
        return bytes(data)


def _code(layout, field, value):
    """The code of a value."""
    key, _, low, high, _, _, absent, _, refuse, names = field
    if value is None:
        if absent is None:
            raise ValueFault("%s: missing, and not optional" % key, layout, key)
        return absent
    if names:
        if value not in names:
            raise ValueFault("%s: %r is not one of %r" % (key, value, names), layout, key)
        return names.index(value)
    if value is True or value is False or not isinstance(value, int):
        raise ValueFault("%s: %r is not a whole number" % (key, value), layout, key)
    if refuse and not low <= value <= high:
        raise ValueFault("%s: %d is outside %d..%d" % (key, value, low, high), layout, key)
    return _nearest_code(field, value)


def _nearest_code(field, value):
    """The code of a whole number, clipped or wrapped."""
    _, _, low, high, step, max_code, _, circumference, _, _ = field
    if circumference is None:
        offset = min(max(value, low), high) - low
    else:
        offset = (value - low) % circumference
    code = (offset + step // 2) // step
    return code if circumference is None or code <= max_code else 0


def _check(data):
    # CRC-16/M17, started from the schema's fingerprint of some bytes, as it stands in a packet.
    state = 0xf3e1
    for byte in data:
        state ^= byte << 8
        for _ in range(8):
            state = (state << 1 & 0xffff) ^ (0x5935 if state >> 15 else 0)
    return bytes([state >> place & 255 for place in (8, 0)])


# The trail: points in square cells around the packet's own position, each coded by what a guess leaves of it.


class _BadTrail(Exception):
    """Bits that no encoder writes."""


class _Trail:
    """The trail of a layout."""

    def __init__(self, row):
        self.points, self.count_bits, self.coarsenings, position, altitude, time = row
        self.north, self.east, self.step, self.initial_scale, self.scale_rate, self.bend = position
        self.altitude = altitude
        self.interval_seed, self.spacing, self.spacing_place, self.spacing_scale = time

    def anchor(self, bases):
        """The packet's own position, or None."""
        if bases[self.north] is None or bases[self.east] is None:
            return None
        return bases[self.north], bases[self.east], None if self.altitude is None else bases[self.altitude[0]]

    def interval(self, bases):
        """Seconds from point to point, or None where they are coded or not known."""
        if self.spacing_place is None:
            return self.spacing
        base = bases[self.spacing_place]
        return None if base is None else base // self.spacing_scale


def _nearest(offset, step):
    """The nearest whole number to a quotient, halves away from zero."""
    cells = (abs(offset) + step // 2) // step
    return -cells if offset < 0 else cells


def _reach(step):
    """Farthest cell of an axis."""
    return min(_MAX_CELLS, (_HALF_CIRCLE + step // 2) // step)


class _Reader:
    """Bits being read, up to the bit `end`."""

    def __init__(self, data, at, end):
        self.data = data
        self.at = at
        self.end = end

    def take(self, width):
        at = self.at
        self.at += width
        if self.at > self.end:
            raise _BadTrail()
        return _bits(self.data, at, width)

    def code(self, _, order, steady):
        """Read a residual."""
        rest = 0
        while self.take(1):
            rest += 1 << order
            steady -= 1
            if steady <= 0:
                order += 1
            if order > 24:
                raise _BadTrail()
        rest += self.take(order)
        return -(rest >> 1) - 1 if rest & 1 else rest >> 1


class _Residuals(_Writer):
    """Residuals being written."""

    def code(self, residual, order, steady):
        """Write a residual, and give it back."""
        rest = 2 * residual if residual >= 0 else -2 * residual - 1
        while rest >= 1 << order:
            self.bits.append(1)
            rest -= 1 << order
            steady -= 1
            if steady <= 0:
                order += 1
        self.put(rest, order + 1)
        return residual


class _Group:
    """Axes that share one scale and one choice of guess."""

    def __init__(self, limits, initial_scale, scale_rate, bend, rising=False):
        self.limits = limits
        self.bend = bend
        self.scale_rate = scale_rate
        self.rising = rising  # the axis never goes back: seconds between points
        self.fresh = True
        self.sum = initial_scale
        self.count = 1
        self.errors = [0, 0, 0]
        self.now = [0 for _ in limits]
        self.last = self.now[:]
        self.before = self.last

    def holds(self, cells):
        """Whether the cells of a point lie within the limits, and do not go back where the axis never does."""
        for cell, limit in zip(cells, self.limits):
            if abs(cell) > limit:
                return False
        return not self.rising or cells[0] >= self.now[0]

    def order(self):
        """The order of the next residual."""
        order = 0
        while self.count << order < self.sum:
            order += 1
        return order

    def pick(self):
        """The guess that has been wrong by least, of equal ones the last."""
        pick = 0
        for other in (1, 2):
            if self.errors[other] <= self.errors[pick]:
                pick = other
        return pick

    def code(self, cells, coder):
        """Write the cells of one point, or read them for None."""
        pick = self.pick()
        self.errors = [error - (error >> 3) for error in self.errors]
        moves = []
        for axis, limit in enumerate(self.limits):
            last = self.last[axis]
            guesses = (0, last, last + ((self.bend * (last - self.before[axis]) + 1) >> 1))
            wanted = None if cells is None else cells[axis] - self.now[axis] - guesses[pick]
            rest = coder.code(wanted, self.order(), 1 if self.fresh else 5)
            moved = guesses[pick] + rest
            self.now[axis] += moved
            if (self.rising and moved < 0) or abs(self.now[axis]) > limit:
                raise _BadTrail()
            self.sum += abs(rest)
            self.count += 1
            if self.count == 8:
                self.sum >>= 1
                self.count >>= 1
            for number, guess in enumerate(guesses):
                self.errors[number] += abs(moved - guess)
            moves.append(moved)
        self.before = moves if self.fresh else self.last
        self.last = moves
        if self.fresh:
            self.fresh = False
            self.sum = self.scale_rate
            self.count = 1
            self.errors = [0, 0, 2]


class _Grid:
    """The cells of one packet."""

    def __init__(self, trail, anchor, coarsened):
        self.anchor = anchor
        self.step = trail.step << coarsened
        whole = min(abs(anchor[0]) // 10000000, 89)
        self.wide = self.step * (32400 + whole * whole) // (32400 - 4 * whole * whole)
        self.climb = 0 if anchor[2] is None else trail.altitude[1] << coarsened
        self.timed = trail.interval_seed is not None
        limits = (_reach(self.step), _reach(self.wide))
        initial_scale = max(1, trail.initial_scale >> coarsened)
        self.groups = [_Group(limits, initial_scale, max(1, trail.scale_rate >> coarsened), trail.bend)]
        if self.climb:
            limits = (min(_MAX_CELLS, _MAX_CLIMB // self.climb),)
            initial_scale = max(1, trail.altitude[2] >> coarsened)
            scale_rate = max(1, trail.altitude[3] >> coarsened)
            self.groups.append(_Group(limits, initial_scale, scale_rate, trail.bend))
        if self.timed:
            self.groups.append(_Group((_MAX_CELLS,), trail.interval_seed, 1, trail.bend, True))

    def cells(self, point):
        """The cells of a point, one tuple to a group, or None for a point that the trail cannot carry."""
        latitude, longitude, altitude, age = point
        east = longitude - self.anchor[1]
        if east > _HALF_CIRCLE:
            east -= 2 * _HALF_CIRCLE
        elif east < -_HALF_CIRCLE:
            east += 2 * _HALF_CIRCLE
        found = [(_nearest(latitude - self.anchor[0], self.step), _nearest(east, self.wide))]
        if self.climb:
            if altitude is None:
                return None
            found.append((_nearest(altitude - self.anchor[2], self.climb),))
        if self.timed:
            if age is None:
                return None
            found.append((age,))
        for group, cells in zip(self.groups, found):
            if not group.holds(cells):
                return None
        return found

    def point(self, age):
        """The point that the groups stand at."""
        north, east = self.groups[0].now
        latitude = self.anchor[0] + north * self.step
        if 2 * (abs(latitude) - _POLE) > self.step:
            raise _BadTrail()
        longitude = (self.anchor[1] + east * self.wide + _HALF_CIRCLE) % (2 * _HALF_CIRCLE) - _HALF_CIRCLE
        altitude = self.anchor[2] + self.groups[1].now[0] * self.climb if self.climb else None
        if self.timed:
            age = self.groups[-1].now[0]
        return Point(max(-_POLE, min(_POLE, latitude)), longitude, altitude, age)


def _read_trail(trail, bases, reader):
    """The points in the bits behind the fields, or PacketFault."""
    offset = reader.at
    points = []
    try:
        anchor = trail.anchor(bases)
        if anchor is not None:
            count = trail.points
            if not reader.take(1):
                count = reader.take(trail.count_bits)
                if count >= trail.points:
                    raise _BadTrail()
            coarsened = 0
            while coarsened < trail.coarsenings and reader.take(1):
                coarsened += 1
            grid = _Grid(trail, anchor, coarsened)
            interval = trail.interval(bases)
            for number in range(1, count + 1):
                for group in grid.groups:
                    group.code(None, reader)
                points.append(grid.point(None if interval is None else number * interval))
        left = reader.end - reader.at
        if left > 7 or reader.take(left):
            raise _BadTrail()
    except _BadTrail:
        raise PacketFault("bad_trail", None, offset) from None
    return points


def _place(layout, given, number):
    """A point as it is given, in full."""
    point = (tuple(given) + (None, None, None, None))[:4]
    for place, most in enumerate((_POLE, _HALF_CIRCLE, 1010000000, 2147483647)):
        value = point[place]
        if value is None and place > 1:
            continue
        least = -most if place < 3 else 0
        if value is True or value is False or not isinstance(value, int) or not least <= value <= most:
            raise ValueFault("trail: point %d: %r is outside %d..%d" % (number, value, least, most), layout, "trail")
    return point


def _write_trail(trail, layout, bases, given, writer, most):
    """Append the trail: as many points as fit, on a coarser grid if the schema says so."""
    points = [_place(layout, point, number) for number, point in enumerate(given, 1)][:trail.points]
    anchor = trail.anchor(bases)
    if anchor is None:
        return
    room = most - len(writer.bits)
    for coarsened in range(trail.coarsenings + 1):
        body, ends = _written(_Grid(trail, anchor, coarsened), points, room)
        kept = len(ends) - 1
        while kept and len(_front(trail, kept, coarsened)) + ends[kept] > room:
            kept -= 1
        if kept == len(ends) - 1:
            break
    writer.bits += _front(trail, kept, coarsened)
    writer.bits += body[:ends[kept]]


def _front(trail, count, coarsened):
    """The bits of count and coarsenings."""
    front = _Writer()
    if count == trail.points:
        front.put(1, 1)
    else:
        front.put(count, 1 + trail.count_bits)
    if trail.coarsenings:
        front.put((1 << coarsened) - 1, coarsened)
        if coarsened < trail.coarsenings:
            front.put(0, 1)
    return front.bits


def _written(grid, points, room):
    """The bits of the points that the grid can carry, up to what is too long; where those of 0, 1 ... points end."""
    residuals = _Residuals()
    ends = [0]
    for point in points:
        found = grid.cells(point)
        if found is None or ends[-1] > room:
            break
        for group, cells in zip(grid.groups, found):
            group.code(cells, residuals)
        ends.append(len(residuals.bits))
    return residuals.bits, ends


class TrailMemory:
    """What a tracker remembers to send along: its last positions.

    With a fixed spacing a point's place in the trail is its age: point k is the last position in the half spacing
    before the moment k spacings ago; where there is none the list ends. A trail that carries ages takes the last
    positions, whatever lies between them.

    `spacing`: seconds between points where a value of the packet says them; make another memory when it changes.
    `apart`: positions that come faster than that many seconds replace one another, to save memory (about 50 bytes
    each); by default a sixteenth of the spacing: at most so many seconds more is a point older than its place says.
    """

    def __init__(self, layout, spacing=None, apart=None):
        row = _by_name(layout)[6]
        if row is None:
            raise ValueFault("%s carries no trail" % layout, layout, "trail")
        trail = _Trail(row)
        self._coded = trail.interval_seed is not None
        self._spacing = spacing if trail.spacing is None else trail.spacing
        if not self._coded and not self._spacing:
            raise ValueFault("%s: give the spacing, which a value of the packet says" % layout, layout, "trail")
        self._points = trail.points
        self._apart = (self._spacing or 0) // 16 if apart is None else apart
        self._kept = []

    def remember(self, time, latitude_e7, longitude_e7, altitude_cm=None):
        """Keep the position of a time in whole seconds; times that run backwards forget all that was before."""
        kept = self._kept
        if kept and time < kept[-1][0]:
            del kept[:]
        if kept and time == kept[-1][0]:
            return
        fix = (time, latitude_e7, longitude_e7, altitude_cm)
        if len(kept) > 1 and time - kept[-2][0] < self._apart:
            kept[-1] = fix
        else:
            kept.append(fix)
        if self._coded:
            del kept[:-self._points - 1]
        else:
            while 2 * (time - kept[0][0]) >= (2 * self._points + 1) * self._spacing and len(kept) > 1:
                del kept[0]

    def points(self, now):
        """The trail of a packet whose own position is of the time `now`, newest first, for `encode`."""
        found = []
        if self._coded:
            for fix in reversed(self._kept):
                if fix[0] < now and len(found) < self._points:
                    found.append(Point(fix[1], fix[2], fix[3], now - fix[0]))
            return found
        place = len(self._kept) - 1
        for number in range(1, self._points + 1):
            moment = now - number * self._spacing
            while place >= 0 and self._kept[place][0] > moment:
                place -= 1
            if place < 0 or 2 * (moment - self._kept[place][0]) >= self._spacing:
                break
            fix = self._kept[place]
            found.append(Point(fix[1], fix[2], fix[3], number * self._spacing))
        return found
