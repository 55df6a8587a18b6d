"""What is always true holds for our codec; and each invariant notices when it does not."""

from fractions import Fraction
from math import comb, e
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packetcodec import Codec, Schema
from packetcodec.errors import OK
from packetcodec.fuzz import (
    BrokenInvariantError,
    all_answers_agree,
    any_packets,
    decoding_ends_with_a_packet_or_a_named_fault,
    error_is_within_the_promised_bound,
    flips_up_to_the_guarantee_are_noticed,
    good_packets,
    good_values,
    noise_is_missed_no_more_often_than_promised,
    points,
    points_are_within_half_a_cell,
    quantizing_is_idempotent,
    quantizing_is_monotone,
    schemas,
    values_follow_from_the_codes,
    what_is_accepted_encodes_again_to_the_same_meaning,
)
from packetcodec.fuzz.codec_target import python_target, reference_target
from packetcodec.fuzz.invariants import SURE, chance_of_passing_so_often, guaranteed_flips
from packetcodec.reference.codec import ReferenceCodec
from packetcodec.wire import Point, compile_plan
from tests.support.effort import examples
from tests.support.proving_ground import GROUND

SCHEMA = Schema.parse(GROUND)
CODEC = Codec(SCHEMA)
quickly = examples(40)


@quickly
@given(st.data(), schemas(max_fields=4))
def test_our_codec_keeps_what_is_always_true_of_any_bytes(data, schema):
    codec = Codec(schema)
    for _ in range(3):
        packet = data.draw(any_packets(codec, schema))
        decoding_ends_with_a_packet_or_a_named_fault(codec, packet)
        decoding_ends_with_a_packet_or_a_named_fault(ReferenceCodec(schema), packet)
        what_is_accepted_encodes_again_to_the_same_meaning(codec, packet)
        values_follow_from_the_codes(codec, packet)


@quickly
@given(st.data(), schemas(max_fields=4))
def test_quantizing_keeps_its_promises(data, schema):
    for layout in compile_plan(schema).layouts:
        for field in layout.fields:
            bases = data.draw(st.lists(st.integers(field.low, field.max_input), min_size=1, max_size=6))
            for base in (field.low, field.max_input, *bases):
                error_is_within_the_promised_bound(field, base)
            quantizing_is_monotone(field, bases)
            for code in (0, field.max_code, data.draw(st.integers(0, field.max_code))):
                quantizing_is_idempotent(field, code)


@quickly
@given(st.data())
def test_points_of_a_trail_arrive_within_half_a_cell(data):
    layout = data.draw(st.sampled_from([item for item in SCHEMA.layouts if item.trail]))
    values = data.draw(good_values(layout))
    trail = data.draw(points(CODEC, layout, values))
    packet = CODEC.encode(layout.name, values, trail)
    given_points = [Point(round(row[0] * 1e7), round(row[1] * 1e7)) for row in map(_row, trail)]
    points_are_within_half_a_cell(CODEC.plan, CODEC.plan.layout(layout.name), packet, given_points)


def _row(point):
    return (point["latitude"], point["longitude"]) if isinstance(point, dict) else point[:2]


@quickly
@given(st.data())
def test_flips_up_to_the_guarantee_are_noticed(data):
    packet = data.draw(good_packets(CODEC, SCHEMA))
    most = guaranteed_flips(CODEC.plan, len(packet))
    assert most >= 2
    bits = data.draw(st.lists(st.integers(0, 8 * len(packet) - 1), min_size=1, max_size=most, unique=True))
    flips_up_to_the_guarantee_are_noticed(CODEC.plan, packet, bits)


# --- each notices ---------------------------------------------------------------------------------------------------


def codec_that(decode, **more):
    return SimpleNamespace(
        decode=decode, try_decode=lambda data: (OK, decode(data)), plan=CODEC.plan, plans=CODEC.plans, **more
    )


def fails(_):
    raise KeyError("speed")


GOOD = CODEC.encode("beacon", {**{field.name: 1 for field in SCHEMA.layouts[0].fields}, "battery": 3.7})


def test_an_exception_a_wrong_type_and_two_opinions_are_noticed():
    with pytest.raises(BrokenInvariantError, match="raised KeyError"):
        decoding_ends_with_a_packet_or_a_named_fault(codec_that(fails), GOOD)
    with pytest.raises(BrokenInvariantError, match="no Packet"):
        decoding_ends_with_a_packet_or_a_named_fault(codec_that(lambda _: 7), GOOD)
    two = SimpleNamespace(decode=CODEC.decode, try_decode=lambda _: ("bad_check", None))
    with pytest.raises(BrokenInvariantError, match="different things"):
        decoding_ends_with_a_packet_or_a_named_fault(two, GOOD)


def test_a_packet_that_encodes_to_another_is_noticed():
    other = codec_that(CODEC.decode, encode=lambda *_: GOOD[:-1] + b"\0")
    with pytest.raises(BrokenInvariantError, match="encodes again to"):
        what_is_accepted_encodes_again_to_the_same_meaning(other, GOOD)


def test_a_value_that_does_not_follow_from_its_code_is_noticed():
    packet = CODEC.decode(GOOD)
    wrong = codec_that(lambda _: packet._replace(values={**packet.values, "battery": 3.71}))
    with pytest.raises(BrokenInvariantError, match=r"battery is 3\.71"):
        values_follow_from_the_codes(wrong, GOOD)


def test_answers_that_differ_are_noticed():
    all_answers_agree("decode 12", {"python": "too_short", "c": "too_short"})
    with pytest.raises(BrokenInvariantError, match="c: bad_check"):
        all_answers_agree("decode 12", {"python": "too_short", "c": "bad_check"})


# --- the statistical test -------------------------------------------------------------------------------------------


# The tail from its definition, in exact fractions; the last line is 1 - 2 / e, the limit for one expected event (Poisson).
@pytest.mark.parametrize(
    ("passed", "tried", "promised"), [(1, 1000, 256), (5, 1000, 256), (20, 1000, 256), (3, 40, 2), (2, 4096, 4096)]
)
def test_the_tail_is_that_of_the_binomial_distribution(passed, tried, promised):
    p = Fraction(1, promised)
    exact = 1 - sum(comb(tried, k) * p**k * (1 - p) ** (tried - k) for k in range(passed))
    assert chance_of_passing_so_often(passed, tried, p) == pytest.approx(float(exact), rel=1e-9)


def test_two_passed_of_which_one_is_expected_is_no_surprise():
    assert chance_of_passing_so_often(2, 65_536, Fraction(1, 65_536)) == pytest.approx(1 - 2 / e, rel=1e-4)


@pytest.mark.parametrize(
    ("passed", "tried", "kept"), [(0, 10**6, True), (40, 10_000, True), (100, 10_000, False), (9, 100, False)]
)
def test_noise_is_refused_only_where_chance_alone_would_do_it_once_in_a_million(passed, tried, kept):
    plan = compile_plan(Schema.parse(GROUND.replace("CRC-16/X-25", "CRC-8/AUTOSAR")))
    assert (chance_of_passing_so_often(passed, tried, Fraction(1, 256)) >= SURE) is kept
    if kept:
        noise_is_missed_no_more_often_than_promised(plan, passed, tried)
    else:
        with pytest.raises(BrokenInvariantError, match="1 in 256"):
            noise_is_missed_no_more_often_than_promised(plan, passed, tried)


@quickly
@given(st.data())
def test_both_python_targets_agree_on_any_packet(data):
    packet = data.draw(any_packets(CODEC, SCHEMA))
    line = f"decode {packet.hex() or '-'}"
    answers = {target.name: target.ask([line]).lines[0] for target in (python_target(SCHEMA), reference_target(SCHEMA))}
    all_answers_agree(line, answers)
