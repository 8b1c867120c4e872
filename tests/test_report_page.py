"""The pages: well formed, self-contained, readable by keyboard, screen reader and phone."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from dataclasses import replace
from html import escape
from html.parser import HTMLParser
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import itertools

import report_samples as samples

from climate_risk.report.page import compare_page, season_page

VOID = {"meta", "img", "source", "br", "link", "input"}
CHROMIUM = next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None
)


class Reader(HTMLParser):
    """Checks nesting and keeps what the tests ask about."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.headings: list[int] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        if re.fullmatch(r"h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, tag
        assert self.open.pop() == tag

    def all(self, tag: str) -> list[dict[str, str]]:
        return [attributes for name, attributes in self.tags if name == tag]


PAGES = {
    "season": season_page(samples.season(*samples.three_stacks())),
    "few years": season_page(samples.few_years_season()),
    "early": season_page(samples.early_season()),
    "ended": season_page(samples.ended_season()),
    "southern": season_page(samples.southern_season()),
    "long names": season_page(samples.long_names_season()),
    "compare": compare_page(samples.compare()),
    "compare few": compare_page(samples.compare(with_chance=False)),
}


def read(name: str) -> Reader:
    reader = Reader()
    reader.feed(PAGES[name])
    reader.close()
    assert reader.open == []
    return reader


@pytest.mark.parametrize("name", PAGES)
def test_page_is_well_formed_with_landmarks_and_one_title(name: str) -> None:
    reader = read(name)
    assert reader.all("html") == [{"lang": "en"}]
    for landmark in ("header", "main", "footer", "h1", "title"):
        assert len(reader.all(landmark)) == 1
    links = [link["href"] for link in reader.all("a")]
    assert links[0] == "#main"
    ids = [a["id"] for _, a in reader.tags if "id" in a]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("name", PAGES)
def test_headings_go_down_one_level_at_a_time(name: str) -> None:
    headings = read(name).headings
    assert headings[0] == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(headings))


@pytest.mark.parametrize("name", PAGES)
def test_tables_have_captions_and_scoped_heads_and_pictures_have_words(name: str) -> None:
    reader = read(name)
    assert len(reader.all("caption")) == len(reader.all("table")) > 0
    assert all(head["scope"] in ("col", "row") for head in reader.all("th"))
    assert all(len(image["alt"]) > 40 for image in reader.all("img"))
    assert len(reader.all("img")) > 0


@pytest.mark.parametrize("name", PAGES)
def test_page_loads_nothing_and_runs_nothing(name: str) -> None:
    reader = read(name)
    assert not reader.all("script")
    assert not reader.all("link")
    assert "@import" not in PAGES[name]
    assert "url(" not in PAGES[name]
    for _, attributes in reader.tags:
        for key in ("src", "srcset", "href"):
            value = attributes.get(key, "#")
            assert value.startswith(("#", "data:image/svg+xml;base64,"))


@pytest.mark.parametrize("name", PAGES)
def test_advice_comes_first_and_cautions_last(name: str) -> None:
    page = PAGES[name]
    places = [page.index(f'<h2 id="{key}">') for key in ("do", "basis", "sources", "cautions")]
    assert places == sorted(places)
    assert page.index("<h2") == places[0]
    assert page.rindex("<h2") == places[-1]
    assert places[0] < page.index("<figure>") < places[1]


def test_words_from_files_are_escaped() -> None:
    evil = '<script>alert(1)</script> & "quotes"'
    one = replace(samples.stack(), name=evil, fungus_caution=evil)
    page = season_page(replace(samples.season(one), yard_name=evil))
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; &quot;quotes&quot;" in page


def test_invented_places_say_so_and_real_ones_do_not() -> None:
    assert "are invented" in PAGES["season"]
    real = season_page(replace(samples.season(), invented=False))
    assert "are invented" not in real


def test_gaps_and_hashes_are_on_the_page() -> None:
    page = PAGES["season"]
    assert "56 missing values filled" in page
    assert "April 2011: 12 of 30 days of rain" in page
    assert "ab" * 32 in page


def contrast_pairs(css: str) -> set[str]:
    return set(re.findall(r"(?<![-\w])color: (#[0-9a-f]{6})", css))


def test_text_colours_reach_a_contrast_of_four_and_a_half() -> None:
    from test_report_charts import contrast

    css = PAGES["season"].split("<style>")[1].split("</style>")[0]
    colours = contrast_pairs(css)
    assert colours
    assert all(contrast(colour, "#ffffff") >= 4.5 for colour in colours)
    assert all(contrast(colour, "#fff6f0") >= 4.5 for colour in colours)
    assert ":focus-visible" in css
    assert "@media print" in css


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")
@pytest.mark.parametrize("name", ["season", "long names", "compare"])
@pytest.mark.parametrize("width", [360, 1000])
def test_nothing_runs_off_the_side_in_a_browser(name: str, width: int, tmp_path: Path) -> None:
    """A page in a frame of a phone's width, measured by a script outside the page."""
    outer = tmp_path / "outer.html"
    outer.write_text(
        f'<!DOCTYPE html><iframe id="f" style="width:{width}px;height:800px;border:0" '
        f'srcdoc="{escape(PAGES[name])}"></iframe><p id="out"></p><script>'
        'const f = document.getElementById("f");'
        'f.addEventListener("load", () => {'
        "const d = f.contentDocument;"
        'const image = d.querySelector("img");'
        'document.getElementById("out").textContent ='
        '"measured " + d.documentElement.scrollWidth + " " + image.naturalWidth'
        "});</script>",
        encoding="utf-8",
    )
    command = [
        str(CHROMIUM), "--headless", "--no-sandbox", "--disable-gpu",
        "--disable-background-networking", "--disable-component-update", "--disable-sync",
        "--no-first-run", f"--user-data-dir={tmp_path / 'profile'}", "--dump-dom",
        "--virtual-time-budget=5000", outer.as_uri(),
    ]  # fmt: skip
    dom = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True).stdout
    found = re.search(r"measured (\d+) (\d+)</p>", dom)
    assert found is not None
    assert int(found[1]) <= width
    assert int(found[2]) > 0
