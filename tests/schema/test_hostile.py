"""A schema is data: whatever its text holds, it is read, or refused by clear faults of one line each."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packetcodec import Schema, SchemaFault, compile_plan
from packetcodec.cli.app import run
from packetcodec.emit.spec import write_spec
from packetcodec.schema.keys import FORBIDDEN, TABLES
from packetcodec.starter import schema_text
from packetcodec.wire.advice import advise


def inline(rows):
    return "{ " + ", ".join(f'"{key}" = {value}' for key, value in rows.items()) + " }"


NUMBERS = st.sampled_from(
    [
        *("0", "-1", "1", "255", "256", "4294967295", "4294967296", "-2147483649", "0.1", "nan", "-inf", "-0.0"),
        *("9" * 4000, "0x" + "f" * 20_000, "0b" + "1" * 99, "0." + "0" * 40 + "1", "1." + "3" * 200, "99999999999999.9"),
        *("1e999999999999", "-1e999999999999", "1e-999999999999", "1e29", "1e14", "1e-15", "1e-16"),
    ]
)
DATES = st.sampled_from(
    [
        *("9999-12-31T23:59:59Z", "0001-01-01T00:00:00Z", "0001-01-01T00:00:00+23:59", "9999-12-31T23:59:59-23:59"),
        *("2026-01-01", "12:00:00", "2026-01-01T00:00:00", "2026-01-01T00:00:00.5Z", "2026-01-01T00:00:00+24:00"),
    ]
)
WORDS = st.sampled_from(
    [
        *(
            "",
            "a",
            "latitude",
            "number",
            "choice",
            "time",
            "beacon",
            "degree",
            "none",
            "CRC-16/M17",
            "coded",
            "wrap",
            "clip",
        ),
        *("\\u001b[31m", "\\u0000", "\\n", "\\u202e", "*/", "</script>", "\\\\", '\\"', "\\U0010ffff", "\\u2028", "\\r\\n"),
        "x" * 2000,
    ]
)
STRINGS = WORDS.map(lambda word: f'"{word}"') | st.text(max_size=20).map(lambda text: f"'''{text}'''")
VALUES = st.recursive(
    NUMBERS | DATES | STRINGS | st.sampled_from(["true", "false"]),
    lambda inner: (
        st.lists(inner, max_size=4).map(lambda items: f"[{', '.join(items)}]")
        | st.dictionaries(WORDS, inner, max_size=3).map(inline)
    ),
    max_leaves=6,
)


def of_type(row):
    """Values of a key's own type, its bounds and what is next to them among them."""
    if row.choices:
        return st.sampled_from([f'"{value}"' if isinstance(value, str) else str(value) for value in row.choices])
    ends = [str(int(end) + by) for end in (row.minimum, row.maximum) if end is not None for by in (-1, 0, 1)]
    return {
        "name": st.sampled_from(['"a"', '"version"', '"A"', f"'{'x' * 31}'", f"'{'x' * 32}'"]),
        "text": STRINGS,
        "integer": st.sampled_from([*ends, "0", "7"]) | NUMBERS,
        "number": st.sampled_from([*ends, "2.5", "0.3", "100"]) | NUMBERS,
        "boolean": st.sampled_from(["true", "false"]),
        "date and time": DATES,
        "names": st.sampled_from(['["a", "b"]', '["a", "a"]', '["a", 1]', "[]", str([f"n{i}" for i in range(257)])]),
        "seconds or text": st.sampled_from([*ends, '"coded"', '"f0"', '"f1"']),
    }.get(row.type, VALUES)


@st.composite
def tables(draw, name, good):
    """The rows of a table: those of a good one, now and then one dropped, one with any value, or one of no table."""
    rows = dict(good)
    for key in draw(st.just([]) | st.lists(st.sampled_from([*TABLES[name].keys, "colour"]), max_size=2, unique=True)):
        change = draw(st.sampled_from(["own", "own", "own", "any", "none"]))
        if change == "none":
            rows.pop(key, None)
        else:
            rows[key] = draw(of_type(TABLES[name].keys[key]) if change == "own" and key != "colour" else VALUES)
    return rows


DEMANDED = {
    "time": {"epoch": "2026-01-01T00:00:00Z"},
    "choice": {"choices": '["a", "b"]'},
    "number": {"minimum": "0", "maximum": "9", "resolution": "1"},
}
ENTRY = {"version": "1", "note": '"first"'}


@st.composite
def texts(draw):
    """A schema with one layout in which a few values are anything."""
    kinds = draw(st.lists(st.sampled_from(TABLES["fields"].keys["kind"].choices), max_size=3))
    rows = [{"kind": f'"{kind}"', "name": f'"f{number}"', **DEMANDED.get(kind, {})} for number, kind in enumerate(kinds)]
    fields = [inline(draw(tables("fields", row))) for row in rows]
    place = ['{ kind = "latitude", bits = 20 }', '{ kind = "longitude", bits = 20 }']
    layout = {"name": '"beacon"', "id": "1", "fields": f"[{', '.join([*fields, *place])}]"}
    if draw(st.booleans()):
        layout["trail"] = inline(draw(tables("trail", {"resolution_m": "2.5", "spacing": "30"})))
    top = {
        "name": '"pasture"',
        "version": "1",
        "header": inline(draw(tables("header", {}))),
        "check": inline(draw(tables("check", {}))),
        "layouts": f"[{inline(draw(tables('layouts', layout)))}]",
        "history": f"[{inline(draw(tables('history', ENTRY)))}]",
    }
    return "\n".join(f"{key} = {value}" for key, value in draw(tables("", top)).items())


@st.composite
def cuts(draw):
    """The starter schema with a piece of it replaced by another piece, or by anything."""
    text = schema_text()
    first, second, third, fourth = (draw(st.integers(0, len(text))) for _ in range(4))
    piece = draw(st.sampled_from([text[min(third, fourth) : max(third, fourth)][:200], "", "\x00", "[", '"""']) | VALUES)
    return text[:first] + piece + text[min(len(text), first + second % 40) :]


def problems(text):
    """The faults of a text; none for one that can be read, which then has a plan, advice and a specification."""
    try:
        plan = compile_plan(Schema.parse(text))
    except SchemaFault as fault:
        return fault.problems
    assert all(advice.sentence.isprintable() for advice in advise(plan))
    assert write_spec(plan)
    return ()


@pytest.mark.slow
@given(texts() | cuts() | st.text(max_size=200))
def test_any_text_is_read_or_refused_by_faults_of_one_line(text):
    for problem in problems(text):
        assert str(problem).isprintable()
        assert len(str(problem)) < 600


@pytest.mark.slow
@given(texts() | cuts())
def test_check_ends_with_a_status_of_its_own_on_any_text(tmp_path_factory, text):
    path = tmp_path_factory.mktemp("hostile") / "pasture.toml"
    path.write_text(text, encoding="utf-8", errors="surrogatepass")
    assert run(["check", str(path)]) in {0, 1}


@pytest.mark.parametrize("before", ['doc = "Collars', 'unit = "°', 'note = "First', 'doc = "the collar saw'])
@pytest.mark.parametrize("character", ["\x00", "\x1b", "\x7f", "\x85", "\u2028", "\u202e", "\u2066", "\ufeff"])
def test_no_text_holds_a_character_that_acts_on_what_shows_it(before, character):
    assert FORBIDDEN.search(character)
    text = schema_text().replace(before, f"{before}\\u{ord(character):04x}")
    with pytest.raises(SchemaFault) as caught:
        Schema.parse(text)
    (problem,) = caught.value.problems
    assert problem.message == f"holds the character U+{ord(character):04X}, which no text here may hold"
    assert problem.place.endswith(before.split(" = ")[0])


def test_letters_signs_and_line_breaks_of_any_language_may_stand_in_a_text():
    text = schema_text().replace('doc = "Collars', 'doc = """Höhe\n\n\t牧場 🐄 مرعى\u00a0‰""" #')
    assert Schema.parse(text).doc == "Höhe 牧場 🐄 مرعى ‰"
