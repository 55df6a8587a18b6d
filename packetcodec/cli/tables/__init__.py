"""Tables that several commands print."""

from __future__ import annotations
