"""Hypothesis strategies of schemas, values, packets and trails."""

from __future__ import annotations
