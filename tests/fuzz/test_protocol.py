"""The line protocol: questions and answers as text."""

import pytest

from packetcodec.fuzz.protocol import QuestionFault, decode_answer, encode_question, read_question
from packetcodec.wire import Point
from tests.support.proving_ground import ground

PLAN = ground()
CLIMB = PLAN.layouts[2]


def test_a_question_is_read_back_as_it_was_asked():
    points = (Point(465000000, 98000000, None, 30), Point(-1, 2, -300, None))
    for verb, numbers in (("encode", (1, 2, CLIMB.fields[2].absent_code)), ("encode_base", (5, -7, None))):
        question = read_question(PLAN, encode_question(verb, CLIMB, numbers, points))
        assert (question.layout, question.numbers, question.points) == (CLIMB, numbers, points)
        assert read_question(PLAN, question.line) == question
    assert read_question(PLAN, "decode -").data == b""
    assert read_question(PLAN, "decode 2a00").line == "decode 2a00"


def test_a_dash_in_a_question_of_codes_is_the_code_for_absent():
    assert read_question(PLAN, "encode 4 1 2 -").numbers == (1, 2, CLIMB.fields[2].absent_code)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("", "none of decode"),
        ("decode xy", "not hex"),
        ("decode 123", "not hex"),
        ("encode 7 1", "7 is not a layout id"),
        ("encode", "nothing is not a layout id"),
        ("encode_base 4 1 2", '2 numbers, layout "climb" has 3'),
        ("encode_base 4 1 2 x", "not a whole number"),
        ("encode_base 4 1 2 3 | 1 2", "is no point"),
        ("encode_base 4 1 2 3 | - 2 - -", "is no point"),
        ("encode 4 8071750 2 1", "latitude: 8071750 is no code in use"),
        ("encode 4 - 2 1", "latitude: - is no code in use"),
    ],
)
def test_what_is_no_question_is_refused_in_words(line, words):
    with pytest.raises(QuestionFault, match=words):
        read_question(PLAN, line)


def test_an_answer_tells_codes_or_base_units_and_a_dash_for_absent():
    codes = (0, 1, CLIMB.fields[2].absent_code)
    points = [Point(1, 2, None, 60)]
    assert decode_answer("ok", CLIMB, codes, points) == "ok 4 0 1 - | 1 2 - 60"
    low, step = CLIMB.fields[1].low, CLIMB.fields[1].step
    assert decode_answer("base", CLIMB, codes) == f"base 4 -900000000 {low + step} -"
