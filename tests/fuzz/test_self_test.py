"""How good the harness is: every planted mistake is found, quickly and with a small packet."""

import pytest

from packetcodec.errors import PacketcodecError
from packetcodec.fuzz import self_test as room
from packetcodec.fuzz.faults import FAULTS_OF
from packetcodec.fuzz.oracle import Oracle
from packetcodec.fuzz.plain import Plain
from packetcodec.fuzz.self_test import ground, self_test

TRIALS = self_test(seed=1, seconds=10)


@pytest.mark.parametrize("trial", TRIALS, ids=lambda trial: f"{trial.place}: {trial.name}")
def test_a_planted_mistake_is_found_within_seconds(trial):
    assert trial.found
    assert trial.seconds < 5


@pytest.mark.parametrize("trial", TRIALS, ids=lambda trial: f"{trial.place}: {trial.name}")
def test_the_smallest_packet_told_shows_the_mistake_and_only_the_mistake(trial):
    plan = ground()
    wrong, right = Plain(plan, trial.name), Plain(plan)
    lines = trial.smallest.split("\n")
    wanted = Oracle(plan, "base").answer(trial.smallest).split("\n")
    assert [right(line) for line in lines] == wanted
    try:
        got = [wrong(line) for line in lines]
    except Exception:  # noqa: BLE001  # one that raises is wrong too
        return
    assert got != wanted


def test_there_are_many_mistakes_on_both_sides():
    assert len(FAULTS_OF["decoder"]) >= 60
    assert len(FAULTS_OF["encoder"]) >= 40
    for names in FAULTS_OF.values():
        assert len(set(names)) == len(names)


def test_random_inputs_alone_find_them_too(monkeypatch):
    monkeypatch.setattr(room.Inputs, "_worked", lambda _: iter(()))
    names = ["window one too long", "last code refused", "end of the circle told for its beginning", "half rounded down"]
    assert all(trial.found for trial in self_test(names=names, seconds=10))


def test_a_plain_decoder_that_is_wrong_without_a_mistake_ends_the_self_test(monkeypatch):
    monkeypatch.setattr(room, "Plain", lambda plan, _="": Plain(plan, "sign lost"))
    with pytest.raises(PacketcodecError, match="wrong without a mistake"):
        self_test(names=[])
