"""The keys of a schema file as a JSON Schema (draft 7), for editors that complete and check TOML with one.

It accepts every schema that the reader accepts. The reader knows more: what one key demands of another.

>>> json_schema()["definitions"]["header"]["properties"]["version_bits"]["maximum"]
8
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from packetcodec.schema.keys import NAME, TABLES, field_keys
from packetcodec.schema.kinds import KINDS

if TYPE_CHECKING:
    from packetcodec.schema.keys import Key
    from packetcodec.schema.kinds import Kind

#: What editors call the file; a TOML file names it in its first line.
FILE_NAME = "packetcodec.schema.json"

_NAME = {"type": "string", "pattern": f"^{NAME.pattern}$"}
#: Type of a key to JSON Schema, and the words for its two bounds. A date and time of TOML comes as a string.
_TYPES: dict[str, tuple[dict[str, Any], tuple[str, str]]] = {
    "name": (_NAME, ("", "")),
    "text": ({"type": "string"}, ("minLength", "maxLength")),
    "integer": ({"type": "integer"}, ("minimum", "maximum")),
    "number": ({"type": "number"}, ("minimum", "maximum")),
    "boolean": ({"type": "boolean"}, ("", "")),
    "date and time": ({"type": "string", "format": "date-time"}, ("", "")),
    "names": ({"type": "array", "items": _NAME, "uniqueItems": True}, ("minItems", "maxItems")),
    "table": ({}, ("", "")),
    "tables": ({"type": "array"}, ("minItems", "maxItems")),
    "seconds or text": ({"type": ["integer", "string"]}, ("minimum", "maximum")),
}


def json_schema() -> dict[str, Any]:
    """The JSON Schema of a schema file."""
    definitions = {name: _table(name) for name in TABLES if name}
    # A field may carry the keys of its kind only.
    definitions["fields"]["allOf"] = [_of_kind(kind) for kind in KINDS.values()]
    head = {"$schema": "http://json-schema.org/draft-07/schema#", "title": "packet schema"}
    return {**head, **_table(""), "definitions": definitions}


def _table(name: str) -> dict[str, Any]:
    rows = TABLES[name].keys
    return {
        "type": "object",
        "properties": {key: _key(row) for key, row in rows.items()},
        "required": [key for key, row in rows.items() if row.required],
        "additionalProperties": False,
    }


def _key(row: Key) -> dict[str, Any]:
    kind, bounds = _TYPES[row.type]
    made: dict[str, Any] = {"description": row.meaning + (f" [{row.unit}]" if row.unit else ""), **kind}
    if row.type == "table":
        made["allOf"] = [{"$ref": f"#/definitions/{row.name}"}]  # a description beside a reference would not count
    elif row.type == "tables":
        made["items"] = {"$ref": f"#/definitions/{row.name}"}
    if row.default is not None:
        made["default"] = row.default
    if row.choices:
        made["enum"] = list(row.choices)
    else:
        limits = zip(bounds, (row.minimum, row.maximum), strict=True)
        made |= {word: bound for word, bound in limits if word and bound is not None}
    return made


def _of_kind(kind: Kind) -> dict[str, Any]:
    then: dict[str, Any] = {"propertyNames": {"enum": list(field_keys(kind))}}
    if not kind.own_unit and "unit" in kind.keys:
        then["properties"] = {"unit": {"enum": list(kind.units)}}
    return {"if": {"properties": {"kind": {"const": kind.name}}, "required": ["kind"]}, "then": then}
