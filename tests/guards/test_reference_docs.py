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
    "packetcodec", "packetcodec.arrays", "packetcodec.bench", "packetcodec.crc", "packetcodec.crc.distance",
    "packetcodec.emit", "packetcodec.fuzz", "packetcodec.fuzz.strategies.packets",
    "packetcodec.fuzz.strategies.schemas", "packetcodec.fuzz.strategies.trails", "packetcodec.logs", "packetcodec.page",
    "packetcodec.radio", "packetcodec.receive", "packetcodec.schema", "packetcodec.vectors", "packetcodec.wire",
)  # fmt: skip


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
    block = r"[^\n]*[({\[]\n(?:[ \n][^\n]*\n)*[)}\]]+(?:  # fmt: skip)?"
    below = re.compile(rf'^{name}\b[^\n]*=(?:[^\n]*|{block})\n"""', re.MULTILINE)
    return any(above.search(text) or below.search(text) for text in sources())


def shown(module, name):
    """Whether a name has what it needs: a class or function a docstring, and each an example, or a remark for a constant."""
    thing = getattr(importlib.import_module(module), name)
    if inspect.isclass(thing) or callable(thing):
        return bool(thing.__doc__) and name in examples()
    return name in examples() or remarked(name)


@pytest.mark.slow
def test_each_public_name_says_what_it_is_and_stands_in_an_example():
    assert not [f"{module}.{name}" for module, name in names() if not shown(module, name)]


def test_the_documented_command_makes_the_reference_of_these_modules():
    text = (ROOT.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    command = next(
        line for line in text.replace("\\\n", "").splitlines() if re.search(r"\bpdoc -d google -o build/api ", line)
    )
    assert command.split("build/api ")[1].split() == list(PUBLIC)
