"""How good the harness is: every planted mistake is found, after few inputs and with a small packet."""

import pytest

from packetcodec.errors import PacketcodecError
from packetcodec.fuzz.oracle import Oracle
from tests.fuzz.planted import trials as room
from tests.fuzz.planted.decoder import Plain
from tests.fuzz.planted.mistakes import MISTAKES_OF
from tests.fuzz.planted.trials import Prepared, plant, self_test
from tests.support.proving_ground import ground

PLANTED = [(place, name) for place, names in MISTAKES_OF.items() for name in names]


@pytest.fixture(scope="module")
def prepared():
    return Prepared(ground(), seed=1)


@pytest.mark.parametrize(("place", "name"), PLANTED, ids=": ".join)
def test_a_planted_mistake_is_found_and_told_with_a_packet_that_shows_it_and_it_alone(place, name, prepared):
    plan = ground()
    trial = plant(plan, place, name, prepared)
    assert trial.found
    wrong, right = Plain(plan, name), Plain(plan)
    lines = trial.smallest.split("\n")
    wanted = Oracle(plan, "base").answer(trial.smallest).split("\n")
    assert [right(line) for line in lines] == wanted
    try:
        got = [wrong(line) for line in lines]
    except Exception:  # noqa: BLE001  # one that raises is wrong too
        return
    assert got != wanted


def test_there_are_many_mistakes_on_both_sides():
    assert len(MISTAKES_OF["decoder"]) >= 60
    assert len(MISTAKES_OF["encoder"]) >= 40
    for names in MISTAKES_OF.values():
        assert len(set(names)) == len(names)


def test_random_inputs_alone_find_them_too(monkeypatch):
    monkeypatch.setattr(room.Inputs, "_worked", lambda _: iter(()))
    names = ["window one too long", "last code refused", "end of the circle told for its beginning", "half rounded down"]
    assert all(trial.found for trial in self_test(names=names))


def test_a_plain_decoder_that_is_wrong_without_a_mistake_ends_the_self_test(monkeypatch):
    monkeypatch.setattr(room, "Plain", lambda plan, _="": Plain(plan, "sign lost"))
    with pytest.raises(PacketcodecError, match="wrong without a mistake"):
        self_test(names=[])
