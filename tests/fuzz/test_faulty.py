"""Decoders and encoders with one small wrong behaviour each: the harness finds every one within a bounded count of inputs.

What is wrong is a piece of the plain Python module, or of what tells its answers, and what stands there instead.
"""

import pytest

from packetcodec.emit import HARNESSES
from packetcodec.fuzz import compile_plan, run
from packetcodec.fuzz.compiled import build
from packetcodec.fuzz.describe import describe_report
from packetcodec.fuzz.python_trials import loaded
from packetcodec.schema import Schema
from tests.support import low_bits
from tests.support.needs import one_of
from tests.support.proving_ground import EVERY_KIND, GROUND

pytestmark = pytest.mark.slow
#: The grid of its trail meets the north pole with half a cell: its step is even, and that of its latitude another one.
POLAR = """
name = "pasture"
version = 1
[[layouts]]
name = "track"
id = 1
fields = [{ kind = "latitude", max_error_m = 3 }, { kind = "longitude", max_error_m = 3 }]
trail = { points = 8, max_error_m = 3, spacing = 60 }
"""
#: Five or six rounds of all kinds.
INPUTS = 8000
PLANS = {
    "every": compile_plan(Schema.parse(EVERY_KIND)),
    "ground": compile_plan(Schema.parse(GROUND)),
    "low": low_bits.CODEC.plan,
    "seam": compile_plan(low_bits.SEAM),
    "polar": compile_plan(Schema.parse(POLAR)),
}
RANGE = "if refuse and not low <= value <= high:"
EARLY = '    if layout[6] is None and data[end - 1] & 1:\n        raise PacketFault("bad_padding", None, behind)\n'
FAULTY = {
    # Low bits.
    "the reference is ignored": ("low", "_reference_code(layout[0], field, base), field[5]", "0, field[5]"),
    "the code one step farther is nearest": ("low", "down <= min(reference, up)", "down - 1 <= min(reference, up)"),
    "a tie goes up": ("low", "down <= min(reference, up)", "(down <= reference and down < up)"),
    "a high part is not checked": ("low", "bits, _ in layout[7]:", "bits, _ in layout[7][1:]:"),
    "no high part is checked": ("low", "_check(_high_parts(layout, codes) + ", "_check("),
    "a high part is cut to a byte": ("low", "codes[place] // modulus, bits", "codes[place] // modulus & 255, bits"),
    "a circle is a line": ("low", "if circle is None:", "if True:"),
    "a line is a circle": ("low", "if circle is None:", "if False:"),
    "what is absent needs a reference": ("low", "if sent[place] != absent:", "if True:"),
    "what is absent is a code": ("low", "near = [field[6]]", "near = [absent]"),
    "the reference is cut": (
        "low",
        "return _nearest_code(field, base)",
        "return _nearest_code(field, min(max(base, field[2]), field[3]))",
    ),
    "the reference is that of another field": (
        "low",
        "reference.get(field[0])",
        "reference.get(layout[5][layout[7][0][0]][0])",
    ),
    "no reference is 0": (
        "low",
        'base is None:\n                raise PacketFault("bad_check", None, end * 8)',
        "base is None:\n                base = 0",
    ),
    "no reference is needed for a remainder of 0": (
        "low",
        "base = reference.get(field[0])",
        "base = reference.get(field[0])\n            if base is None and not sent[place]:\n                base = field[2]",
    ),
    "a reference below the range is at its end": (
        "low",
        "return _nearest_code(field, base)",
        "return field[5] if field[7] is None and base < field[2] else _nearest_code(field, base)",
    ),
    "a reference above the range is at its beginning": (
        "low",
        "return _nearest_code(field, base)",
        "return 0 if field[7] is None and base > field[3] else _nearest_code(field, base)",
    ),
    "all ones are a remainder": ("low", "(2, 16383, 9, 16383)", "(2, 16384, 9, 16383)"),
    "across the seam is not tried": ("seam", "return [near, far] if", "return [near] if"),
    "across the seam is tried too near": ("seam", "(modulus - 1) // 2 else", "(modulus - 1) // 2 - 1 else"),
    # Trails.
    "a point too many is counted": ("ground", "if count >= trail.points:", "if count > trail.points:"),
    "the order is reversed": ("ground", "    return points\n\n\ndef _place", "    return points[::-1]\n\n\ndef _place"),
    "ages of two bytes": ("every", "age = self.groups[-1].now[0]", "age = self.groups[-1].now[0] & 65535"),
    "a climb too far": (
        "every",
        "min(_MAX_CELLS, _MAX_CLIMB // self.climb)",
        "min(_MAX_CELLS, _MAX_CLIMB // self.climb + 1)",
    ),
    "a point in later points may be younger": (
        "every",
        "self.rising and moved < 0",
        "self.rising and self.fresh and moved < 0",
    ),
    "products of 28 bits": ("ground", "east * self.wide", "(abs(east * self.wide) & 0xfffffff) * (1 if east > 0 else -1)"),
    "the age is one more": ("every", "age = self.groups[-1].now[0]", "age = self.groups[-1].now[0] + 1"),
    "time may run back": ("every", "(self.rising and moved < 0) or", ""),
    "any pole will do": ("ground", "if 2 * (abs(latitude) - _POLE) > self.step:", "if False:"),
    "a third of a cell beyond a pole": ("every", "if 2 * (abs(latitude) - _POLE)", "if 3 * (abs(latitude) - _POLE)"),
    "half a cell beyond a pole": ("polar", "(abs(latitude) - _POLE) > self.step", "(abs(latitude) - _POLE) >= self.step"),
    "a whole cell beyond a pole": ("ground", "if 2 * (abs(latitude) - _POLE)", "if (abs(latitude) - _POLE)"),
    "a coarse grid is not read": ("every", "self.step = trail.step << coarsened", "self.step = trail.step"),
    "a coarse grid is not written": (
        "every",
        "for coarsened in range(trail.coarsenings + 1):",
        "for coarsened in range(1):",
    ),
    "one grid less": (
        "every",
        "for coarsened in range(trail.coarsenings + 1):",
        "for coarsened in range(trail.coarsenings):",
    ),
    "padding behind a trail is not looked at": ("ground", "if left > 7 or reader.take(left):", "if left > 7:"),
    "a byte of padding too many": ("ground", "if left > 7 or", "if left > 8 or"),
    "patience of six": ("ground", "1 if self.fresh else 5", "1 if self.fresh else 6"),
    "a window of nine": ("ground", "if self.count == 8:", "if self.count == 9:"),
    "a large number is refused": ("ground", "if order > 24:", "if order > 12:"),
    "a cell too far": ("ground", "abs(self.now[axis]) > limit:", "abs(self.now[axis]) > limit + 1:"),
    "altitudes from 0": ("every", "self.anchor[2] + self.groups[1]", "self.groups[1]"),
    "the antimeridian is not crossed": (
        "ground",
        "* self.wide + _HALF_CIRCLE) % (2 * _HALF_CIRCLE) - _HALF_CIRCLE",
        "* self.wide)",
    ),
    "the short way round is not taken": ("ground", "if east > _HALF_CIRCLE:", "if False:"),
    "south has cells of another width": ("ground", "abs(anchor[0]) // 10000000", "abs(anchor[0] // 10000000)"),
    "cells change their width next to a degree": ("ground", "// 10000000, 89", "// 9999999, 89"),
    "the oldest points are sent": ("ground", "enumerate(given, 1)][:trail.points]", "enumerate(given, 1)][-trail.points:]"),
    "a point that is not sent is not looked at": (
        "ground",
        "enumerate(given, 1)][:trail.points]",
        "enumerate(given[:trail.points], 1)]",
    ),
    "the trail of the packet before stays": (
        "ground",
        "trail = ()\n    if layout[6] is not None:\n        trail =",
        'trail = decode.__dict__.get("trail", ())\n    if layout[6] is not None:\n        trail = decode.trail =',
    ),
    # Packets.
    "padding is not looked at": ("every", "if layout[6] is None and _bits", "if False and _bits"),
    "one layout is not checked": (
        "every",
        "if bytes(data[end:]) != _check",
        "if layout[1] != 6 and bytes(data[end:]) != _check",
    ),
    "a code too many": ("every", "elif code > max_code:", "elif code > max_code + 1:"),
    "the last code is not cut": (
        "ground",
        "base = min(low + code * step, high)\n        if",
        "base = low + code * step\n        if",
    ),
    "absent is the last code": ("every", "if code == absent:", 'if code == absent and key != "satellites":'),
    "a byte too many": ("every", "if length > layout[4]:", "if length > layout[4] + 1:"),
    "the next version": ("every", "_VERSION_BITS) != VERSION", "_VERSION_BITS) not in (VERSION, VERSION + 1)"),
    "padding comes before the check": (
        "every",
        "    codes = []\n    at",
        f"{EARLY}    codes = []\n    at",
    ),
    # Encoders.
    "half goes to the even code": ("every", "code = (offset + step // 2) // step", "code = round(offset / step)"),
    "codes are cut off": ("every", "code = (offset + step // 2) // step", "code = offset // step"),
    "a latitude is clipped": ("every", RANGE, RANGE.replace(":", ' and key != "latitude_e7":')),
    "a longitude is wrapped": ("every", RANGE, RANGE.replace(":", ' and key != "longitude_e7":')),
    "the end of the range is refused": ("every", "low <= value <= high:", "low <= value < high:"),
    "a course is clipped": ("every", "(value - low) % circumference", "min(max(value, low), high) - low"),
    "the end of a circle is its last code": ("every", "code <= max_code else 0", "code <= max_code else max_code"),
    "what is absent is 0": ("every", "        return absent\n    if names", "        return 0\n    if names"),
    "zeros are not appended": ("ground", "(len(self.bits) + 7) >> 3", "(len(self.bits) + 8) >> 3"),
    # Degrees.
    "a place just beyond 180 degrees": ("ground", "else 1800000000):", "else 1800000001):"),
    "180 degrees are refused": ("ground", "or e7 > (", "or e7 >= ("),
    # Words.
    "absent is undefined": ("every", 'return "-" if number is None', 'return "undefined" if number is None'),
    "absent is null": ("every", 'return "-" if number is None', 'return "null" if number is None'),
    "a choice is its name": ("every", "names.index(value) if names else", "value if names else"),
    "the place at fault is one more": (
        "every",
        ".index(fault.field))\n        return",
        ".index(fault.field) + 1)\n        return",
    ),
}


def target(schema, old="", new=""):
    """The module and its harness with `new` in place of `old`, which stands in one of them once."""
    harness = HARNESSES["python-module"]
    files = {name: text for name, text in harness.write(PLANS[schema]).items() if name.endswith(".py")}
    assert not old or sum(text.count(old) for text in files.values()) == 1
    return loaded(harness.name, {name: text.replace(old, new) if old else text for name, text in files.items()})


@pytest.mark.parametrize("schema", PLANS)
def test_without_a_fault_nothing_is_found(schema):
    report = run(target(schema), PLANS[schema], seconds=600, max_inputs=INPUTS)
    assert report.clean, describe_report(report)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("fault", [fault for fault in FAULTY if "a pole" in fault])
def test_a_fault_near_a_pole_is_found_soon_with_any_seed(fault, seed):
    schema, old, new = FAULTY[fault]
    report = run(target(schema, old, new), PLANS[schema], seconds=600, max_inputs=3000, max_findings=1, seed=seed)
    assert not report.clean


def test_c_that_does_not_cut_a_reference_is_found():
    files = HARNESSES["c"].write(PLANS["low"])
    old = "if (x > span) {\n            x = (below"
    name = next(name for name in files if old in files[name])
    files |= {name: files[name].replace(old, old.replace("x > span", "0U > span"))}
    program = build(HARNESSES["c"], files, tool=one_of("gcc", "clang", "cc", package="gcc"))
    try:
        assert not run(program, PLANS["low"], seconds=600, max_inputs=INPUTS, max_findings=1).clean
    finally:
        program.close()


@pytest.mark.parametrize("fault", FAULTY)
def test_it_is_found(fault):
    schema, old, new = FAULTY[fault]
    report = run(target(schema, old, new), PLANS[schema], seconds=600, max_inputs=INPUTS, max_findings=1)
    assert not report.clean
