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
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING

from packetcodec.errors import Problem, SchemaFault
from packetcodec.schema.check import data_bytes, longest_bytes, read_check
from packetcodec.schema.fields import read_field
from packetcodec.schema.model import MAX_BYTES, Check, Field, Header, Layout, Remark
from packetcodec.schema.table import Faults, Table
from packetcodec.schema.trail import read_trail

if TYPE_CHECKING:
    import os

#: Most bytes of a schema file: a hundred times what a long one has.
MAX_TEXT = 1 << 20


@dataclass(frozen=True, slots=True)
class Schema:
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
        try:
            document = tomllib.loads(text, parse_float=Decimal)
        except tomllib.TOMLDecodeError as fault:
            raise SchemaFault((Problem("", f"not TOML: {fault}"),)) from None
        except RecursionError:
            raise SchemaFault((Problem("", "not a schema: brackets are nested too deeply"),)) from None
        except (ValueError, ArithmeticError):  # more digits than Python reads
            raise SchemaFault((Problem("", "not a schema: a number has too many digits"),)) from None
        faults = Faults(document, text)
        schema = _read(Table(document, (), faults))
        if faults.problems or schema is None:
            raise SchemaFault(tuple(faults.problems))
        return schema


def _read(top: Table) -> Schema | None:
    top.reject_unknown(("name", "version", "doc", "header", "check", "layouts", "history"), "a schema")
    name = top.name()
    header = _header(top)
    version = top.integer("version", 0, 2**header.version_bits - 1)
    if "version" not in top.data:
        top.note("version is missing")
    layouts = _layouts(top, header)
    check = read_check(top.section("check"), header, layouts)
    layouts = tuple(_limited(top, number, layout, header, check) for number, layout in enumerate(layouts))
    history = []
    for row in top.rows("history", required=False):
        row.reject_unknown(("version", "note"), "a history entry")
        of = row.integer("version", 0, 255)
        history.append(Remark(of or 0, row.text("note")))
        if of is None or not row.text("note"):
            row.note("needs a version and a note")
    if name is None or version is None:
        return None
    return Schema(name, version, header, check, layouts, top.text("doc"), tuple(history))


def _limited(top: Table, number: int, layout: Layout, header: Header, check: Check) -> Layout:
    """The layout with the limit of its trail settled; notes a packet that does not fit a radio, or its own limit."""
    size = data_bytes(header, layout.field_bits) + check.bits // 8
    if layout.trail is None:
        if size > MAX_BYTES:
            message = f"the packet takes {size} bytes, at most {MAX_BYTES} fit a radio's payload"
            top.faults.note(("layouts", number), message)
        return layout
    limit = longest_bytes(header, layout, check.bits // 8)
    least = data_bytes(header, layout.field_bits + layout.trail.front_bits) + check.bits // 8
    if least > limit:
        message = f"{limit} is below {least}, the bytes of a packet with an empty trail"
        top.faults.note(("layouts", number, "trail", "packet_bytes"), message)
    return replace(layout, trail=replace(layout.trail, packet_bytes=limit))


def _header(top: Table) -> Header:
    table = top.section("header")
    table.reject_unknown(("version_bits", "layout_bits"), "the header")
    return Header(table.integer("version_bits", 1, 8, 4) or 4, _or(table.integer("layout_bits", 0, 8, 4), 4))


def _or(value: int | None, default: int) -> int:
    return default if value is None else value


def _layouts(top: Table, header: Header) -> tuple[Layout, ...]:
    found: list[Layout] = []
    names: dict[str, int] = {}
    ids: dict[int, int] = {}
    most = 2**header.layout_bits - 1
    for number, table in enumerate(top.rows("layouts"), 1):
        table.reject_unknown(("name", "id", "fields", "trail", "doc"), "a layout")
        name = table.name()
        ident = table.integer("id", 0, most)
        if "id" not in table.data:
            if most:
                table.note(f"id is missing: a number within 0..{most}")
            ident = 0
        if name is not None and names.setdefault(name, number) != number:
            table.note(f'"{name}" is already the name of layout {names[name]}', "name")
        if ident is not None and ids.setdefault(ident, number) != number:
            table.note(f"{ident} is already the id of layout {ids[ident]}", "id")
        fields = _fields(table)
        trail = read_trail(table.section("trail"), fields) if "trail" in table.data else None
        found.append(Layout(name or "", ident or 0, fields, table.text("doc"), trail))
    return tuple(found)


def _fields(layout: Table) -> tuple[Field, ...]:
    fields: list[Field] = []
    for row in layout.rows("fields"):
        field = read_field(row)
        if field is None:
            continue
        if any(field.name == other.name for other in fields):
            row.note(
                f'"{field.name}" is already the name of another field of this layout: give this one a name',
                "name",
            )
        fields.append(field)
    return tuple(fields)
