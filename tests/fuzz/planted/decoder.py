"""A decoder and an encoder written plainly, bit by bit, with switches that make them wrong.

They are what the harness is tried on (`packetcodec.fuzz.self_test`): each switch is a mistake that people make when they
port a format. They share nothing with `packetcodec.wire` but the numbers of the plan. Owns no rule of the wire: with all
switches off they are wrong nowhere, which the self-test holds against the oracle first.

>>> from packetcodec.wire import compile_plan
>>> from packetcodec.schema import Schema
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... check = { crc = "CRC-8/AUTOSAR" }
... [[layouts]]
... name = "gate"
... id = 2
... fields = [{ kind = "identifier" }, { kind = "flag", name = "open" }]
... '''))
>>> Plain(plan)("decode 12078048"), Plain(plan, "check not compared")("decode 12078049")
('base 2 7 1', 'base 2 7 1')
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

from packetcodec.schema import Form
from tests.fuzz.planted.trail import PlainTrail, Stream, TrailError

if TYPE_CHECKING:
    from packetcodec.wire import FieldPlan, LayoutPlan, Plan

Numbers = list[int | None]


class _Fault(Exception):
    """The name of a packet's fault."""


class Plain:
    """Answers questions, rightly or with one mistake.

    Args:
        plan: whose packets.
        mistake: name of the switch, or "" for none.
    """

    def __init__(self, plan: Plan, mistake: str = "") -> None:
        self.plan = plan
        self.mistake = mistake
        self.held = "?"
        self.table = [self._shift(byte) for byte in range(256)] if plan.crc else []

    def has(self, mistake: str) -> bool:
        """Whether this is the mistake being made."""
        return self.mistake == mistake

    def __call__(self, line: str) -> str:
        """The answer to a line."""
        words = line.split()
        if words[0] == "decode":
            try:
                return self.decode([] if words[1] == "-" else list(bytes.fromhex(words[1])))
            except _Fault as fault:
                return str(fault)
            except TrailError:
                return "bad_trail"
        if words[0] == "encode_base":
            try:
                return bytes(self.encode(line.split(" ", 1)[1])).hex()
            except _Fault:
                return "refused"
        return self.held if words[0] == "held" else "?"

    # --- decoding ----------------------------------------------------------------------------------------------------

    def decode(self, data: list[int]) -> str:
        """What a packet says."""
        plan = self.plan
        if len(data) * 8 < plan.header_bits and not self.has("empty packet not expected"):
            raise _Fault("too_short")
        version = bits(data, 0, plan.version_bits)
        ident = bits(data, plan.version_bits, plan.layout_bits)
        if self.has("length looked at before the version") and len(data) < min(item.size for item in plan.layouts):
            raise _Fault("too_short")
        layout = self._layout(version, ident)
        self._length(layout, data)
        covered = data[: len(data) - layout.check_bytes]
        if not self.has("check compared last"):
            self._compare(covered, data[len(covered) :])
        if not self.has("padding looked at after the ranges"):
            self._padding(layout, covered)
        raws = [self._raw(field, covered) for field in layout.fields]
        if self.has("packet held is written before the check of ranges"):
            self.held = self._told(layout, raws)
        self._ranges(layout, raws)
        if self.has("padding looked at after the ranges"):
            self._padding(layout, covered)
        told = self._told(layout, raws) + self._points(layout, raws, covered)
        if self.has("check compared last"):
            self._compare(covered, data[len(covered) :])
        self.held = told
        return told

    def _layout(self, version: int, ident: int) -> LayoutPlan:
        plan = self.plan
        if version != plan.version and not self.has("version ignored"):
            if self.has("layout looked at before the version") and ident not in {item.id for item in plan.layouts}:
                raise _Fault("unknown_layout")
            if not (self.has("newer versions taken") and version > plan.version):
                raise _Fault("unknown_version")
        for item in plan.layouts:
            if item.id == ident:
                return item
        if self.has("unknown layout taken for the first"):
            return plan.layouts[0]
        if self.has("unknown layout called unknown_version"):
            raise _Fault("unknown_version")
        raise _Fault("unknown_layout")

    def _length(self, layout: LayoutPlan, data: list[int]) -> None:
        least, most = layout.size, layout.longest
        if self.has("one byte too many taken"):
            most += 1
        if self.has("bytes behind the packet not looked at"):
            del data[most:]
        if self.has("longest packet refused"):
            most -= layout.trail is not None
        if self.has("one byte missing not noticed"):
            least -= 1
        if self.has("reads past the end"):
            least = 0
        if len(data) < least:
            raise _Fault("too_short" if not self.has("too short and too long confused") else "too_long")
        if len(data) > most:
            raise _Fault("too_long" if not self.has("too short and too long confused") else "too_short")

    def _compare(self, covered: list[int], check: list[int]) -> None:
        crc = self.plan.crc
        if crc is None or self.has("check not compared"):
            return
        found = 0
        order = check[::-1] if crc.reflected else check
        if self.has("check in the other byte order"):
            order = order[::-1]
        for byte in order:
            found = found << 8 | byte
        wanted = self.check(covered)
        if self.has("check compared in its low byte alone"):
            wanted, found = wanted & 0xFF, found & 0xFF
        if wanted != found:
            raise _Fault("bad_check")

    def check(self, data: list[int]) -> int:
        """The check of some bytes."""
        crc = self.plan.crc
        if crc is None:
            return 0
        start = self.plan.seed
        if self.has("check started from the CRC's own register"):
            start = crc.initial
        if self.has("check started from zero"):
            start = 0
        if self.has("header left out of the check"):
            data = data[1:]
        if self.has("last byte left out of the check"):
            data = data[:-1]
        mask, state = (1 << crc.width) - 1, mirrored(start, crc.width) if crc.reflected else start
        turned = crc.reflected != self.has("check reflected the other way")
        if self.has("check reflected the other way"):
            state = mirrored(state, crc.width)
        for byte in data:
            if turned:
                state = state >> 8 ^ self.table[(state ^ byte) & 0xFF]
            else:
                state = (state << 8 & mask) ^ self.table[state >> crc.width - 8 ^ byte]
        if self.has("final XOR of the check left out"):
            return state
        return state ^ crc.xor_out

    def _shift(self, byte: int) -> int:
        crc = self.plan.crc
        if crc is None:
            return 0
        polynomial = crc.polynomial ^ (self.has("wrong polynomial") << 3)
        if crc.reflected != self.has("check reflected the other way"):
            turned, state = mirrored(polynomial, crc.width), byte
            for _ in range(8):
                state = state >> 1 ^ (turned if state & 1 else 0)
            return state
        state = byte << crc.width - 8
        for _ in range(8):
            state = (state << 1 ^ (polynomial if state >> crc.width - 1 else 0)) & (1 << crc.width) - 1
        return state

    def _padding(self, layout: LayoutPlan, covered: list[int]) -> None:
        count = layout.padding
        if self.has("padding not looked at"):
            return
        if self.has("last bit of the padding alone looked at"):
            count = min(count, 1)
        if self.has("first bit of the padding not looked at"):
            count -= count > 0
        if count and covered[-1] & (1 << count) - 1:
            raise _Fault("bad_padding")

    def _raw(self, field: FieldPlan, data: list[int]) -> int:
        offset, width = field.offset, field.bits
        if self.has("field one bit too far on") and field.kind.name == "battery":
            offset += 1
        if self.has("field one bit too narrow") and field.kind.name == "altitude":
            offset, width = offset + 1, width - 1
        raw = bits(data, offset, width)
        if self.has("bytes of a code swapped") and width == 16:
            raw = raw >> 8 | (raw & 0xFF) << 8
        if self.has("code cut to 16 bits"):
            raw &= 0xFFFF
        return raw

    def _ranges(self, layout: LayoutPlan, raws: list[int]) -> None:
        if self.has("ranges not looked at"):
            return
        for field, raw in zip(layout.fields, raws, strict=True):
            last = field.max_code + self.has("one code above the last taken") - self.has("last code refused")
            if self.has("codes compared with the width alone"):
                last = (1 << field.bits) - 2
            if raw > last and (raw != field.absent_code or self.has("absent refused as out of range")):
                raise _Fault("out_of_range")

    def _told(self, layout: LayoutPlan, raws: list[int]) -> str:
        numbers = [self._base(field, raw) for field, raw in zip(layout.fields, raws, strict=True)]
        if self.has("latitude and longitude swapped"):
            kinds = [field.kind.name for field in layout.fields]
            if "latitude" in kinds:
                one, two = kinds.index("latitude"), kinds.index("longitude")
                numbers[one], numbers[two] = numbers[two], numbers[one]
        return f"base {layout.id} " + " ".join("-" if number is None else str(number) for number in numbers)

    def _base(self, field: FieldPlan, raw: int) -> int | None:  # noqa: C901  # one mistake after the other
        absent = field.absent_code
        if self.has("absent not recognised"):
            absent = None
        if self.has("absent one code too low"):
            absent = None if absent is None else absent - 1
        if self.has("all ones always absent"):
            absent = (1 << field.bits) - 1
        if raw == absent:
            return None
        if self.has("flag turned round") and field.kind.form is Form.FLAG:
            return 1 - raw
        offset = raw * field.step
        if self.has("overflow at 32 bits, signed"):
            offset = signed(offset)
        if self.has("overflow at 24 bits"):
            offset &= 0xFFFFFF
        base = field.low + offset
        if self.has("lowest value not added"):
            base = offset
        if self.has("middle of the cell told"):
            base += field.step // 2
        if self.has("step one too small") and field.step > 1:
            base -= raw
        if self.has("sign lost"):
            base = abs(base)
        if self.has("computed with 32-bit floats") and field.scale > 1:
            base = int(struct.unpack("f", struct.pack("f", float(base)))[0])
        if self.has("end of the circle told for its beginning") and field.modulus and raw == 0:
            base = field.high
        if self.has("highest value not clipped to"):
            return base
        return min(base, field.high)

    # --- trails ------------------------------------------------------------------------------------------------------

    def _head(self, layout: LayoutPlan, raws: list[int]) -> tuple[int | None, int | None, int | None]:
        found: dict[str, int | None] = {}
        for field, raw in zip(layout.fields, raws, strict=True):
            low = min(field.low + raw * field.step, field.high)
            found[field.kind.name] = None if raw == field.absent_code else low
        return found.get("latitude"), found.get("longitude"), found.get("altitude")

    def _points(self, layout: LayoutPlan, raws: list[int], covered: list[int]) -> str:
        if layout.trail is None:
            return ""
        latitude, longitude, altitude = self._head(layout, raws)
        stream = Stream(covered, layout.bits)
        points: list[tuple[int, int, int | None, int | None]] = []
        if self.has("trail expected without a position"):
            latitude, longitude = latitude or 0, longitude or 0
        if latitude is not None and longitude is not None:
            points = PlainTrail(layout.trail, self.mistake).read((latitude, longitude, altitude), stream)
        left = stream.left
        if left > 7 and not self.has("spare bytes behind the trail taken"):
            raise TrailError
        if not self.has("padding of the trail not looked at") and stream.get(left):
            raise TrailError
        words = ("-" if number is None else str(number) for point in points for number in point)
        return "".join(f" | {one} {two} {three} {four}" for one, two, three, four in zip(*[words] * 4, strict=True))

    # --- encoding ----------------------------------------------------------------------------------------------------

    def encode(self, text: str) -> list[int]:
        """The packet of a layout's id and base units, and points."""
        head, *groups = text.split("|")
        ident, *words = head.split()
        layout = next(item for item in self.plan.layouts if str(item.id) == ident)
        bases: Numbers = [None if word == "-" else int(word) for word in words]
        if self.has("latitude and longitude swapped"):
            kinds = [field.kind.name for field in layout.fields]
            if "latitude" in kinds:
                one, two = kinds.index("latitude"), kinds.index("longitude")
                bases[one], bases[two] = bases[two], bases[one]
        raws = [self._code(field, base) for field, base in zip(layout.fields, bases, strict=True)]
        version = 0 if self.has("version sent as zero") else self.plan.version
        digits = f"{version:0{self.plan.version_bits}b}" + f"{layout.id:0{self.plan.layout_bits}b}"
        for field, raw in zip(layout.fields, raws, strict=True):
            code = f"{raw & (1 << field.bits) - 1:0{field.bits}b}"
            if self.has("lowest bit first") and field.kind.name == "satellites":
                code = code[::-1]
            digits += code
        digits += self._trail_digits(layout, raws, groups)
        fill = "1" if self.has("padding of ones") else "0"
        digits += fill * (-len(digits) % 8)
        body = [int(digits[place : place + 8], 2) for place in range(0, len(digits), 8)]
        if self.plan.crc is None:
            return body
        check = list(self.check(body).to_bytes(layout.check_bytes, "little" if self.plan.crc.reflected else "big"))
        return body + (check[::-1] if self.has("check in the other byte order") else check)

    def _code(self, field: FieldPlan, base: int | None) -> int:  # noqa: C901, PLR0912  # one mistake after the other
        if base is None:
            if field.absent_code is None:
                raise _Fault("refused")
            if self.has("absent sent as zero"):
                return 0
            return field.max_code + 1 if self.has("absent sent as the code after the last") else field.absent_code
        low, high = field.low, field.high
        if self.has("sign lost"):
            base = abs(base)
        if field.policy == "wrap" and field.modulus:
            if self.has("wrapped the way C divides") and base < low:
                base = low + int((base - low) / field.modulus) * -field.modulus + (base - low)
            elif not self.has("not wrapped"):
                base = low + (base - low) % field.modulus
        elif base < low or base > field.max_input:
            refuse = field.policy == "refuse"
            if self.has("refused where it should be clipped") and not refuse:
                raise _Fault("refused")
            if refuse and not self.has("clipped where it should be refused"):
                raise _Fault("refused")
            if not self.has("neither clipped nor refused"):
                base = low if base < low else high
        elif field.modulus and base == high and not self.has("end of the circle not its beginning"):
            base = low
        offset = base - low + field.step // 2
        if self.has("truncated instead of rounded"):
            offset = base - low
        if self.has("half rounded down") and field.step % 2 == 0:
            offset -= 1
        if self.has("rounded up"):
            offset = base - low + field.step - 1
        if self.has("overflow at 32 bits, signed"):
            offset = signed(offset)
        if self.has("overflow at 16 bits"):
            offset &= 0xFFFF
        raw = offset // field.step
        if self.has("computed with 32-bit floats"):
            raw = int(struct.unpack("f", struct.pack("f", float(offset)))[0] / field.step)
        if field.modulus and raw > field.max_code and not self.has("past the last cell of a circle not its first"):
            raw = 0
        return raw

    def _trail_digits(self, layout: LayoutPlan, raws: list[int], groups: list[str]) -> str:
        if layout.trail is None:
            return ""
        latitude, longitude, altitude = self._head(layout, raws)
        if latitude is None or longitude is None:
            return ""
        points = []
        for group in groups:
            numbers: Numbers = [None if word == "-" else int(word) for word in group.split()]
            points.append((numbers[0] or 0, numbers[1] or 0, numbers[2], numbers[3]))
        room = (layout.longest - layout.check_bytes) * 8 - layout.bits
        return PlainTrail(layout.trail, self.mistake).write((latitude, longitude, altitude), points, room)


def bits(data: list[int], first: int, width: int) -> int:
    """Bits of a packet as a number."""
    number = 0
    for place in range(first, first + width):
        number = number * 2 + (data[place // 8] >> 7 - place % 8 & 1)
    return number


def mirrored(number: int, width: int) -> int:
    """The bits of a number in the other order."""
    return int(f"{number:0{width}b}"[::-1], 2)


def signed(number: int) -> int:
    """A number as 32 bits hold it."""
    return (number + (1 << 31)) % (1 << 32) - (1 << 31)
