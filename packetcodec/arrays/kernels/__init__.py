"""The loops that are compiled: integers and floats of arrays, no objects of Python."""

from __future__ import annotations
