"""Options that several commands share."""

from __future__ import annotations
