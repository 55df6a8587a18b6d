"""The page as a file: it asks no network, no text of a schema is more than text, and the commands say what they do."""

from __future__ import annotations

import base64
import json
import re
import signal
import subprocess
import sys
import zlib
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from packetcodec.cli.page import drawn
from packetcodec.vectors import write_vectors
from tests.page.test_bit_picture import HOSTILE

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


class Elements(HTMLParser):
    """The elements of a document with their attributes, and the text of its scripts by id."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.texts: dict[str | None, str] = {}
        self.open: str | None = None
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))
        self.open = dict(attrs).get("id") if tag == "script" else None

    def handle_data(self, data: str) -> None:
        if self.open:
            self.texts[self.open] = self.texts.get(self.open, "") + data

    @property
    def shape(self) -> Counter[str]:
        return Counter(tag for tag, _ in self.found)


@pytest.mark.slow
def test_nothing_in_a_page_asks_a_network(pages: Any) -> None:
    html = Elements(pages.replay().html())
    for tag, attributes in html.found:
        assert tag not in {"link", "iframe", "object", "embed", "img", "base", "form"}
        assert "src" not in attributes
        assert not [name for name in attributes if name.startswith("on")]
        assert (attributes.get("href") or "#").startswith("#")
    policy = next(attributes["content"] for tag, attributes in html.found if "http-equiv" in attributes)
    assert policy is not None
    assert policy.startswith("default-src 'none';")
    assert "http" not in policy


@pytest.mark.slow
def test_the_page_holds_reports_specification_vectors_and_fingerprint(pages: Any) -> None:
    whole = pages.plan()
    text = whole.html()
    assert text.startswith("<!doctype html>")
    assert len(text) < 2_000_000
    html = Elements(text)
    assert json.loads(html.texts["report"]) == json.loads(json.dumps(whole.report))
    assert whole.report["check"]["fingerprint"] in whole.lead[1]
    for words in (
        "not permission",
        "6 Decoding",
        "pasture-v1.vectors.json",
        "Share of the limit in the worst continuous hour",
    ):
        assert words in text
    files = json.loads(html.texts["downloads"])
    vectors = next(iter(write_vectors(pages.parsed).items()))
    assert zlib.decompress(base64.b64decode(files[vectors[0]])).decode() == vectors[1]


@pytest.mark.slow
def test_a_track_can_be_downloaded_with_every_point(pages: Any) -> None:
    whole = pages.replay()
    features = json.loads(whole.files["pasture-track.geojson"])["features"]
    report = whole.report["replay"]["link"]["trails"][-1]
    arrived = Counter(feature["properties"].get("arrived") for feature in features[1:])
    assert arrived == {"direct": report["direct"], "by trail": report["by_trail"], "missing": report["missing"]}


@pytest.mark.slow
def test_hostile_texts_of_a_schema_change_no_element(cli: Any) -> None:
    plain = re.sub(r"'[^']*'", "'x'", HOSTILE).replace("]]> &lt; <!--", "x")
    for name, text in (("hostile", HOSTILE), ("plain", plain)):
        (cli.folder / f"{name}.toml").write_text(text, encoding="utf-8")
        assert cli("page", f"{name}.toml", "-o", f"{name}.html")[0] == 0
    hostile, harmless = (
        Elements((cli.folder / f"{name}.html").read_text(encoding="utf-8")) for name in ("hostile", "plain")
    )
    assert hostile.shape == harmless.shape
    assert set(hostile.texts) == set(harmless.texts)
    assert "<script>alert(1)</script>" not in (cli.folder / "hostile.html").read_text(encoding="utf-8")


@pytest.mark.slow
def test_a_log_named_like_markup_stays_text(cli: Any) -> None:
    name = "<script>alert(1)<.csv"
    rows = "".join(f"{number * 30},46.5,{9.9 + number / 1000}\n" for number in range(20))
    (cli.folder / name).write_text("time,latitude,longitude\n" + rows, encoding="utf-8")
    status, _, err = cli("replay", name, "--page", "out.html")
    assert (status, "wrote out.html" in err) == (0, True)
    text = (cli.folder / "out.html").read_text(encoding="utf-8")
    assert "<script>alert(1)" not in text
    assert "&lt;script&gt;alert(1)&lt;.csv" in text


@pytest.mark.slow
def test_a_layout_without_a_position_has_a_page_without_a_map(cli: Any) -> None:
    assert cli("replay", "--layout", "status", "--page", "out.html")[0] == 0
    text = (cli.folder / "out.html").read_text(encoding="utf-8")
    assert 'id="figure-map"' not in text
    assert 'id="figure-bits-status"' in text


@pytest.mark.slow
def test_pictures_are_svg_and_png(cli: Any) -> None:
    status, out, err = cli("page", "--picture", "bits-status", "a.svg", "--picture", "share", "b.png")
    assert (status, out) == (0, "")
    assert [line for line in err.splitlines() if "wrote" in line] == ["packetcodec: wrote a.svg", "packetcodec: wrote b.png"]
    assert (cli.folder / "a.svg").read_bytes().startswith(b"<svg ")
    assert (cli.folder / "b.png").read_bytes().startswith(b"\x89PNG\r\n")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--picture", "bits", "a.svg"), "--picture: bits is not a picture of this page: one of bits-position,"),
        (("--picture", "share", "a.gif"), "--picture: a.gif ends neither in .svg nor in .png"),
        (("-o", "no/such/folder/a.html"), "no/such/folder/a.html: No such file or directory"),
    ],
)
def test_a_wrong_option_is_one_line(cli: Any, arguments: Any, words: str) -> None:
    status, out, err = cli("page", *arguments)
    assert (status, out) == (2, "")
    assert words in err
    assert len(err.strip().splitlines()) == 1


def test_without_the_extra_it_says_what_to_install(cli: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(name: str) -> None:
        raise ImportError(f"no {name}", name="altair")

    monkeypatch.setattr("packetcodec.cli.page.importlib", SimpleNamespace(import_module=missing))
    status, _, err = cli("page", "-o", "a.html")
    assert status == 2
    assert "packetcodec page: a page needs the extra `page` (altair): pip install 'packetcodec[page]'" in err


@pytest.mark.slow
def test_no_other_command_loads_what_draws() -> None:
    code = "import sys, packetcodec.cli.app, packetcodec.page; print({'altair', 'vl_convert'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


@pytest.mark.slow
@pytest.mark.parametrize("name", ["bits", "map", "airtime"])
def test_a_picture_in_readme_is_what_the_command_beside_it_draws(cli: Any, name: str) -> None:
    kept = Path(__file__).parents[2] / "spec" / "pictures" / f"{name}.svg"
    assert f"](spec/pictures/{name}.svg)" in README
    command = re.search(rf"`packetcodec ([^`]* --picture \S+ {name}\.svg)`", README)
    assert command is not None
    assert cli(*command[1].split())[0] == 0
    assert words((cli.folder / f"{name}.svg").read_text(encoding="utf-8")) == words(kept.read_text(encoding="utf-8"))
    assert kept.stat().st_size < 100_000


def words(svg: str) -> list[str]:
    """The texts of a picture, and how many marks it has of each colour; where exactly they stand is the library's."""
    shapes = Counter(re.findall(r'(?:fill|stroke)="(#[0-9a-f]+)"', svg))
    return [*re.findall(r">([^<>\n]+)</text>", svg), str(sorted(shapes.items()))]


@pytest.mark.slow
@pytest.mark.parametrize("words", [("--picture", "list"), ("--picture=list",), ("--picture", "list", "a.svg")])
def test_the_names_of_the_pictures_are_listed_as_a_newcomer_types_it(cli: Any, words: tuple[str, ...]) -> None:
    status, out, err = cli("page", *words)
    assert (status, err) == (0, "")
    assert out.splitlines()[:4] == ["bits-position", "bits-track", "bits-status", "airtime-position"]
    assert list(cli.folder.glob("*.svg")) == []


def test_ctrl_c_ends_at_once_while_something_is_drawn_and_as_usual_otherwise() -> None:
    # What draws is no Python: only the handler of the system itself ends it there.
    before = signal.getsignal(signal.SIGINT)
    assert drawn(signal.getsignal, signal.SIGINT) is signal.SIG_DFL
    assert signal.getsignal(signal.SIGINT) is before
    code = "import os, signal; from packetcodec.cli.page import drawn; drawn(os.kill, os.getpid(), signal.SIGINT)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (-signal.SIGINT, "")
