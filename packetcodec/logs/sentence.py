"""One NMEA 0183 sentence that has passed its checksum, and the values that its fields stand for.

Owns one rule: an empty field is None, and a field that cannot be what it should be makes its whole sentence unusable.
Where a field stands in its sentence, and its name, are taken from the tables of pynmeagps.

>>> Sentence("GLL", ["4630.0000", "S", "00954.0000", "E", "120000.00", "A", "A"]).position()
(-46.5, 9.9)
"""

from __future__ import annotations

import re
from datetime import date
from typing import Final

from pynmeagps import NMEA_PAYLOADS_GET

from packetcodec.logs.values import METRES_PER_SECOND, RecordFault, checked, number, shown

# Quality as GGA numbers it, by the mode indicator of RMC, GLL and GNS (read in gpsd 3.22, www/NMEA.adoc).
# Best first: GNS has one letter for each satellite system, and the best of them describes the fix.
QUALITY_OF_MODE: Final = {"R": 4, "F": 5, "P": 3, "D": 2, "A": 1, "E": 6, "M": 7, "S": 8, "N": 0}
_UNIX_EPOCH: Final = date(1970, 1, 1).toordinal()
_TIME = re.compile(r"[0-9]{6}(?:\.[0-9]*)?")
_ANGLE = re.compile(r"([0-9]{0,6}?)([0-9]{1,2}(?:\.[0-9]*)?)")


def _positions(kind: str) -> dict[str, int]:
    """Field name -> index behind the sentence's head, as pynmeagps lists them."""
    index, found = 0, {}
    for name, definition in NMEA_PAYLOADS_GET[kind].items():
        found[name] = index
        index += definition[0] * len(definition[1]) if isinstance(definition, tuple) else 1
    return found


_POSITIONS: Final = {kind: _positions(kind) for kind in ("GGA", "GNS", "RMC", "GLL", "VTG", "GSA", "ZDA")}


class Sentence:
    """A sentence of one of the types that matter here: GGA, GNS, RMC, GLL, VTG, GSA, ZDA."""

    __slots__ = ("_fields", "_positions", "kind")

    def __init__(self, kind: str, fields: list[str]) -> None:
        self.kind = kind
        self._fields = fields
        self._positions = _POSITIONS[kind]

    def text(self, name: str) -> str:
        """A field as it stands; empty if the sentence, of an older version, ends before it."""
        index = self._positions[name]
        return self._fields[index] if index < len(self._fields) else ""

    def decimal(self, name: str, quantity: str) -> float | None:
        """A number; `quantity` names it in messages and tells its range."""
        text = self.text(name)
        return number(quantity, text) if text else None

    def integer(self, name: str, quantity: str) -> int | None:
        """A whole number, as `decimal`."""
        text = self.text(name)
        if not text:
            return None
        if not text.isdigit():
            raise RecordFault("not a number", f"{quantity}: '{shown(text)}' is not a whole number")
        return int(checked(quantity, int(text)))

    def speed(self, name: str) -> float | None:
        """Metres a second, from knots."""
        knots = self.decimal(name, "speed")
        return None if knots is None else knots * METRES_PER_SECOND["knot"]

    def position(self) -> tuple[float, float] | None:
        """Latitude and longitude in degrees, from (d)ddmm.mmmm and the letters behind; None if one is empty."""
        latitude = self._angle("latitude", "lat", "NS")
        longitude = self._angle("longitude", "lon", "EW")
        return None if latitude is None or longitude is None else (latitude, longitude)

    def _angle(self, quantity: str, name: str, letters: str) -> float | None:
        text = self.text(name)
        if not text:
            return None
        letter = self.text(letters)
        if len(letter) != 1 or letter not in letters:
            raise RecordFault("no hemisphere", f"{quantity}: '{letter}' is neither {letters[0]} nor {letters[1]}")
        if not (parts := _ANGLE.fullmatch(text)):
            raise RecordFault("not a number", f"{quantity}: '{shown(text)}' is not degrees and minutes")
        minutes = float(parts[2])
        if minutes >= 60:
            raise RecordFault("value out of range", f"{quantity}: {minutes:g} minutes are not below 60")
        degrees = int(parts[1] or "0") + minutes / 60
        return checked(quantity, -degrees if letter in "SW" else degrees)

    def quality(self) -> int | None:
        """Fix quality as GGA numbers it, 0 for none; None where RMC or GLL is valid and has no mode indicator."""
        if self.kind == "GGA":
            return self.integer("quality", "fix_quality") or 0
        mode = self.text("posMode")
        if self.kind == "GNS":
            return next((number for letter, number in QUALITY_OF_MODE.items() if letter in mode), 0)
        return QUALITY_OF_MODE.get(mode) if self.text("status") == "A" else 0

    def details(self) -> dict[str, float | None]:
        """What it tells of an epoch beside a position, by the names of `Fix`; of RMC the day too."""
        if self.kind == "RMC" and self.quality() != 0:
            return {"speed": self.speed("spd"), "course": self.decimal("cog", "course"), "day": self.date()}
        if self.kind in {"RMC", "GLL"}:
            return {}
        return {
            "satellites": self.integer("numSV", "satellites"),
            "hdop": self.decimal("HDOP", "hdop"),
            "altitude": self.decimal("alt", "altitude"),
        }

    def second(self) -> float | None:
        """Seconds since midnight, from hhmmss(.ss); None if the field is empty."""
        text = self.text("time")
        if not text:
            return None
        if not _TIME.fullmatch(text):
            raise RecordFault("not a time", f"time: '{shown(text)}' is not hhmmss.ss")
        hours, minutes, seconds = int(text[:2]), int(text[2:4]), float(text[4:])
        # 60 is the leap second.
        if hours > 23 or minutes > 59 or seconds >= 61:
            raise RecordFault("value out of range", f"time: {text} is outside 000000..235960")
        return hours * 3600 + minutes * 60 + seconds

    def date(self) -> int | None:
        """Days since 1970-01-01 from the ddmmyy of RMC; None if the field is empty."""
        text = self.text("date")
        if not text:
            return None
        # Satellite positioning begins in 1980: two-digit years below 80 are of this century.
        century = "20" if text[4:] < "80" else "19"
        return _day(century + text[4:], text[2:4], text[:2], text)

    def date_of_zda(self) -> int | None:
        """Days since 1970-01-01 from the day, month and year of ZDA; None if one is empty."""
        year, month, day = self.text("year"), self.text("month"), self.text("day")
        return _day(year, month, day, f"{year}-{month}-{day}") if year and month and day else None


def _day(year: str, month: str, day: str, text: str) -> int:
    try:
        return date(int(year), int(month), int(day)).toordinal() - _UNIX_EPOCH
    except (ValueError, OverflowError):
        raise RecordFault("not a date", f"date: '{shown(text)}' is not a day of the calendar") from None
