"""The trail: its cells, its numbers, its guesses."""

from __future__ import annotations
