"""The command `airtime`: what each layout costs on air, and how often it may be sent."""

from __future__ import annotations

from typing import Any

import click

from packetcodec.cli.files import load_schema
from packetcodec.cli.radio_options import Radio, radio_of, radio_options
from packetcodec.cli.tables import console, milliseconds, put_json, seconds, table
from packetcodec.emit.cases import scene
from packetcodec.plan import LayoutPlan, Plan, compile_plan, text_line
from packetcodec.radio import CAUTION, Budget, Verdict


@click.command()
@click.argument("schema", type=click.Path(dir_okay=False), required=False)
@radio_options
@click.option("--json", "as_json", is_flag=True, help="A report for programs.")
def airtime(schema: str | None, *, as_json: bool, **settings: Any) -> None:
    """Airtime of each layout of SCHEMA (default: the starter schema) per spreading factor, under the region's limits.

    Beside it stands the same position sent as a line of decimal text. Interval is the shortest average interval; free
    bytes could be added at no cost, and dropping that many saves a step.
    """
    plan = compile_plan(load_schema(schema))
    radio = radio_of(**settings)
    if as_json:
        layouts = [_layout_json(layout, radio) for layout in plan.layouts]
        put_json({"setting": radio.words, "caution": CAUTION, "layouts": layouts})
        return
    out = console()
    out.print(radio.words, markup=False)
    out.print(radio.source, markup=False)
    for layout in plan.layouts:
        out.print()
        out.print(layout_table(layout, radio))
    for line in dict.fromkeys(_verdict_words(plan, radio)):
        out.print(line, markup=False)
    out.print(CAUTION, markup=False, style="italic")
    for remark in radio.remarks:
        click.echo(f"note: {remark}", err=True)


def text_size(layout: LayoutPlan) -> int:
    """Bytes of an everyday packet of this layout as a line of decimal text, line end included."""
    values = {field.name: scene(field) for field in layout.fields}
    return len(text_line(layout, values).encode()) + 1


def layout_table(layout: LayoutPlan, radio: Radio) -> Any:
    """The airtime table of one layout."""
    text = text_size(layout)
    rows = []
    for modem, budget, other in zip(
        radio.modems, radio.budgets(layout.size), radio.budgets(min(text, radio.largest)), strict=True
    ):
        if budget is None:
            rows.append((modem.name, "-", "-", "-", "-", "-", "too long", "-", "-"))
            continue
        headroom = modem.headroom(budget.payload_bytes)
        rows.append(
            (
                modem.name,
                milliseconds(budget.airtime),
                f"+{headroom.spare_bytes}",
                "-" if headroom.drop_bytes is None else f"-{headroom.drop_bytes}",
                _interval(budget),
                "-" if budget.packets_per_hour is None else f"{budget.packets_per_hour:,}",
                verdict(budget),
                milliseconds(other.airtime) if other else "-",
                _interval(other) if other else "-",
            )
        )
    columns = (
        "modem", "airtime", "free", "saves a step", "interval", "packets/h", "limits", f"text, {text} bytes", "interval",
    )  # fmt: skip
    return table(f'layout "{layout.name}": {layout.size} bytes', columns, rows)


def _interval(budget: Budget) -> str:
    return "no limit" if budget.interval is None else seconds(float(budget.interval))


def _verdicts(budget: Budget) -> tuple[Verdict, ...]:
    return budget.dwell, budget.single, budget.lorawan


def verdict(budget: Budget) -> str:
    """The limits other than duty cycle in a word: the worst of them."""
    states = [item.state for item in _verdicts(budget)]
    for state in ("not permitted", "exceeded", "within"):
        if state in states:
            return state
    return "-"


def _verdict_words(plan: Plan, radio: Radio) -> list[str]:
    said = []
    for layout in plan.layouts:
        for modem, budget in zip(radio.modems, radio.budgets(layout.size), strict=True):
            if budget is not None:
                said += [
                    f"{modem.name}: {item.words}"
                    for item in _verdicts(budget)
                    if item.state in {"not permitted", "exceeded"}
                ]
    return said


def _layout_json(layout: LayoutPlan, radio: Radio) -> dict[str, Any]:
    text = text_size(layout)
    rows = []
    for modem, budget, other in zip(
        radio.modems, radio.budgets(layout.size), radio.budgets(min(text, radio.largest)), strict=True
    ):
        row: dict[str, Any] = {"modem": modem.name}
        if budget is not None:
            headroom = modem.headroom(budget.payload_bytes)
            row |= {
                "airtime_ms": float(budget.airtime * 1000),
                "spare_bytes": headroom.spare_bytes,
                "drop_bytes": headroom.drop_bytes,
                "interval_s": None if budget.interval is None else float(budget.interval),
                "steady_interval_s": None if budget.steady_interval is None else float(budget.steady_interval),
                "packets_per_hour": budget.packets_per_hour,
                "limits": {
                    name: {"state": item.state, "words": item.words}
                    for name, item in zip(("dwell", "single", "lorawan"), _verdicts(budget), strict=True)
                },
                "text_airtime_ms": float(other.airtime * 1000) if other else None,
            }
        rows.append(row)
    return {"layout": layout.name, "bytes": layout.size, "text_bytes": text, "rows": rows}
