"""What things are called in emitted C: files, types, functions, macros, members with their comments.

Owns one rule: a member is named after its field, with the base unit behind it: latitude_e7 is in 1e-7 degree,
altitude_cm in centimetres, battery_mv in millivolts. It is an int32_t where negative numbers mean something or
could come about, a uint32_t for numbers that count and for ranges beyond.

>>> from packetcodec.wire import compile_plan
>>> from packetcodec.schema import Schema
>>> plan = compile_plan(Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "latitude" }, { kind = "longitude" }]
... '''))
>>> names = public_names(plan)
>>> names.layouts[0].encode, names.layouts[0].members
('pasture_encode_beacon', ('latitude_e7', 'longitude_e7'))
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.emit.c.identifiers import HEADERS, Names
from packetcodec.errors import FAULTS
from packetcodec.schema import KINDS
from packetcodec.wire import bounds, decimal

if TYPE_CHECKING:
    from packetcodec.wire import FieldPlan, LayoutPlan, Plan

_MAX_SIGNED = 2**31 - 1

#: What stands behind a field's name: by kind and unit, else by scale alone.
_ENDINGS = {
    ("altitude", "m"): "cm",
    ("battery", "volt"): "mv",
    ("battery", "percent"): "percent",
    ("speed", "m/s"): "cm_s",
    ("time", "s"): "s",
}


@dataclass(frozen=True, slots=True)
class LayoutNames:
    """The public names of one layout.

    Attributes:
        type, point, encode: its struct, the struct of a point of its trail, its function.
        member: its place in the union of a decoded packet.
        macro, without: the beginning of its macros, and the macro that leaves it out.
        members, has: one member to a field; one to an optional field, else "".
        choices: one tuple of macros to a field, empty unless it is a choice.
        epochs: one macro to a field, "" unless it is a time with an epoch.
    """

    type: str
    point: str
    encode: str
    member: str
    macro: str
    without: str
    members: tuple[str, ...]
    has: tuple[str, ...]
    choices: tuple[tuple[str, ...], ...]
    epochs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PublicNames:
    """The public names of a plan: what all of them begin with, and those of its layouts."""

    prefix: str
    layouts: tuple[LayoutNames, ...]


def public_names(plan: Plan, prefix: str | None = None) -> PublicNames:
    """All public names of a plan's C, none of which clashes with another, a keyword or a usual macro."""
    start = prefix or plan.name
    if start in HEADERS:
        start += "_"
    upper = start.upper()
    fixed = [f"{start}_{name}" for name in ("decode", "degrees", "fault", "packet")]
    words = ["OK", *map(str.upper, FAULTS), "FINGERPRINT", "VERSION", "MAX_BYTES", "UNKNOWN", "H"]
    words += ["NO_ENCODE", "NO_DECODE", "NO_DEGREES"]
    names = Names([*fixed, *(f"{upper}_{word}" for word in words)])
    inside = Names()  # of the union
    return PublicNames(start, tuple(_layout(layout, start, names, inside) for layout in plan.layouts))


def _layout(layout: LayoutPlan, prefix: str, names: Names, inside: Names) -> LayoutNames:
    def all_of(token: str) -> list[str]:
        macro = f"{prefix}_{token}".upper()
        return [
            f"{prefix}_{token}", f"{prefix}_{token}_point", f"{prefix}_encode_{token}",
            f"{prefix}_NO_{token}".upper(), *(f"{macro}_{what}" for what in ("ID", "BYTES", "POINTS", "SPACING_S")),
        ]  # fmt: skip

    token = names.take(layout.name, all_of)
    type_, point, encode, without, *_ = all_of(token)
    macro = type_.upper()
    own = Names(("trail", "trail_count"))
    members = tuple(own.take(f"{field.name}{ending(field)}") for field in layout.fields)
    has = tuple(own.take(f"has_{field.name}") if field.absent_code is not None else "" for field in layout.fields)
    choices = tuple(
        tuple(names.take(f"{macro}_{field.name}_{choice}".upper()) for choice in field.choices) for field in layout.fields
    )
    epochs = tuple(names.take(f"{macro}_{field.name}_EPOCH".upper()) if field.origin else "" for field in layout.fields)
    return LayoutNames(type_, point, encode, inside.take(token), macro, without, members, has, choices, epochs)


def ending(field: FieldPlan) -> str:
    """What stands behind the name of a field: its base unit."""
    if found := _ENDINGS.get((field.kind, field.unit)):
        return f"_{found}"
    return f"_e{len(str(field.scale)) - 1}" if field.scale > 1 else ""


def signed(field: FieldPlan) -> bool:
    """Whether the member of a field is an int32_t."""
    return field.high <= _MAX_SIGNED and (field.low < 0 or not KINDS[field.kind].counting or field.policy == "clip")


def comment(field: FieldPlan) -> str:
    """Unit, range and step of a member, for its comment."""
    low, high = field.low, field.max_input
    if field.kind == "choice":
        return f"one of the names above, 0..{high}"
    unit = f"{field.base}, " if field.base else ""
    step = f", step {field.step}" if field.step > 1 else ""
    beyond = {"clip": "; beyond: clipped", "wrap": "; beyond: wrapped", "refuse": ""}[field.policy]
    people = f" ({bounds(field)})" if field.scale > 1 else ""
    origin = f" since Unix time {field.origin}" if field.origin else ""
    said = f"{unit}{low}..{high}{origin}{people}{step}{beyond}"
    if field.step > 1 and field.scale > 1:
        said = said.replace(step, f"{step} ({decimal(field, field.step)} {field.symbol}".rstrip() + ")")
    return " ".join(said.replace("*/", "* /").replace("/*", "/ *").replace("\\", "/").split())
