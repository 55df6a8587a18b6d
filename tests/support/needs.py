"""What a test needs that no package brings: without it the test is skipped on a user's machine, and fails in CI."""

from __future__ import annotations

import importlib
import importlib.util
import os
import shutil
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from types import ModuleType


def demand(present: object, what: str) -> None:
    """Go on where it is present; else say what is missing."""
    if not present:
        words = f"{what}: what it would run is not tested here"
        pytest.fail(words) if os.environ.get("CI") else pytest.skip(words)


def tool(name: str, package: str = "") -> str:
    """The path of a program, and Debian's package that brings it."""
    return one_of(name, package=package or name)


def one_of(*names: str, package: str = "") -> str:
    """The path of the first of these programs that is there."""
    found = next(filter(None, map(shutil.which, names)), "")
    demand(found, f"{' or '.join(names)} is not installed{package and f' (Debian: {package})'}")
    return found


def library(name: str) -> ModuleType:
    """A library of the extra "dev"."""
    demand(importlib.util.find_spec(name), f"{name} is not installed (extra dev)")
    return importlib.import_module(name)
