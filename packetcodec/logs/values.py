"""Numbers and times as logs write them, and the bounds that each quantity of a `Fix` has.

Owns one rule: what cannot be is never read as something else. The fault names quantity, bound and value, once, for every
format; the line or point that holds it is refused, and the next one is read.

>>> number("speed", "1.5"), integer("satellites", "9"), moment("2026-07-01T12:00:00Z")
(1.5, 9, 1782907200.0)
>>> number("latitude", "91.5")
Traceback (most recent call last):
packetcodec.logs.values.RecordFault: latitude: 91.5 is outside -90..90 degrees
"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Final

from packetcodec.schema import KINDS

#: Metres a second in one of the unit. Source: definitions of the kilometre per hour and of the international knot.
METRES_PER_SECOND: Final = {unit.name: unit.si for unit in KINDS["speed"].units.values()}
_BOUNDS: Final = {
    "time": (-62_135_596_800, 253_402_300_799, " seconds (the years 1 to 9999)"),
    "latitude": (-90, 90, " degrees"),
    "longitude": (-180, 180, " degrees"),
    "course": (0, 360, " degrees"),
    "fix_quality": (0, 8, " (as NMEA 0183 numbers it in GGA)"),
}
_NOT_NEGATIVE: Final = {"speed": " m/s", "hdop": "", "satellites": ""}
#: A time of day and a date in columns of their own.
_OF_DAY: Final = re.compile(
    r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}(?:[.,][0-9]+)?))?Z?|([0-9]{2})([0-9]{2})([0-9]{2}(?:[.,][0-9]+)?)"
)
_DATE: Final = re.compile(
    r"([0-9]{4})([-/.])([0-9]{1,2})\2([0-9]{1,2})|([0-9]{4})([0-9]{2})([0-9]{2})|([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})"
)
_UNIX: Final = re.compile(r"[0-9]{9,}(\.[0-9]*)?")
#: A number as languages with a decimal comma write it.
DECIMAL_COMMA: Final = re.compile(r"-?[0-9]+,[0-9]+")


class RecordFault(Exception):
    """Raised and caught inside a reader, for one line or point: what is wrong, with bound and value.

    Attributes:
        reason: a few words, the same for all of its kind.
    """

    def __init__(self, reason: str, message: str) -> None:
        super().__init__(message)
        self.reason = reason


def shown(text: str) -> str:
    """A text of a log as a message shows it: shortened, and without a control character (a terminal would obey it)."""
    text = repr(text)[1:-1]
    return text if len(text) <= 60 else f"{text[:57]}..."


def checked(name: str, value: float) -> float:
    """The value itself, if it is finite and possible for the field of `Fix` that has this name.

    Raises:
        RecordFault: it is not.
    """
    if not -1e300 < value < 1e300:
        raise RecordFault("value not finite", f"{name}: {shown(str(value))} is not a finite number")
    if bounds := _BOUNDS.get(name):
        low, high, unit = bounds
        if not low <= value <= high:
            raise RecordFault("value out of range", f"{name}: {value:g} is outside {low}..{high}{unit}")
    elif value < 0 and name in _NOT_NEGATIVE:
        raise RecordFault("value out of range", f"{name}: {value:g}{_NOT_NEGATIVE[name]} is below 0")
    return value


def number(name: str, text: str, factor: float = 1.0) -> float:
    """A number, times a factor, in the unit of the field of `Fix` that has this name.

    Raises:
        RecordFault: it is none, or out of range.
    """
    try:
        value = float(text)
    except ValueError:
        hint = " (a decimal comma: decimals need a point here)" if DECIMAL_COMMA.fullmatch(text) else ""
        raise RecordFault("not a number", f"{name}: '{shown(text)}' is not a number{hint}") from None
    return checked(name, value * factor)


def integer(name: str, text: str) -> int:
    """A whole number, as `number`."""
    value = number(name, text)
    if value != int(value):
        raise RecordFault("not a whole number", f"{name}: {value:g} is not a whole number")
    return int(value)


def moment(text: str) -> float:
    """Unix seconds of a date and time as ISO 8601 writes it, in UTC where it has no offset.

    Raises:
        RecordFault: it is none.
    """
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise RecordFault("not a time", f"time: '{shown(text)}' is neither seconds nor ISO 8601") from None
    return checked("time", (found if found.tzinfo else found.replace(tzinfo=UTC)).timestamp())


def moment_of(date: str, time: str) -> float:
    """Unix seconds of a date and a time of day in columns of their own, in UTC; of a time that holds its date, of that.

    A date with slashes and the year last is refused: its first number is a day here and a month there.

    Raises:
        RecordFault: they are none.

    >>> moment_of("2026-07-01", "12:00:00.5"), moment_of("01.07.2026", "120000,5"), moment_of("", "1782907200.5")
    (1782907200.5, 1782907200.5, 1782907200.5)
    """
    if not (clock := _OF_DAY.fullmatch(time)):
        if _UNIX.fullmatch(time):
            return number("time", time)
        if time[:4].isdigit() and "-" in time:
            return moment(time)
        raise RecordFault("not a time", f"time: '{shown(time)}' is no time of day such as 12:00:00 or 120000")
    if not (found := _DATE.fullmatch(date)):
        known = "2026-07-01, 2026/07/01, 20260701 or 01.07.2026"
        raise RecordFault("not a date", f"date: '{shown(date)}' is not like {known}" if date else "the date is empty")
    one, _, two, three, *rest = found.groups()
    year, month, day = (one, two, three) if one else rest[:3] if rest[0] else rest[:2:-1]
    hour, minute, second = clock.groups()[:3] if clock[1] else clock.groups()[3:]
    whole, _, part = (second or "0").replace(",", ".").partition(".")
    try:
        start = datetime(int(year), int(month), int(day), int(hour), int(minute), int(whole), tzinfo=UTC)
    except ValueError as problem:
        raise RecordFault("not a time", f"time: '{shown(date)}' '{shown(time)}': {problem}") from None
    return checked("time", start.timestamp() + float(f"0.{part or 0}"))
