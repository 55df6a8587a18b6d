"""Section 2.10 of a specification, followed from its text alone."""

from __future__ import annotations

U32 = 2**32


class LowBitsReader:
    """One field that is sent by its low bits: a row of the table in section 2.10."""

    def __init__(self, row, field):
        self.field = field
        self.k, self.m = int(row["k (width)"]), int(row["modulus M"])
        self.absent = row["all ones"] == "absent"
        self.high_width, self.reach = int(row["width of the high part"]), int(row["reach"])
        assert self.k == field["width"]
        assert self.m == (1 << self.k) - self.absent

    def sent(self, raw):
        """The remainder of a raw code."""
        return (1 << self.k) - 1 if raw == self.field["absent"] else raw % self.m

    def high(self, raw):
        """The high part as bits."""
        return f"{0 if raw == self.field['absent'] else raw // self.m:0{self.high_width}b}"

    def tried(self, s, reference):
        """The raw codes that are tried for a remainder, in order."""
        if self.absent and s == (1 << self.k) - 1:
            return [self.field["absent"]]
        return [] if reference is None else self._near(s, self._code(reference))

    def _code(self, base):
        low, high, step, modulus = (self.field[key] for key in ("low", "high", "step", "modulus"))
        base = low + (base - low) % modulus if modulus else max(low, min(base, high))
        raw = (base - low + step // 2) // step
        return 0 if modulus and raw > self.field["max_code"] else raw

    def _near(self, s, r):
        big, m = self.m, self.field["max_code"]
        up = (s + big - r % big) % big
        down = big - up
        if up > m - r or (down <= r and down <= up):
            near, distance = r - down, down
        else:
            near, distance = r + up, up
        if not self.field["modulus"]:
            return [near]
        if r <= m // 2:
            far, across = s + (m - s) // big * big, r + (m + 1 - (s + (m - s) // big * big))
        else:
            far, across = s, (m + 1 - r) + s
        assert max(s + big, r + (m + 1 - far) if r <= m // 2 else across, near, far) < U32
        first, second = ((near, distance), (far, across)) if distance <= across else ((far, across), (near, distance))
        return [first[0]] + [second[0]] * (second[1] <= self.reach)
