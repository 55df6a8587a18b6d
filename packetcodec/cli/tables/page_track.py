"""The page of a replay: the track and what came of it, before the pages' other sections.

Owns no rule: texts and tables are those of the report, charts show the report for programs.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from packetcodec.bench import Replay
from packetcodec.bench.link_test import LinkReport, link_test
from packetcodec.bench.lossy_link import LinkConditions
from packetcodec.bench.outcome import MISSING
from packetcodec.cli.options.link import LinkTest
from packetcodec.cli.options.radio import Radio
from packetcodec.cli.options.schedule import Planned
from packetcodec.cli.tables import link_report, replay_report
from packetcodec.cli.tables.budget_costs import Costs
from packetcodec.cli.tables.page_plan import Whole, plan_page, shown
from packetcodec.cli.tables.sheet import as_plain
from packetcodec.page import charts
from packetcodec.page.markup import Figure, Part, Section, Words
from packetcodec.page.track_map import Track, track_geojson, track_map
from packetcodec.radio.energy import DEFAULT_DERATING, Draw
from packetcodec.radio.schedule import Sending
from packetcodec.schema import PLACE
from packetcodec.wire import promised


def replay_page(replayed: replay_report.Replayed, trails: link_report.Trails) -> Whole:
    """The page of a replay."""
    layout, outcome, radio = replayed.layout, replayed.outcome, replayed.radio
    report = as_plain(replay_report.replay_json(replayed) | link_report.trails_json(trails, radio))
    sections = []
    files = {}
    if outcome.position is not None and {field.kind.role for field in layout.fields} >= PLACE:
        reports = trails.reports or _everything(replayed)
        track = Track(replayed.recorded.fixes, {link_report.length_of(found): found.outcomes for found in reports})
        files[f"{replayed.codec.plan.name}-track.geojson"] = track_geojson(track)
        sections.append(Section("Map", (track_map(track), Words(track_words(track)))))
    if trails.test is not None:
        sections.append(Section("Link", tuple(_link(trails, trails.test, radio, report["link"]["trails"]))))
    if outcome.position is not None:
        sections.append(Section("Errors", tuple(_errors(outcome, report))))
    sections.append(Section("Log", tuple(_log(replayed))))
    sending = Sending(layout.name, layout.longest, Fraction(str(replayed.interval)))
    costs = Costs(
        plan=replayed.codec.plan, planned=(Planned(layout, sending, None),), radios={None: radio}, trackers=1, draw=Draw(),
        battery=None, derating=DEFAULT_DERATING, fixes=replayed.recorded.fixes,
    )  # fmt: skip
    return plan_page(replayed.codec.plan, costs, layout=layout, first=sections, files=files, report={"replay": report})


def _log(replayed: replay_report.Replayed) -> Iterator[Part]:
    outcome = replayed.outcome
    yield from map(Words, replay_report.log_words(replayed.recorded, replayed.layout))
    yield from map(Words, replay_report.packet_words(outcome, replayed.interval))
    if outcome.text_example:
        yield Words(f"packet {outcome.packet_example.hex()}", copied=True)
        yield Words(f"text {outcome.text_example}", copied=True)
    yield shown(replay_report.field_table(outcome.fields))
    yield shown(replay_report.airtime_table(replayed))
    yield from map(Words, replay_report.remarks(replayed))


def _everything(replayed: replay_report.Replayed) -> tuple[LinkReport, ...]:
    """What arrives over a link that loses nothing."""
    return link_test(
        replayed.schema, replayed.layout.name, replayed.fixes, interval=replayed.interval, conditions=LinkConditions(),
        recording=replayed.recorded.fixes, lengths=(0,), constants=replayed.constants,
    )  # fmt: skip


def track_words(track: Track) -> str:
    """How many points the map shows, and how they arrived."""
    said = []
    for trail, outcomes in track.outcomes.items():
        missing = sum(item.how == MISSING for item in outcomes)
        said.append(f"{'no trail' if trail == 'none' else f'trail of {trail}'}: {missing:,} of {len(outcomes):,} missing")
    return "; ".join(said) + "."


def _errors(outcome: Replay, report: dict[str, Any]) -> Iterator[Part]:
    kinds = (
        ("errors", "Position of the packet against the log", "error_histogram", outcome.bound),
        ("errors-trail", "Points of the trails against the log", "trail_error_histogram", outcome.trail_bound),
    )
    for name, title, key, bound in kinds:
        if report[key]:
            promise = None if bound is None else float(promised(bound))
            note = "" if promise is None else f"The upright line is what is promised: {promise:g} m."
            yield Figure(name, title, note, chart=charts.errors(report[key], promise))
    yield shown(replay_report.error_table(outcome))


def _link(trails: link_report.Trails, test: LinkTest, radio: Radio, reports: list[dict[str, Any]]) -> Iterator[Part]:
    rows, strips = [], []
    for report, found in zip(trails.reports, reports, strict=True):
        trail = link_report.length_of(report)
        for place, how in enumerate(charts.HOWS):
            key = how.replace(" ", "_")
            share = found[key] / max(1, found["points"])
            rows.append({"trail": trail, "how": how, "place": place, "points": found[key], "share": share})
        strips += [
            {"trail": trail, **stretch, "from_min": stretch["from_s"] / 60, "to_min": stretch["to_s"] / 60,
             "part": stretch["missing"] / stretch["points"]}
            for stretch in found["along_time"]
        ]  # fmt: skip
    yield Figure("arrivals", "How the points arrived, for each length of trail", chart=charts.arrivals(rows))
    yield Figure("losses", "Points missing along time", chart=charts.losses(strips))
    yield shown(link_report.link_table(test, trails.reports, radio))
    yield Words(link_report.NOT_YOUR_LINK, caution=True)
    yield from map(Words, link_report.link_remarks(trails.reports))
    if trails.suggestion is not None:
        yield Words(link_report.suggestion_words(trails.suggestion))
