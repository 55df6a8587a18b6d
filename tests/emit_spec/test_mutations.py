"""Mistakes that somebody who reads the text could make, each made on purpose: the vectors must notice every one.

A mutation changes one line of the readers of the text (`reader`, `trail_reader`). If all vectors passed with it,
they would leave that line untested.
"""

from __future__ import annotations

import sys
import types
from pathlib import Path

import pytest

from packetcodec.starter import schema_text
from tests.emit_spec.test_vectors import agree
from tests.support import reader, trail_reader
from tests.support.effort import few
from tests.support.schemas import TRAILS, written

# What is mistaken, a piece of the trail's reader, and what stands there instead.
IN_TRAILS = (
    ("errors never fade", "error - (error >> 3)", "error"),
    ("errors fade twice as fast", "error - (error >> 3)", "error - (error >> 2)"),
    ("of equal errors the first is picked", "self.error[i] <= self.error[pick]", "self.error[i] < self.error[pick]"),
    ("the first point's errors are kept", "5, [0, 0, 2]", "5, self.error"),
    ("no handicap", "5, [0, 0, 2]", "5, [0, 0, 0]"),
    ("half the change rounds down", "(last - before + 1) >> 1", "(last - before) >> 1"),
    ("the window is one longer", "self.count == 8", "self.count == 9"),
    ("the count goes on from 5", "self.sum >> 1, 4", "self.sum >> 1, 5"),
    ("the patience is one longer", "self.change, 1, 5,", "self.change, 1, 6,"),
    ("the change stays as after the first point", "self.before = list(self.last)", "pass"),
    ("a count of all points behind a 0", 'n >= c["POINTS"]', 'n > c["POINTS"]'),
    ("any count behind a 0", 'n >= c["POINTS"]', "False"),
    ("half way round is turned", "if d > 1800000000", "if d >= 1800000000"),
    ("never the short way round", "if d > 1800000000", "if False"),
    ("eastwards to +180", "if off >= unsigned(3600000000 - u)", "if off > unsigned(3600000000 - u)"),
    ("westwards to +180", "if off > u else", "if off >= u else"),
    ("anything beyond the north pole is bad", "(off - (900000000 - h)) > step // 2", "(off - (900000000 - h)) > 0"),
    ("anything beyond the south pole is cut", "signed((-900000000 - h) - off) > step // 2", "False"),
    ("a whole cell beyond the south pole is cut", "((-900000000 - h) - off) > step // 2", "((-900000000 - h) - off) > step"),
    ("no limit half way round", "for cell in (step, wide)]", "for cell in (step, step)]"),
    ("every front is as long", "len(self.front(k, shift)) + len(piece)", "len(self.front(0, shift)) + len(piece)"),
    ("cells round down", "unsigned(offset + cell // 2) // cell", "offset // cell"),
    ("degrees of the anchor round up", "x = min(latitude // 10000000, 89)", "x = min(-(-latitude // 10000000), 89)"),
    ("a limit one cell too far", "min(1048575, unsigned(", "min(1048576, unsigned("),
    ("eight bits of padding are taken", "len(text) - bits.place >= 8", "len(text) - bits.place > 8"),
    ("padding is not looked at", ' or "1" in text[bits.place :]', ""),
    ("a full trail is never sent", "enumerate(pieces) if", 'enumerate(pieces) if k < c["POINTS"] and'),
    ("points are rounded before they are looked at", "<= value * scale <=", "<= rounded(value * scale) <="),
    ("yes is a number in a point", "isinstance(value, (str, bool))", "isinstance(value, str)"),
    ("longitudes up to 360", "(10000000, -1800000000, 1800000000)", "(10000000, -1800000000, 3600000000)"),
)
# The same of the reader of everything else.
IN_PACKETS = (
    ("a trail in any layout", "if given and name not in self.trails", "if False"),
    ("points are only looked at as far as they are sent", "for point in given]", "for point in given[:10]]"),
    ("padding behind fields is not looked at", 'if name not in self.trails and "1" in', 'if False and "1" in'),
    ("half way between two codes goes down", "(base - low + step // 2)", "(base - low + (step - 1) // 2)"),
    ("one code above last", 'if raw > field["max_code"] and', 'if raw > field["max_code"] + 1 and'),
    (
        "the last cell of the circle is one more",
        '["modulus"] and raw > field["max_code"] else raw',
        '["modulus"] and False else raw',
    ),
)


def spoiled(module: types.ModuleType, old: str, new: str) -> types.ModuleType:
    """A module with one line changed, under a name of its own."""
    source = Path(module.__file__).read_text(encoding="utf-8")
    assert old in source, f"{old!r} does not stand in {module.__name__}"
    made = types.ModuleType(f"{module.__name__}_spoiled")
    exec(compile(source.replace(old, new) if old else source, made.__name__, "exec"), made.__dict__)  # noqa: S102  # our own source
    return made


def noticed(make: type[reader.Reader], schema: str) -> bool:
    """Whether the vectors of a schema notice what is wrong with a reader."""
    try:
        agree(*written(schema), make)
    except (NameError, AttributeError):  # the mutation itself is wrong
        raise
    except Exception:  # noqa: BLE001  # a wrong reader may fail in any way
        return True
    return False


@pytest.mark.parametrize("change", few([change for _, *change in IN_TRAILS], 3, [what for what, *_ in IN_TRAILS]))
def test_the_starter_schemas_vectors_notice_a_mistake_in_trails(change: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    old, new = change
    monkeypatch.setitem(sys.modules, "tests.support.trail_reader", spoiled(trail_reader, old, new))
    assert noticed(spoiled(reader, "", "").Reader, schema_text())


@pytest.mark.parametrize(("old", "new"), [pytest.param(*change, id=what) for what, *change in IN_PACKETS])
def test_the_starter_schemas_vectors_notice_a_mistake_in_packets(old: str, new: str) -> None:
    assert noticed(spoiled(reader, old, new).Reader, schema_text())


@pytest.mark.parametrize(
    ("old", "new"),
    [('"WANDERING" in c', "False"), ("(last + before + 1) >> 1", "(last + before) >> 1")],
    ids=["a trail that wanders turns", "the mean of two moves rounds down"],
)
def test_vectors_notice_a_mistake_in_trails_that_wander(old: str, new: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "tests.support.trail_reader", spoiled(trail_reader, old, new))
    assert noticed(spoiled(reader, "", "").Reader, schema_text().replace("speed = 0.5 ", "wandering = true\nspeed = 0.5 "))


@pytest.mark.slow
@pytest.mark.parametrize("schema", [schema_text(), TRAILS], ids=["starter", "trails"])
def test_without_a_mistake_nothing_is_noticed(schema: str) -> None:
    assert not noticed(spoiled(reader, "", "").Reader, schema)
