"""Hypothesis strategies of schemas, values, packets and trails."""

from __future__ import annotations

from typing import TYPE_CHECKING

try:
    from hypothesis import strategies as st
except ImportError:
    raise ImportError("the strategies of packetcodec.fuzz need hypothesis: pip install 'packetcodec[fuzz]'") from None

if TYPE_CHECKING:
    composite = st.composite
else:

    def composite(function):
        """`st.composite`, less the function of a made-up module in which pdoc would look for the types of annotations."""
        made = st.composite(function)
        vars(made).pop("__wrapped__", None)
        return made


__all__ = ["composite", "st"]
