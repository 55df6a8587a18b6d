"""One position (or the lack of one) as a receiver reported it at one instant.

Owns one rule: what is not known is None, never 0.0.

>>> Fix(time=0.0).has_position
False
>>> Fix(time=1_783_000_000.0, latitude=46.5, longitude=9.9, altitude=2104.0, fix_quality=1).has_position
True
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

#: Shared by all fixes without further columns: a log has a million of them.
_NOTHING_ELSE: Mapping[str, object] = {}


@dataclass(frozen=True, slots=True)
class Fix:
    """What a receiver said about one epoch.

    Attributes:
        time: Unix seconds (UTC). Where the log states no date: seconds since the log's first midnight.
        latitude: degrees north, -90..90, WGS 84 as receivers print it, or None.
        longitude: degrees east, -180..180, or None.
        altitude: metres above mean sea level, as the GGA sentence gives it, or None.
        fix_quality: 0..8 as NMEA 0183 numbers it in GGA (0 no fix, 1 autonomous, 2 differential, 4 RTK ...),
            or None where the source does not say.
        satellites: satellites used, or None.
        hdop: horizontal dilution of precision, without unit, or None.
        speed: speed over ground in metres a second, or None.
        course: course over ground in degrees clockwise from true north, 0..360, or None.
        extra: columns of a table under other names, such as a battery voltage.
    """

    time: float
    latitude: float | None = None
    longitude: float | None = None
    altitude: float | None = None
    fix_quality: int | None = None
    satellites: int | None = None
    hdop: float | None = None
    speed: float | None = None
    course: float | None = None
    extra: Mapping[str, object] = field(default_factory=lambda: _NOTHING_ELSE, hash=False)

    @property
    def has_position(self) -> bool:
        """Whether latitude and longitude are both known."""
        return self.latitude is not None and self.longitude is not None

    @property
    def quality(self) -> int:
        """The fix quality; where the source does not say, 1 for a position and 0 for none."""
        return int(self.has_position) if self.fix_quality is None else self.fix_quality


@dataclass(frozen=True, slots=True)
class Refusal:
    """One reason why parts of a log were not used.

    Attributes:
        reason: a few words, the same for all of its kind, such as "bad checksum".
        count: how many.
        first_place: where the first one stands, such as "line 12 (byte 845)".
        first_text: the first one itself, shortened, with what is wrong with it.

    >>> Refusal("bad checksum", count=3, first_place="line 12 (byte 845)", first_text="$GPGGA,...").count
    3
    """

    reason: str
    count: int
    first_place: str
    first_text: str


class Refusals:
    """Counts what a reader refuses, and keeps the first example of each reason."""

    __slots__ = ("_counts", "_firsts")

    def __init__(self) -> None:
        self._counts: dict[str, int] = {}
        self._firsts: dict[str, tuple[str, str]] = {}

    def __contains__(self, reason: str) -> bool:
        return reason in self._counts

    def add(self, reason: str, place: str = "", text: str = "") -> None:
        """Count one refusal; place and text are kept if it is the first for this reason."""
        self._counts[reason] = self._counts.get(reason, 0) + 1
        self._firsts.setdefault(reason, (place, text if len(text) <= 160 else text[:157] + "..."))

    def listed(self) -> tuple[Refusal, ...]:
        """All reasons, in the order in which they first came up."""
        return tuple(Refusal(reason, count, *self._firsts[reason]) for reason, count in self._counts.items())
