"""The place of every key, table and value, however a document is laid out; and what a fault says of it."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packetcodec.errors import SchemaFault
from packetcodec.schema import Schema, table
from packetcodec.schema.places import MAX_DEPTH, Places
from tests.support.toml_layouts import layouts

HEAD = 'name = "pasture"\nversion = 1\n'


def paths(value, path=()):
    """The path of everything in a document."""
    if path:
        yield path
    for key, item in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        yield from paths(item, (*path, key))


def line_and_column(text, offset):
    return text.count("\n", 0, offset) + 1, offset - text.rfind("\n", 0, offset)


@pytest.mark.slow
@given(layouts())
def test_the_place_of_every_value_is_right_in_every_layout(layout):
    document, text, offsets = layout
    read = tomllib.loads(text)
    assert set(paths(read)) == set(paths(document))
    places = Places(text)
    assert bool(places.too_deep) == any(len(path) > MAX_DEPTH for path in paths(read))
    for path in paths(read) if not places.too_deep else ():
        assert places.of(path) == line_and_column(text, offsets[path]), path


@given(st.text("[]{}=,.\"'#\\\n a1", max_size=60))
def test_a_text_that_is_no_toml_stops_nothing(text):
    Places(text)


ALTITUDES = '{ kind = "altitude" }, { kind = "altitude", name = "b", bits = 99 }'


@pytest.mark.parametrize(
    ("text", "place"),
    [
        (f'[[layouts]]\nname = "a"\nid = 1\nfields = [{ALTITUDES}]\n', 'line 6, column 67: layout 1 "a", field 2 "b", bits'),
        (
            f'layouts = [{{name = "a", id = 1, fields = [{ALTITUDES}]}}]',
            'line 3, column 99: layout 1 "a", field 2 "b", bits',
        ),
        ('[[layouts]]\nname = "a"\nid = 1\nfields = [\n  {\n}]', 'line 7, column 3: layout 1 "a", field 1: kind is missing'),
        ('layouts = [\n  { id = 1, fields = [{ kind = "flag" }] }]', "line 4, column 3: layout 1: name is missing"),
        (
            '[[layouts]]\nname="a"\nid=1\nfields = [{ kind = "flag" }, 7]',
            'line 6, column 30: layout 1 "a", field 2: must be a',
        ),
    ],
)
def test_a_fault_names_its_line_and_its_column(text, place):
    with pytest.raises(SchemaFault) as caught:
        Schema.parse(HEAD + text.replace("  {\n}", "  {}"))
    assert [str(problem) for problem in caught.value.problems if str(problem).startswith(place)], caught.value


def test_the_work_of_reading_grows_with_the_text_and_not_with_its_square(monkeypatch):
    """Counted in texts scanned: one, however many faults there are."""
    scanned = []
    monkeypatch.setattr(Places, "__init__", counted(Places.__init__, scanned))
    for count in (10, 1000):
        scanned.clear()
        with pytest.raises(SchemaFault) as caught:
            Schema.parse(HEAD + "[[layouts]]\n" * count)
        assert sum(map(len, scanned)) == len(HEAD) + 12 * count
        assert len(caught.value.problems) <= 101


def test_names_alike_are_looked_for_as_long_as_faults_are_told(monkeypatch):
    asked = []
    monkeypatch.setattr(table, "nearest", lambda key, _: asked.append(key))
    with pytest.raises(SchemaFault) as caught:
        Schema.parse("".join(f"key_{number} = 1\n" for number in range(5000)))
    assert len(asked) == table.MAX_PROBLEMS
    assert caught.value.problems[-1].message == "4903 more faults; mend these first"


def counted(method, scanned):
    def wrapped(self, text):
        scanned.append(text)
        method(self, text)

    return wrapped


@pytest.mark.parametrize(
    "text", ["a." * 9 + "a = 1", "[" + "a." * 9 + "a]", "a = " + "[" * 500, "a = " + "{a=" * 500, "a." * 2000, "[a." * 2000]
)
def test_what_is_nested_too_deeply_is_one_fault_with_its_place(text):
    with pytest.raises(SchemaFault, match=r"^line 3, column \d+: not a schema: nested more than 8 levels deep$"):
        Schema.parse(HEAD + text)
