"""The pages of the starter schema and of the sample log, made once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click
import pytest

from packetcodec.cli.app import app
from packetcodec.starter import example_plan
from tests.cli.conftest import cli

if TYPE_CHECKING:
    from packetcodec import Plan
    from packetcodec.cli.tables.page_plan import Whole

__all__ = ["cli"]


class Pages:
    """Pages as the commands make them, before they are written."""

    def __init__(self) -> None:
        self.made: dict[tuple[str, ...], Whole] = {}

    @property
    def parsed(self) -> Plan:
        """The plan of the starter schema."""
        return example_plan()

    def plan(self) -> Whole:
        """`page`."""
        return self._of("page", "--battery", "2600", "--trackers", "12", "-o", "never.html")

    def replay(self) -> Whole:
        """`replay --page`."""
        return self._of("replay", "--loss", "40%", "--burst", "3", "--page", "never.html")

    def _of(self, command: str, *arguments: str) -> Any:
        key = (command, *arguments)
        if key not in self.made:
            module = f"packetcodec.cli.{command}"
            with pytest.MonkeyPatch.context() as patch:
                patch.setattr(f"{module}.put_page", lambda whole, *_: self.made.__setitem__(key, whole))
                with app.commands[command].make_context(command, list(arguments)) as context:
                    assert isinstance(context, click.Context)
                    app.commands[command].invoke(context)
        return self.made[key]


@pytest.fixture(scope="session")
def pages() -> Pages:
    """The pages of the starter schema and of the sample log."""
    return Pages()
