"""The C of a plan as an Arduino library, with a transmitter and a receiver sketch as its examples.

Owns one rule: what a transmitter fills in by itself is what sentences of a GNSS receiver hold (GGA, and RMC where a layout
asks for speed, course or time); the counter counts; all else stands in one function that the user fills in.

The folder is as the Arduino library specification has it (library.properties, keywords.txt, src, examples). Beside that
stand library.json of PlatformIO and a CMakeLists.txt that is an ESP-IDF component where that is known, else a library.

>>> from packetcodec.starter import example_plan
>>> [name for name in write_arduino(example_plan()) if name.endswith("ino")]
['examples/transmitter/transmitter.ino', 'examples/receiver/receiver.ino']
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from packetcodec.emit.c.names import CLayout, CPlan, c_plan
from packetcodec.emit.c.writer import safe_text, write_c
from packetcodec.emit.render import Templates, printable, verbatim
from packetcodec.errors import STATUSES, PacketcodecError
from packetcodec.schema import PLACE, Role

if TYPE_CHECKING:
    from packetcodec.emit.c.member import Member
    from packetcodec.wire import Plan

_TEMPLATES = Templates("arduino", escape=safe_text)

#: What the sketch reads from sentences, by the name of a log's attribute; the second row from RMC.
_GGA = ("latitude", "longitude", "altitude", "quality", "satellites", "hdop")
_RMC = ("speed", "course", "time")
#: Base units of a speed by its unit, as a fraction of 0.01 knot.
_SPEEDS = {"m/s": (463, 900), "km/h": (463, 250), "knot": (1, 1)}


@dataclass(frozen=True)
class Sketch:
    """What a transmitter sends, and where its values come from.

    Attributes:
        c: the plan.
        layout: the first one with a trail, else the first with a position, else the first.
    """

    c: CPlan
    layout: CLayout

    @property
    def interval(self) -> int:
        """Seconds between packets: the spacing of the trail, else 30."""
        trail = self.layout.plan.trail
        return trail.spacing_seconds or 30 if trail else 30

    def source(self, member: Member) -> str:
        """Where a value comes from: what a sentence calls it, "counter", "spacing", or "" for the user."""
        kind, trail = member.field.kind, self.layout.plan.trail
        if trail and trail.spacing_field == member.field.name:
            return "spacing"
        if kind.source in (*_GGA, *_RMC):
            return kind.source
        return "counter" if kind.role is Role.SEQUENCE else ""

    def members(self, *sources: str) -> list[Member]:
        """The values that come from there."""
        return [member for member in self.layout.members if self.source(member) in sources]

    @property
    def has_rmc(self) -> bool:
        """Whether an RMC sentence is asked for something."""
        return bool(self.members(*_RMC))

    @property
    def axes(self) -> dict[str, Member]:
        """The members of the packet's own position by what a sentence calls them."""
        found: dict[str, Member] = {}
        for member in self.members("latitude", "longitude", "altitude"):
            found.setdefault(self.source(member), member)
        return found

    def speed(self, member: Member) -> tuple[int, int]:
        """The fraction that leads from 0.01 knot to its base unit."""
        return _SPEEDS[member.field.unit.name]

    def stand_in(self, member: Member) -> int:
        """A value to begin with: what trials send where no log holds one, else the middle of the range."""
        field = member.field
        code = field.kind.stand_in
        return field.low + (field.max_code // 2 if code is None else code) * field.step


def _sketch(c: CPlan) -> Sketch:
    placed = [item for item in c.layouts if {field.kind.role for field in item.plan.fields} >= PLACE]
    return Sketch(c, (*c.trails, *placed, *c.layouts)[0])


#: What stands for an author and an address that were not given: the specification of Arduino libraries asks for both.
_AUTHOR, _URL = "Author to be named <change-me@example.org>", "https://example.org/change-me"
_AUTHORS = re.compile(r"[^<>,=]*[^<>,= ][^<>,=]*(?: <[^<>,= @]+@[^<>,= @]+>)?")


def write_arduino(plan: Plan, *, only: str = "", author: str = _AUTHOR, url: str = _URL) -> dict[str, str]:
    """The library of a plan: path within its folder to text.

    Args:
        plan: from `packetcodec.wire.compile_plan`.
        only: "encode" or "decode" for a device that does not do the other.
        author: who made the library: "Name" or "Name <mail>".
        url: where it is found.

    Raises:
        PacketcodecError: author or url is not of that form, or longer than PlatformIO takes: name and mail 50 characters,
            url 255 (platformio/package/manifest/schema.py of PlatformIO Core, read).
    """
    if not author.isprintable() or not _AUTHORS.fullmatch(author):
        raise PacketcodecError(f'author: {printable(author)} is not of the form "Name <mail>"')
    name, _, mail = author.rstrip(">").partition(" <")
    for what, told, most in (("author: name", name, 50), ("author: mail", mail, 50), ("url", url, 255)):
        if len(told) > most:
            raise PacketcodecError(f"{what}: {len(told)} characters, the manifest of PlatformIO holds at most {most}")
    if not re.fullmatch(r"https?://[!-~]+", url):
        raise PacketcodecError(f"url: {printable(url)} does not begin with http:// or https://, or holds a blank")
    c = c_plan(plan, encodes=only != "decode", decodes=only != "encode")
    names = {"c": c, "sketch": _sketch(c), "statuses": STATUSES, "author": verbatim(author), "url": verbatim(url)}
    files = {
        "library.properties": "library.properties.j2",
        "keywords.txt": "keywords.txt.j2",
        "CMakeLists.txt": "CMakeLists.txt.j2",
    }
    if c.encodes:
        files["examples/transmitter/transmitter.ino"] = "transmitter.ino.j2"
    if c.decodes:
        files["examples/receiver/receiver.ino"] = "receiver.ino.j2"
    return {
        **{f"src/{name}": text for name, text in write_c(plan, only=only).items()},
        **{path: _TEMPLATES.render(name, **names) for path, name in files.items()},
        "library.json": _manifest(c, name, mail, url),
    }


def _manifest(c: CPlan, name: str, mail: str, url: str) -> str:
    """What PlatformIO asks of a library."""
    told = {
        "name": c.file, "version": f"{c.plan.version}.0.0", "description": _what(c), "keywords": "packets, lora, gnss",
        "authors": [{"name": name, "email": mail} if mail else {"name": name}], "homepage": url, "frameworks": "*",
        "platforms": "*", "headers": f"{c.file}.h",
    }  # fmt: skip
    return json.dumps(told, indent=2) + "\n"


def _what(c: CPlan) -> str:
    return f"Packets of {c.plan.name}, version {c.plan.version}; fingerprint {c.plan.fingerprint}"
