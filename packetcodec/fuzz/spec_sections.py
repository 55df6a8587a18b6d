"""Which rule of the written specification an answer breaks.

Owns one table: the sections that a finding cites. A test holds their titles against the specification itself.

>>> why("bad_check", "ok 2 7 1").section
'6.5'
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Rule:
    """A section of the specification: its number, its title, and what it asks for in a sentence."""

    section: str
    title: str
    sentence: str

    def __str__(self) -> str:
        return f"section {self.section}, {self.title}: {self.sentence}"


RULES = {
    "whole": Rule("6", "Decoding", "a decoder ends with a packet or one named fault, whatever the bytes"),
    "header": Rule("6.1", "Header complete", "a packet without a whole header is too_short"),
    "unknown_version": Rule("6.2", "Version", "a version that is not known here is unknown_version"),
    "unknown_layout": Rule("6.3", "Layout", "a layout id that no layout has is unknown_layout"),
    "too_short": Rule("6.4", "Length", "fewer bytes than the layout's packet has are too_short"),
    "too_long": Rule("6.4", "Length", "more bytes than the layout's packet has are too_long"),
    "bad_check": Rule("6.5", "Check", "a check that differs from the one of the bytes before it is bad_check"),
    "bad_padding": Rule("6.6", "Padding", "a bit of the padding that is not zero is bad_padding"),
    "out_of_range": Rule("6.7", "Ranges", "a raw code above max_code that is not absent_code is out_of_range"),
    "bad_trail": Rule("6.8", "Trail", "bits of a trail that no encoder writes are bad_trail"),
    "trail": Rule("6.8", "Trail", "the points of a trail follow from its bits"),
    "value": Rule("2.6", "From a raw code to a value", "base = min(low + raw * step, high)"),
    "code": Rule("2.1", "Bytes and bits", "a field's code stands at its bits, most significant first"),
    "absent": Rule("2.7", "Absent", "the code for absent, and only that, is absent"),
    "accepted": Rule("6.9", "Values", "a packet without a fault is good"),
    "detects": Rule("5.5", "What it detects", "so many wrong bits, and bursts no longer than the check, are always noticed"),
    "undetected": Rule("5.5", "What it detects", "of packets of noise 1 in 2^width passes"),
    "held": Rule("6", "Decoding", "with a fault, nothing of the packet is used: the packet held before stays"),
    "encode": Rule("7", "Encoding", "version, layout id and codes back to back, padding, then the check"),
    "encode_code": Rule("2.5", "From base units to a raw code", "raw = (base - low + step / 2) / step"),
    "encode_range": Rule("2.4", "A base beyond the range", "what is beyond the range is clipped, refused or wrapped"),
    "encode_check": Rule("5.3", "Procedure", "the check of a packet"),
    "degrees": Rule("10", "Line protocol", "degrees and minutes in 1e-7 degree, halves away from zero, up to 90 or 180"),
    "field": Rule("10", "Line protocol", "the number of the field that the answer before was about"),
    "encode_point": Rule("7.1", "Encoding a trail", "a point beyond its bounds is refused, and no other one"),
    "encode_trail": Rule("7.1", "Encoding a trail", "the trail of a packet follows from the points given"),
}


def why(expected: str, got: str, *, unit: str = "ok") -> Rule:
    """The rule that a decoder broke that said `got` of a packet instead of `expected`."""
    word = expected.partition(" ")[0]
    if word in RULES and word != unit:
        return RULES[word]
    if got.partition(" ")[0] != unit:
        return RULES["accepted"]
    wanted, found = expected.split(" | ", 1)[0].split(), got.split(" | ", 1)[0].split()
    if wanted == found:
        return RULES["trail"]
    if len(wanted) == len(found):
        pairs = [(one, other) for one, other in zip(wanted, found, strict=True) if one != other]
        if any("-" in pair for pair in pairs):
            return RULES["absent"]
    return RULES["code" if unit == "ok" else "value"]
