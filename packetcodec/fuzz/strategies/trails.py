"""Hypothesis strategies for trails: their tables, and points of every motion behind an anchor.

Owns one rule: which motions there are. They have a pace from standing still to half way round the globe, change it, jump,
reach poles and the antimeridian; some points are no points at all.

>>> from hypothesis import find
>>> find(trail_tables(climbing=False), lambda table: table["points"] > 1)["points"]
2
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from packetcodec.codec import Codec, TrailPoint
from packetcodec.fuzz.strategies import composite, st
from packetcodec.schema import DEGREE, KINDS, MAX_ALTITUDE, METRE, Role
from packetcodec.wire.trail.cells import wrapped

if TYPE_CHECKING:
    from packetcodec.schema import Layout, Trail

__all__ = ["points"]

#: The extra field that some trails take their spacing from.
INTERVAL = {"kind": "number", "name": "interval", "unit": "s", "minimum": 0, "maximum": 3600, "resolution": 10}


@composite
def trail_tables(draw: st.DrawFn, *, climbing: bool) -> dict[str, Any]:
    """The table of a trail. A spacing by field is that of `INTERVAL`."""
    metres = draw(st.sampled_from(["0.02", "0.5", "2.5", "10", "150", "1000"]))
    table: dict[str, Any] = {"points": draw(st.sampled_from([1, 2, 3, 5, 8, 10, 16, 63])), "resolution_m": Decimal(metres)}
    table["spacing"] = draw(st.sampled_from([1, 10, 86_400, "interval", "coded"]))
    if isinstance(table["spacing"], str) and draw(st.booleans()):
        table["usual_spacing"] = draw(st.sampled_from([1, 30, 86_400]))
    if draw(st.booleans()):
        table |= {"initial_scale": draw(st.sampled_from([1, 6, 4096])), "scale_rate": draw(st.sampled_from([1, 3, 4096]))}
    if climbing:
        table["altitude_resolution"] = Decimal(draw(st.sampled_from(["0.01", "1", "5", "1000"])))
        table |= {key: draw(st.sampled_from([1, 32, 4096])) for key in ("altitude_initial_scale", "altitude_scale_rate")}
    if draw(st.booleans()):
        table["packet_bytes"] = draw(st.integers(64, 255) | st.just(64))
    if draw(st.booleans()):
        table["too_long"] = draw(st.sampled_from(["coarsen", "drop"]))
    if draw(st.booleans()):
        table["wandering"] = draw(st.booleans())
    return table


@composite
def with_trail(draw: st.DrawFn, tables: list[dict[str, Any]]) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """The tables of fields with what a trail needs put among them, and the table of the trail."""
    climbing = draw(st.booleans())
    kinds = ["latitude", "longitude", *(["altitude"] if climbing else [])]
    found = [table for table in tables if table["kind"] not in kinds and table.get("name") != "interval"]
    trail = draw(trail_tables(climbing=climbing))
    needed: list[dict[str, Any]] = [{"kind": kind} for kind in kinds]
    if trail["spacing"] == "interval":
        needed.append(dict(INTERVAL))
    for table in needed:
        if draw(st.booleans()):
            table["optional"] = True
        if not KINDS[table["kind"]].own_unit:
            table["bits"] = draw(st.integers(2, 31))
        if KINDS[table["kind"]].role is Role.EAST and draw(st.booleans()):
            table["policy"] = "wrap"
        found.insert(draw(st.integers(0, len(found))), table)
    return found, trail


def _moves(trail: Trail) -> st.SearchStrategy[list[tuple[int, int, int, int]]]:
    """Differences from point to point in base units: north, east, up, seconds."""
    step = trail.step
    paces = st.sampled_from([0, 1, step // 2, step, 5 * step, 300 * step, 10**6 * step, 4 * 10**8])
    times = st.sampled_from([0, 1, 30, 31, 3600, 10**6, 2**31 - 1])
    steady = st.tuples(paces, paces, st.sampled_from([0, 1, 90, 10**5, 10**7]), times)

    def wobbling(move: tuple[int, int, int, int]) -> st.SearchStrategy[tuple[int, int, int, int]]:
        north, east, up, seconds = move
        return st.builds(
            lambda a, b, c, d: (north + a * step, b * east - a, up * c, max(0, seconds + d)),
            st.integers(-3, 3), st.sampled_from([1, 1, 1, -1]), st.sampled_from([1, 1, 0, -1]),
            st.sampled_from([0, 0, 1, -1]),
        )  # fmt: skip

    some = steady.flatmap(lambda move: st.lists(wobbling(move) | st.just(move), max_size=min(trail.points + 2, 14)))
    mixed = st.lists(steady, max_size=6)
    long = steady.map(lambda move: [move] * (trail.points + 1))
    return some | mixed | long


@composite
def points(draw: st.DrawFn, codec: Codec, layout: Layout, values: dict[str, Any], *, odd: bool = False) -> list[Any]:
    """Points for a layout's trail, behind the position that its values say; nothing for a layout without a trail."""
    trail = layout.trail
    if trail is None:
        return []
    said = codec.decode(codec.encode(layout.name, values), reference=values).values
    said_by = {field.kind.role: said[field.name] for field in layout.fields}
    degrees: list[Any] = [said_by[role] or 0 for role in (Role.NORTH, Role.EAST)]
    north, east = (round(number * DEGREE) for number in degrees)
    height: Any = said_by.get(Role.HEIGHT) or 0
    up, age = round(float(height) * METRE), 0
    found: list[Any] = []
    for ahead, right, climb, seconds in draw(_moves(trail)):
        north = max(-900_000_000, min(900_000_000, north + ahead))
        east = wrapped(east + right)
        up = max(-MAX_ALTITUDE, min(MAX_ALTITUDE, up + climb))
        age = min(age + seconds, 2**31 - 1)
        found.append(TrailPoint(north / DEGREE, east / DEGREE, up / METRE, age))
    if found and draw(st.integers(0, 5)) == 0:
        place = draw(st.integers(0, len(found) - 1))
        found[place] = draw(_unusual(found[place], odd=odd))
    return found


def _unusual(point: Any, *, odd: bool) -> st.SearchStrategy[Any]:
    """A point in another form, without a part, at the end of a range; or one that is none."""
    good = [
        point[:2], [*point[:3]], point._asdict(), point._replace(altitude=None), point._replace(age=None),
        point._replace(age=0),
        point._replace(latitude=90), point._replace(latitude=-90.0), point._replace(longitude=180), (0, 0), (-0.0, -180),
    ]  # fmt: skip
    bad = [
        None, (), (1,), (1, 2, 3, 4, 5), "46.5, 9.8", b"12", 7, {"lat": 1}, {"latitude": 1},
        point._replace(latitude=None),
        point._replace(latitude=90.1), point._replace(longitude=-181), point._replace(altitude=10**6),
        point._replace(age=-1),
        point._replace(latitude=float("nan")), point._replace(longitude=float("inf")), point._replace(age="1"),
        point._replace(latitude=True), point._replace(age=2**31), {},
    ]  # fmt: skip
    return st.sampled_from(good + bad * odd)
