"""The self-test: what is changed in a Python module, and what comes of a change."""

import pytest

from packetcodec import Schema, compile_plan
from packetcodec.emit import HARNESSES
from packetcodec.fuzz import trials as room
from packetcodec.fuzz.mutants import Mutant
from packetcodec.fuzz.python_mutants import python_mutants, unreached_lines
from packetcodec.fuzz.python_trials import PythonTrials
from packetcodec.fuzz.self_test import self_test
from packetcodec.starter import schema_text
from tests.fuzz.test_targets import EXAMPLES


def changes(source):
    return {(mutant.was, mutant.now) for mutant in python_mutants(source)}


@pytest.mark.parametrize(
    ("source", "wanted"),
    [
        ("a <= b < c", {("<=", "<"), ("<=", ">"), ("<", "<="), ("<", ">="), ("a <= b < c", "pass")}),
        ("x = a is not (b)", {("is not", "is"), ("x = a is not (b)", "pass")}),
        ("x = (a) and b and c", {("and", "or"), ("x = (a) and b and c", "pass")}),
        ("x >>= 1", {(">>", "<<"), ("1", "2"), ("1", "0"), ("x >>= 1", "pass")}),
        ("x = not a", {("not ", ""), ("x = not a", "pass")}),
        ("x = -(a)", {("-", ""), ("x = -(a)", "pass")}),
        ("if a: pass", {("a", "False"), ("a", "True")}),
        ("while a: break", {("a", "False"), ("break", "pass")}),
        ("x = b if c else None", {("c", "False"), ("c", "True"), ("None", "0"), ("x = b if c else None", "pass")}),
        ("x = True", {("True", "False"), ("x = True", "pass")}),
        ('x = "words of %d" % a', {("%", "*"), ('x = "words of %d" % a', "pass")}),
        ('x = "too_short"', {('"too_short"', '"?"'), ('x = "too_short"', "pass")}),
        ('"""A docstring of 3."""', set()),
        ('N = namedtuple("N", ("a",))', {('N = namedtuple("N", ("a",))', "pass")}),
    ],
)
def test_each_sort_of_change_is_made_in_python(source, wanted):
    assert changes(source) == wanted


def test_a_change_beyond_ascii_stands_in_its_place():
    (mutant, *_) = [item for item in python_mutants('x = "é" + y\n') if item.was == "+"]
    assert mutant.of('x = "é" + y\n') == 'x = "é" - y\n'


def test_lines_that_did_not_run_are_known_by_their_statement():
    source = "X = 1\ndef f(x):\n    if x:\n        return (1 +\n            2)\n    return 3\n"
    assert unreached_lines(source, {1, 3, 6}) == {4, 5}


@pytest.fixture(scope="module")
def gate():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(room, "_PREPARED", 12)
        plan = compile_plan(Schema.load(EXAMPLES / "gate.toml"))
        return PythonTrials(HARNESSES["python-module"], plan, seed=0, seconds=600, differential=1000)


def mutant_of(trials, line, was, now):
    number = next(number for number, text in enumerate(trials.source.splitlines(), 1) if line in text)
    return next(item for item in trials.mutants() if (item.line, item.was, item.now) == (number, was, now))


def test_each_outcome_is_told_apart(gate):
    wrong = mutant_of(gate, "for place in range(first >> 3", ">>", "<<")
    found = gate.trial(wrong)
    assert (found.outcome, found.inputs > 0, found.why.startswith("decode ")) == ("killed", True, True)
    same = gate.trial(mutant_of(gate, "return code if circumference is None", "None", "0"))
    assert (same.outcome, "other questions" in same.why) == ("equivalent", True)
    assert gate.trial(Mutant(1, 0, 0, "", "(")).outcome == "invalid"
    assert gate.trial(mutant_of(gate, "for place in range(first >> 3", "3", "0")).outcome == "killed"
    assert gate.trial(Mutant(1, 0, 0, "", "raise SystemExit\n")).outcome == "killed"


def test_what_a_run_misses_and_a_differential_run_sees_survives(gate, monkeypatch):
    monkeypatch.setattr(gate, "batches", [])
    trial = gate.trial(mutant_of(gate, "for place in range(first >> 3", ">>", "<<"))
    assert (trial.outcome, trial.why.startswith(("decode ", "encode_base "))) == ("survived", True)


def test_lines_that_no_question_runs_are_no_subject(gate, monkeypatch):
    mutant = mutant_of(gate, "for place in range(first >> 3", ">>", "<<")
    monkeypatch.setattr(gate, "_unreached", frozenset({mutant.line}))
    assert gate.trial(mutant).outcome == "unreached"


@pytest.mark.slow
def test_a_sample_of_the_starter_schema_is_found_within_five_seconds_each():
    tally = self_test(Schema.parse(schema_text()), sample=120, seed=3, differential=10_000)
    assert (tally.killed > 80, tally.survived) == (True, 0)


#: Changes of what no answer says: the age of a point that follows from its place, and positions of one time.
UNSAID = [
    ("points.append(grid.point(None if interval", "*", "+"),
    ("if kept and time < kept[-1][0]", "<", "<="),
    ("if kept and time == kept[-1][0]", "0", "1"),
]


@pytest.mark.slow
@pytest.mark.parametrize(("line", "was", "now"), UNSAID)
def test_what_no_answer_says_is_looked_at_too(starter, line, was, now):
    assert starter.trial(mutant_of(starter, line, was, now)).outcome == "killed"


@pytest.fixture(scope="module")
def starter():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(room, "_PREPARED", 60)
        return PythonTrials(
            HARNESSES["python-module"], compile_plan(Schema.parse(schema_text())), seed=0, seconds=600, differential=1000
        )
