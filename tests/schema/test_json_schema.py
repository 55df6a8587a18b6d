"""The JSON Schema for editors: what the reader accepts it accepts, and it refuses what one key alone shows to be wrong."""

import datetime as dt
import tomllib

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from packetcodec.schema.json_schema import json_schema
from packetcodec.schema.keys import TABLES
from packetcodec.starter import schema_text
from tests.schema.test_reading import FIELD_FAULTS, FILE_FAULTS, TEMPLATE, TRAIL, TRAIL_FAULTS
from tests.support import schemas
from tests.support.random_schemas import schema_texts

VALIDATOR = jsonschema.Draft7Validator(json_schema(), format_checker=jsonschema.FormatChecker())


def as_json(value):
    """A TOML document as an editor hands it to JSON Schema: a date and time is a string."""
    if isinstance(value, dict):
        return {key: as_json(item) for key, item in value.items()}
    if isinstance(value, list):
        return [as_json(item) for item in value]
    return value.isoformat() if isinstance(value, dt.date) else value


def accepted(text):
    return VALIDATOR.is_valid(as_json(tomllib.loads(text)))


def test_it_is_a_json_schema():
    jsonschema.Draft7Validator.check_schema(json_schema())


@pytest.mark.parametrize("text", [schema_text(), *schemas.SCHEMAS.values()], ids=["starter", *schemas.SCHEMAS])
def test_it_accepts_the_starter_and_the_schemas_of_the_tests(text):
    assert list(VALIDATOR.iter_errors(as_json(tomllib.loads(text)))) == []


@pytest.mark.slow
@given(schema_texts() | schemas.schema_texts())
def test_it_accepts_what_can_be_read(text):
    assert accepted(text)


#: What one key alone shows to be wrong; the rest takes two keys, or the arithmetic of base units.
FIELD_ROWS = (
    'kind = "altitud"', 'name = "x"', 'kind = "altitude", bit = 3', 'kind = "altitude", epoch = 3',
    'kind = "identifier", bits = 33', 'kind = "identifier", bits = 0', 'kind = "identifier", bits = "8"',
    'kind = "identifier", bits = true', 'kind = "flag", bits = 3', 'kind = "altitude", policy = "drop"',
    'kind = "battery", unit = "amp"', 'kind = "choice", choices = ["a", "a"]', 'kind = "choice", choices = ["Rest", "b"]',
    'kind = "altitude", name = "9x"', 'kind = "altitude", name = "Höhe"', 'kind = "altitude", optional = "yes"',
)  # fmt: skip


@pytest.mark.parametrize("row", [row for row, _ in FIELD_FAULTS if row in FIELD_ROWS])
def test_it_refuses_what_one_key_of_a_field_shows_to_be_wrong(row):
    assert not accepted(TEMPLATE.format(field="{ " + row + " }"))


@pytest.mark.parametrize("number", [0, 2, 3, 9, 12, 13, 14, 15])
def test_it_refuses_what_one_key_of_the_file_shows_to_be_wrong(number):
    assert not accepted(FILE_FAULTS[number][0])


TRAIL_ROWS = (
    "resolution_m = 5", "resolution_m = 5, spacing = 0", "resolution_m = 0.01, spacing = 1",
    'resolution_m = 5, spacing = 1, too_long = "cut"',
    "resolution_m = 5, spacing = 1, points = 64", "resolution_m = 5, spacing = 1, speed = 0",
    "max_error_m = 0.02, spacing = 1",
    "resolution_m = 5, spacing = 1, packet_bytes = 256", "resolution_m = 5, spacing = 1, point = 2",
)  # fmt: skip


@pytest.mark.parametrize("row", [row for row, _ in TRAIL_FAULTS if row in TRAIL_ROWS])
def test_it_refuses_what_one_key_of_a_trail_shows_to_be_wrong(row):
    assert not accepted(TRAIL.replace("TRAIL", row))


@given(st.data())
def test_it_refuses_a_key_that_no_table_has_and_a_value_of_another_type(data):
    document = as_json(tomllib.loads(schema_text()))
    tables = {
        "": document,
        "header": document["header"],
        "check": document["check"],
        "layouts": document["layouts"][1],
        "fields": document["layouts"][2]["fields"][3],
        "trail": document["layouts"][1]["trail"],
        "history": document["history"][0],
    }
    name = data.draw(st.sampled_from(list(tables)))
    assert VALIDATOR.is_valid(document)
    key = data.draw(st.sampled_from(["colour", *TABLES[name].keys]))
    tables[name][key] = None  # no key takes a null
    assert not VALIDATOR.is_valid(document)


def test_every_row_that_is_named_here_is_a_fault_of_the_reader():
    assert set(FIELD_ROWS) <= {row for row, _ in FIELD_FAULTS}
    assert set(TRAIL_ROWS) <= {row for row, _ in TRAIL_FAULTS}
