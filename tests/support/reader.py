"""A decoder and an encoder that know nothing but the text of a specification.

They import nothing of the package: the tables are read from the text, the rules written after its numbered sections.
Where a rule could not be followed without further knowledge, the text was mended, not this file.
"""

from __future__ import annotations

import math
import re
from itertools import product

from tests.support.low_bits_reader import LowBitsReader
from tests.support.trail_reader import BadTrail, TrailReader, rounded

U32 = 2**32


def tables(text):
    """Every Markdown table of a piece of text, each a list of rows by column."""
    found = []
    for block in re.findall(r"(?:^\|.*\|\n)+", text, re.MULTILINE):
        rows = [[cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]] for line in block.splitlines()]
        found.append([dict(zip(rows[0], row, strict=True)) for row in rows[2:]])
    return found


class Reader:
    """Decodes and encodes after the text, statuses and offsets included."""

    def __init__(self, text):
        parts = dict(re.findall(r"^## (\d+) [^\n]*\n(.*?)(?=^## |\Z)", text, re.MULTILINE | re.DOTALL))
        self.version = int(re.match(r"# \w+, version (\d+)", text)[1])
        header = parts["3"]
        self.version_bits = self.width(header, "the version, here")
        self.layout_bits = self.width(header, "The layout id is")
        self.layouts, self.trails = {}, {}
        self.bounds = {row["layout"]: row for row in tables(parts["3"])[0]}
        for name, ident, body in re.findall(
            r"^### 3\.\d+ Layout (\w+), id (\d+)\n(.*?)(?=^### |\Z)", parts["3"], re.MULTILINE | re.DOTALL
        ):
            names = re.findall(r"^Codes of (\w+) \w+: (.*?)\.\n", body, re.MULTILINE | re.DOTALL)
            if like := re.search(r"^Its fields are those of layout (\w+) ", body, re.MULTILINE):
                fields, more = self.layouts[like[1]][1], tables(body)
            else:
                wire, meaning, *more = tables(body)
                fields = [self._field(row, other) for row, other in zip(wire, meaning, strict=True)]
            for key, words in names:
                next(item for item in fields if item["key"] == key)["names"] = re.findall(r"\d+\s+is\s+(\w+)", words)
            if f"Constants of the trail of {name}:" in " ".join(body.split()):
                self.trails[name] = TrailReader(more[0], " ".join(body.split()))
            self.layouts[name] = (int(ident), fields)
        low_bits = re.search(r"^### 2\.10 Low bits\n(.*?)(?=^## |\Z)", parts["2"], re.MULTILINE | re.DOTALL)
        for low in tables(low_bits[1])[0] if low_bits else ():
            field = next(item for item in self.layouts[low["layout"]][1] if item["name"] == low["field"])
            field["low bits"] = LowBitsReader(low, field)
        self.crc = {}
        self.procedure = "".join(re.findall(r"^### 5\.3.*?```\n(.*?)```", parts["5"], re.MULTILINE | re.DOTALL))
        if "### 5.1" in parts["5"]:
            self.crc = {row["parameter"]: row["value"] for row in tables(parts["5"])[0]}
        self.whole = (
            re.search(r"In fields of kind (.*?) the scale is 1", text, re.DOTALL)[1].replace(" and ", ", ").split(", ")
        )

    @staticmethod
    def width(header, words):
        """Bits of a part of the header, 0 where there is none."""
        bits = re.search(rf"{words}[\w ,]*\s+in\s+bits\s+(\d+)(?:\.\.(\d+))?", header)
        return int(bits[2] or bits[1]) - int(bits[1]) + 1 if bits else 0

    @staticmethod
    def _field(row, more):
        field = {"key": row["key"], "name": row["field"], "kind": more["kind"], "beyond": row["beyond"]}
        field["first"] = int(row["bits"].split("..")[0])
        for key in ("width", "low", "high", "step", "max_code"):
            field[key] = int(row[key])
        field["absent"] = None if row["absent_code"] == "-" else int(row["absent_code"])
        field["low bits"] = None
        field["modulus"] = None if row["modulus"] == "-" else int(row["modulus"])
        if more["scale"] != "-":
            field["scale"], field["origin"] = int(more["scale"]), int(more["origin"])
        return field

    def check(self, data):
        """Section 5.3, with the constants that stand in it."""
        width = int(self.crc["width"])
        state = int(re.search(r"state = (0x\w+);", self.procedure)[1], 16)
        polynomial = int(re.search(r"1\) \^ (0x\w+)", self.procedure)[1], 16)
        mirrored = "state >> 1" in self.procedure
        for byte in data:
            state ^= byte if mirrored else byte << width - 8
            for _ in range(8):
                if mirrored:
                    state = state >> 1 ^ polynomial if state & 1 else state >> 1
                else:
                    top = state >> width - 1
                    state = (state << 1 ^ polynomial * top) & (1 << width) - 1
        check = state ^ int(re.search(r"check = state \^ (0x\w+);", self.procedure)[1], 16)
        return check.to_bytes(width // 8, "little" if mirrored else "big")

    @staticmethod
    def unsent(fields, codes):
        """Section 5.2: the bytes of the high parts."""
        bits = "".join(field["low bits"].high(codes[field["name"]]) for field in fields if field["low bits"])
        return bytes(int(bits[place : place + 8].ljust(8, "0"), 2) for place in range(0, len(bits), 8))

    def decode(self, data, references=None):
        """Section 6: status, field, offset, and the layout's name and raw codes and values of a good packet."""
        bits = "".join(f"{byte:08b}" for byte in data)
        head = self.version_bits + self.layout_bits
        if len(bits) < head:
            return ("too_short", None, 0), None
        if int(bits[: self.version_bits], 2) != self.version:
            return ("unknown_version", None, 0), None
        ident = int(bits[self.version_bits : head] or "0", 2)
        name = next((name for name, layout in self.layouts.items() if layout[0] == ident), None)
        if name is None:
            return ("unknown_layout", None, self.version_bits), None
        _, fields = self.layouts[name]
        row = self.bounds[name]
        if len(data) < int(row["least bytes"]):
            return ("too_short", None, 8 * len(data)), None
        if len(data) > int(row["most bytes"]):
            return ("too_long", None, 8 * int(row["most bytes"])), None
        covered = len(data) - (int(self.crc["width"]) // 8 if self.crc else 0)
        assert row["first check bit"].replace("bytes", str(len(data))) in (
            "none",
            str(8 * covered),
            f"8 * ({len(data)} - {len(data) - covered})",
        )
        sent = {field["name"]: int(bits[field["first"] : field["first"] + field["width"]], 2) for field in fields}
        codes = self.resolved(fields, sent, references or {}, data, covered)
        if codes is None:
            return ("bad_check", None, 8 * covered), None
        end = fields[-1]["first"] + fields[-1]["width"]
        assert end == int(row["first bit behind the fields"])
        if name not in self.trails and "1" in bits[end : 8 * covered]:
            return ("bad_padding", None, end), None
        values = {}
        for field in fields:
            raw = codes[field["name"]]
            if raw > field["max_code"] and raw != field["absent"]:
                return ("out_of_range", field["name"], field["first"]), None
        for field in fields:
            values[field["name"]] = self.value(field, codes[field["name"]])
        try:
            trail = self.trail(name, bits[end : 8 * covered], codes, values)
        except BadTrail:
            return ("bad_trail", None, end), None
        return ("ok", None, None), (name, codes, values, trail)

    def resolved(self, fields, sent, references, data, covered):
        """Sections 2.10 and 6.5: the raw codes for which the check is right, or None."""
        tried = [
            field["low bits"].tried(sent[field["name"]], references.get(field["name"]))
            if field["low bits"]
            else [sent[field["name"]]]
            for field in fields
        ]
        for some in product(*tried):
            codes = dict(zip(sent, some, strict=True))
            if not self.crc or self.check(self.unsent(fields, codes) + data[:covered]) == data[covered:]:
                return codes
        return None

    def trail(self, name, bits, codes, values):
        """Section 4.5: the points in the bits behind the fields, or None for a layout without a trail."""
        if name not in self.trails:
            return None
        points = self.trails[name].decode(bits, self.anchor(self.layouts[name][1], codes))
        return [self.point(name, values, number, point) for number, point in enumerate(points, 1)]

    @staticmethod
    def anchor(fields, codes):
        """Section 4.1: the position in base units as the receiver decodes it, or None."""
        found = {"altitude": None}
        for field in fields:
            if field["kind"] in ("latitude", "longitude", "altitude"):
                raw = codes[field["name"]]
                base = min(field["low"] + raw * field["step"], field["high"])
                found[field["kind"]] = None if raw == field["absent"] else base
        return None if found["latitude"] is None or found["longitude"] is None else found

    def point(self, name, values, number, point):
        """A point in base units, its age after section 3."""
        latitude, longitude, altitude, age = point
        body = self.trails[name].body
        if constant := re.search(r"is n \* (\d+) seconds older", body):
            age = number * int(constant[1])
        elif field := re.search(r"n times the value of field (\w+), in whole seconds", body):
            age = None if values[field[1]] is None else number * math.floor(values[field[1]])
        found = {"latitude": latitude, "longitude": longitude, "altitude": altitude, "age": age}
        if "ALTITUDE_CELL" not in self.trails[name].constant:
            del found["altitude"]
        return found

    @staticmethod
    def value(field, raw):
        """Sections 2.6 and 2.7."""
        if raw == field["absent"]:
            return None
        low, high = field["low"], field["high"]
        base = min(low + raw * field["step"], high)
        offset = min(raw * field["step"] % U32, (high % U32 - low % U32) % U32)  # section 2.2
        assert base % U32 == (low % U32 + offset) % U32
        if "names" in field:
            return field["names"][raw]
        if field["kind"] == "flag":
            return raw == 1
        return base + field["origin"] if field["scale"] == 1 else base / field["scale"]

    def base(self, field, value):
        """Section 2.3; ValueError for a refused value."""
        if "names" in field:
            if not isinstance(value, str):
                raise ValueError
            return field["names"].index(value)
        if field["kind"] == "flag" and not isinstance(value, str) and value in (0, 1):
            return int(value)
        if isinstance(value, (str, bool)) or not math.isfinite(value) or field["kind"] == "flag":
            raise ValueError
        if value == int(value) and (isinstance(value, int) or field["kind"] in self.whole):
            return int(value) * field["scale"] - field["origin"]
        if field["kind"] in self.whole or math.isinf(value * field["scale"]):
            raise ValueError
        return rounded(value * field["scale"]) - field["origin"]

    @staticmethod
    def raw(field, base):
        """Sections 2.4 and 2.5; ValueError for a refused base."""
        low, high, step = field["low"], field["high"], field["step"]
        if field["beyond"] == "clip":
            base = max(low, min(base, high))
        elif field["beyond"] == "wrap":
            modulus = field["modulus"]
            if -(2**31) <= base < U32:
                assert (low + (base - low) % modulus) % U32 == Reader.wrapped(low, modulus, base)
            base = low + (base - low) % modulus
        elif not low <= base <= high:
            raise ValueError
        elif field["modulus"] and base == high:
            if field["scale"] == 1:
                raise ValueError
            base = low
        raw = (base - low + step // 2) // step
        # The lines of C in section 2.2, in 32 bits.
        assert raw == ((base % U32 - low % U32) % U32 + step // 2) % U32 // step
        return 0 if field["modulus"] and raw > field["max_code"] else raw

    @staticmethod
    def wrapped(low, modulus, x):
        """The lines of C in section 2.4, in 32 bits."""
        if low == 0 and modulus & modulus - 1 == 0:
            return x % U32 & modulus - 1
        if x >= low:
            d = (x - low) % U32 % modulus
        else:
            d = (low - x) % U32 % modulus
            d = modulus - d if d else 0
        return (low + d) % U32

    def encode(self, name, values, given=()):
        """Section 7: bases, raw codes, points, packet and number of points sent; or the name of the refused field."""
        ident, fields = self.layouts[name]
        for key in values:
            if key not in [field["name"] for field in fields]:
                return key
        bases, codes = {}, {}
        bits = f"{self.version:0{self.version_bits}b}" + (f"{ident:0{self.layout_bits}b}" if self.layout_bits else "")
        for field in fields:
            value = values.get(field["name"])
            try:
                if value is None:
                    if field["absent"] is None:
                        return field["name"]
                    base, raw = None, field["absent"]
                else:
                    base = self.base(field, value)
                    raw = self.raw(field, base)
            except ValueError:
                return field["name"]
            bases[field["name"]], codes[field["name"]] = base, raw
            bits += f"{field['low bits'].sent(raw) if field['low bits'] else raw:0{field['width']}b}"
        if given and name not in self.trails:
            return "trail"
        try:
            points = [self.trails[name].taken(point) for point in given]
        except ValueError:
            return "trail"
        sent = 0
        if name in self.trails:
            room = 8 * (int(self.bounds[name]["most bytes"]) - (int(self.crc["width"]) // 8 if self.crc else 0))
            trail, sent = self.trails[name].encode(self.anchor(fields, codes), points, room - len(bits))
            bits += trail
        bits += "0" * (-len(bits) % 8)
        data = int(bits, 2).to_bytes(len(bits) // 8, "big")
        check = self.check(self.unsent(fields, codes) + data) if self.crc else b""
        return bases, codes, points, data + check, sent
