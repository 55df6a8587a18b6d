"""What time it is, by the clock that people set and by one that nobody sets.

Owns one rule: seconds between two moments are counted by the steady clock; the clock of the day only dates them. Where it is
set by more than a second, that is said.
"""

from __future__ import annotations

import math
import time

#: A clock that is set by less is steered by its own correction.
_STEP = 1.0


def _steady() -> float:
    # Unlike the monotonic clock, this one goes on while the machine sleeps.
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


class Clock:
    """Both clocks. The steady one begins with the time of the day, or where it stood when the program was stopped."""

    def __init__(self, after: float = -math.inf) -> None:
        """Begin; `after` is what the steady clock showed last, before this start."""
        self._ahead = time.time() - _steady()
        self._base = max(time.time(), after) - _steady()

    def read(self) -> tuple[float, float]:
        """Unix seconds, and seconds of the steady clock."""
        return time.time(), self.steady()

    def steady(self) -> float:
        """Seconds of the steady clock."""
        return self._base + _steady()

    def stepped(self) -> float:
        """By how many seconds the clock of the day was set since the last call, forward or back; 0 if it was not."""
        ahead = time.time() - _steady()
        step = ahead - self._ahead
        if abs(step) < _STEP:
            return 0.0
        self._ahead = ahead
        return step
