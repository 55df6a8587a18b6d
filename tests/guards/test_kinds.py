"""A kind is one row: nothing but `packetcodec/schema/kinds.py` compares a kind with a name."""

import re
from pathlib import Path

from packetcodec.schema import KINDS

PACKAGE = Path(__file__).parents[2] / "packetcodec"
NAME = rf"""["'](?:{"|".join(KINDS)})["']"""
COMPARED = re.compile(
    rf"""kind(?:\.name|"\]|'\])?\s*(?:[=!]=|(?:not\s+)?in\s*[({{\[])\s*{NAME}|{NAME}\s*(?:[=!]=|(?:not\s+)?in)\s*kinds?\b"""
)


def test_the_pattern_finds_what_it_is_for():
    for line in (
        'if field.kind == "flag":',
        "{% if 'longitude' in kinds %}",
        'kind.name in ("time", "flag")',
        'table["kind"] != "flag"',
    ):
        assert COMPARED.search(line), line
    assert not COMPARED.search("if field.kind.form is Form.FLAG:")


def test_no_file_compares_a_kind_with_a_name():
    found = [
        f"{path.relative_to(PACKAGE)}:{number}: {line.strip()}"
        for path in sorted(PACKAGE.rglob("*"))
        if path.suffix in {".py", ".j2"} and path != PACKAGE / "schema" / "kinds.py"
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if COMPARED.search(line)
    ]
    assert not found, "\n".join(found)
