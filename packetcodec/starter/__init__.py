"""What ships with the package: the starter schema, and an invented log to replay.

>>> schema_text().splitlines()[0]
'# A packet schema: what your tracker sends, how finely, and in which order.'
"""

from __future__ import annotations

from importlib.resources import files

SCHEMA_FILE = "pasture.toml"
SAMPLE_FILE = "sample.nmea"


def schema_text() -> str:
    """The starter schema: commented TOML, meant to be edited."""
    return files(__package__).joinpath(SCHEMA_FILE).read_text(encoding="utf-8")


def sample_log() -> bytes:
    """The sample log: NMEA 0183 sentences of an invented collar, with a cold start, a loss of fix and some noise."""
    return files(__package__).joinpath(SAMPLE_FILE).read_bytes()
