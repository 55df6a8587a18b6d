"""Times in a logger's own format, by the directives of `datetime.strptime`.

Owns one rule: a time without its year is none. A format that has a day needs the year, in itself or from the caller; one
that has neither counts from 1970-01-01, the next day where it goes back by more than half of one. Without an offset a time
is in UTC.

>>> TimeFormat("%m/%d/%Y %I:%M %p").read("07/01/2026 12:00 PM")
1782907200.0
>>> TimeFormat("%b %d %H:%M:%S", year=2026).read("Jul 1 12:00:00")
1782907200.0
>>> TimeFormat("%d.%m. %H:%M")
Traceback (most recent call last):
packetcodec.errors.PacketcodecError: year: missing; time format '%d.%m. %H:%M' has a day but no year (%Y or %y)
"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Final

from packetcodec.errors import PacketcodecError
from packetcodec.logs.values import RecordFault, checked, moment_of, shown

#: What the directives look like.
_DIRECTIVES: Final = {
    "Y": r"\d{4}", "z": r"(?:Z|[+-]\d\d:?\d\d)", "f": r"\d{1,6}", "j": r"\d{1,3}", "p": r"[AaPp]\.?[Mm]\.?", "%": "%",
    **dict.fromkeys("mdHIMSy", r"[ \d]?\d"), **dict.fromkeys("aAbB", r"[^\W\d]+"),
}  # fmt: skip
_DAY: Final = 86_400.0


class TimeFormat:
    """One format, and the day so far where it has none.

    Attributes:
        text: the format.
        pattern: finds such a time in a line.
        dated: whether it has a day.
    """

    def __init__(self, text: str, year: int | None = None) -> None:
        """Prepare; `year` is that of times without one.

        Raises:
            PacketcodecError: an unknown directive or none, hours up to 12 without AM or PM, a day without a year, a year
                outside 1..9999 or one too many.
        """
        parts = re.split("%(.)", text)
        self.text = text
        for directive in parts[1::2]:
            if directive not in _DIRECTIVES:
                raise _fault(text, f"%{directive} is none of {' '.join(f'%{key}' for key in _DIRECTIVES)}")
        if len(parts) == 1:
            raise _fault(text, "has no directive such as %H")
        if "I" in parts[1::2] and "p" not in parts[1::2]:
            raise _fault(text, "has hours up to 12 (%I) without AM or PM (%p)")
        self.dated = bool(set("dbBjm") & set(parts[1::2]))
        has_year = bool(set("yY") & set(parts[1::2]))
        if self.dated and not has_year and year is None:
            raise PacketcodecError(f"year: missing; time format {text!r} has a day but no year (%Y or %y)")
        if year is not None and (has_year or not self.dated):
            raise PacketcodecError(f"year: {year} is not needed; time format {text!r} has {'one' if has_year else 'no day'}")
        if year is not None and not 1 <= year <= 9999:
            raise PacketcodecError(f"year: {year} is outside 1..9999")
        self.dated = self.dated or has_year
        self.pattern = re.compile(
            "".join(_DIRECTIVES[part] if number % 2 else re.escape(part) for number, part in enumerate(parts))
        )
        self._before = ("", "") if year is None else (f"{year:04} ", "%Y ")
        self._day, self._last = 0.0, 0.0

    def read(self, text: str) -> float:
        """Unix seconds of a time; without a day in the format, of the day so far.

        Raises:
            ValueError: it is not of this format.
        """
        value, form = self._before[0] + text, self._before[1] + self.text
        found = datetime.strptime(re.sub(r"(?i)([ap])\.m\.?", r"\1m", value), form)  # noqa: DTZ007  # in UTC without offset
        if self.dated:
            return (found if found.tzinfo else found.replace(tzinfo=UTC)).timestamp()
        time = self.of_day(found)
        if time + self._day < self._last - _DAY / 2:
            self._day += _DAY
        self._last = self._day + time
        return self._last

    def beside(self, date: str | None, time: str) -> float:
        """Unix seconds of a time of a table, with the date in the column beside it, both together of this format.

        A format without a day is that of the time alone; the date is then one that is read without a format.

        Raises:
            RecordFault: they are not of it.
        """
        text = time if date is None or not self.dated else f"{date} {time}".strip()
        try:
            if date is not None and not self.dated:
                found = datetime.strptime(text, self.text)  # noqa: DTZ007  # a time of day
                return moment_of(date, "00:00:00") + self.of_day(found)
            return checked("time", self.read(text))
        except (ValueError, OverflowError):
            raise RecordFault("not a time", f"time: '{shown(text)}' is not like '{shown(self.text)}'") from None

    @staticmethod
    def of_day(found: datetime) -> float:
        """Seconds since midnight."""
        return found.hour * 3600.0 + found.minute * 60 + found.second + found.microsecond / 1e6


def _fault(text: str, what: str) -> PacketcodecError:
    return PacketcodecError(f"time format {text!r}: {what}")
