"""The grid of a field: how a range of integers is cut into codes.

Owns one rule: how bits follow from a step, and a step from bits. With low and high in base units and R = high - low:

* on a line, code = (x - low + step // 2) // step, so the last code in use is (R + step // 2) // step;
* on a circle of circumference R, the codes are the ceil(R / step) cells, and rounding up past the last gives cell 0;
* an optional field keeps the highest code of its bits for "absent".

>>> derive(low=0, high=100, bits=5)
Grid(bits=5, step=4, max_code=25, absent_code=None)
>>> derive(low=-18 * 10**8, high=18 * 10**8, step=223, cyclic=True).bits
24
"""

from __future__ import annotations

import math
from decimal import Decimal
from typing import TYPE_CHECKING

from packetcodec.frozen import Frozen

if TYPE_CHECKING:
    from collections.abc import Callable

MAX_BITS = 32


class Grid(Frozen):
    """The codes of a field: their width in bits, the step in base units, the last code in use, the code for absent."""

    bits: int
    step: int
    max_code: int
    absent_code: int | None


def step_of_error(error: Decimal) -> int:
    """The coarsest step with which no value is further off than `error`, all in base units; below 1 there is none.

    A value within the range is off by half a step at most, rounded down, and by half a base unit where it is rounded to one.

    >>> step_of_error(Decimal("2.5")), step_of_error(Decimal("2.4")), step_of_error(Decimal("0.4"))
    (5, 3, -1)
    """
    return 2 * math.floor(error - Decimal("0.5")) + 1


def _max_code(span: int, step: int, *, cyclic: bool) -> int:
    return -(-span // step) - 1 if cyclic else (span + step // 2) // step


def derive(
    *,
    low: int,
    high: int,
    bits: int | None = None,
    step: int | None = None,
    cyclic: bool = False,
    optional: bool = False,
    show: Callable[[int], str] = "{} base units".format,
) -> Grid:
    """The grid of a range for a width in bits (the finest step that fits) or for a step (the fewest bits).

    With both given the width must hold the step's codes. `show` words a number of base units in messages.

    Raises:
        ValueError: the range is empty, does not fit 32-bit arithmetic, or does not fit the bits; the message
            names bound and value.
    """
    span = high - low
    if span <= 0:
        raise ValueError(f"minimum {show(low)} is not below maximum {show(high)}")
    if step is None:
        if bits is None:
            raise ValueError("needs bits or a resolution")
        codes = 2**bits - optional
        if codes < 2:
            raise ValueError(f"{bits} bit leaves {codes} code beside absent, at least 2 are needed")
        # The condition on the last code is monotone in step: start just below the answer and walk up to it.
        step = max(1, span // codes if cyclic else (2 * span - 1) // (2 * codes - 1))
        while _max_code(span, step, cyclic=cyclic) >= codes:
            step += 1
    last = _max_code(span, step, cyclic=cyclic)
    if last < 1:
        raise ValueError(f"a step of {show(step)} leaves no second code in a range of {show(span)}")
    if span + step // 2 > 2**32 - 1:
        raise ValueError(f"a range of {show(span)} with a step of {show(step)} does not fit 32-bit arithmetic")
    needed = max(1, (last + optional).bit_length())
    if bits is None:
        bits = needed
    if needed > bits:
        raise ValueError(f"needs codes 0..{last}{' and one for absent' * optional}: {needed} bits, not {bits}")
    if bits > MAX_BITS:
        raise ValueError(f"needs {bits} bits, at most {MAX_BITS} are allowed")
    return Grid(bits, step, last, 2**bits - 1 if optional else None)
