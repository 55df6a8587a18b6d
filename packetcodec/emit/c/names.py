"""A plan as C sees it: what files, types, functions and macros are called, and what the source needs code for.

Owns one rule: public names begin with the schema's name, files too, with `_packets` behind it, as no header of a system or
a library is called. The names are taken in a fixed order, so that a clash is resolved the same way each time.

>>> from packetcodec.starter import example_plan
>>> position = c_plan(example_plan()).layouts[0]
>>> position.encode, [member.name for member in position.members[2:4]]
('pasture_encode_position', ['latitude_e7', 'longitude_e7'])
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from packetcodec.emit.c.identifiers import Names
from packetcodec.emit.c.member import Member, ending
from packetcodec.errors import FAULTS
from packetcodec.schema import PLACE, Form, Role

if TYPE_CHECKING:
    from packetcodec.schema import Trail
    from packetcodec.wire import LayoutPlan, Plan

#: What can be done with a layout, as its functions say.
_VERBS = ("encode", "remember", "recall")
#: The fields that a trail counts from, by axis.
_ANCHORS = (Role.NORTH, Role.EAST, Role.HEIGHT)


@dataclass(frozen=True)
class CLayout:
    """A layout of the plan with its public names.

    Attributes:
        plan: of the layout.
        type, point, encode: its struct, the struct of a point of its trail, its function.
        memory, remember, recall: the struct of what a trail's memory holds, and its functions.
        member: its place in the union of a decoded packet.
        macro: the beginning of its macros.
        members: one to a field.
        number: its place among the layouts.
    """

    plan: LayoutPlan
    type: str
    point: str
    encode: str
    memory: str
    remember: str
    recall: str
    member: str
    macro: str
    members: tuple[Member, ...]
    number: int

    @cached_property
    def optional(self) -> tuple[Member, ...]:
        """The members of optional fields."""
        return tuple(member for member in self.members if member.has)

    @property
    def slots(self) -> int:
        """Positions that the memory of its trail holds: with a fixed spacing two to each half of it, and two more."""
        trail = self.plan.trail
        return 0 if trail is None else trail.points + 1 if trail.interval_seed else 4 * trail.points + 2

    @cached_property
    def rows(self) -> tuple[tuple[object, ...], ...]:
        """The rows of its table."""
        return tuple(member.row for member in self.members)


@dataclass(frozen=True)
class CPlan:
    """A plan with the public names of its C, and what its source needs code for.

    Attributes:
        plan: whose.
        prefix: what all public names begin with.
        layouts: those of the plan.
        encodes, decodes: which of both is written.
    """

    plan: Plan
    prefix: str
    layouts: tuple[CLayout, ...]
    encodes: bool = True
    decodes: bool = True

    @property
    def upper(self) -> str:
        """The prefix of macros."""
        return self.prefix.upper()

    @property
    def file(self) -> str:
        """Name of both files without their endings."""
        return f"{self.prefix}_packets"

    @property
    def only_layout(self) -> CLayout | None:
        """The only layout: its numbers stand in the code."""
        return self.layouts[0] if len(self.layouts) == 1 else None

    @property
    def residue(self) -> int:
        """The register of the check after a whole packet."""
        crc = self.plan.crc
        return crc.residue() ^ crc.xor_out if crc else 0

    def register(self, number: int) -> str:
        """A number of the check's width as C writes it."""
        digits = f"{number:#0{2 * self.plan.check_bytes + 2}x}"
        return f"$U({digits})" if self.plan.check_bytes > 2 else f"{digits}U"

    @cached_property
    def tables(self) -> tuple[CLayout, ...]:
        """One layout for each table of fields: layouts with the same fields share one."""
        first: dict[object, CLayout] = {}
        for layout in self.layouts:
            first.setdefault(layout.rows, layout)
        return tuple(first.values())

    def header_of(self, layout: CLayout) -> int:
        """The header of a layout's packets as one number: version and id."""
        return self.plan.version << self.plan.layout_bits | layout.plan.id

    def table_of(self, layout: CLayout) -> int:
        """The number of a layout's table."""
        return [table.rows for table in self.tables].index(layout.rows)

    @cached_property
    def members(self) -> tuple[Member, ...]:
        """Of all layouts."""
        return tuple(member for layout in self.layouts for member in layout.members)

    @cached_property
    def trails(self) -> tuple[CLayout, ...]:
        """The layouts that carry a trail."""
        return tuple(layout for layout in self.layouts if layout.plan.trail)

    @property
    def trail(self) -> Trail | None:
        """The only trail: its numbers stand in the code."""
        return self.trails[0].plan.trail if len(self.trails) == 1 else None

    @cached_property
    def has_altitudes(self) -> str:
        """Whether "all", "some" or none ("") of the trails carry altitudes."""
        return self._some("altitude")

    @cached_property
    def has_ages(self) -> str:
        """Whether "all", "some" or none ("") of the trails code the ages of their points."""
        return self._some("interval_seed")

    @cached_property
    def coarsens(self) -> bool:
        """Whether a trail falls back to coarser cells."""
        return self._some("coarsenings") != ""

    @cached_property
    def wanders(self) -> str:
        """Whether "all", "some" or none ("") of the trails are of trackers that wander."""
        return self._some("wandering")

    def _some(self, what: str) -> str:
        having = [bool(getattr(layout.plan.trail, what)) for layout in self.trails]
        return "all" if having and all(having) else "some" if any(having) else ""

    @cached_property
    def axes(self) -> int:
        """Axes of the trails' points, from latitude to the last one that any has."""
        return 4 if self.has_ages else 3 if self.has_altitudes else 2

    @property
    def groups(self) -> int:
        """Groups of these axes that are coded together."""
        return 1 + bool(self.has_altitudes) + bool(self.has_ages)

    def axes_of(self, trail: Trail) -> int:
        """The axes of a trail's points, one bit each."""
        return 3 + 4 * bool(trail.altitude) + 8 * bool(trail.interval_seed)

    @property
    def skips_axes(self) -> bool:
        """Whether points of some trail have nothing on an axis."""
        return any(self.axes_of(layout.plan.trail) != 2**self.axes - 1 for layout in self.trails if layout.plan.trail)

    @property
    def words(self) -> int:
        """Words of 32 bits that hold what fields say, of any layout: a value each, and a byte for each optional one."""
        return max(len(layout.members) + -(-len(layout.optional) // 4) for layout in self.layouts)

    @cached_property
    def references(self) -> tuple[tuple[Member, str], ...]:
        """Of each value that a reference is needed for: its first member, and the name of what says that one is known."""
        first = {member.field.name: member for member in reversed(self.members) if member.low_bits}
        own = Names(first[name].name for name in self.plan.references)
        return tuple((first[name], own.take(f"has_{name}")) for name in self.plan.references)

    def place_of(self, member: Member) -> int:
        """The place of a member's reference."""
        return self.plan.references.index(member.field.name)

    def reference_range(self, member: Member) -> tuple[int, int]:
        """The lowest and the highest base of a member's reference, in any layout."""
        same = [other.field for other in self.members if other.low_bits and other.field.name == member.field.name]
        return min(field.low for field in same), max(field.high for field in same)

    def reference_type(self, member: Member) -> str:
        """The type of a member's reference: signed where all of the range is, since what is known may lie beside it."""
        return "int32_t" if self.reference_range(member)[1] < 2**31 else "uint32_t"

    def reference_of(self, member: Member) -> int:
        """The place of a member's reference, and whether that has no sign, as the table has it."""
        return self.place_of(member) + 128 * (self.reference_type(member) == "uint32_t") if member.low_bits else 0

    @property
    def high_bytes(self) -> int:
        """Bytes that hold what any layout does not send."""
        widths = [sum(low.high_bits for *_, low in layout.plan.low_fields) for layout in self.layouts]
        return -(-max(widths) // 8)

    def any_member(self, rule: str) -> bool:
        """Whether any member has this property: clips, wraps, masks, wide, has."""
        return any(getattr(member, rule) for member in self.members)

    @cached_property
    def has_circle(self) -> bool:
        """Whether a range ends where it begins."""
        return any(member.field.modulus for member in self.members)

    @cached_property
    def has_sides(self) -> str:
        """Whether it matters on which side of a range a value lies: of "signed" members alone, of "any", or not ("")."""
        sided = [member for member in self.members if member.clips or member.wraps]
        return "" if not sided else "signed" if all(member.signed for member in sided) else "any"

    @cached_property
    def has_degrees(self) -> bool:
        """Whether a position is sent, so that a helper reads degrees and minutes."""
        return self.encodes and any(member.field.kind.role in PLACE for member in self.members)

    @cached_property
    def has_decimal(self) -> bool:
        """Whether something is sent that receivers print with decimals."""
        return self.encodes and any(member.field.kind.source and member.field.scale > 1 for member in self.members)

    @cached_property
    def has_clock(self) -> bool:
        """Whether a time is sent, so that a helper reads date and time."""
        return self.encodes and any(member.field.kind.form is Form.TIME for member in self.members)


def _fixed(start: str) -> list[str]:
    """The public names of every plan."""
    words = ["OK", *map(str.upper, FAULTS), "FINGERPRINT", "VERSION", "MAX_BYTES", "UNKNOWN", "PACKETS_H"]
    verbs = "decimal decode degrees fault packet packets reference seconds self_test"
    return [*(f"{start}_{verb}" for verb in verbs.split()), *(f"{start.upper()}_{word}" for word in words)]


def c_plan(plan: Plan, prefix: str | None = None, *, encodes: bool = True, decodes: bool = True) -> CPlan:
    """A plan with the public names of its C, none of which clashes with another, a keyword or a usual macro."""
    names = Names()
    start = names.take(prefix or plan.name, _fixed)
    inside = Names()  # of the union
    trails = [layout.trail for layout in plan.layouts if layout.trail]
    roles = _ANCHORS[: 2 + any(trail.altitude for trail in trails)] if trails else ()
    anchors: dict[Role | None, int] = {role: axis for axis, role in enumerate(roles, 1)}
    layouts = tuple(_layout(layout, number, start, names, inside, anchors) for number, layout in enumerate(plan.layouts))
    return CPlan(plan, start, layouts, encodes, decodes)


def _layout(
    layout: LayoutPlan, number: int, prefix: str, names: Names, inside: Names, anchors: dict[Role | None, int]
) -> CLayout:
    def all_of(token: str) -> list[str]:
        macro = f"{prefix}_{token}".upper()
        what = ("ID", "BYTES", "MIN_BYTES", "POINTS", "SPACING_S", "MEMORY")
        types = (f"{prefix}_{token}{ending}" for ending in ("", "_point", "_memory"))
        return [*types, *(f"{prefix}_{verb}_{token}" for verb in _VERBS), *(f"{macro}_{x}" for x in what)]

    token = names.take(layout.name, all_of)
    type_, point, memory, encode, remember, recall, *_ = all_of(token)
    macro = type_.upper()
    own = Names(("trail", "trail_count"))
    taken = [own.take(f"{field.name}{ending(field)}") for field in layout.fields]
    members = tuple(
        Member(
            field, name, own.take(f"has_{field.name}") if field.absent_code is not None else "",
            tuple(names.take(f"{macro}_{field.name}_{choice}".upper()) for choice in field.choices),
            names.take(f"{macro}_{field.name}_EPOCH".upper()) if field.origin else "", anchors.get(field.kind.role, 0),
        )
        for field, name in zip(layout.fields, taken, strict=True)
    )  # fmt: skip
    return CLayout(layout, type_, point, encode, memory, remember, recall, inside.take(token), macro, members, number)
