"""What a target does beside answering: how much memory it holds, and what a sanitizer says of it on stderr.

Owns one rule: when memory grows without end. It is looked at after every group of questions; what has grown from a quarter
of the run to its end by more than `LEAK` bytes, never shrank between, and still grew in its last quarter, leaks.

>>> memory = MemoryWatch()
>>> for size in range(100, 300):
...     memory.look(size << 20)
>>> memory.grown() > LEAK
True
"""

from __future__ import annotations

import itertools

#: Bytes by which the memory of a clean program may grow: buffers, pools and the heap of a collector settle below it.
LEAK = 64 << 20
_LOOKS = 16
#: Words on stderr that mean a sanitizer found something.
_ALARMS = ("AddressSanitizer", "LeakSanitizer", "MemorySanitizer", "runtime error:")


class MemoryWatch:
    """The sizes of a target over a run, thinned out so that they stay few."""

    def __init__(self) -> None:
        self._sizes: list[int] = []
        self._every = 1
        self._looks = 0

    def look(self, size: int) -> None:
        """Note a size in bytes; 0 where it cannot be told."""
        self._looks += 1
        if size and self._looks % self._every == 0:
            self._sizes.append(size)
            if len(self._sizes) > 2 * _LOOKS:
                self._sizes = self._sizes[::2]
                self._every *= 2

    def grown(self) -> int:
        """Bytes by which it grew without ever shrinking since a quarter of the run; 0 where it settled."""
        if len(self._sizes) < _LOOKS // 2:
            return 0
        later = self._sizes[len(self._sizes) // 4 :]
        steady = all(one <= two for one, two in itertools.pairwise(later))
        steady = steady and later[-1] - later[-len(later) // 3] > LEAK // 8
        return later[-1] - later[0] if steady else 0


def alarm(remarks: str) -> str:
    """What a sanitizer says, without addresses and places, or ""."""
    for line in remarks.splitlines():
        if any(word in line for word in _ALARMS):
            said = line.partition("runtime error: ")[2] or line.partition("Sanitizer: ")[2] or line
            return said.partition(" on ")[0].partition(" 0x")[0]
    return ""
