"""The strategies that the tests draw schemas, values and packets from: those of `packetcodec.fuzz`."""

from __future__ import annotations

from packetcodec.fuzz.strategies.packets import (
    any_packets,
    any_value,
    any_values,
    bases,
    good_packets,
    good_value,
    good_values,
)
from packetcodec.fuzz.strategies.schemas import NAMES, TEXTS, U32, checks, fields, schema_texts, schemas, toml, versions

__all__ = [
    "NAMES", "TEXTS", "U32", "any_packets", "any_value", "any_values", "bases", "checks", "fields", "good_packets",
    "good_value", "good_values", "schema_texts", "schemas", "toml", "versions",
]  # fmt: skip
