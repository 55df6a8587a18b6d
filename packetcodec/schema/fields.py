"""One field of a schema file, read into a `Field`.

Owns one rule: how the keys of a field become a range, a step and a policy, in whole base units. Numbers are exact
decimals until they are base units; a value finer than the base unit is a fault, never rounded.

>>> faults = Faults({})
>>> field = read_field(Table({"kind": "altitude", "maximum": 4000, "resolution": 5}, ("fields", 0), faults))
>>> (field.low, field.high, field.step, field.grid.bits)
(-50000, 400000, 500, 10)
"""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from packetcodec.frozen import Frozen
from packetcodec.schema.grid import MAX_BITS, derive, step_of_error
from packetcodec.schema.keys import field_keys
from packetcodec.schema.kinds import KINDS, POLICIES, U32, Form, Kind, Unit
from packetcodec.schema.low_bits import read_low_bits
from packetcodec.schema.model import Field
from packetcodec.schema.places import show
from packetcodec.schema.table import Faults, Table
from packetcodec.spelling import nearest

__all__ = ["Faults", "Table", "read_field"]

#: The keys that say how fine a measure is: one of them.
_FINENESS = ("resolution", "resolution_m", "max_error", "max_error_m", "bits")
#: The error of a position whose latitude and longitude are off by one each.
_AXES = Decimal(2).sqrt()
#: The dates that the calendars of programming languages have, in Unix seconds.
_YEAR_1, _YEAR_10000 = -62_135_596_800, 253_402_300_800
#: Decimals of a number: ten to this power, and products with it, are exact in a 64-bit float.
_MAX_DIGITS = 15


def read_field(table: Table) -> Field | None:
    """The field of a table, or None when something in it is wrong (noted in the table's faults)."""
    before = len(table.faults.problems)
    kind = _kind(table)
    if kind is None:
        return None
    table.reject_unknown(field_keys(kind), f"a field of kind {kind.name}")
    optional = table.boolean("optional")
    # The circumference of a counter must fit 32 bits too.
    bits = table.integer("bits", 1, MAX_BITS - (kind.counting and kind.cyclic))
    unit = _own_unit(table, bits) if kind.own_unit else _unit(table, kind)
    if unit is None:
        return None
    given = _RANGES[kind.form](_Request(table, kind, unit, bits, optional))
    policy = _policy(table, kind, cyclic=given.cyclic)
    name = table.name("name", kind.name)
    if len(table.faults.problems) > before or name is None:
        return None
    low, high, cyclic, step = given.low, given.high, given.cyclic, given.step
    try:
        grid = derive(
            low=low, high=high, bits=bits, step=step, cyclic=cyclic, optional=optional,
            show=lambda base: f"{_shown(base, unit)} {unit.symbol}".rstrip(),
        )  # fmt: skip
    except ValueError as fault:
        table.note(str(fault))
        return None
    low_bits = read_low_bits(table, kind, unit, grid, high - low, cyclic=cyclic)
    if len(table.faults.problems) > before:
        return None
    return Field(
        name=name, kind=kind, unit=unit, low=low, high=high, modulus=high - low if cyclic else None, bits=bits, step=step,
        requested=_requested(table, unit), grid=grid, optional=optional, policy=policy, origin=given.origin,
        choices=given.choices, doc=table.text("doc"), low_bits=low_bits,
    )  # fmt: skip


class _Request(NamedTuple):
    """A field's table, and what is known of it before its range."""

    table: Table
    kind: Kind
    unit: Unit
    bits: int | None
    optional: bool


class _Range(Frozen):
    """What a field's keys say of its range: its ends and its step in base units; no step where bits give it."""

    low: int
    high: int
    cyclic: bool = False
    step: int | None = 1
    origin: int = 0
    choices: tuple[str, ...] = ()


def _kind(table: Table) -> Kind | None:
    name = table.data.get("kind")
    if isinstance(name, str) and name in KINDS:
        return KINDS[name]
    if name is None:
        if (key := table.meant("kind")) is not None:
            table.note_unknown(key, "a field", "kind")
        table.note_missing("kind", f"one of {', '.join(KINDS)}")
    else:
        near = nearest(str(name), KINDS)
        hint = f"did you mean {near}?" if near else f"one of {', '.join(KINDS)}"
        table.note(f"{show(name)} is not a kind; {hint}", "kind")
    return None


def _unit(table: Table, kind: Kind) -> Unit | None:
    default = next(iter(kind.units))
    name = table.text("unit", default) if "unit" in kind.keys else default
    if name not in kind.units:
        symbols = {unit.symbol: known for known, unit in kind.units.items()}
        near = symbols.get(name) or nearest(name, kind.units)
        hint = f" (did you mean {near}?)" if near else ""
        table.note(f"{show(name)} is not a unit of {kind.name}: one of {', '.join(kind.units)}{hint}", "unit")
        return None
    return kind.units[name]


def _own_unit(table: Table, bits: int | None) -> Unit | None:
    """The base unit of a number: the coarsest power of ten that holds its bounds and its step exactly, and is fine enough.

    Half a base unit is lost when a value is rounded to one. With a hundred base units or more in a step, or an odd number
    of them, that is at most a hundredth of the half step that is lost anyway. Only 32 bits set a limit to it.
    """
    given = {key: table.number(key) for key in ("minimum", "maximum", "resolution", "max_error") if key in table.data}
    for key in ("minimum", "maximum"):
        if key not in given:
            table.note_missing(key, "a number has no range of its own")
    low, high = given.get("minimum"), given.get("maximum")
    if low is None or high is None:
        return None
    digits = max(max(0, -int(value.normalize().as_tuple().exponent)) for value in given.values() if value is not None)
    if digits > _MAX_DIGITS:
        table.note(f"more than {_MAX_DIGITS} decimals")
        return None
    step = given.get("resolution") or ((high - low) / 2**bits if bits else 2 * (given.get("max_error") or 0))
    most = max(abs(low), abs(high))
    while (
        0 < step * 10**digits < 100
        and not ("resolution" in given and step * 10**digits % 2)
        and most * 10 ** (digits + 1) < 2**31
        and digits < _MAX_DIGITS
    ):
        digits += 1
    symbol = table.text("unit")
    base = f"{Decimal(1).scaleb(-digits)} {symbol}".strip()
    return Unit(symbol, symbol, 10**digits, base, -(2**31), U32, 0, 0, suffix=f"e{digits}" if digits else "")


def _shown(base: int, unit: Unit) -> str:
    """A number of base units in the field's unit, with the digits it needs."""
    return f"{(Decimal(base) / unit.scale).normalize():f}"


def _base(table: Table, key: str, unit: Unit, default: int) -> int:
    """A bound in base units."""
    value = table.number(key)
    if value is None:
        return default
    scaled = value * unit.scale
    if scaled != int(scaled):
        table.note(f"{show(value)} is finer than the base unit, {unit.base}", key)
    elif not unit.floor <= scaled <= unit.ceiling:
        bounds = f"{_shown(unit.floor, unit)}..{_shown(unit.ceiling, unit)} {unit.symbol}"
        table.note(f"{show(value)} is outside {bounds}".rstrip(), key)
    return int(scaled)


def _measure(request: _Request) -> _Range:
    table, kind, unit, bits, _ = request
    low = _base(table, "minimum", unit, unit.low)
    high = _base(table, "maximum", unit, unit.high)
    if low >= high and {"minimum", "maximum"} & table.data.keys():
        wrong = "maximum" if "maximum" in table.data else "minimum"
        table.note(f"minimum {_shown(low, unit)} is not below maximum {_shown(high, unit)}", wrong)
    if low < 0 and high > 2**31 - 1:
        bounds = f"{_shown(low, unit)}..{_shown(high, unit)}"
        table.note(f"{bounds} does not fit a 32-bit integer in units of {unit.base}", "maximum")
    return _Range(low, high, kind.cyclic and (low, high) == (unit.low, unit.high), _step(table, unit, bits, kind))


def _step(table: Table, unit: Unit, bits: int | None, kind: Kind) -> int | None:
    """The step that the keys of a measure ask for, in base units; None where its bits give it."""
    given = [key for key in _FINENESS if key in table.data and key in kind.keys]
    if len(given) > 1:
        table.note(f"{given[0]} and {given[1]} both given: one follows from the other", given[1])
    if not given and kind.own_unit:
        table.note(f"needs one of {', '.join(key for key in _FINENESS if key in kind.keys)}")
    if bits or not given:
        return None if bits else unit.step
    key = given[0]
    value = table.number(key) if key != "bits" else None  # bits that are none are noted
    if value is None:
        return None
    in_base_units = value * unit.scale / (Decimal(str(unit.metres)) if key.endswith("_m") else 1)
    if key == "max_error_m":
        in_base_units /= _AXES
    step = step_of_error(in_base_units) if key.startswith("max_error") else int(in_base_units)
    if step < 1:
        table.note(f"{show(value)} is " + (f"finer than the base unit, {unit.base}" if value > 0 else "not above 0"), key)
    return max(step, 1)


def _count(request: _Request) -> _Range:
    table, kind, unit, bits, optional = request
    most = table.integer("maximum", 1, unit.ceiling) if "maximum" in table.data else None
    if most is None:
        most = min(2**bits - 1 - optional, unit.ceiling) if bits else unit.high
    return _Range(0, most + kind.cyclic, kind.cyclic)


def _time(request: _Request) -> _Range:
    table, _, _, bits, optional = request
    epoch = table.data.get("epoch")
    origin = 0
    if epoch is not None and "period" in table.data:
        table.note("a period counts from 1970-01-01T00:00:00Z: give an epoch or a period, not both", "epoch")
    elif isinstance(epoch, datetime) and epoch.tzinfo is not None and not epoch.microsecond:
        origin = int(epoch.timestamp())
    elif epoch is not None:
        table.note(
            f"must be a date and time with offset and whole seconds like 2026-01-01T00:00:00Z, not {show(epoch)}",
            "epoch",
        )
    elif "period" not in table.data:
        table.note("needs an epoch (seconds since then) or a period (seconds modulo it)")
    given = table.integer("resolution", 1, 86_400)
    if "period" in table.data:
        period = table.integer("period", 2, U32) or 2
        if bits and given:
            table.note("bits and resolution both given: with a period one follows from the other", "resolution")
        return _Range(0, period, cyclic=True, step=None if bits else given or 1)
    step = given or 1
    # The top half step is left off where rounding up from it would leave 32 bits.
    high = min((2 ** (bits or MAX_BITS) - 1 - optional) * step, U32 - step // 2)
    if not _YEAR_1 <= origin <= _YEAR_10000 - high:
        table.note(f"{show(epoch)} and the {high} seconds that are counted from it leave the years 1 to 9999", "epoch")
    return _Range(0, high, step=step, origin=origin)


def _choice(request: _Request) -> _Range:
    names = request.table.names("choices")
    return _Range(0, max(len(names) - 1, 1), choices=names)


#: The form of a kind to what reads its range.
_RANGES = {Form.MEASURE: _measure, Form.COUNT: _count, Form.FLAG: _count, Form.TIME: _time, Form.CHOICE: _choice}


def _policy(table: Table, kind: Kind, *, cyclic: bool) -> str:
    default = kind.policy
    if default == "wrap" and not cyclic:
        default = "refuse"
    elif cyclic and kind.form is Form.TIME:
        default = "wrap"
    policy = table.text("policy", default)
    allowed = [name for name in POLICIES if name != ("clip" if cyclic else "wrap")]
    if policy not in allowed:
        why = "a circle has no end to clip to" if cyclic else "only a circle can wrap"
        hint = f" ({why})" if policy in POLICIES else ""
        table.note(f"{show(policy)} is not a policy here: one of {', '.join(allowed)}{hint}", "policy")
    return policy


def _requested(table: Table, unit: Unit) -> str:
    key = next((key for key in _FINENESS if key in table.data), "")
    if not key:
        return "default"
    if key == "bits":
        return f"{table.data[key]} bits"
    symbol = "m" if key.endswith("_m") else unit.symbol
    return f"{key.removesuffix('_m')} {table.data[key]} {symbol}".rstrip()
