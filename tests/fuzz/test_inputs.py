"""The questions of a run: reproducible, of every kind, with the right answers."""

from itertools import islice

import pytest

from packetcodec.errors import FAULTS, PacketFault
from packetcodec.fuzz.aimed import aimed_encoding
from packetcodec.fuzz.codec_target import python_target, reference_target
from packetcodec.fuzz.generate import CHANCE, NOTICED, ROUND, Inputs
from packetcodec.fuzz.oracle import Oracle
from packetcodec.fuzz.protocol import bases_of, decode_answer, read_question
from packetcodec.schema import Schema
from packetcodec.starter import schema_text
from packetcodec.wire import compile_plan, from_raw, to_raw, unpack
from packetcodec.wire.low_bits import known
from packetcodec.wire.trail.cells import HALF_CIRCLE
from tests.support import low_bits
from tests.support.proving_ground import ground

STARTER = compile_plan(Schema.parse(schema_text()))
BARE = compile_plan(
    Schema.parse(
        'name = "gate"\nversion = 0\ncheck = { crc = "none" }\nheader = { version_bits = 1, layout_bits = 0 }\n'
        '[[layouts]]\nname = "gate"\nid = 0\nfields = [{ kind = "flag", name = "open" }]\n'
    )
)
#: All that a target can be asked for.
VERBS = ("encode", "encode_base", "held", "field", "degrees")
PLANS = [STARTER, ground(), BARE, low_bits.CODEC.plan]


def batches(plan, count, **options):
    return list(islice(Inputs(Oracle(plan), **{"seed": 3, **options}).rounds(), count))


@pytest.mark.slow
@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.name)
def test_the_same_seed_asks_the_same_questions_and_another_one_others(plan):
    one, again, other = batches(plan, 30), batches(plan, 30), batches(plan, 30, seed=4)
    assert one == again
    assert one != other


@pytest.mark.slow
@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.name)
def test_the_short_cut_for_a_wrong_check_never_changes_an_answer(plan):
    for batch in batches(plan, 60, verbs=()):
        for question, answer in zip(batch.questions, batch.answers, strict=True):
            asked = read_question(plan, question)
            assert answer == plainly(plan, asked.data, bases_of(plan, asked.references)), question


@pytest.mark.slow
@pytest.mark.parametrize("unit", ["ok", "base"])
@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.name)
def test_an_answer_is_that_to_the_question_as_it_is_written(plan, unit):
    oracle = Oracle(plan, unit)
    for batch in islice(Inputs(oracle, seed=3, verbs=VERBS).rounds(), 60):
        assert batch.answers == list(map(Oracle(plan, unit).answer, batch.questions)), batch.kind


def plainly(plan, data, bases):
    try:
        _, layout, codes, points = unpack({plan.version: plan}, data, known(bases))
    except PacketFault as fault:
        return fault.status
    return decode_answer("ok", layout, codes, points)


@pytest.mark.slow
@pytest.mark.parametrize("plan", [*PLANS[:2], PLANS[3]], ids=["pasture", "ground", "low bits"])
def test_every_kind_and_every_fault_is_tried(plan):
    found = batches(plan, 80, verbs=VERBS)
    kinds = set(Inputs(Oracle(plan), seed=3, verbs=VERBS).kinds())
    assert kinds == (set(ROUND) if plan.has_low_bits else set(ROUND) - {"wrong references"})
    assert kinds | {"worked cases"} == {batch.kind for batch in found}
    words = {answer.split(" ")[0] for batch in found for answer in batch.answers}
    assert {"ok", "refused", *FAULTS} <= words


def test_kinds_reach_the_borders_absent_poles_the_antimeridian_and_trails_of_every_length():
    good = [answer for batch in batches(ground(), 160) for answer in "\n".join(batch.answers).split("\n")]
    good = [answer for answer in good if answer.startswith("ok 2 ")]
    latitude, longitude, altitude = ground().layouts[1].fields
    codes = [answer.split(" | ")[0].split()[2:] for answer in good]
    assert {"-", "0", str(latitude.max_code)} <= {row[0] for row in codes}
    assert {"-", "0", str(longitude.max_code)} <= {row[1] for row in codes}
    assert {"-", "0", "1", str(altitude.max_code)} <= {row[2] for row in codes}
    assert {answer.count("|") for answer in good} == set(range(11))


@pytest.mark.slow
@pytest.mark.parametrize("plan", PLANS[:2], ids=lambda plan: plan.name)
def test_no_packet_with_few_wrong_bits_or_a_short_burst_is_good(plan):
    noticed = [batch for batch in batches(plan, 120) if batch.kind in NOTICED]
    assert sum(len(batch.answers) for batch in noticed) > 500
    assert not [answer for batch in noticed for answer in batch.answers if answer.startswith("ok")]


def test_points_are_aimed_half_round_the_globe_from_where_the_receiver_has_the_packet():
    inputs = Inputs(Oracle(STARTER), seed=1)
    random, maker = inputs.random, inputs.spoiler.makers[1]
    longitude, found = maker.layout.fields[3], set()
    for _ in range(2000):
        bases, points = aimed_encoding(random, maker)
        if bases[3] is not None and points:
            anchor = from_raw(longitude, to_raw(longitude, bases[3]))
            found |= {abs(point.longitude - anchor) - HALF_CIRCLE for point in points}
    assert {-1, 0, 1} <= found


def test_noise_reaches_the_check():
    answers = [answer for batch in batches(STARTER, 80) if batch.kind in CHANCE for answer in batch.answers]
    assert answers.count("bad_check") > 300


def test_only_questions_that_the_target_knows_are_asked():
    found = batches(STARTER, 60, verbs=("encode",))
    verbs = {question.split(" ")[0] for batch in found for question in batch.questions}
    assert verbs == {"decode", "encode"}
    assert not any("\n" in question for batch in found for question in batch.questions)


def test_degrees_are_asked_of_schemas_with_a_position_alone():
    for plan, some in ((STARTER, True), (BARE, False)):
        assert ("degrees" in Inputs(Oracle(plan), seed=1, verbs=VERBS).kinds()) is some


def test_wrong_references_are_mostly_but_not_only_bad():
    found = [batch for batch in batches(low_bits.CODEC.plan, 60) if batch.kind == "wrong references"]
    words = [answer.partition(" ")[0] for batch in found for answer in batch.answers]
    assert words.count("bad_check") > len(words) / 3
    assert words.count("ok") > len(words) / 20


@pytest.mark.slow
@pytest.mark.parametrize("make", [python_target, reference_target])
def test_both_codecs_find_low_bits_as_expected(make):
    target = make(low_bits.SCHEMA)
    for batch in batches(low_bits.CODEC.plan, 25 if make is python_target else 6, verbs=("encode", "encode_base", "held")):
        lines, answers = ("\n".join(texts).split("\n") for texts in (batch.questions, batch.answers))
        assert list(target.ask(lines).lines) == answers, batch.kind
