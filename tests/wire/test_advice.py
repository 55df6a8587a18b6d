"""Advice on valid schemas: what it says, and that the starter needs none."""

import pytest
from hypothesis import given

from packetcodec import Schema, compile_plan
from packetcodec.starter import schema_text
from packetcodec.wire.advice import advise
from tests.support.random_schemas import schema_texts

WHO = '{ kind = "identifier" }, { kind = "counter" }'
PLACE = '{ kind = "latitude" }, { kind = "longitude" }'


def said(fields, rest=""):
    text = f'name = "pasture"\nversion = 1\n[[layouts]]\nname = "beacon"\nid = 1\nfields = [{fields}]\n{rest}\n'
    return [str(advice) for advice in advise(compile_plan(Schema.parse(text)))]


def test_the_starter_needs_no_advice():
    assert advise(compile_plan(Schema.parse(schema_text()))) == ()


def test_a_layout_with_a_position_needs_to_say_whose_and_which():
    trail = "trail = { resolution_m = 2.5, spacing = 10 }"
    assert said(f"{WHO}, {PLACE}", trail) == []
    assert said(f'{WHO.replace("counter", "flag")}, {PLACE}, {{ kind = "time", period = 3600 }}', trail) == []
    assert said('{ kind = "battery" }') == []
    who, which = said(PLACE)
    assert who == 'layout "beacon": no identifier: a receiver takes the packets of all trackers for those of one'
    assert which.startswith('layout "beacon": no counter and no time: ')
    assert "points of a trail" not in which
    assert "points of a trail" in said(PLACE, trail)[1]


WIDEN = 'a tracker that leaves this range sends nothing. Widen it, or policy = "clip" to send the end of the range'

# (field, advice): the codes counted by hand.
FIELDS = [
    ('kind = "satellites", maximum = 15', None),
    ('kind = "satellites", maximum = 16', "17 codes take 5 bits; with 1 code fewer, 4 bits would do"),
    ('kind = "satellites", maximum = 15, optional = true', "17 codes take 5 bits; with 1 code fewer, 4 bits would do"),
    ('kind = "satellites", maximum = 16, bits = 5', None),
    ('kind = "identifier", maximum = 1033', "1034 codes take 11 bits; with 10 codes fewer, 10 bits would do"),
    ('kind = "identifier", maximum = 1100', None),
    ('kind = "flag", optional = true', None),
    ('kind = "choice", choices = ["a", "b", "c", "d"], optional = true', None),
    ('kind = "satellites", optional = true', "65 codes take 7 bits; with 1 code fewer, 6 bits would do"),
    ('kind = "latitude"', None),
    # 0..3.2 V in steps of 100 mV: 33 codes. 32 codes reach 3.2 V in steps of 102 mV (31 * 102 + 51 >= 3200).
    ('kind = "battery", maximum = 3.2, resolution = 0.1', "33 codes take 6 bits; in steps of 0.102 V, 5 bits would do"),
    # 0..60 in steps of 2.5: 25 codes of 32, whose finest step is 1.91 (31 * 1.91 + 0.95 >= 60): not much finer.
    ('kind = "hdop", maximum = 60, resolution = 2.5', None),
    # 0..54 in steps of 3: 19 codes of 32, whose finest step is 1.72 (31 * 1.72 + 0.86 >= 54).
    ('kind = "hdop", maximum = 54, resolution = 3', "a step of 1.72 instead of 3 costs no bit"),
    ('kind = "time", period = 86400, resolution = 9', "a step of 6 s instead of 9 s costs no bit"),
    ('kind = "time", epoch = 2026-01-01T00:00:00Z, resolution = 60', None),
    ('kind = "latitude", resolution_m = 2.5', None),
    ('kind = "longitude", resolution_m = 20_000', None),
    # At most 111.69 km for a degree of latitude, 111.32 km for one of longitude.
    (
        'kind = "latitude", resolution = 2.5',
        "a step of 2.5 degrees is 279 km on the ground (did you mean resolution_m?)",
    ),
    (
        'kind = "longitude", max_error = 0.5',
        "a step of 0.9999999 degrees is 111 km on the ground (did you mean max_error_m?)",
    ),
    ('kind = "latitude", minimum = -80, maximum = 80, bits = 9, policy = "clip"', None),
    ('kind = "altitude", bits = 12, maximum = 4000', None),
    (
        'kind = "altitude", bits = 12, maximum = 4000, policy = "refuse"',
        f"a value outside -500..4000 m is refused: {WIDEN}",
    ),
    (
        'kind = "longitude", minimum = 5, maximum = 11, bits = 17',
        f"a value outside 5..11 degrees is refused: {WIDEN}",
    ),
    ('kind = "number", minimum = 0, maximum = 9, bits = 7, policy = "refuse"', None),
]


@pytest.mark.parametrize(("row", "advice"), FIELDS, ids=[row for row, _ in FIELDS])
def test_a_field_that_wastes_codes_or_refuses_is_told_so(row, advice):
    name = row.split('"')[1]
    assert said(f"{{ {row} }}") == ([] if advice is None else [f'layout "beacon", {name}: {advice}'])


@pytest.mark.slow
@given(schema_texts())
def test_advice_on_any_schema_is_one_line_each(text):
    for advice in advise(compile_plan(Schema.parse(text))):
        assert advice.place.startswith("layout ")
        assert "\n" not in str(advice)
