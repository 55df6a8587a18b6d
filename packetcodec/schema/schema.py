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
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from packetcodec.crc import Crc, default_crc, find_crc
from packetcodec.errors import PacketcodecError, Problem, SchemaFault
from packetcodec.schema.fields import read_field
from packetcodec.schema.model import MOST_BYTES, Check, Field, Header, Layout, Remark
from packetcodec.schema.table import Faults, Table, show

if TYPE_CHECKING:
    import os

_PARAMETERS = ("width", "polynomial", "initial", "reflected", "xor_out")


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
        try:
            with open(path, encoding="utf-8") as handle:  # noqa: PTH123  # pathlib takes longer to import than all of this
                text = handle.read()
        except UnicodeDecodeError as fault:
            wrong = f"byte {fault.start} is {fault.object[fault.start]:#04x}"
            raise SchemaFault((Problem("", f"not a text file in UTF-8: {wrong}"),)) from None
        return cls.parse(text)

    @classmethod
    def parse(cls, text: str) -> Schema:
        """Read the text of a schema file.

        Raises:
            SchemaFault: everything that is wrong with the text, each fault with its place.
        """
        try:
            document = tomllib.loads(text, parse_float=Decimal)
        except tomllib.TOMLDecodeError as fault:
            raise SchemaFault((Problem("", f"not TOML: {fault}"),)) from None
        faults = Faults(document, text)
        schema = _read(Table(document, (), faults))
        if faults.problems or schema is None:
            raise SchemaFault(tuple(faults.problems))
        return schema


def _read(top: Table) -> Schema | None:
    top.only(("name", "version", "doc", "header", "check", "layouts", "history"), "a schema")
    name = top.name()
    header = _header(top)
    version = top.whole("version", 0, 2**header.version_bits - 1)
    if "version" not in top.data:
        top.note("version is missing")
    layouts = _layouts(top, header)
    check = _check(top, header, layouts)
    for number, layout in enumerate(layouts):
        size = -(-(header.bits + layout.field_bits) // 8) + check.bits // 8
        if size > MOST_BYTES:
            top.faults.note(
                ("layouts", number),
                f"the packet takes {size} bytes, at most {MOST_BYTES} fit a radio's payload",
            )
    history = []
    for row in top.rows("history", required=False):
        row.only(("version", "note"), "a history entry")
        of = row.whole("version", 0, 255)
        history.append(Remark(of or 0, row.text("note")))
        if of is None or not row.text("note"):
            row.note("needs a version and a note")
    if name is None or version is None:
        return None
    return Schema(name, version, header, check, layouts, top.text("doc"), tuple(history))


def _section(top: Table, key: str) -> Table:
    return Table(top.data.get(key, {}), (key,), top.faults)


def _header(top: Table) -> Header:
    table = _section(top, "header")
    table.only(("version_bits", "layout_bits"), "the header")
    return Header(table.whole("version_bits", 1, 8, 4) or 4, _or(table.whole("layout_bits", 0, 8, 4), 4))


def _or(value: int | None, default: int) -> int:
    return default if value is None else value


def _layouts(top: Table, header: Header) -> tuple[Layout, ...]:
    found: list[Layout] = []
    names: dict[str, int] = {}
    ids: dict[int, int] = {}
    most = 2**header.layout_bits - 1
    for number, table in enumerate(top.rows("layouts"), 1):
        table.only(("name", "id", "fields", "doc"), "a layout")
        name = table.name()
        ident = table.whole("id", 0, most)
        if "id" not in table.data:
            if most:
                table.note(f"id is missing: a number within 0..{most}")
            ident = 0
        if name is not None and names.setdefault(name, number) != number:
            table.note(f'"{name}" is already the name of layout {names[name]}', "name")
        if ident is not None and ids.setdefault(ident, number) != number:
            table.note(f"{ident} is already the id of layout {ids[ident]}", "id")
        found.append(Layout(name or "", ident or 0, _fields(table), table.text("doc")))
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


def _check(top: Table, header: Header, layouts: tuple[Layout, ...]) -> Check:
    table = _section(top, "check")
    table.only(("crc", "bind_schema", *_PARAMETERS), "the check")
    bind = table.yes("bind_schema")
    name = table.text("crc")
    if name.lower() == "none":
        if bind:
            table.note("there is no CRC to bind", "bind_schema")
        return Check(None)
    extra = [key for key in _PARAMETERS if key in table.data]
    try:
        if name:
            if extra:
                table.note(f'"{name}" fixes it: give a name or parameters, not both', extra[0])
            return Check(find_crc(name), bind)
        if "polynomial" in table.data:
            return Check(_parameters(table), bind)
    except PacketcodecError as fault:
        table.note(str(fault), "crc" if name else "polynomial")
        return Check(None)
    for key in extra:
        if key != "width":
            table.note("needs a polynomial beside it", key)
    width = table.whole("width", 8, 32, 16)
    if width is not None and width % 8:
        table.note(f"{width} is not one of 8, 16, 24, 32", "width")
        width = None
    # Whole bytes: the check covers the padding too.
    longest = max((-(-(header.bits + layout.field_bits) // 8) * 8 for layout in layouts), default=8)
    return Check(default_crc(width or 16, longest), bind, chosen=True)


def _parameters(table: Table) -> Crc:
    width = table.whole("width", 8, 32)
    if width is None or width % 8:
        table.note(f"{show(table.data.get('width'))} is not one of 8, 16, 24, 32", "width")
        width = 32
    most = 2**width - 1
    return Crc(
        name="", width=width, polynomial=table.whole("polynomial", 1, most) or 1,
        initial=table.whole("initial", 0, most, 0) or 0, reflected=table.yes("reflected"),
        xor_out=table.whole("xor_out", 0, most, 0) or 0,
    )  # fmt: skip
