"""How long tests on random input look: a user's run is quick, the second run of CI looks longer."""

import os

import pytest
from hypothesis import settings

THOROUGH = os.environ.get("HYPOTHESIS_PROFILE") == "ci"


def examples(count, **options):
    """Settings: so many examples where CI looks longer, in a quick run a fifth as many, and ten at least."""
    return settings(deadline=None, max_examples=count if THOROUGH else max(10, count // 5), **options)


def few(cases, every, ids=None):
    """The cases of a test, of which a quick run tries one in `every`, the first among them; the others are slow."""
    names = ids or [None] * len(cases)
    return [
        pytest.param(case, id=name, marks=[pytest.mark.slow] if number % every else [])
        for number, (case, name) in enumerate(zip(cases, names, strict=True))
    ]
