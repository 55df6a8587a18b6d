"""`python -m packetcodec`."""

from __future__ import annotations

from packetcodec.cli import main

main()
