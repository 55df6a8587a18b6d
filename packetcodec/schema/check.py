"""The check of a schema file: a catalogue name, parameters, a width alone, or none.

Owns one rule: how long a packet can get, which is the length that a polynomial is chosen for.

>>> from packetcodec.schema.table import Faults, Table
>>> read_check(Table({"crc": "CRC-8/AUTOSAR"}, ("check",), Faults({})), Header(), ()).bits
8
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from packetcodec.crc import Crc, default_crc, find_crc
from packetcodec.errors import PacketcodecError
from packetcodec.schema.model import MAX_BYTES, Check, Header, Layout

if TYPE_CHECKING:
    from packetcodec.schema.table import Table

_PARAMETERS = ("width", "polynomial", "initial", "reflected", "xor_out")


def read_check(table: Table, header: Header, layouts: tuple[Layout, ...]) -> Check:
    """The check of a table, with no CRC when something in it is wrong (noted in the table's faults)."""
    table.reject_unknown()
    bind = table.boolean("bind_schema")
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
        table.note(str(fault).removeprefix(": "), "crc" if name else "polynomial")
        return Check(None)
    for key in extra:
        if key != "width":
            table.note("needs a polynomial beside it", key)
    width = table.integer("width") or 16
    longest = max([1, *(longest_bytes(header, layout, width // 8) - width // 8 for layout in layouts)])
    return Check(default_crc(width, longest * 8), bind, chosen=True)


def data_bytes(header: Header, bits: int) -> int:
    """Bytes of a header and so many bits of fields, padding included, check not."""
    return -(-(header.bits + bits) // 8)


def longest_bytes(header: Header, layout: Layout, check_bytes: int) -> int:
    """Most bytes of a packet of a layout. A trail that names no limit gets three bytes a point, and two."""
    size = data_bytes(header, layout.field_bits) + check_bytes
    if layout.trail is None:
        return size
    return layout.trail.packet_bytes or min(MAX_BYTES, size + 2 + 3 * layout.trail.points)


def _parameters(table: Table) -> Crc:
    if "width" not in table.data:
        table.note("needs a width beside it", "polynomial")
    width = table.integer("width") or 32
    most = 2**width - 1
    return Crc(
        name="", width=width, polynomial=table.integer("polynomial", 1, most) or 1,
        initial=table.integer("initial", 0, most) or 0, reflected=table.boolean("reflected"),
        xor_out=table.integer("xor_out", 0, most) or 0,
    )  # fmt: skip
