"""The command line: the only place that prints, opens files named by a user, or exits."""

from __future__ import annotations

from packetcodec.cli.app import main

__all__ = ["main"]
