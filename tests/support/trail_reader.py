"""The trail of a layout, decoded and encoded after sections 4 and 7.1 of a specification alone.

Numbers that the text promises to fit 32 bits are watched.
"""

from __future__ import annotations

import math


class BadTrail(Exception):
    """The fault of section 6.8."""


def signed(number):
    assert -(2**31) <= number < 2**31
    return number


def unsigned(number):
    assert 0 <= number < 2**32
    return number


def rounded(number):
    """Section 2.3: to the nearest whole number, half way to the even one."""
    low = math.floor(number)
    return low + (number - low > 0.5 or (number - low == 0.5 and low % 2 == 1))


class Bits:
    """A row of bits to read from, as text of 0 and 1."""

    def __init__(self, text):
        self.text, self.place = text, 0

    def __call__(self, width):
        if self.place + width > len(self.text):
            raise BadTrail("too few bits")
        piece = self.text[self.place : self.place + width]
        self.place += width
        return int(piece or "0", 2)


def read_number(bits, order, patience):
    u = 0
    while bits(1) == 1:
        u = signed(u + (1 << order))
        patience -= 1
        if patience <= 0:
            order += 1
        if order > 24:
            raise BadTrail("order")
    u = signed(u + bits(order))
    return -(u // 2) - 1 if u % 2 else u // 2


def put_number(r, order, patience):
    u = 2 * r if r >= 0 else -2 * r - 1
    out = ""
    while u >= 1 << order:
        out += "1"
        u -= 1 << order
        patience -= 1
        if patience <= 0:
            order += 1
    return out + "0" + (f"{u:0{order}b}" if order else "")


class Group:
    """Section 4.4."""

    def __init__(self, limits, first, change, *, wandering=False, forward=False):
        self.limits, self.change, self.wandering, self.forward = limits, change, wandering, forward
        self.sum, self.count, self.patience, self.error = first, 1, 1, [0, 0, 0]
        self.at, self.last, self.before = ([0] * len(limits) for _ in range(3))

    def move(self, code):
        """One point; `code(axis, at, guess, order, patience)` gives the residual, read or written."""
        pick = 0
        for i in (1, 2):
            if self.error[i] <= self.error[pick]:
                pick = i
        self.error = [error - (error >> 3) for error in self.error]
        for axis, limit in enumerate(self.limits):
            last, before = self.last[axis], self.before[axis]
            ahead = (last + before + 1) >> 1 if self.wandering else last + ((last - before + 1) >> 1)
            guess = [0, last, ahead]
            order = 0
            while signed(self.count << order) < self.sum:
                order += 1
            r = code(axis, self.at[axis], guess[pick], order, self.patience)
            moved = signed(guess[pick] + r)
            self.at[axis] = signed(self.at[axis] + moved)
            if (self.forward and moved < 0) or abs(self.at[axis]) > limit:
                raise BadTrail("beyond")
            assert abs(r) < 2**23
            self.sum = self.sum + abs(r)
            assert self.sum < 2**26
            self.count += 1
            if self.count == 8:
                self.sum, self.count = self.sum >> 1, 4
            self.error = [error + abs(moved - one) for error, one in zip(self.error, guess, strict=True)]
            assert max(self.error) < 2**27
            self.before[axis], self.last[axis] = last, moved
        if self.patience == 1:
            self.before = list(self.last)
            self.sum, self.count, self.patience, self.error = self.change, 1, 5, [0, 0, 2]


class TrailReader:
    """The trail of one layout, made of its table of constants and what is said about age."""

    def __init__(self, rows, body):
        self.constant = {row["constant"]: int(row["value"]) for row in rows}
        self.body = body
        self.members = {"latitude": (10000000, -900000000, 900000000), "longitude": (10000000, -1800000000, 1800000000)}
        if "ALTITUDE_CELL" in self.constant:
            self.members["altitude"] = (100, -1010000000, 1010000000)
        if "INTERVAL_SEED" in self.constant:
            self.members["age"] = (1, 0, 2147483647)

    def taken(self, given):
        """Section 7.1: a point in base units; ValueError for one that is refused."""
        found = {}
        for name, (scale, least, most) in self.members.items():
            value = found[name] = given.get(name)
            if value is None:
                if name in ("latitude", "longitude"):
                    raise ValueError
                continue
            if isinstance(value, (str, bool)) or not least <= value * scale <= most:
                raise ValueError
            found[name] = rounded(value * scale)
        return found

    def groups(self, anchor, shift):
        c = self.constant
        latitude = abs(anchor["latitude"])
        step = c["CELL"] << shift
        x = min(latitude // 10000000, 89)
        wide = unsigned(step * (32400 + x * x)) // (32400 - 4 * x * x)
        limits = [min(1048575, unsigned(1800000000 + cell // 2) // cell) for cell in (step, wide)]
        wandering = "WANDERING" in c
        scales = max(1, c["INITIAL_SCALE"] >> shift), max(1, c["SCALE_RATE"] >> shift)
        groups = [Group(limits, *scales, wandering=wandering)]
        self.climb = None
        if "ALTITUDE_CELL" in c and anchor["altitude"] is not None:
            self.climb = c["ALTITUDE_CELL"] << shift
            first, change = max(1, c["ALTITUDE_INITIAL_SCALE"] >> shift), max(1, c["ALTITUDE_SCALE_RATE"] >> shift)
            groups.append(Group([min(1048575, 1000000000 // self.climb)], first, change, wandering=wandering))
        if "INTERVAL_SEED" in c:
            groups.append(Group([1048575], c["INTERVAL_SEED"], 1, wandering=wandering, forward=True))
        return step, wide, groups

    @staticmethod
    def place(anchor, north, east, step, wide):
        """From a cell back to a point, in 32 bits."""
        h = anchor["latitude"]
        off = signed(north * step)
        if off > 900000000 - h:
            if signed(off - (900000000 - h)) > step // 2:
                raise BadTrail("pole")
            latitude = 900000000
        elif off < -900000000 - h:
            if signed((-900000000 - h) - off) > step // 2:
                raise BadTrail("pole")
            latitude = -900000000
        else:
            latitude = signed(h + off)
        u, off = unsigned(anchor["longitude"] + 1800000000), unsigned(abs(signed(east * wide)))
        if east >= 0:
            u = unsigned(off - (3600000000 - u)) if off >= unsigned(3600000000 - u) else unsigned(u + off)
        else:
            u = unsigned(3600000000 - (off - u)) if off > u else unsigned(u - off)
        return latitude, signed(u - 1800000000)

    def decode(self, text, anchor):
        """Section 4.5: the points (latitude, longitude, altitude, age or None) in the bits behind the fields."""
        bits, points = Bits(text), []
        if anchor is not None:
            c = self.constant
            n = c["POINTS"]
            if bits(1) == 0:
                n = bits(c["COUNT_BITS"])
                if n >= c["POINTS"]:
                    raise BadTrail("count")
            shift = 0
            while shift < c.get("COARSENINGS", 0) and bits(1) == 1:
                shift += 1
            step, wide, groups = self.groups(anchor, shift)
            for _ in range(n):
                for group in groups:
                    group.move(lambda *state: read_number(bits, *state[3:]))
                place = self.place(anchor, *groups[0].at, step, wide)
                altitude = None if self.climb is None else signed(anchor["altitude"] + groups[1].at[0] * self.climb)
                points.append((*place, altitude, groups[-1].at[0] if "INTERVAL_SEED" in c else None))
        if len(text) - bits.place >= 8 or "1" in text[bits.place :]:
            raise BadTrail("padding")
        return points

    def cells(self, anchor, point, step, wide, groups):
        """The cells of a point by group, or None where it cannot be carried (section 4.6)."""

        def cells(offset, cell):
            return unsigned(offset + cell // 2) // cell

        north = cells(abs(signed(point["latitude"] - anchor["latitude"])), step)
        a, b = unsigned(point["longitude"] + 1800000000), unsigned(anchor["longitude"] + 1800000000)
        d, west = (a - b, False) if a >= b else (b - a, True)
        if d > 1800000000:
            d, west = 3600000000 - d, not west
        east = cells(d, wide)
        found = [[-north if point["latitude"] < anchor["latitude"] else north, -east if west else east]]
        if self.climb is not None:
            if point["altitude"] is None:
                return None
            up = cells(abs(point["altitude"] - anchor["altitude"]), self.climb)
            found.append([-up if point["altitude"] < anchor["altitude"] else up])
        if "INTERVAL_SEED" in self.constant:
            if point["age"] is None or not groups[-1].at[0] <= point["age"] <= 1048575:
                return None
            found.append([point["age"]])
        for group, wanted in zip(groups, found, strict=True):
            if any(abs(cell) > limit for cell, limit in zip(wanted, group.limits, strict=True)):
                return None
        return found

    def encode(self, anchor, points, room):
        """Section 4.6: bits as text, and how many points they hold."""
        if anchor is None:
            return "", 0
        c = self.constant
        for shift in range(c.get("COARSENINGS", 0) + 1):
            step, wide, groups = self.groups(anchor, shift)
            pieces = [""]
            for point in points[: c["POINTS"]]:
                wanted = self.cells(anchor, point, step, wide, groups)
                if wanted is None:
                    break
                pieces.append(pieces[-1])
                for group, cells in zip(groups, wanted, strict=True):

                    def code(axis, at, guess, order, patience, cells=cells, pieces=pieces):
                        r = cells[axis] - at - guess
                        pieces[-1] += put_number(r, order, patience)
                        return r

                    group.move(code)
            fitting = [k for k, piece in enumerate(pieces) if len(self.front(k, shift)) + len(piece) <= room]
            if len(pieces) - 1 in fitting:
                break
        k = max(fitting)
        return self.front(k, shift) + pieces[k], k

    def front(self, k, shift):
        c = self.constant
        bits = "1" if k == c["POINTS"] else "0" + (f"{k:0{c['COUNT_BITS']}b}" if c["COUNT_BITS"] else "")
        if "COARSENINGS" in c:
            bits += "1" * shift + "0" * (shift < c["COARSENINGS"])
        return bits
