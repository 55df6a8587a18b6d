"""The page of a schema: the reports of `check`, `airtime` and `budget`, with pictures.

Owns no rule: texts and tables are those of the reports, charts show the reports for programs.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from packetcodec.cli.airtime import airtime_json, layout_table, sizes
from packetcodec.cli.check import check_json, check_remarks, fields_table, general_words, layout_words
from packetcodec.cli.options.radio import Radio
from packetcodec.cli.tables.budget_costs import Costs
from packetcodec.cli.tables.budget_report import budget_remarks, budget_report_json, budget_tables, sent_words
from packetcodec.cli.tables.check_choices import WORDS, choices_table
from packetcodec.cli.tables.figures import complaints, describe_size
from packetcodec.cli.tables.sheet import Sheet, as_plain
from packetcodec.emit.spec import write_spec
from packetcodec.page import charts
from packetcodec.page.bit_picture import bit_picture
from packetcodec.page.document import figures_of, write_page
from packetcodec.page.markup import Figure, Folded, Heading, Pair, Part, Section, Table, Words
from packetcodec.radio import CAUTION, LoRa
from packetcodec.vectors import write_vectors
from packetcodec.wire import LayoutPlan, Plan
from packetcodec.wire.compare import describe_check

#: Most signs of a text that goes into the page; what is longer is written by a command of its own.
_MAX_CHARACTERS = 1_000_000
#: Rows of each list of test vectors that are shown; the file has all.
_VECTORS = 12


@dataclass(frozen=True, slots=True)
class Whole:
    """A page and all that it is made of."""

    title: str
    lead: tuple[str, ...]
    sections: tuple[Section, ...]
    files: dict[str, str]
    report: dict[str, Any]

    @property
    def figures(self) -> list[Figure]:
        """Its pictures."""
        return figures_of(self.sections)

    def html(self) -> str:
        """The page."""
        return write_page(self.title, self.lead, self.sections, files=self.files, data=self.report)


def plan_page(
    plan: Plan, costs: Costs, *, layout: LayoutPlan | None = None, first: Sequence[Section] = (),
    files: dict[str, str] | None = None, report: dict[str, Any] | None = None,
) -> Whole:  # fmt: skip
    """The page of a schema, or of one layout, with sections of a track before it, and files and a report of that."""
    radio, layouts = costs.radio, plan.layouts if layout is None else (layout,)
    modems = [modem for modem in radio.modems if isinstance(modem, LoRa)]
    told = {"check": check_json(plan, modems), "airtime": airtime_json(plan, radio), "budget": budget_report_json(costs)}
    report = (report or {}) | as_plain(told)
    texts = write_spec(plan) | write_vectors(plan)
    sections = (
        *first,
        Section("Packets", tuple(_packets(plan, layouts, modems))),
        Section("Airtime", tuple(_airtime(plan, layouts, radio, report["airtime"]))),
        Section("Schedule", tuple(_schedule(costs, report["budget"]))),
        Section("Specification", tuple(_specification(texts))),
        Section("Cautions", tuple(_cautions(plan, costs))),
    )
    lead = [f"Fingerprint {plan.fingerprint}. Check: {describe_check(plan)}.", radio.description, radio.source]
    if plan.doc:
        lead.insert(0, plan.doc)
    files = (files or {}) | {name: text for name, text in texts.items() if len(text) <= _MAX_CHARACTERS}
    return Whole(f"{plan.name}, version {plan.version}", tuple(lead), sections, files, report)


def shown(sheet: Sheet) -> Table:
    """A table of a report as one of the page."""
    return Table(sheet.title, sheet.columns, sheet.rows, sheet.left)


def _packets(plan: Plan, layouts: Sequence[LayoutPlan], modems: Sequence[LoRa]) -> Iterator[Part]:
    for layout in layouts:
        title = f'layout "{layout.name}": {describe_size(layout)}'
        yield Heading(layout.name)
        if layout.doc:
            yield Words(layout.doc)
        picture = Figure(f"bits-{layout.name}", title, svg=bit_picture(plan, layout))
        yield Pair(picture, tuple(map(Words, layout_words(layout, plan))))
        yield shown(fields_table(layout, plan))
        yield Folded("Other checks", (shown(choices_table(layout, plan, modems)),))
    yield from map(Words, (*general_words(plan), *WORDS))


def _airtime(plan: Plan, layouts: Sequence[LayoutPlan], radio: Radio, report: dict[str, Any]) -> Iterator[Part]:
    told = {layout["layout"]: layout for layout in report["layouts"]}
    packets = []
    for layout in layouts:
        sent = sizes(plan, layout)
        packets += [(size.title(layout), size.bytes) for size in sent]
        rows = told[layout.name]["staircase"]
        marks = sorted({size.bytes for size in sent})
        yield Heading(layout.name)
        yield Figure(f"airtime-{layout.name}", "Airtime against bytes: each step, and where the packet stands",
                     chart=charts.staircase(rows, marks))  # fmt: skip
        yield shown(layout_table(layout, sent, radio, text=False))
    yield from map(Words, complaints(packets, radio))


def _schedule(costs: Costs, report: dict[str, Any]) -> Iterator[Part]:
    for radio, sent in costs.channels():
        yield Words(f"{radio.description}; sent: {'; '.join(map(sent_words, sent))}")
    rows = report["by_interval"]
    if any(row["share"] for row in rows):
        name = f'Share of the limit, for each interval of layout "{rows[0]["layout"]}"'
        yield Figure("share", name, chart=charts.shares(rows))
    crowd = [row for row in report["by_trackers"] if row["layout"] == costs.planned[0].layout.name]
    name = "Channel load, for each number of trackers"
    yield Figure("load", name, chart=charts.crowd(crowd, "channel_load", "channel load"))
    name = f'Packets of layout "{crowd[0]["layout"]}" that overlap those of other trackers'
    yield Figure("channel", name, chart=charts.crowd(crowd, "loss", "packets lost"))
    if rows:
        name = "Charge a day" if costs.battery is None else f"Days of a battery of {costs.battery:g} mAh"
        yield Figure("battery", f'{name}, for each interval of layout "{rows[0]["layout"]}"', chart=charts.days(rows))
    yield from map(shown, budget_tables(costs))


def _specification(texts: dict[str, str]) -> Iterator[Part]:
    for name, text in texts.items():
        if len(text) > _MAX_CHARACTERS:
            yield Words(f"{name}: {len(text):,} characters, too long for this page; `packetcodec spec` writes it.")
        elif name.endswith(".md"):
            yield Folded(name, markdown=text)
        else:
            yield from _vectors(name, text)


def _vectors(name: str, text: str) -> Iterator[Part]:
    rows = json.loads(text)
    good = [(row["note"], row["layout"], row["hex"]) for row in rows["good"]]
    bad = [(row["note"], row["status"], row["hex"]) for row in rows["bad"]]
    sheets = (("good packets", ("packet", "layout", "hex"), good), ("bad packets", ("packet", "status", "hex"), bad))
    yield Folded(name, tuple(
        Table(f"{min(_VECTORS, len(found))} of {len(found)} {words}", columns, tuple(found[:_VECTORS]), left=3)
        for words, columns, found in sheets
    ))  # fmt: skip


def _cautions(plan: Plan, costs: Costs) -> Iterator[Part]:
    yield Words(CAUTION, caution=True)
    yield from map(Words, (*check_remarks(plan), *budget_remarks(costs)))
