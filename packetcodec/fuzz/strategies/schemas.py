"""Hypothesis strategies of whole schemas, as TOML text or read.

Owns one rule: a schema is drawn so that it can always be read. Only the limits that the format states are built in here (32
bits a field, 32-bit arithmetic, 255 bytes a packet).

>>> from hypothesis import find
>>> find(schema_texts(), lambda text: "latitude" in text).count("kind")
1
>>> from hypothesis import given, settings
>>> @settings(max_examples=5, deadline=None, database=None)
... @given(schemas(), versions())
... def holds(schema, several):
...     assert schema.layouts and len({schema.version for schema in several}) == len(several)
>>> holds()
"""

from __future__ import annotations

import datetime as dt
import string
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from packetcodec.crc import WIDTHS, names
from packetcodec.fuzz.strategies import composite, st
from packetcodec.fuzz.strategies.low_bits import LowBitsDrawn, low_bits_of
from packetcodec.fuzz.strategies.trails import with_trail
from packetcodec.schema import KINDS, Form, Kind, Schema, Unit
from packetcodec.schema.low_bits import MIN_CHECK_BITS

__all__ = ["schema_texts", "schemas", "versions"]

U32 = 2**32 - 1

# Names that mean something in Python, in construct or in generated code stand among the ordinary ones.
NAMES = st.sampled_from(
    ("version layout check codes padding data values packet n r0 v0 w8 crc self class def update items keys raw").split()
) | st.from_regex(r"[a-z][a-z0-9_]{0,30}", fullmatch=True)
TEXTS = st.text(string.ascii_letters + string.digits + ' °µ"\\', max_size=8)


def toml(value: Any) -> str:
    """A value as TOML writes it; tables inline."""
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, dt.datetime):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {toml(item)}" for key, item in value.items()) + " }"
    if isinstance(value, Sequence):
        return "[" + ", ".join(map(toml, value)) + "]"
    return str(value)


# --- fields ---------------------------------------------------------------------------------------------------------


@composite
def fields(draw: st.DrawFn, *, kinds: Sequence[str] = tuple(KINDS)) -> dict[str, Any]:
    """The table of one field, without a name."""
    name = draw(st.sampled_from(kinds))
    kind = KINDS[name]
    table: dict[str, Any] = {"kind": name}
    optional = draw(st.booleans())
    if optional:
        table["optional"] = True
    cyclic = kind.cyclic
    if kind.form is Form.TIME:
        cyclic = _time(draw, table, optional=optional)
    elif kind.form is Form.CHOICE:
        _choice(draw, table, optional=optional)
    elif kind.own_unit:
        _number(draw, table, optional=optional)
    elif kind.counting and "bits" in kind.keys:
        _counting(draw, table, kind, optional=optional)
    elif not kind.counting:
        unit_name = draw(st.sampled_from(sorted(kind.units)))
        if "unit" in kind.keys:
            table["unit"] = unit_name
        cyclic = _measure(draw, table, kind.units[unit_name], cyclic=cyclic, optional=optional)
    if "policy" in kind.keys and draw(st.booleans()):
        table["policy"] = draw(st.sampled_from(("refuse", "wrap") if cyclic else ("refuse", "clip")))
    return table


def _bits(span: int, *, optional: bool, cyclic: bool) -> st.SearchStrategy[int]:
    """Widths that leave two codes at least, and whose step keeps within 32-bit arithmetic."""

    def possible(bits: int) -> bool:
        codes = 2**bits - optional
        return codes >= 2 and (not cyclic or span >= 2) and span + (span // codes + 1) // 2 <= U32

    return st.sampled_from([bits for bits in range(1, 33) if possible(bits)])


def _step(span: int, *, cyclic: bool) -> st.SearchStrategy[int]:
    """Steps that leave two codes at least, and keep within 32-bit arithmetic and 32 bits a field."""
    most = max(1, min(span - cyclic, 2 * (U32 - span)))
    return st.integers(1, most) | st.integers(1, min(most, 300)) | st.just(most)


def _ranges(least: int, most: int) -> st.SearchStrategy[tuple[int, int]]:
    """Two bounds, the first below the second by two at least."""
    bound = st.integers(least, most)
    return (
        st.tuples(bound, bound).map(sorted).filter(lambda pair: pair[1] - pair[0] >= 2).map(lambda pair: (pair[0], pair[1]))
    )


def _measure(draw: st.DrawFn, table: dict[str, Any], unit: Unit, *, cyclic: bool, optional: bool) -> bool:
    keys = KINDS[table["kind"]].keys
    low, high = unit.low, unit.high
    if "minimum" in keys and draw(st.booleans()):
        low, high = draw(_ranges(unit.floor, unit.ceiling))
        table |= {"minimum": Decimal(low) / unit.scale, "maximum": Decimal(high) / unit.scale}
        cyclic = cyclic and (low, high) == (unit.low, unit.high)
    span = high - low
    fallback = unit.step > span - cyclic  # the kind's own step is too coarse for a range this narrow
    size = draw(st.sampled_from(["bits", "resolution", "resolution_m", "default"]))
    if size == "bits":
        table["bits"] = draw(_bits(span, optional=optional, cyclic=cyclic))
    elif size == "resolution_m" and size in keys:
        metres = Decimal(str(unit.metres)) / unit.scale  # in one base unit
        exact = draw(_step(span, cyclic=cyclic)) * metres
        table["resolution_m"] = exact.quantize(Decimal("1e-6"), rounding="ROUND_UP")
    elif size != "default" or fallback:
        table["resolution"] = Decimal(draw(_step(span, cyclic=cyclic))) / unit.scale
    return cyclic


def _number(draw: st.DrawFn, table: dict[str, Any], *, optional: bool) -> None:
    scale = 10 ** draw(st.integers(0, 12))
    if draw(st.booleans()):
        low, high = draw(_ranges(-(2**31), 2**31 - 1) | _ranges(0, U32) | _ranges(-1000, 1000))
        table["resolution"] = Decimal(draw(_step(high - low, cyclic=False))) / scale
    else:  # a base unit fine enough for the bits must still hold the bounds: keep them as near to 0 as to each other
        span = draw(st.integers(2, 2**31 - 1))
        low = draw(st.integers(-span, 0))
        high = low + span
        table["bits"] = draw(_bits(span, optional=optional, cyclic=False))
    table |= {"minimum": Decimal(low) / scale, "maximum": Decimal(high) / scale}
    if draw(st.booleans()):
        table["unit"] = draw(TEXTS)


def _counting(draw: st.DrawFn, table: dict[str, Any], kind: Kind, *, optional: bool) -> None:
    unit = next(iter(kind.units.values()))
    most = min(unit.ceiling, U32 - optional) - kind.cyclic
    if draw(st.booleans()):
        most = table["maximum"] = draw(st.integers(1, most) | st.integers(1, min(most, 300)))
        if draw(st.booleans()) and (not kind.cyclic or most + optional < 2**31):
            least = (most + optional).bit_length()
            table["bits"] = draw(st.integers(least, max(least, 32 - kind.cyclic)))
    elif draw(st.booleans()):
        # 32 bits of a counter close to a circle of 2**32, which 32-bit arithmetic does not hold.
        table["bits"] = draw(st.integers(1 + optional, 32 - kind.cyclic))


def _choice(draw: st.DrawFn, table: dict[str, Any], *, optional: bool) -> None:
    table["choices"] = draw(st.lists(NAMES, min_size=2, max_size=20, unique=True))
    if draw(st.booleans()):
        table["bits"] = draw(st.integers((len(table["choices"]) - 1 + optional).bit_length(), 32))


def _time(draw: st.DrawFn, table: dict[str, Any], *, optional: bool) -> bool:
    if draw(st.booleans()):
        period = table["period"] = draw(st.integers(2, 2**31) | st.sampled_from([3600, 86_400, 604_800]))
        if draw(st.booleans()):
            table["bits"] = draw(_bits(period, optional=optional, cyclic=True))
        elif draw(st.booleans()):
            table["resolution"] = draw(_step(min(period, 86_401), cyclic=True))
        return True
    instant = draw(st.integers(-(2**31), 2**33))
    table["epoch"] = dt.datetime.fromtimestamp(instant, tz=dt.UTC)
    step = 1
    if draw(st.booleans()):
        step = table["resolution"] = draw(st.integers(1, 86_400))
    widest = next(bits for bits in range(32, 0, -1) if (2**bits - 1 - optional) * step + step // 2 <= U32)
    if draw(st.booleans()) or (step > 1 and not optional):
        table["bits"] = draw(st.integers(1 + optional, widest))
    return False


# --- schemas --------------------------------------------------------------------------------------------------------


@composite
def checks(draw: st.DrawFn, *, low_bits: bool = False) -> dict[str, Any]:
    """The table of a check: none, by name, by parameters, by width alone, or left to the default."""
    widths = [width for width in WIDTHS if width >= MIN_CHECK_BITS or not low_bits]
    way = draw(st.sampled_from(["none"] * (not low_bits) + ["name", "parameters", "width", "default"]))
    if way == "none":
        return {"crc": draw(st.sampled_from(["none", "None"]))}
    table: dict[str, Any] = {"bind_schema": True} if draw(st.booleans()) else {}
    if way == "name":
        table["crc"] = draw(st.sampled_from(widths).flatmap(lambda width: st.sampled_from(names(width))))
    elif way == "parameters":
        width = draw(st.sampled_from(widths))
        register = st.integers(0, 2**width - 1)
        table |= {"width": width, "polynomial": draw(register) | 1, "reflected": draw(st.booleans())}
        table |= {key: draw(register) for key in ("initial", "xor_out") if draw(st.booleans())}
    elif way == "width":
        table["width"] = draw(st.sampled_from(widths))
    return table


@composite
def _text(
    draw: st.DrawFn, version: int, version_bits: int, layout_bits: int, max_fields: int, *, low_bits: bool = False
) -> str:
    lines = [f"name = {toml(draw(NAMES))}", f"version = {version}", f"doc = {toml(draw(TEXTS))}"]
    if (version_bits, layout_bits) != (4, 4) or draw(st.booleans()):
        lines += ["[header]", f"version_bits = {version_bits}", f"layout_bits = {layout_bits}"]
    lines += ["[check]", *(f"{key} = {toml(value)}" for key, value in draw(checks(low_bits=low_bits)).items())]
    ids = st.lists(st.integers(0, 2**layout_bits - 1), min_size=1, max_size=4, unique=True)
    drawn = LowBitsDrawn()
    for ident in draw(ids):
        drawn.seam = False
        lines += ["[[layouts]]", f"name = {toml(f'layout_{ident}')}", f"id = {ident}", "fields = ["]
        tables = draw(st.lists(fields(), min_size=1, max_size=max_fields))
        trail = None
        if draw(st.booleans()):
            tables, trail = draw(with_trail(tables))
        given = draw(st.lists(NAMES, min_size=len(tables), max_size=len(tables), unique=True))
        taken = {*given, "interval"}
        for table, name in zip(tables, given, strict=True):
            if "name" in table:
                pass
            elif table["kind"] in taken or draw(st.booleans()):
                table = {**table, "name": name}  # noqa: PLW2901  # the same field under its own name
            else:
                taken.add(table["kind"])
            if low_bits:
                table = draw(low_bits_of(table, table.get("name", table["kind"]), drawn))  # noqa: PLW2901  # as above
            lines.append(f"  {toml(table)},")
        lines.append("]")
        if trail:
            lines.append(f"trail = {toml(trail)}")
    return "\n".join(lines) + "\n"


@composite
def schema_texts(draw: st.DrawFn, *, max_fields: int = 8, low_bits: bool = False) -> str:
    """A whole schema as TOML text; with `low_bits` some fields are sent by their low bits."""
    version_bits, layout_bits = draw(st.integers(1, 8)), draw(st.integers(0, 8))
    version = draw(st.integers(0, 2**version_bits - 1))
    return draw(_text(version, version_bits, layout_bits, max_fields, low_bits=low_bits))


def schemas(*, max_fields: int = 8, low_bits: bool = False) -> st.SearchStrategy[Schema]:
    """A whole schema, read from its text; `low_bits` as above."""
    return schema_texts(max_fields=max_fields, low_bits=low_bits).map(Schema.parse)


@composite
def versions(draw: st.DrawFn, *, max_fields: int = 4) -> list[Schema]:
    """Two or three schemas with one header and different versions."""
    version_bits, layout_bits = draw(st.integers(2, 8)), draw(st.integers(0, 8))
    numbers = draw(st.lists(st.integers(0, 2**version_bits - 1), min_size=2, max_size=3, unique=True))
    return [Schema.parse(draw(_text(number, version_bits, layout_bits, max_fields))) for number in numbers]
