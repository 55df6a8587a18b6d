"""The reference made from docstrings: each public name says what it is; what can be called or made stands in an example."""

import ast
import doctest
import importlib
import inspect
import re
from functools import cache
from pathlib import Path

import pytest

import packetcodec

ROOT = Path(packetcodec.__file__).parent
#: The modules that users import from. Each states its public names in `__all__`.
PUBLIC = (
    "packetcodec", "packetcodec.bench", "packetcodec.crc", "packetcodec.crc.distance", "packetcodec.emit",
    "packetcodec.fuzz", "packetcodec.logs", "packetcodec.radio", "packetcodec.receive", "packetcodec.schema",
    "packetcodec.vectors", "packetcodec.wire",
)  # fmt: skip
#: Module to names without an example, or constants without a remark, so far. This list only gets shorter.
NOT_YET: dict[str, set[str]] = {
    "packetcodec.bench": set("ErrorSummary FieldReport Replay Span replay silences summary without_fix".split()),
    "packetcodec.emit": set("BackEnd".split()),
    "packetcodec.fuzz": set(
        """
        BrokenInvariantError Replies Target all_answers_agree any_packets any_value any_values decoder_target
        error_is_within_the_promised_bound flips_up_to_the_guarantee_are_noticed good_packets good_value good_values
        guaranteed_flips noise_is_missed_no_more_often_than_promised play points_are_within_half_a_cell
        quantizing_is_idempotent quantizing_is_monotone reference_target schemas values_follow_from_the_codes versions
        what_is_accepted_encodes_again_to_the_same_meaning
        """.split()
    ),
    "packetcodec.logs": set("COLUMNS FORMATS RecordedLog Refusal recognise".split()),
}


def names():
    return [(module, name) for module in PUBLIC for name in importlib.import_module(module).__all__]


@cache
def sources():
    return [path.read_text(encoding="utf-8") for path in sorted(ROOT.rglob("*.py"))]


@cache
def examples():
    """The words of all examples that the suite runs as doctests, and of what they print."""
    nodes = ast.Module | ast.ClassDef | ast.FunctionDef
    docs = [ast.get_docstring(node) for text in sources() for node in ast.walk(ast.parse(text)) if isinstance(node, nodes)]
    found = [example for doc in docs if doc for example in doctest.DocTestParser().get_examples(doc)]
    return {word for example in found for word in re.findall(r"\w+", example.source + example.want)}


def remarked(name):
    """Whether a constant has a remark above it, or a docstring below it, where it is defined."""
    above = re.compile(rf"^#:[^\n]*\n{name}\b", re.MULTILINE)
    below = re.compile(rf'^{name}\b[^\n]*=(?:[^\n]*|[^\n]*[({{\[]\n(?:[ \n][^\n]*\n)*[)}}\]]+)\n"""', re.MULTILINE)
    return any(above.search(text) or below.search(text) for text in sources())


@pytest.mark.parametrize(("module", "name"), names(), ids="{}".format)
def test_each_public_name_says_what_it_is_and_stands_in_an_example(module, name):
    thing = getattr(importlib.import_module(module), name)
    if inspect.isclass(thing) or callable(thing):
        assert thing.__doc__, f"{module}.{name} has no docstring"
        shown = name in examples()
    else:
        shown = name in examples() or remarked(name)
    # Whoever writes an example takes the name off the list.
    said = f"{module}.{name} has {'an example and is listed' if shown else 'no example'}"
    assert shown != (name in NOT_YET.get(module, ())), said


def test_the_documented_command_makes_the_reference_of_these_modules():
    text = (ROOT.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    command = next(
        line for line in text.replace("\\\n", "").splitlines() if re.search(r"\bpdoc -d google -o build/api ", line)
    )
    assert command.split("build/api ")[1].split() == list(PUBLIC)
