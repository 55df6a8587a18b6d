"""Every key of a schema file, as data: what it means, its type, its unit, its bounds and its default.

Owns one rule: a key, its type and its bounds stand in one row of `TABLES`. The reader checks with it, `packetcodec kinds`
prints it, and the JSON Schema for editors is written from it. Which keys a field of a kind may carry stands in `KINDS`.

>>> TABLES["trail"].keys["points"].maximum
63
"""

from __future__ import annotations

import re
from types import MappingProxyType
from typing import TYPE_CHECKING

from packetcodec.frozen import Frozen
from packetcodec.schema.grid import MAX_BITS
from packetcodec.schema.kinds import KINDS, POLICIES, U32
from packetcodec.schema.model import MAX_BYTES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from packetcodec.schema.kinds import Kind

NAME = re.compile(r"[a-z][a-z0-9_]{0,30}")
NAME_WORDS = "a lower case letter, then lower case letters, digits or _, 31 at most"

#: What no text may hold: control characters, except tab and line break, which become one space; line and paragraph
#: separators, which end a line in some languages and not in others; and the marks that change the direction of writing
#: (Unicode Standard Annex 9), which make a text look like another.
FORBIDDEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff\ufff9-\ufffb]"
)

#: Most fields of a layout, as many as the points of a trail: six bits count them, in firmware too.
MAX_FIELDS = 63
#: Most names of a choice: one byte counts them.
MAX_CHOICES = 256
#: Most characters of a remark (a long paragraph), and of the unit behind a number (a column of a table).
_REMARK, _UNIT = 1000, 16


class Key(Frozen):
    """One key of a table.

    Attributes:
        name: as a schema writes it.
        type: "name", "text", "integer", "number", "boolean", "date and time", "names", "table", "tables" or
            "seconds or text".
        meaning: one line.
        unit: of the value.
        default: what a missing key stands for; None where that is said by the meaning, or nothing.
        minimum, maximum: bounds of a number, of the characters of a text, or of the elements of a list.
        choices: the values that there are, where only these are possible.
        required: whether the key must be given.
    """

    name: str
    type: str
    meaning: str
    unit: str = ""
    default: int | bool | str | None = None
    minimum: int | float | None = None
    maximum: int | float | None = None
    choices: tuple[str | int, ...] = ()
    required: bool = False

    @property
    def bounds(self) -> str:
        """The bounds in words, or the values that there are."""
        if self.choices:
            return ", ".join(map(str, self.choices))
        if self.minimum is None and self.maximum is None:
            return ""
        what = {"text": " characters", "names": " names", "tables": " tables"}.get(self.type, "")
        return f"{'' if self.minimum is None else self.minimum}..{'' if self.maximum is None else self.maximum}{what}"


class TableKeys(Frozen):
    """The keys of one table: what a message calls the table, how a schema writes it, its keys by name."""

    what: str
    written: str
    keys: Mapping[str, Key]


def _table(what: str, written: str, *keys: Key) -> TableKeys:
    return TableKeys(what, written, MappingProxyType({key.name: key for key in keys}))


def _doc(name: str = "doc") -> Key:
    return Key(name, "text", "a remark for the specification, one paragraph", minimum=0, maximum=_REMARK)


_WIDTHS = (8, 16, 24, 32)

#: Name of a table, the last one in its path ("" for the whole file), to its keys, in the order of the documentation.
TABLES: Mapping[str, TableKeys] = MappingProxyType(
    {
        "": _table(
            "a schema",
            "the file",
            Key("name", "name", "name of the schema; generated code and documents carry it", required=True),
            Key(
                "version", "integer", "stands first in every packet; raise it whenever the wire changes",
                minimum=0, maximum=255, required=True,
            ),
            _doc(),
            Key("header", "table", "widths of the two numbers that every packet begins with"),
            Key("check", "table", "the CRC at the end of every packet"),
            Key("layouts", "tables", "the kinds of packet", minimum=1, maximum=256, required=True),
            Key("history", "tables", "what changed from version to version"),
        ),
        "header": _table(
            "the header",
            "[header]",
            Key("version_bits", "integer", "width of the version", "bit", 4, 1, 8),
            Key("layout_bits", "integer", "width of the layout's id; 0 where there is one layout only", "bit", 4, 0, 8),
        ),
        "check": _table(
            "the check",
            "[check]",
            Key("crc", "text", 'name in the public catalogue of CRCs, or "none"', minimum=1, maximum=40),
            Key("bind_schema", "boolean", "a packet read with another schema fails its check, at no cost", default=False),
            Key(
                "width", "integer", "width of the CRC; without crc and polynomial, one is chosen for the packets' length",
                "bit", 16, choices=_WIDTHS,
            ),
            Key("polynomial", "integer", "0x1021 is x^16 + x^12 + x^5 + 1", minimum=1, maximum=U32),
            Key("initial", "integer", "the register before the first byte", default=0, minimum=0, maximum=U32),
            Key("reflected", "boolean", "bytes enter lowest bit first", default=False),
            Key("xor_out", "integer", "exclusive-or of the register at the end", default=0, minimum=0, maximum=U32),
        ),
        "layouts": _table(
            "a layout",
            "[[layouts]]",
            Key("name", "name", "name of the layout", required=True),
            Key("id", "integer", "number in the header; may be left out where layout_bits is 0", minimum=0, maximum=255),
            _doc(),
            Key("fields", "tables", "the values, in the order of the wire", minimum=1, maximum=MAX_FIELDS, required=True),
            Key("trail", "table", "earlier positions behind the fields"),
        ),
        "fields": _table(
            "a field",
            "an element of fields",
            Key("kind", "text", "what the field measures", choices=tuple(KINDS), required=True),
            Key("name", "name", "name of the field; without it, its kind"),
            Key("optional", "boolean", "the value may be absent, for one code", default=False),
            _doc(),
            Key(
                "bits", "integer", "width; a counting kind then counts from 0 to the last code, the others get a step",
                "bit", minimum=1, maximum=MAX_BITS,
            ),
            Key("resolution", "number", "the step; of a time in whole seconds", "unit"),
            Key("resolution_m", "number", "the step on the ground", "m"),
            Key("max_error", "number", "or the largest error of a value, about half a step", "unit"),
            Key(
                "max_error_m", "number",
                "or the largest error of the position, latitude and longitude together, about 0.71 of a step", "m",
            ),
            Key("minimum", "number", "lower end of the range", "unit"),
            Key("maximum", "number", "upper end of the range", "unit"),
            Key("unit", "text", 'a unit of the kind; of a number any text, such as "°C"', minimum=0, maximum=_UNIT),
            Key("policy", "text", "what happens to a value beyond the range; wrap on a circle only", choices=POLICIES),
            Key("choices", "names", "the names of a choice, in the order of their numbers", minimum=2, maximum=MAX_CHOICES),
            Key("epoch", "date and time", "a time counts seconds from here: 2026-01-01T00:00:00Z"),
            Key(
                "period", "integer", "or modulo so many seconds since 1970, UTC: 3600 starts anew every hour", "s",
                minimum=2, maximum=U32,
            ),
            Key(
                "low_bits", "integer", "send so many low bits of the code; the receiver finds the rest from what it knows",
                "bit", minimum=2, maximum=MAX_BITS - 1,
            ),
            Key("within", "number", "or the low bits that it takes while a receiver knows the value this well", "unit"),
            Key(
                "within_m", "number", "the same on the ground: both within so many metres of the receiver", "m",
                minimum=1, maximum=10_000_000,
            ),
            Key(
                "max_latitude", "number", "beside within_m of a longitude: neither is farther from the equator", "degree",
                minimum=0, maximum=89,
            ),
        ),
        "trail": _table(
            "a trail",
            "[layouts.trail]",
            Key("points", "integer", "most points", "point", 10, 1, 63),
            # From the base unit up to the largest step whose east-west cell fits 32 bits (1.18 km), rounded down.
            Key("resolution_m", "number", "the step, north-south and east-west", "m", None, 0.02, 1000),
            Key("max_error_m", "number", "or the largest error of a point, about 0.71 of a step", "m", None, 0.03, 700),
            Key(
                "spacing", "seconds or text",
                'from point to point; or the name of a field that holds it; or "coded" in the trail', "s",
                minimum=1, maximum=86_400, required=True,
            ),
            Key("usual_spacing", "integer", "expected where a field holds the spacing, or the trail", "s", 30, 1, 86_400),
            Key("speed", "number", "expected of the tracker; another one costs bits, never a point", "m/s", 4, 0.01, 1000),
            Key("wandering", "boolean", "guess a move from the last two: shorter trails of walkers, animals", default=False),
            Key("initial_scale", "integer", "expected first step; default: speed * spacing / step", "step", None, 1, 4096),
            Key("scale_rate", "integer", "expected error of a guess; default: initial_scale / 5", "step", None, 1, 4096),
            Key("altitude_resolution", "number", "step of their altitude; without it they have none", "m", None, 0.01, 1000),
            Key("altitude_initial_scale", "integer", "as initial_scale, of the altitude", "step", 1, 1, 4096),
            Key("altitude_scale_rate", "integer", "as scale_rate, of the altitude", "step", 1, 1, 4096),
            Key(
                "packet_bytes", "integer", "longest packet; default: 2 bytes more than the fields, and 3 a point", "byte",
                minimum=1, maximum=MAX_BYTES,
            ),
            Key(
                "too_long", "text", "where a trail does not fit: drop the oldest points, or coarsen all", default="drop",
                choices=("drop", "coarsen"),
            ),
            _doc(),
        ),
        "history": _table(
            "a history entry",
            "[[history]]",
            Key("version", "integer", "the version that brought the change", minimum=0, maximum=255, required=True),
            Key("note", "text", "what changed, one paragraph", minimum=1, maximum=_REMARK, required=True),
        ),
    }
)  # fmt: skip

#: The keys that every field may carry.
COMMON = ("kind", "name", "optional", "doc")


def field_keys(kind: Kind) -> tuple[str, ...]:
    """The keys that a field of a kind may carry, in the order of the documentation."""
    return tuple(key for key in TABLES["fields"].keys if key in COMMON or key in kind.keys)
