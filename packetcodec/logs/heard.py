r"""What a receiver heard: one packet a line, amid whatever else a radio module or a logger prints.

Owns one rule: what of a line is the packet, and what tells how it was heard. The packet is hex (a word of whole bytes, or
pairs with a separator between them), or, where a codec says so, base64; of several the longest that is a packet. The time is
ISO 8601 (in UTC where it has no offset), Unix seconds or milliseconds, or in a format of the logger's own. RSSI and SNR are
the numbers behind these words, or before dBm and dB. A line that is a JSON object has them under keys of such names. A
packet without a time takes what the line before it says, if that has a time and no packet: some loggers write two lines.

>>> reader = LineReader()
>>> reader.read("2026-07-01T12:00:00Z rx 4 bytes: 11 07 2A FF, RSSI -97 dBm, SNR 8.5 dB")
(b'\x11\x07*\xff', Reception(time=1782907200.0, rssi=-97.0, snr=8.5))
>>> reader.read('{"received_at": 1782907200.5, "payload": "EQcq/w==", "rssi": -101}')
(b'\x11\x07*\xff', Reception(time=1782907200.5, rssi=-101.0, snr=None))
>>> LineReader(time_format="%d.%m.%Y %H:%M:%S").read("01.07.2026 12:00:00 11072aff")
(b'\x11\x07*\xff', Reception(time=1782907200.0, rssi=None, snr=None))
>>> LineReader(r"\+RX (?P<hex>\w+),(?P<rssi>-\d+)").read("+RX 11072aff,-97")
(b'\x11\x07*\xff', Reception(time=None, rssi=-97.0, snr=None))
"""

from __future__ import annotations

import base64
import binascii
import json
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from packetcodec.errors import PacketcodecError
from packetcodec.logs.time_format import TimeFormat

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

_WORD = r"[0-9A-Za-z.]"
_RUNS = (
    re.compile(rf"(?<!{_WORD})(?:0[xX])?((?:[0-9A-Fa-f]{{2}}){{2,}})(?!{_WORD})"),
    re.compile(rf"(?<!{_WORD})([0-9A-Fa-f]{{2}}(?:(?: {{1,3}}|[:-])[0-9A-Fa-f]{{2}})+)(?!{_WORD})"),
    re.compile(r"((?:0[xX][0-9A-Fa-f]{2}[\s,;]*){2,})(?!\w)"),
    re.compile(r"((?:\\x[0-9A-Fa-f]{2}){2,})"),
)
#: Colours and the like, as ECMA-48 has them: logs of development boards are full of them.
_CONTROL = re.compile(r"\x1b\[[0-9;?]*[@-~]")
_BETWEEN = re.compile(r"0[xX]|\\x|[\s:,;-]+")
_BASE64 = re.compile(r"(?<![\w+/=-])[A-Za-z0-9+/_-]{6,}={0,2}(?![\w+/=-])")
#: A decimal comma where no separator can be meant.
_NUMBER = r"([-+]?\d+(?:\.\d+|,\d+(?= ?dB|;|$))?)"
#: The word before the number; else the unit behind it, which is no hex as it is written.
_RSSI = (re.compile(rf"rssi[^-+0-9]{{0,8}}?{_NUMBER}", re.IGNORECASE), re.compile(rf"{_NUMBER} ?dBm\b"))
_SNR = (re.compile(rf"snr[^-+0-9]{{0,8}}?{_NUMBER}", re.IGNORECASE), re.compile(rf"{_NUMBER} ?dB\b"))
_ISO = re.compile(
    r"(?<!\d)(?:\d{8}T\d{6}Z?(?!\w)|\d{4}-\d\d-\d\d[T ,;\t]\d\d:\d\d(?::\d\d(?:\.\d{1,9}|,\d{3}(?!\d)|,\d{6}(?!\d))?)?"
    r"(?: ?(?:Z|[+-]\d\d:?\d\d)(?!\w))?(?![\d:]))"
)
_UNIX = re.compile(r"(?:^\W{0,2}|time(?:stamp)?\W{1,4}|\bts?\W{1,4})(1\d{9}(?:\.\d+)?|1\d{12})(?![\w.])", re.IGNORECASE)
#: Digits of Unix milliseconds before a point.
_MILLISECONDS = 1e11
_GROUPS = ("hex", "base64", "time", "rssi", "snr")
_KEYS = {
    "data": re.compile(r"hex|payload|data|packet|bytes|base64|raw", re.IGNORECASE),
    "time": re.compile(r"time|received|^ts$|^t$|^date", re.IGNORECASE),
    "rssi": re.compile(r"rssi", re.IGNORECASE),
    "snr": re.compile(r"snr", re.IGNORECASE),
}
_MAX_DEPTH = 20
_NUMBERS = (int, float, str)


@dataclass(frozen=True, slots=True)
class Reception:
    """How a packet was heard.

    Attributes:
        time: Unix seconds, or None.
        rssi: received signal strength in dBm, or None.
        snr: signal-to-noise ratio in dB, or None.
    """

    time: float | None = None
    rssi: float | None = None
    snr: float | None = None


class LineReader:
    """Reads lines of a receiver's log."""

    def __init__(
        self,
        pattern: str | None = None,
        time_format: TimeFormat | str | None = None,
        accepts: Callable[[bytes], bool] | None = None,
    ) -> None:
        """Prepare.

        Args:
            pattern: regular expression that finds the parts in a line, by groups named hex or base64, time, rssi, snr; or
                with one group without a name, the hex digits. What it has no group for is looked for as without it.
            time_format: format of the time.
            accepts: says whether bytes are a packet; None for no way to tell, and base64 only where it is said to be.

        Raises:
            PacketcodecError: the pattern is none or has other groups, or the format cannot be (`TimeFormat`).
        """
        self._pattern = None if pattern is None else _pattern(pattern)
        self._format = TimeFormat(time_format) if isinstance(time_format, str) else time_format
        self._accepts = accepts
        self._before = Reception()  # of the line before, where that has no packet

    def read(self, line: str) -> tuple[bytes, Reception] | None:
        """The packet of a line, and how it was heard; None where there is no packet."""
        line = _CONTROL.sub(" ", line).strip()
        if self._pattern is not None:
            match = self._pattern.search(line)
            named = match.groupdict() if match else {}
            data = _bytes_of(named.get("hex") or (match[1] if match and not named else ""), named.get("base64"))
            return (data, self._heard(line, named)[0]) if data else None
        if line.startswith("{"):
            try:
                return self._of_object(json.loads(line))
            except (ValueError, RecursionError):
                pass  # words that begin with a brace
        reception, rest = self._heard(line, {})
        if not rest.strip():  # nothing but what looks like a time
            reception, rest = Reception(), line
        data, before = self._packet(rest), self._before
        self._before = Reception() if data else reception
        if data and reception.time is None and before.time is not None:
            reception = Reception(
                before.time,
                before.rssi if reception.rssi is None else reception.rssi,
                before.snr if reception.snr is None else reception.snr,
            )
        return (data, reception) if data else None

    def _heard(self, line: str, named: dict[str, str | None]) -> tuple[Reception, str]:
        """How a line's packet was heard, and the line without what says so."""
        found: dict[str, float | None] = {}
        times = (self._format.pattern,) if self._format else (_ISO, _UNIX)
        for name, patterns in (("time", times), ("rssi", _RSSI), ("snr", _SNR)):
            if (text := named.get(name)) is not None:
                found[name] = self._moment(text) if name == "time" else _number(text)
                continue
            match = next((match for pattern in patterns if (match := pattern.search(line))), None)
            text = (match[1] if match.re.groups else match[0]) if match else ""
            found[name] = None if not match else self._moment(text) if name == "time" else _number(text)
            if match and found[name] is not None:
                line = line[: match.start()] + " " * (match.end() - match.start()) + line[match.end() :]
        return Reception(**found), line

    def _moment(self, text: object) -> float | None:
        """The Unix seconds of a time, or None."""
        if isinstance(text, int | float) and not isinstance(text, bool):
            return text / 1000 if abs(text) > _MILLISECONDS else float(text)
        try:
            if self._format is not None:
                return self._format.read(str(text))
            if re.fullmatch(r"\d+(\.\d+)?", str(text)):
                return self._moment(float(str(text)))
            text = re.sub(r"(?<=^.{10})[,;\t]", " ", str(text))
            found = datetime.fromisoformat(re.sub(r"([.,]\d{6})\d+|  *(?=[Z+-]|$)", r"\1", text).replace(",", "."))
            return (found if found.tzinfo else found.replace(tzinfo=UTC)).timestamp()
        except (ValueError, OverflowError):
            return None

    def _packet(self, line: str) -> bytes:
        """The packet of a line of text; b"" for none."""
        runs = [match[1] for run in _RUNS for match in run.finditer(line)]
        found = sorted((_hex(run) for run in runs), key=len, reverse=True)
        if self._accepts is None:
            return found[0] if found else b""
        words = sorted((_base64(word[0]) for word in _BASE64.finditer(line)), key=len, reverse=True)
        # A number beside pairs of digits looks like one of them.
        parts = [run[start : len(run) - end] for run in found for start in range(4) for end in range(4)]
        likely = (data for data in (*found, *words, *parts) if data and self._accepts(data))
        return next(likely, found[0] if found else b"")

    def _of_object(self, said: object) -> tuple[bytes, Reception] | None:
        """The packet of a JSON object; the first key of each meaning counts, those not nested first."""
        found: dict[str, Any] = {}
        packets: list[bytes] = []
        for key, value in _items(said):
            for meaning, pattern in _KEYS.items():
                if not pattern.search(key):
                    continue
                if meaning == "data":
                    packets += _any_bytes(value)
                else:
                    read = self._moment(value) if meaning == "time" else _number(value)
                    found.setdefault(meaning, read) if read is not None else None
        if not packets:
            return None
        accepts = self._accepts or bool
        return next((data for data in packets if accepts(data)), packets[0]), Reception(**found)


def _pattern(text: str) -> re.Pattern[str]:
    try:
        found = re.compile(text)
    except (re.error, RecursionError, OverflowError) as fault:
        raise PacketcodecError(f"pattern {text!r}: {fault}") from None
    if strange := set(found.groupindex) - set(_GROUPS):
        raise PacketcodecError(f"pattern {text!r}: group {min(strange)!r} is none of {', '.join(_GROUPS)}")
    if found.groupindex and len({"hex", "base64"} & set(found.groupindex)) != 1:
        raise PacketcodecError(f"pattern {text!r}: has no group named hex or base64, or both; it must have one of them")
    if not found.groupindex and found.groups != 1:
        raise PacketcodecError(
            f"pattern {text!r}: has {found.groups} groups; it must have one, which holds the hex digits, or named ones"
        )
    return found


def _items(said: object, depth: int = 0) -> Iterator[tuple[str, object]]:
    """The keys and values of a JSON value, those not nested first."""
    if depth > _MAX_DEPTH:
        return
    if isinstance(said, dict):
        yield from said.items()
    for part in said.values() if isinstance(said, dict) else said if isinstance(said, list) else ():
        yield from _items(part, depth + 1)


def _any_bytes(value: object) -> list[bytes]:
    """What a value may be as bytes: hex, base64, or a list of numbers."""
    if isinstance(value, list) and all(type(item) is int and 0 <= item <= 255 for item in value):
        return [bytes(value)]
    found = (_hex(value.strip()), _base64(value.strip())) if isinstance(value, str) else ()
    return [data for data in found if data]


def _bytes_of(digits: str | None, words: str | None) -> bytes:
    return _hex(digits or "") or _base64(words or "")


def _hex(text: str) -> bytes:
    try:
        return bytes.fromhex(_BETWEEN.sub("", text))
    except ValueError:
        return b""


def _base64(text: str) -> bytes:
    digits = text.rstrip("=")
    try:
        return base64.b64decode(digits + "=" * (-len(digits) % 4), b"-_" if set("-_") & set(text) else None, validate=True)
    except (ValueError, binascii.Error):
        return b""


def _number(value: object) -> float | None:
    try:
        found = float(value.replace(",", ".") if isinstance(value, str) else value) if isinstance(value, _NUMBERS) else None
    except (ValueError, OverflowError):
        return None
    return found if found is not None and abs(found) < 1e9 else None
