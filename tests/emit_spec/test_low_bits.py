"""Low bits in the specification: a reader of the text alone passes the vectors, and fails with any of its mistakes."""

import re
import sys

import pytest

from packetcodec import Codec
from packetcodec.reference import ReferenceCodec
from tests.emit_spec.test_mutations import noticed, spoiled
from tests.emit_spec.test_vectors import agree
from tests.support import low_bits_reader, reader
from tests.support.low_bits import SCHEMA, TEXT
from tests.support.reader import Reader
from tests.support.schemas import written

SMALL = """
name = "gate"
version = 3
check = { crc = "CRC-16/IBM-SDLC", bind_schema = true }
header = { version_bits = 3, layout_bits = 0 }
[[layouts]]
name = "gate"
id = 0
fields = [
  { kind = "counter", maximum = 100, low_bits = 4 },
  { kind = "number", name = "load", minimum = -3, maximum = 17, resolution = 1, low_bits = 3, optional = true },
]
"""


@pytest.mark.slow
@pytest.mark.parametrize("text", [TEXT, SMALL], ids=["pasture", "gate"])
def test_a_reader_of_the_text_alone_passes_every_vector(text):
    agree(*written(text))


@pytest.mark.slow
@pytest.mark.parametrize("make", [Codec, ReferenceCodec])
def test_both_codecs_agree_with_every_vector(make):
    _, vectors = written(TEXT)
    codec = make(SCHEMA)
    for case in vectors["good"]:
        packet = codec.decode(bytes.fromhex(case["hex"]), reference=case["reference"])
        assert (packet.layout, packet.raw, packet.values) == (case["layout"], case["raw"], case["values"]), case["note"]
    for case in vectors["bad"]:
        assert codec.try_decode(bytes.fromhex(case["hex"]), reference=case["reference"])[0] == case["status"], case["note"]


def test_the_examples_are_read_again_from_what_is_known():
    text, _ = written(TEXT)
    made = Reader(text)
    examples = re.findall(r"^packet +([0-9a-f]+)\nknown +(.*)$", text, re.MULTILINE)
    assert len(examples) >= 4
    for digits, known in examples:
        references = {name: int(base) for name, base in re.findall(r"(\w+) (-?\d+)", known)}
        assert made.decode(bytes.fromhex(digits), references)[0] == ("ok", None, None)


#: What is mistaken, a piece of the reader, and what stands there instead.
MISTAKES = (
    ("of two equally near the upper one", "down <= up)", "down < up)"),
    ("the range has no lower end", "(down <= r and down <= up)", "down <= up"),
    ("the range has no upper end", "if up > m - r or (", "if ("),
    ("a circle has no seam", 'if not self.field["modulus"]:', "if True:"),
    ("only the nearest is tried", "[second[0]] * (second[1] <= self.reach)", "[]"),
    ("the nearest is not tried first", "if distance <= across else", "if distance > across else"),
    ("the far code stands one off", "far, across = s, (m + 1 - r) + s", "far, across = s, (m - r) + s"),
    ("a reference is not cut to the range", "max(low, min(base, high))", "base"),
    ("a reference is not wrapped", "low + (base - low) % modulus if modulus", "base if modulus"),
    ("absent has a high part", "0 if raw == self.field['absent'] else raw // self.m", "raw // self.m"),
    ("absent is sent as a remainder", '(1 << self.k) - 1 if raw == self.field["absent"] else raw % self.m', "raw % self.m"),
)
IN_PACKETS = (
    (
        "the high parts are not checked",
        "self.check(self.unsent(fields, codes) + data[:covered])",
        "self.check(data[:covered])",
    ),
    (
        "the high parts follow the packet",
        "self.unsent(fields, codes) + data[:covered]",
        "data[:covered] + self.unsent(fields, codes)",
    ),
    ("the last byte of high parts is filled in front", '.ljust(8, "0")', '.rjust(8, "0")'),
)


@pytest.mark.parametrize(("old", "new"), [pytest.param(*change, id=what) for what, *change in MISTAKES])
def test_the_vectors_notice_a_mistake_in_low_bits(old, new, monkeypatch):
    monkeypatch.setitem(sys.modules, "tests.support.low_bits_reader", spoiled(low_bits_reader, old, new))
    make = spoiled(reader, "", "").Reader
    assert noticed(make, TEXT) or noticed(make, SMALL)


@pytest.mark.parametrize(("old", "new"), [pytest.param(*change, id=what) for what, *change in IN_PACKETS])
def test_the_vectors_notice_a_mistake_in_the_check(old, new):
    assert noticed(spoiled(reader, old, new).Reader, TEXT)


def test_without_a_mistake_nothing_is_noticed():
    assert not noticed(spoiled(reader, "", "").Reader, SMALL)


@pytest.mark.parametrize("optional", ["true", "false"])
@pytest.mark.parametrize(
    ("kind", "bits", "low_bits"), [("longitude", 3, 2), ("counter", 3, 2), ("counter", 4, 3), ("altitude", 3, 2)]
)
def test_a_circle_too_small_for_the_usual_example_has_one_of_its_own(kind, bits, low_bits, optional):
    field = f'{{ kind = "{kind}", bits = {bits}, low_bits = {low_bits}, optional = {optional} }}'
    text, _ = written(f'name = "gate"\nversion = 1\n[[layouts]]\nname = "gate"\nid = 1\nfields = [{field}]\n')
    sent = re.search(r"code (\d+) is sent", text)[1]
    assert sent in re.findall(r"(\d+) \(high part", re.search(r"in this order, code (.*)", text)[1])
