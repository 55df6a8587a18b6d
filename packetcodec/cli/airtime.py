"""The command `airtime`: what each layout costs on air, and how often it may be sent.

Owns one rule: which packets of a layout are shown. A typical one; of a layout with a trail the one without any points, a
typical one with all of them, and the longest there can be.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from math import cos, radians, sin
from typing import Any

import click

from packetcodec.cli.files import load_plan
from packetcodec.cli.options.radio import Radio, radio_of, radio_options
from packetcodec.cli.options.schedule import duration
from packetcodec.cli.options.usage import wrong_option
from packetcodec.cli.tables import figures
from packetcodec.cli.tables.sheet import Sheet, console, put_json, remark, table
from packetcodec.radio import CAUTION, Budget, Modem
from packetcodec.radio.schedule import Sending, largest_payload
from packetcodec.schema import DEGREE, METRE, PLACE, Trail
from packetcodec.spelling import counted
from packetcodec.vectors.examples import Example
from packetcodec.wire import LayoutPlan, Plan, Point, text_line
from packetcodec.wire.trail.cells import place_of

_PACKET_COLUMNS = ("airtime", "free", "drop\nto save", "interval", "packets\nper hour", "limits")
_TEXT_COLUMNS = ("text airtime", "text interval", "text limits")


@click.command(short_help="What each layout costs on air, and how often.")
@click.argument("schema", type=click.Path(dir_okay=False), required=False)
@click.option("--text", is_flag=True, help="Beside each packet, the same values sent as a line of text.")
@click.option("--every", metavar="TIME", help="Also the largest payload that may be sent that often, such as every 20s.")
@radio_options
@click.option("--json", "as_json", is_flag=True, help="A report for programs.")
def airtime(schema: str | None, *, text: bool, every: str | None, as_json: bool, **settings: Any) -> None:
    """Airtime of each layout of SCHEMA (default: the starter schema) per spreading factor, under the region's limits.

    Free: bytes that can be added before the airtime grows. Drop to save: bytes to remove before the airtime falls.
    Interval: the shortest fixed period with which no continuous hour holds more than is allowed, "no limit" where nothing
    is left to say; "never" means that the limits do not permit this packet.

    Of a layout with a trail three packets are shown: without points, with all points on a typical path, and the longest.
    """
    plan = load_plan(schema)
    radio = radio_of(**settings)
    for line in figures.weak_checks(plan):
        remark(line)
    room: dict[str, int | None] = {}
    period = None if every is None else duration("--every", every)
    if period is not None:
        with wrong_option("--every"):
            room = {m.label: most for m, most in radio.each(largest_payload, (Sending("packet", 0, every=period),))}
    if as_json:
        put_json(airtime_json(plan, radio) | {"every_s": period, "largest_payload": room})
        return
    out = console()
    out.lines(radio.description, radio.source, "")
    shown = []
    for layout in plan.layouts:
        sent = sizes(plan, layout)
        shown += [(size.title(layout), size.bytes) for size in sent]
        out.print(layout_table(layout, sent, radio, text=text))
        if text:
            out.put(f"text: {sent[-1].text}", uncut=True)
            out.put()
    if period is not None:
        rows = [(label, "none" if most is None else most) for label, most in room.items()]
        out.print(table(f"The largest payload that may be sent every {float(period):g} s", ("modem", "bytes"), rows))
    out.lines(*figures.complaints(shown, radio), *radio.notes)
    out.put(CAUTION, style="italic")
    for words in radio.remarks:
        remark(words)


@dataclass(frozen=True, slots=True)
class Size:
    """One length of a layout's packets.

    Attributes:
        trail: what stands behind the position, in a word; empty for a layout without a trail.
        bytes: length of the packet.
        text: the same values as a line of text, without line end.
    """

    trail: str
    bytes: int
    text: str

    @property
    def text_bytes(self) -> int:
        """Length of the text, line end included."""
        return len(self.text.encode()) + 1

    def title(self, layout: LayoutPlan) -> str:
        """The packet in words."""
        return f"{layout.name} ({self.trail})" if self.trail else layout.name


def sizes(plan: Plan, layout: LayoutPlan) -> tuple[Size, ...]:
    """The lengths of a layout that are shown, shortest first."""
    alone = Example.everyday(plan, layout)
    named = dict(zip((field.name for field in layout.fields), alone.values, strict=True))
    text = text_line(layout, named)
    if layout.trail is None:
        return (Size("", len(alone.data), text),)
    points = _path(layout.trail, alone.anchor)
    full = alone.but("", points)
    long_text = text_line(layout, named, map(_in_degrees, points))
    return (
        Size("no points", len(alone.data), text),
        Size(counted(len(full.trail), "point"), len(full.data), long_text),
        Size("longest", layout.longest, long_text),
    )


def _in_degrees(point: Point) -> tuple[float | None, ...]:
    altitude = None if point.altitude is None else point.altitude / METRE
    return point.latitude / DEGREE, point.longitude / DEGREE, altitude, point.age


def _path(trail: Trail, anchor: Point | None) -> list[Point]:
    """A typical trail: back on a gently turning path, `initial_scale` cells from point to point, each a step higher."""
    if anchor is None:
        return []
    found = []
    north = east = 0.0
    for number in range(1, trail.points + 1):
        way = radians(20 + 10 * number)
        north, east = north + trail.initial_scale * cos(way), east + trail.initial_scale * sin(way)
        place = place_of(anchor[:2], (round(north), round(east)), trail.step)
        if place is None:
            break
        height, steps = anchor.altitude, trail.altitude
        altitude = None if height is None or steps is None else height + number * steps.step
        found.append(Point(*place, altitude, number * (trail.spacing_seconds or trail.interval_seed or 0)))
    return found


def layout_table(layout: LayoutPlan, sent: tuple[Size, ...], radio: Radio, *, text: bool) -> Sheet:
    """The airtime table of one layout; with `text` also what a line of text costs."""
    trail = layout.trail is not None
    rows: list[tuple[object, ...]] = []
    for size in sent:
        for modem, budget, line in _lines(size, radio):
            of_text = (
                (figures.milliseconds(line.airtime) if line else "-", figures.shortest(line), figures.verdict(line))
                if text
                else ()
            )
            key = (size.trail, modem.label, size.bytes) if trail else (modem.label,)
            rows.append((*key, *_cells(modem, budget), *(size.text_bytes,) * (text and trail), *of_text))
    columns = ("trail", "modem", "bytes", *_PACKET_COLUMNS) if trail else ("modem", *_PACKET_COLUMNS)
    text_columns = ("text bytes", *_TEXT_COLUMNS) if trail else _TEXT_COLUMNS
    title = f'layout "{layout.name}": {figures.describe_size(layout)}'
    if trail and sent[0].bytes > layout.size:
        places = [field for field in layout.fields if field.kind.role in PLACE]
        may_lack = any(field.absent_code is not None for field in places)
        title += f", {layout.size} without a position" if may_lack else f", {sent[0].bytes} without points"
    title += f", as text {sent[0].text_bytes}" if text and not trail else ""
    keys = 2 if trail else 1
    return table(title, columns + text_columns * text, rows, left=keys, keys=keys, groups=(6 + trail, 3 + trail))


def _lines(size: Size, radio: Radio) -> Iterator[tuple[Modem, Budget | None, Budget | None]]:
    """Each modem with the budgets of packet and text; None for what is too long to send."""
    for (modem, packet), (_, text) in zip(radio.budgets(size.bytes), radio.budgets(size.text_bytes), strict=True):
        yield modem, packet, text


def _cells(modem: Modem, budget: Budget | None) -> tuple[str, ...]:
    if budget is None:
        return "-", "-", "-", "-", "-", figures.verdict(budget)
    headroom = modem.headroom(budget.payload_bytes)
    drop = "-" if headroom.drop_bytes is None else str(headroom.drop_bytes)
    costs = figures.shortest(budget), figures.per_hour(budget), figures.verdict(budget)
    return figures.milliseconds(budget.airtime), f"+{headroom.spare_bytes}", drop, *costs


def airtime_json(plan: Plan, radio: Radio) -> dict[str, Any]:
    """The report for programs."""
    layouts = []
    for layout in plan.layouts:
        sent = [
            {"trail": size.trail or None, "bytes": size.bytes, "text": size.text, "text_bytes": size.text_bytes,
             "rows": [_row_json(*line) for line in _lines(size, radio)]}
            for size in sizes(plan, layout)
        ]  # fmt: skip
        layouts.append(
            {"layout": layout.name, "bytes": layout.size, "max_bytes": layout.longest, "sizes": sent}
            | {"staircase": list(_staircase(layout, radio))}
        )
    said = {"setting": radio.description, "source": radio.source, "notes": radio.notes, "caution": CAUTION}
    return said | {"layouts": layouts}


def _staircase(layout: LayoutPlan, radio: Radio) -> Iterator[dict[str, Any]]:
    """The first bytes of each step of airtime, and the last ones looked at, half as many again as the longest packet has."""
    overhead = radio.overhead
    for modem in radio.modems:
        last = min(max(40, layout.longest * 3 // 2), 255 - overhead, modem.max_payload - overhead)
        steps = {size - overhead for size in modem.steps(last + overhead) if size > overhead}
        for size in sorted({0, last} | steps):
            yield {"modem": modem.label, "bytes": size, "airtime_ms": modem.airtime_ms(size + overhead)}


def _row_json(modem: Modem, budget: Budget | None, text: Budget | None) -> dict[str, Any]:
    row = {
        "modem": modem.name,
        "label": modem.label,
        "packet": figures.budget_json(budget),
        "text": figures.budget_json(text),
    }
    return row | (asdict(modem.headroom(budget.payload_bytes)) if budget is not None else {})
