"""Frozen values behave as frozen dataclasses with slots do."""

import copy
import pickle
from dataclasses import dataclass

import pytest

from packetcodec.crc import find_crc
from packetcodec.frozen import Frozen, replace

CRC = find_crc("CRC-16/M17")


class Gate(Frozen):
    """A gate of the pasture."""

    name: str
    width: int
    open: bool = False

    @property
    def wide(self) -> bool:
        return self.width > 3


@dataclass(frozen=True, slots=True)
class Plain:
    name: str
    width: int
    open: bool = False


class Checked(Frozen):
    width: int

    def __post_init__(self):
        if self.width < 1:
            raise ValueError(f"width: {self.width} is below 1")


NORTH = Gate("north", 4)


@pytest.mark.parametrize(
    ("values", "named"),
    [(("north", 4), {}), (("north",), {"width": 4}), ((), {"open": False, "width": 4, "name": "north"})],
)
def test_values_are_given_by_place_and_by_name(values, named):
    assert Gate(*values, **named) == NORTH
    assert repr(Gate(*values, **named)) == repr(Plain(*values, **named)).replace("Plain", "Gate")


@pytest.mark.parametrize(
    ("values", "named"),
    [
        ((), {}),
        (("north",), {}),
        (("north", 4, True, 1), {}),
        (("north", 4), {"name": "south"}),
        (("north", 4), {"height": 1}),
    ],
)
def test_what_is_missing_twice_or_too_much_is_a_type_error(values, named):
    with pytest.raises(TypeError):
        Plain(*values, **named)
    with pytest.raises(TypeError, match="Gate takes name, width, open"):
        Gate(*values, **named)


def test_nothing_can_be_changed_or_added():
    for name in ("width", "colour"):
        with pytest.raises(AttributeError, match=f"cannot assign to {name}"):
            setattr(NORTH, name, 5)
        with pytest.raises(AttributeError, match=f"cannot delete {name}"):
            delattr(NORTH, name)
    assert not hasattr(NORTH, "__dict__")
    assert replace(NORTH, width=2) == Gate("north", 2)
    assert NORTH.wide


def test_equal_values_are_equal_and_hash_alike_within_one_class():
    assert len({NORTH, Gate("north", 4), Gate("north", 4, open=True)}) == 2
    assert Plain("north", 4) != NORTH
    assert NORTH != ("north", 4, False)


def test_a_value_can_be_matched_pickled_and_copied():
    match NORTH:
        case Gate(name, width, False):
            assert (name, width) == ("north", 4)
        case _:
            raise AssertionError
    assert copy.copy(NORTH) == copy.deepcopy(NORTH) == NORTH
    assert Frozen.__reduce__(NORTH) == (Gate, ("north", 4, False))
    assert pickle.loads(pickle.dumps(replace(CRC, name="own"))) == replace(CRC, name="own")


def test_a_class_may_refuse_what_it_is_given():
    assert Checked(1).width == 1
    with pytest.raises(ValueError, match="0 is below 1"):
        replace(Checked(1), width=0)
