"""The trail: each point within half a cell of where it was, whatever the motion; any bits end in points or a fault."""

from __future__ import annotations

import contextlib
import math
from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from packetcodec.schema import AltitudeSteps, CodedSpacing, ConstantSpacing, Trail
from packetcodec.wire import Point
from packetcodec.wire.trail.cells import MAX_CELLS, MAX_STEP, POLE, cell_of, east_step, place_of, reach
from packetcodec.wire.trail.coding import read_trail, write_trail
from packetcodec.wire.trail.numbers import MAX_ORDER, STEADY, BadTrailFault, Bits, Reader, Scale
from tests.support.effort import examples

CIRCLE, HALF = 3_600_000_000, 1_800_000_000
ENDLESS = 10**6  # bits of room
usual = examples(150)

latitudes = st.integers(-POLE, POLE) | st.sampled_from([0, POLE, -POLE, POLE - 1, 1 - POLE, POLE - 4000, 899_999_999])
longitudes = st.integers(-HALF, HALF - 1) | st.sampled_from([-HALF, HALF - 1, HALF, 0, HALF - 3000, 3000 - HALF])
scales = st.sampled_from([1, 4096])
steps = st.sampled_from([1, 2, 223, 224, 8953, 89_530, 106_000])
heads = st.builds(Point, latitudes, longitudes, st.integers(-1_200_000, 10_000_000) | st.none())


@st.composite
def trails(draw: st.DrawFn) -> Trail:
    step = draw(steps)
    coarsenings = draw(st.integers(0, 7))
    while step << coarsenings > 106_000:
        coarsenings -= 1
    return Trail(
        points=draw(st.sampled_from([1, 2, 3, 10, 63])), step=step, coarsenings=coarsenings,
        initial_scale=draw(st.sampled_from([1, 6, 4096])), scale_rate=draw(st.sampled_from([1, 3, 4096])),
        altitude=draw(st.none() | st.builds(AltitudeSteps, st.sampled_from([1, 250, 100_000]), scales, scales)),
        spacing=draw(st.sampled_from([ConstantSpacing(10), *map(CodedSpacing, (1, 30, 86_400))])),
        wandering=draw(st.booleans()),
    )  # fmt: skip


@st.composite
def tracks(draw: st.DrawFn, anchor: Point, step: int) -> list[Point]:
    """Points of any motion, ages never running back."""
    pace = draw(st.sampled_from([1, step // 2 + 1, 3 * step, 1000 * step, 4 * 10**8]))
    move = st.tuples(st.integers(-pace, pace), st.integers(-pace, pace), st.integers(-500, 500), st.integers(0, 90))
    moves = draw(st.lists(move, max_size=12))
    if moves and draw(st.booleans()):
        moves = moves[:1] * draw(st.integers(1, 70))
    north, east, up, age = anchor.latitude, anchor.longitude, anchor.altitude or 0, 0
    found = []
    for ahead, right, climb, gap in moves:
        north = max(-POLE, min(POLE, north + ahead))
        east = (east + right + HALF) % CIRCLE - HALF
        up, age = up + climb, age + gap
        found.append(Point(north, east, up, age))
    return found


def shift_of(trail: Trail, bits: Bits) -> int:
    text = f"{bits.number:0{bits.length}b}"
    text = text[1:] if text[0] == "1" else text[1 + trail.count_bits :]
    return min(len(text) - len(text.lstrip("1")), trail.coarsenings)


def padded(bits: Bits) -> tuple[int, int]:
    spare = -bits.length % 8
    return bits.number << spare, bits.length + spare


# --- where points arrive ------------------------------------------------------------------------------------------------


@pytest.mark.slow
@usual
@given(st.data(), trails(), heads)
def test_each_point_arrives_within_half_a_cell_of_where_it_was_and_none_drifts(
    data: st.DataObject, trail: Trail, anchor: Point
) -> None:
    points = data.draw(tracks(anchor, trail.step))
    bits, kept = write_trail(trail, anchor, points, room=ENDLESS)
    arrived = read_trail(trail, anchor, *padded(bits))
    assert shift_of(trail, bits) == 0
    assert len(arrived) == kept <= min(len(points), trail.points)
    wide = east_step(trail.step, anchor.latitude)
    for was, now in zip(points, arrived, strict=False):
        assert 2 * abs(was.latitude - now.latitude) <= trail.step
        around = abs(was.longitude - now.longitude) % CIRCLE
        assert 2 * min(around, CIRCLE - around) <= wide
        assert -POLE <= now.latitude <= POLE
        assert -HALF <= now.longitude < HALF
        if trail.altitude and anchor.altitude is not None:
            assert 2 * abs(was.altitude - now.altitude) <= trail.altitude.step
        else:
            assert now.altitude is None
        assert now.age == (was.age if trail.interval_seed else None)
    if kept < min(len(points), trail.points):
        north, east = cell_of(anchor[:2], points[kept][:2], trail.step)
        climb = abs(points[kept].altitude - (anchor.altitude or 0)) // (trail.altitude.step if trail.altitude else 10**9)
        assert abs(north) > reach(trail.step) or abs(east) > reach(wide) or climb >= min(MAX_CELLS, 10**9)


@usual
@given(st.data(), trails(), heads, st.integers(0, 400))
def test_a_trail_never_takes_more_bits_than_there_is_room_for(
    data: st.DataObject, trail: Trail, anchor: Point, more: int
) -> None:
    points = data.draw(tracks(anchor, trail.step))
    bits, kept = write_trail(trail, anchor, points, room=trail.front_bits + more)
    assert bits.length <= trail.front_bits + more
    arrived = read_trail(trail, anchor, *padded(bits))
    assert len(arrived) == kept
    whole, all_kept = write_trail(trail, anchor, points, room=ENDLESS)
    shift = shift_of(trail, bits)
    if whole.length <= trail.front_bits + more:
        assert (bits.number, bits.length, kept) == (whole.number, whole.length, all_kept)
    elif kept < all_kept:
        assert shift == trail.coarsenings  # points are left out on the coarsest grid only
    for was, now in zip(points, arrived, strict=False):
        assert 2 * abs(was.latitude - now.latitude) <= trail.step << shift


@usual
@given(st.integers(0, 2**600), st.integers(1, 600), trails(), heads | st.none())
@example((1 << 600) - 1, 600, Trail(points=63, step=1, initial_scale=1, scale_rate=1), Point(0, 0))
@example(0, 600, Trail(points=63, step=1, initial_scale=1, scale_rate=1), Point(0, 0))
def test_any_bits_end_in_points_that_encode_to_the_same_bits_or_in_a_bad_trail(
    number: int, length: int, trail: Trail, anchor: Point | None
) -> None:
    number &= (1 << length) - 1
    try:
        points = read_trail(trail, anchor, number, length)
    except BadTrailFault:
        return
    if anchor is None:
        assert (points, number) == ((), 0)
        return
    wide = east_step(trail.step, anchor.latitude)
    if _shift_read(trail, number, length) or any(_half_round(anchor, point, wide) for point in points):
        return  # a coarse grid may fit a finer one; the short way round has two sides
    bits, kept = write_trail(trail, anchor, points, room=ENDLESS)
    assert kept == len(points)
    assert bits.number == number >> length - bits.length
    assert length - bits.length < 8


@usual
@given(st.data(), trails(), heads)
def test_a_written_trail_with_bits_turned_over_is_bad_or_another_trail_with_the_same_bits(
    data: st.DataObject, trail: Trail, anchor: Point
) -> None:
    number, length = padded(write_trail(trail, anchor, data.draw(tracks(anchor, trail.step)), room=ENDLESS)[0])
    for place in data.draw(st.lists(st.integers(0, length - 1), min_size=1, max_size=3)):
        number ^= 1 << place
    try:
        points = read_trail(trail, anchor, number, length)
    except BadTrailFault:
        return
    wide = east_step(trail.step, anchor.latitude)
    if _shift_read(trail, number, length) or any(_half_round(anchor, point, wide) for point in points):
        return
    bits, kept = write_trail(trail, anchor, points, room=ENDLESS)
    assert kept == len(points)
    assert bits.number == number >> length - bits.length
    assert length - bits.length < 8


def _half_round(anchor: Point, point: Point, wide: int) -> bool:
    """Whether a point lies half way round the globe, to within half a cell."""
    return abs(abs(point.longitude - anchor.longitude) - HALF) <= wide // 2


def _shift_read(trail: Trail, number: int, length: int) -> int:
    whole = Bits()
    whole.number, whole.length = number, length
    return shift_of(trail, whole)


@usual
@given(st.data(), trails(), heads)
def test_what_is_read_from_a_written_trail_is_written_to_the_same_bits(
    data: st.DataObject, trail: Trail, anchor: Point
) -> None:
    points = data.draw(tracks(anchor, trail.step))
    bits, _ = write_trail(trail, anchor, points, room=ENDLESS)
    arrived = read_trail(trail, anchor, *padded(bits))
    if all(abs(point.longitude - anchor.longitude) != HALF for point in arrived):
        again, _ = write_trail(trail, anchor, arrived, room=ENDLESS)
        assert (again.number, again.length) == (bits.number, bits.length)


@pytest.mark.parametrize(
    ("bits", "why"),
    [
        ("", "end early"),
        ("1", "end early"),
        ("01010" + "0" * 3, "counts 10"),
        ("01111" + "0" * 3, "counts 15"),
        ("00001" + "1" * 40, "longer than any"),
        ("00000" + "0" * 8, "not padding"),
        ("00000" + "001", "not padding"),
    ],
)
def test_each_way_to_be_malformed_is_named(bits: str, why: str) -> None:
    trail = Trail(points=10, step=223, initial_scale=6, scale_rate=1)
    with pytest.raises(BadTrailFault, match=why):
        read_trail(trail, Point(465_000_000, 98_000_000), int(bits or "0", 2), len(bits))


@pytest.mark.parametrize(
    ("anchor", "cells", "why"),
    [
        ((0, 0), (MAX_CELLS + 1, 0), "too far"),
        ((0, 0), (0, -MAX_CELLS - 1), "too far"),
        ((POLE - 2230, 0), (11, 0), "beyond a pole"),
        ((2230 - POLE, 0), (-11, 0), "beyond a pole"),
    ],
)
def test_a_point_that_no_place_has_is_refused(anchor: tuple[int, int], cells: tuple[int, int], why: str) -> None:
    trail = Trail(points=10, step=223, initial_scale=6, scale_rate=1)
    bits, scale = Bits(), Scale(6)
    bits.put(1, 5)
    for cell in cells:
        scale.code(cell, bits.code, 1)
    with pytest.raises(BadTrailFault, match=why):
        read_trail(trail, Point(*anchor), *padded(bits))


def test_seconds_never_run_back() -> None:
    trail = Trail(points=2, step=223, initial_scale=1, scale_rate=1, spacing=CodedSpacing(30))
    for age, why in ((-1, "runs back"), (MAX_CELLS + 1, "too far")):
        bits = Bits()
        bits.put(1, 2)
        for cell, order in ((0, 0), (0, 0), (age, 5)):
            bits.code(cell, order, 1)
        with pytest.raises(BadTrailFault, match=why):
            read_trail(trail, Point(0, 0), *padded(bits))


# --- 32 bits, and no work without end -----------------------------------------------------------------------------------


def test_every_number_of_the_grid_fits_32_bits() -> None:
    # By bounding arithmetic: every product is largest at an end of its range.
    for step in (1, 2, 223, 106_000, MAX_STEP):
        for degrees in range(91):
            whole = min(degrees, 89)
            assert step * (32_400 + whole * whole) < 2**32
            wide = east_step(step, degrees * 10**7)
            assert HALF + wide // 2 < 2**32
            for cell in (step, wide):
                assert reach(cell) * cell < 2**31
                assert CIRCLE // 2 + cell // 2 < 2**32
    assert 10**9 + 10_000_000 < 2**31  # an altitude: the anchor's and the largest climb


def test_a_cell_at_a_whole_degree_is_hardly_wider_than_square() -> None:
    # Source: the cosine of the standard library. Only a wider cell costs accuracy: the bound in metres allows 0.18 %.
    for degrees in range(90):
        ratio = east_step(10**5, degrees * 10**7) * math.cos(math.radians(degrees)) / 10**5
        assert 0.98 < ratio < 1.0018  # measured: 0.983 at 89 degrees, 1.00177 at 42


def test_the_order_and_the_sums_are_bounded_whatever_has_been_accepted() -> None:
    # An accepted displacement is within 2 reaches, a guess within 4, so a residual within 6; the scale is a mean of these.
    most = 6 * MAX_CELLS
    assert 2 * most < 2**MAX_ORDER
    scale = Scale(4096)
    sums, orders = [], []
    for _ in range(200):
        scale.code(most, lambda rest, order, _steady: orders.append(order) or rest, STEADY)
        sums.append(scale.sum)
    assert max(orders) < MAX_ORDER
    assert max(sums) < 2**26
    error = 0
    for _ in range(200):
        error = error - (error >> 3) + 2 * most
    assert error < 2**27
    # The longest code that a reader follows: five ones at the largest order, one more, and the rest.
    assert 5 * 2 ** (MAX_ORDER - 1) + 2 * 2**MAX_ORDER < 2**31


@given(st.integers(-6 * MAX_CELLS, 6 * MAX_CELLS), st.integers(0, MAX_ORDER - 1), st.sampled_from([1, STEADY]))
def test_a_number_is_read_as_it_was_written_and_is_never_longer_than_said(value: int, order: int, steady: int) -> None:
    bits = Bits()
    bits.code(value, order, steady)
    reader = Reader(bits.number, bits.length)
    assert reader.code(None, order, steady) == value
    assert reader.left == 0
    assert bits.length <= (51 if steady == STEADY else 50)


@usual
@given(st.binary(max_size=255), trails(), heads)
def test_reading_takes_no_more_steps_than_there_are_bits(data: bytes, trail: Trail, anchor: Point) -> None:
    asked = 0

    class Counting(Reader):
        def get(self, width: int) -> int:
            nonlocal asked
            asked += 1
            return super().get(width)

    # The number of reads: one for each bit of a unary part, and one for the rest of each number.
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("packetcodec.wire.trail.coding.Reader", Counting)
        with contextlib.suppress(BadTrailFault):
            read_trail(trail, anchor, int.from_bytes(data, "big"), 8 * len(data))
    assert asked <= 2 * 8 * len(data) + 6


def test_points_half_way_round_the_globe_come_back_to_the_same_place() -> None:
    step = 200_000 // 2
    trail = Trail(points=3, step=step, initial_scale=1, scale_rate=1)
    for east in (HALF, -HALF):
        bits, kept = write_trail(trail, Point(0, 0), [Point(0, east)], room=ENDLESS)
        assert kept == 1
        (point,) = read_trail(trail, Point(0, 0), *padded(bits))
        assert point.longitude == -HALF


@given(latitudes, longitudes, steps, st.data())
def test_the_place_of_a_cell_is_in_that_cell(latitude: int, longitude: int, step: int, data: st.DataObject) -> None:
    north, east = data.draw(st.integers(-reach(step), reach(step))), data.draw(st.integers(-MAX_CELLS, MAX_CELLS))
    wide = east_step(step, latitude)
    east = max(-reach(wide), min(reach(wide), east))
    place = place_of((latitude, longitude), (north, east), step)
    if place is None:
        assert Fraction(abs(latitude + north * step) - POLE) > Fraction(step, 2)
        return
    again = cell_of((latitude, longitude), place, step)
    assert again[0] == north
    assert again[1] == east or abs(2 * abs(east) * wide - CIRCLE) <= wide
