"""A schema: one TOML file read, with every fault of it reported at once.

>>> schema = Schema.parse('''
... name = "pasture"
... version = 1
... [[layouts]]
... name = "beacon"
... id = 1
... fields = [{ kind = "latitude" }, { kind = "longitude" }]
... ''')
>>> schema.layouts[0].field_bits
51
"""

from __future__ import annotations

import tomllib
from decimal import ROUND_HALF_EVEN, Context, Decimal, DivisionByZero, InvalidOperation, Overflow, localcontext
from typing import TYPE_CHECKING, Any

from packetcodec.errors import Problem, SchemaFault
from packetcodec.frozen import Frozen, replace
from packetcodec.schema.check import data_bytes, longest_bytes, read_check
from packetcodec.schema.fields import read_field
from packetcodec.schema.low_bits import MIN_CHECK_BITS
from packetcodec.schema.model import MAX_BYTES, Check, Field, Header, Layout, Remark
from packetcodec.schema.places import MAX_DEPTH, Places
from packetcodec.schema.table import MAX_PROBLEMS, Faults, Table, problem_at
from packetcodec.schema.trail import read_trail

if TYPE_CHECKING:
    import os

#: Most bytes of a schema file: a hundred times what a long one has.
MAX_TEXT = 1 << 20

#: The arithmetic of a schema's numbers.
_ARITHMETIC = Context(prec=28, rounding=ROUND_HALF_EVEN, traps=[InvalidOperation, DivisionByZero, Overflow])


class Schema(Frozen):
    """What a schema file says.

    Attributes:
        name: its name; generated code carries it.
        version: its version, the first thing in every packet.
        header, check, layouts: see `packetcodec.schema.model`.
        doc: a remark for the specification.
        history: what changed from version to version.
    """

    name: str
    version: int
    header: Header
    check: Check
    layouts: tuple[Layout, ...]
    doc: str = ""
    history: tuple[Remark, ...] = ()

    @classmethod
    def load(cls, path: str | os.PathLike[str]) -> Schema:
        """Read a schema file.

        Raises:
            SchemaFault: everything that is wrong with the file, each fault with its place.
            OSError: the file cannot be read.
        """
        with open(path, "rb") as handle:  # noqa: PTH123  # pathlib takes longer to import than all of this
            data = handle.read(MAX_TEXT + 1)
        if len(data) > MAX_TEXT:
            raise SchemaFault((Problem("", f"longer than {MAX_TEXT:,} bytes, the most that a schema may have"),))
        try:
            return cls.parse(data.decode("utf-8"))
        except UnicodeDecodeError as fault:
            wrong = f"byte {fault.start} is {fault.object[fault.start]:#04x}"
            raise SchemaFault((Problem("", f"not a text file in UTF-8: {wrong}"),)) from None

    @classmethod
    def parse(cls, text: str) -> Schema:
        """Read the text of a schema file.

        Raises:
            SchemaFault: everything that is wrong with the text, each fault with its place.
        """
        text = text.removeprefix("\ufeff")  # the mark that some editors put before UTF-8
        document, places = _document(text)
        faults = Faults(document, places)
        with localcontext(_ARITHMETIC):  # what the caller's programs set for themselves is not what a schema means
            schema = _read(Table(document, (), faults))
        if faults.problems or schema is None:
            problems = sorted(faults.problems, key=lambda problem: (problem.line, problem.column))
            if more := len(problems[MAX_PROBLEMS:]):
                problems = [*problems[:MAX_PROBLEMS], Problem("", f"{more} more faults; mend these first")]
            raise SchemaFault(tuple(problems))
        return schema


def _document(text: str) -> tuple[dict[str, Any], Places]:
    """The document of a text, and where everything stands in it.

    Raises:
        SchemaFault: no TOML, or none that a schema could be.
    """
    places = Places(text)
    if places.too_deep:  # asked first: the parser takes a time that grows with the square of the levels
        message = f"not a schema: nested more than {MAX_DEPTH} levels deep"
        raise SchemaFault((problem_at(places.too_deep, "", message),))
    try:
        return tomllib.loads(text, parse_float=Decimal), places
    except tomllib.TOMLDecodeError as fault:
        raise SchemaFault((Problem("", f"not TOML: {fault}"),)) from None
    except (ValueError, ArithmeticError):  # more digits than Python reads
        raise SchemaFault((Problem("", "not a schema: a number has too many digits"),)) from None


def _read(top: Table) -> Schema | None:
    top.reject_unknown()
    name = top.name()
    header = _header(top.section("header"))
    version = top.integer("version", 0, 2**header.version_bits - 1)
    layouts = _layouts(top, header)
    check = read_check(top.section("check"), header, layouts)
    _demand_check(top, layouts, check)
    layouts = tuple(_limited(top, number, layout, header, check) for number, layout in enumerate(layouts))
    history = []
    for row in top.rows("history"):
        row.reject_unknown()
        history.append(Remark(row.integer("version") or 0, row.text("note")))
    if name is None or version is None:
        return None
    return Schema(name, version, header, check, layouts, top.text("doc"), tuple(history))


def _demand_check(top: Table, layouts: tuple[Layout, ...], check: Check) -> None:
    """Note fields sent by their low bits where the check, or one reference for all layouts, cannot tell what is meant."""
    first: dict[str, tuple[str, Field]] = {}
    for number, layout in enumerate(layouts):
        seams = 0
        for field in layout.fields:
            if field.low_bits is None:
                continue
            seams += field.low_bits.two_ways
            name, other = first.setdefault(field.name, (layout.name, field))
            words = ""
            if check.bits < MIN_CHECK_BITS:
                words = (
                    f"low bits need a check of {MIN_CHECK_BITS} bits, to tell a wrong reference; this one has {check.bits}"
                )
            elif seams > 1 and field.low_bits.two_ways:
                words = (
                    "the second circle of this layout with a seam next to which two codes can be near: send its whole code"
                )
            elif (field.kind, field.unit, field.origin) != (other.kind, other.unit, other.origin):
                words = f'has another kind, unit or epoch in layout "{name}", but one reference serves both: rename it'
            if words:
                rows = top.data["layouts"][number]["fields"]
                place = next(place for place, row in enumerate(rows) if row.get("name", row.get("kind")) == field.name)
                top.faults.note(("layouts", number, "fields", place), words)


def _limited(top: Table, number: int, layout: Layout, header: Header, check: Check) -> Layout:
    """The layout with the limit of its trail settled; notes a packet that does not fit a radio, or its own limit."""
    trail = layout.trail
    size = data_bytes(header, layout.field_bits + (trail.front_bits if trail else 0)) + check.bits // 8
    what = "the packet with an empty trail" if trail else "the packet"
    if size > MAX_BYTES:
        top.faults.note(("layouts", number), f"{what} takes {size} bytes, at most {MAX_BYTES} fit a radio's payload")
    if trail is None:
        return layout
    limit = longest_bytes(header, layout, check.bits // 8)
    if limit < size <= MAX_BYTES:
        top.faults.note(("layouts", number, "trail", "packet_bytes"), f"{limit} is below {size}, the bytes of {what}")
    return replace(layout, trail=replace(trail, packet_bytes=limit))


def _header(table: Table) -> Header:
    table.reject_unknown()
    version_bits, layout_bits = table.integer("version_bits"), table.integer("layout_bits")
    return Header(version_bits or 4, 4 if layout_bits is None else layout_bits)  # after a fault, as if it were missing


def _layouts(top: Table, header: Header) -> tuple[Layout, ...]:
    found: list[Layout] = []
    names: dict[str, int] = {}
    ids: dict[int, int] = {}
    most = 2**header.layout_bits - 1
    for number, table in enumerate(top.rows("layouts"), 1):
        table.reject_unknown()
        name = table.name()
        ident = table.integer("id", 0, most)
        if "id" not in table.data:
            if most:
                table.note_missing("id", f"a number within 0..{most}")
            ident = 0
        if name is not None and names.setdefault(name, number) != number:
            table.note(f'"{name}" is already the name of layout {names[name]}', "name")
        if ident is not None and ids.setdefault(ident, number) != number:
            table.note(f"{ident} is already the id of layout {ids[ident]}", "id" if "id" in table.data else None)
        fields, unread = _fields(table)
        trail = read_trail(table.section("trail"), fields, unread) if "trail" in table.data else None
        found.append(Layout(name or "", ident or 0, fields, table.text("doc"), trail))
    return tuple(found)


def _fields(layout: Table) -> tuple[tuple[Field, ...], list[dict[str, Any]]]:
    """The fields of a layout, and the tables of those at fault; an empty one stands for all where there is none."""
    fields: dict[str, Field] = {}
    rows = layout.rows("fields")
    unread: list[dict[str, Any]] = [] if rows else [{}]
    for row in rows:
        field = read_field(row)
        if field is None:
            unread.append(row.data)
            continue
        if field.name in fields:
            message = f'"{field.name}" is already the name of another field of this layout: give this one a name'
            row.note(message, "name" if "name" in row.data else None)
        fields[field.name] = field
    return tuple(fields.values()), unread
