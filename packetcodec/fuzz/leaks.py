"""What a target does beside answering: how much memory it holds, and what it says on stderr that means trouble.

Owns one rule: when memory is suspected to grow without end. It is looked at after every group of questions; it is suspected
when from a quarter of the run on it never shrank, grew in each third of what followed, and by at least `SLOPE` bytes a
question. `packetcodec.fuzz.investigate` then looks for a question that makes it grow.

>>> memory = MemoryWatch()
>>> for size in range(100, 300):
...     memory.look(100 * size, size << 20)
>>> memory.slope() > SLOPE
True
"""

from __future__ import annotations

import itertools

#: Bytes a question, on the average, from which growth is looked into.
SLOPE = 4.0
#: Bytes each time from which the growth that one question makes is a leak: an allocator hands out no less.
LEAK = 16.0
_LEAST = 256 << 10
_LOOKS = 32
#: Words on stderr that mean trouble whatever was answered.
_ALARMS = ("Sanitizer", "runtime error:", "panicked at", "Traceback (most recent call last)", "Assertion")


class MemoryWatch:
    """The sizes of a target over a run, thinned out so that they stay few."""

    def __init__(self) -> None:
        self._sizes: list[tuple[int, int]] = []
        self._every = 1
        self._looks = 0

    def look(self, inputs: int, size: int) -> None:
        """Note a size in bytes after so many questions; 0 where it cannot be told."""
        self._looks += 1
        if size and self._looks % self._every == 0:
            self._sizes.append((inputs, size))
            if len(self._sizes) > 2 * _LOOKS:
                self._sizes = self._sizes[::2]
                self._every *= 2

    def slope(self) -> float:
        """Bytes a question by which it grew without ever shrinking since a quarter of the run; 0 where it settled."""
        later = self._sizes[len(self._sizes) // 4 :]
        if len(later) < _LOOKS // 4 or any(two[1] < one[1] for one, two in itertools.pairwise(later)):
            return 0.0
        grown, third = later[-1][1] - later[0][1], len(later) // 3
        thirds = (later[place + third][1] - later[place][1] for place in (0, third, len(later) - 1 - third))
        if grown < _LEAST or min(thirds) < grown // 12:
            return 0.0
        return grown / max(1, later[-1][0] - later[0][0])


def alarm(remarks: str) -> str:
    """What means trouble on stderr, without addresses and places, or ""."""
    for line in remarks.splitlines():
        if any(word in line for word in _ALARMS):
            said = line.partition("runtime error: ")[2] or line.partition("Sanitizer: ")[2] or line.strip()
            return said.partition(" on ")[0].partition(" 0x")[0].partition(" at 0x")[0]
    return ""
