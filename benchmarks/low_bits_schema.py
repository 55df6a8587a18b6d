"""The starter schema with its positions by their low bits, for receivers within 20 km, up to 70 degrees of latitude."""

from __future__ import annotations

WHOLE = {"latitude": "resolution_m = 2.5, optional = true }", "longitude": "resolution_m = 2.5, optional = true }"}
KEYS = {"latitude": "within_m = 20000", "longitude": "within_m = 20000, max_latitude = 70"}


def shortened(text: str) -> str:
    """The starter schema with its positions by their low bits."""
    for kind, keys in KEYS.items():
        whole = f'kind = "{kind}", {WHOLE[kind]}'
        if whole not in text:
            raise SystemExit(f"the starter schema has no {whole}")
        text = text.replace(whole, f"{whole[:-2]}, {keys} }}")
    return text
