"""Which of a log's fixes a tracker would have sent, and when its receiver had nothing to say.

Owns one rule, the ticks: they stand at the time of the first fix and every N seconds of log time after it.
What is sent for a tick is the first thing the receiver said at or after it and before the next tick, as it
is: with a position or without one. If it said nothing in that time, a fix without position (fix quality 0)
is sent, dated at the tick: a tracker still sends when its receiver is silent. After a silence longer than
an hour, or where time runs backwards, the tracker counts as switched off in between, and the ticks start
anew at the next fix.

>>> from packetcodec.logs.fix import Fix
>>> [fix.time for fix in every([Fix(float(second)) for second in (0, 1, 2, 3, 4, 9, 10)], 2.0)]
[0.0, 2.0, 4.0, 6.0, 9.0, 10.0]
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import floor, isfinite
from statistics import median_low
from typing import TYPE_CHECKING

from packetcodec.errors import PacketcodecError
from packetcodec.logs.fix import Fix

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

# Common practice, no source: past an hour without a word nobody calls it a silent receiver any more.
_SWITCHED_OFF = 3600.0
# Log times are decimal fractions of a second held as floats: what is this close before a tick belongs to it.
_SLACK = 0.001


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of log time: its start (as `Fix.time`) and its length in seconds."""

    start: float
    seconds: float


def every(fixes: Iterable[Fix], interval_s: float) -> Iterator[Fix]:
    """The fixes that a tracker sends which sends every `interval_s` seconds (above 0).

    Raises:
        PacketcodecError: the interval is not a finite number above 0.001 seconds.
    """
    if not (isfinite(interval_s) and interval_s > _SLACK):
        raise PacketcodecError(f"interval: {interval_s:g} is not a finite number of seconds above {_SLACK:g}")
    return _every(fixes, interval_s)


def _every(fixes: Iterable[Fix], interval_s: float) -> Iterator[Fix]:
    start, previous, due = 0.0, None, 0
    for fix in fixes:
        if previous is None or not 0 <= fix.time - previous <= _SWITCHED_OFF:
            start, due = fix.time, 0
        previous = fix.time
        tick = floor((fix.time - start + _SLACK) / interval_s)
        while due < tick:
            yield Fix(time=start + due * interval_s, fix_quality=0)
            due += 1
        if due == tick:
            yield fix
            due += 1


def silences(fixes: Iterable[Fix], *, longer_than: float | None = None) -> tuple[Span, ...]:
    """Where the receiver said nothing for more than `longer_than` seconds.

    None: for more than two and a half of its usual steps, 5 s at least (common practice, no source).

    >>> from packetcodec.logs import Fix
    >>> silences([Fix(time=0.0), Fix(time=1.0), Fix(time=61.0)])
    (Span(start=1.0, seconds=60.0),)
    """
    spans = [Span(before.time, after.time - before.time) for before, after in pairwise(fixes)]
    if longer_than is None:
        longer_than = max(5.0, 2.5 * median_low(span.seconds for span in spans)) if spans else 5.0
    return tuple(span for span in spans if span.seconds > longer_than)


def without_fix(fixes: Iterable[Fix]) -> tuple[Span, ...]:
    """Where the receiver had no position: from the first such fix to the next position or the last fix.

    >>> from packetcodec.logs import Fix
    >>> without_fix([Fix(time=0.0), Fix(time=30.0), Fix(time=31.0, latitude=46.5, longitude=9.8)])
    (Span(start=0.0, seconds=31.0),)
    """
    found = []
    start = end = None
    for fix in fixes:
        end = fix.time
        if not fix.has_position and start is None:
            start = fix.time
        elif fix.has_position and start is not None:
            found.append(Span(start, max(0.0, fix.time - start)))
            start = None
    if start is not None and end is not None:
        found.append(Span(start, max(0.0, end - start)))
    return tuple(found)
