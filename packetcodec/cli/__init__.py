"""The command line: the only place that prints, opens files named by a user, or exits."""

from __future__ import annotations

import sys

try:
    from packetcodec.cli.app import main
except KeyboardInterrupt:  # while the libraries load, before there is anything that could catch it
    sys.exit(130)

__all__ = ["main"]
