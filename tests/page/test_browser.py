"""The page in headless Chromium: no request, no complaint, the marks are the points, hover, zoom, print, contrast."""

from __future__ import annotations

import json
import subprocess
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from tests.support.needs import demand, tool

pytestmark = pytest.mark.slow

PACKAGES = Path(__file__).parents[2] / ".cache"
DRIVER = Path(__file__).with_name("browser.mjs")


def needed() -> str:
    """Node.js, where browser and packages are there too; else the test is skipped, and fails in CI."""
    node = tool("node")
    tool("chromium")
    there = all((PACKAGES / "node_modules" / name).exists() for name in ("playwright-core", "axe-core"))
    demand(there, "no playwright-core and axe-core (npm install --no-save --prefix .cache playwright-core axe-core)")
    return node


def look(folder: Path, whole: Any) -> dict[str, Any]:
    """What the browser tells of a page."""
    node = needed()
    path = folder / "page.html"
    path.write_text(whole.html(), encoding="utf-8")
    done = subprocess.run(
        [node, str(DRIVER), str(PACKAGES), str(path)], capture_output=True, encoding="utf-8", timeout=540, check=False
    )
    assert done.returncode == 0, done.stderr
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def demand_sound(told: dict[str, Any], whole: Any) -> None:
    """What holds for every page."""
    assert all(url.startswith("file:///") and url.endswith("page.html") for url in told["requests"])
    assert told["complaints"] == []
    assert told["charts"] == [[figure.name, 1] for figure in whole.figures if figure.chart]
    assert told["widths"] == [1200, 390]
    assert told["cut"] == []
    assert told["pdfBytes"] > 50_000
    assert told["paper"] == "rgb(20, 25, 30)"
    for scheme in ("light", "dark"):
        assert told[scheme]["violated"] == []
        assert "color-contrast" in told[scheme]["passed"]


def test_the_page_of_a_schema(pages: Any, tmp_path: Path) -> None:
    whole = pages.plan()
    demand_sound(look(tmp_path, whole), whole)


def test_the_page_of_a_replay(pages: Any, tmp_path: Path) -> None:
    whole = pages.replay()
    told = look(tmp_path, whole)
    demand_sound(told, whole)
    reports = whole.report["replay"]["link"]["trails"]
    drawn = told["map"]["shown"]
    assert list(drawn) == ["none", "5 points", "10 points"]
    for report, found in zip(reports, drawn.values(), strict=True):
        assert Counter(found["counts"]) == {
            how: n for how in ("direct", "by trail", "missing") if (n := report[how.replace(" ", "_")])
        }
        assert found["astray"] < 0.01
    for words in ("arrived", "direct", "error, m", "latitude"):
        assert words in told["map"]["tooltip"]
    (before, zoomed, panned) = (told["map"][name] for name in ("before", "zoomed", "panned"))
    for (low, high), (near, far) in zip(before, zoomed, strict=True):
        assert far - near == pytest.approx((high - low) / 2)
    assert panned[0][0] < before[0][0]
    assert panned[1] == pytest.approx(before[1])
    assert told["map"]["bars"][0] != told["map"]["bars"][1]
    assert told["saved"] == whole.files["pasture-track.geojson"]
