"""Any schema that can be read compiles, says the same twice, and keeps what it promises; others are refused."""

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packetcodec import Codec
from packetcodec.errors import SchemaFault
from packetcodec.reference import ReferenceCodec
from packetcodec.schema import MAX_BYTES, Schema
from packetcodec.wire import compile_plan, from_raw, in_range, pack, to_raw, to_value, unpack
from tests.support.effort import examples
from tests.support.random_schemas import good_values, schema_texts, schemas

bounded = examples(60)


@bounded
@given(schema_texts())
def test_a_random_schema_compiles_to_the_same_plan_twice_and_its_fields_stand_side_by_side(text):
    plan = compile_plan(Schema.parse(text))
    assert plan == compile_plan(Schema.parse(text))
    for layout in plan.layouts:
        offset = plan.header_bits
        for field in layout.fields:
            assert field.offset == offset
            assert field.max_code + (field.absent_code is not None) < 2**field.bits
            assert -(2**31) <= field.low < field.high < 2**32
            offset += field.bits
        assert layout.bits == offset
        assert layout.size <= layout.longest <= MAX_BYTES


@bounded
@given(schema_texts(), st.data())
def test_a_random_schema_keeps_its_promise_on_every_base_value(text, data):
    for layout in compile_plan(Schema.parse(text)).layouts:
        for field in layout.fields:
            base = data.draw(st.integers(field.low, field.max_input), label=field.name)
            error = abs(from_raw(field, to_raw(field, base)) - in_range(field, base))
            if field.modulus:
                error = min(error, field.modulus - error)
            assert error <= field.max_error


@pytest.mark.slow
@bounded
@given(schema_texts(), st.data())
def test_a_random_schema_reads_back_the_codes_that_it_packs(text, data):
    plan = compile_plan(Schema.parse(text))
    layout = data.draw(st.sampled_from(plan.layouts))
    codes = tuple(data.draw(st.integers(0, field.max_code)) for field in layout.fields)
    assert unpack({plan.version: plan}, pack(plan, layout, codes))[2] == codes


@bounded
@given(schemas(low_bits=True), st.data())
def test_random_low_bits_are_found_from_every_reference_within_reach(schema, data):
    codec, plain = Codec(schema), ReferenceCodec(schema)
    layout = data.draw(st.sampled_from(codec.plan.layouts))
    values = data.draw(good_values(next(item for item in schema.layouts if item.name == layout.name)))
    packet = codec.encode(layout.name, values)
    codes = codec.quantize(layout.name, values)
    assert packet == pack(codec.plan, layout, codes) == plain.encode(layout.name, values)
    reference, beyond = {}, {}
    for place, field, low in layout.low_fields:
        if codes[place] != field.absent_code:
            for known, most in ((reference, low.reach), (beyond, 3 * low.modulus)):
                code = codes[place] + data.draw(st.integers(-most, most))
                code = code % (field.max_code + 1) if field.modulus else min(max(code, 0), field.max_code)
                known[field.name] = to_value(field, code)
    assert codec.decode(packet, reference=reference).codes == codes
    assert codec.try_decode(packet, reference=reference) == plain.try_decode(packet, reference=reference)
    assert codec.try_decode(packet, reference=beyond) == plain.try_decode(packet, reference=beyond)
    assert (codec.try_decode(packet)[0] == "ok") == (not reference)


NUMBERS = [*"0 -1 1 1e999999999999 -1e999999999999 1e-999999999999 nan inf 4294967296 0.1".split(), "1" * 400]
KEYS = ["bits", "resolution", "resolution_m", "max_error", "max_error_m", "minimum", "maximum", "period"]


@examples(150)
@given(
    kind=st.sampled_from(["latitude", "longitude", "altitude", "number", "counter", "time", "battery", "course"]),
    keys=st.dictionaries(st.sampled_from(KEYS), st.sampled_from(NUMBERS), min_size=1, max_size=4),
    epoch=st.sampled_from(["", "9999-12-31T23:59:59Z", "9999-12-31T23:59:59-12:00", "0001-01-01T00:00:00+14:00"]),
    unit=st.text(string.printable, max_size=5).filter(lambda text: text.isprintable() and not set(text) & set('"\\')),
)
def test_extreme_numbers_give_a_schema_or_a_fault_in_words(kind, keys, epoch, unit):
    said = [f'kind = "{kind}"', *(f"{key} = {number}" for key, number in keys.items())]
    said += [f"epoch = {epoch}"] * bool(epoch) + [f'unit = "{unit}"'] * (kind == "number")
    text = f'name = "pasture"\nversion = 1\n[[layouts]]\nname = "a"\nid = 1\nfields = [{{ {", ".join(said)} }}]\n'
    problems = ()
    try:
        schema = Schema.parse(text)
    except SchemaFault as fault:
        problems = fault.problems
    if problems:
        assert all(0 < len(problem.message) < 400 for problem in problems)
    else:
        field = compile_plan(schema).layouts[0].fields[0]
        assert from_raw(field, field.max_code) <= field.high
