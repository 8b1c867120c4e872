"""The pages: well formed, self-contained, escaped, words and limits in agreement."""

from __future__ import annotations

import base64
import hashlib
import itertools
import re
import sys
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import report_samples as samples

from climate_risk.report import glossary
from climate_risk.report.frame import MOST_STACKS_IN_BOTH
from climate_risk.report.page import compare_page, season_page
from climate_risk.units import Units

VOID = {"meta", "img", "br", "link", "input"}
FOREIGN = ("path", "use", "rect")


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

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open, tag
        assert self.open.pop() == tag

    def all(self, tag: str) -> list[dict[str, str]]:
        return [attributes for name, attributes in self.tags if name == tag]


PAGES = {
    "season": season_page(samples.season(*samples.three_stacks()), {"daily.csv": b"date\n"}),
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
    inside = {link[1:] for link in links if link.startswith("#")}
    assert inside <= set(ids)


@pytest.mark.parametrize("name", PAGES)
def test_headings_go_down_one_level_at_a_time(name: str) -> None:
    headings = read(name).headings
    assert headings[0] == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(headings))


@pytest.mark.parametrize("name", PAGES)
def test_tables_have_captions_and_scoped_heads_and_charts_have_words(name: str) -> None:
    reader = read(name)
    assert len(reader.all("caption")) == len(reader.all("table")) > 0
    assert all(head["scope"] in ("col", "row") for head in reader.all("th"))
    charts = reader.all("svg")
    assert all(chart["role"] == "img" and len(chart["aria-label"]) > 30 for chart in charts)
    assert len(charts) > 4


@pytest.mark.parametrize("name", PAGES)
def test_page_loads_nothing_and_its_policy_fits_its_style_and_script(name: str) -> None:
    reader, page = read(name), PAGES[name]
    assert not reader.all("link")
    assert "@import" not in page
    (policy,) = (m["content"] for m in reader.all("meta") if "http-equiv" in m)
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy
    for tag in ("style", "script"):
        (text,) = re.findall(rf"<{tag}>(.*?)</{tag}>", page, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy
    for tag, attributes in reader.tags:
        assert "style" not in attributes, tag
        assert not [n for n in attributes if n.startswith("on")], tag
        for key in ("src", "srcset", "href"):
            assert attributes.get(key, "#").startswith(("#", "data:text/csv", "data:application"))


@pytest.mark.parametrize("name", PAGES)
def test_pages_stay_under_two_megabytes(name: str) -> None:
    assert len(PAGES[name].encode()) < 2_000_000


def test_a_page_of_many_stacks_shows_its_own_units_only_and_stays_small() -> None:
    stacks = [replace(samples.stack(), name=f"Row {n}") for n in range(MOST_STACKS_IN_BOTH + 3)]
    page = season_page(samples.season(*stacks, units="metric"))
    assert "°F" not in page
    assert len(page.encode()) < 2_000_000


def text_of(fragment: str) -> str:
    """What a reader sees of some HTML, on one line."""
    return " ".join(unescape(re.sub(r"<[^>]+>", "", fragment)).split())


def cards(name: str) -> list[str]:
    return [
        text_of(c) for c in re.findall(r'<article class="card.*?</article>', PAGES[name], re.S)
    ]


def test_first_come_three_lines_then_the_chart_then_prose() -> None:
    for name in ("season", "few years", "early", "southern"):
        page = PAGES[name]
        first = page.index('<article class="card')
        assert first < page.index("<figure") < page.index("What to do")
        assert cards(name)[0].startswith("Danger ")
        assert re.search(r" Do .* By ", cards(name)[0])
    assert cards("season")[0] == (
        "Danger About 3 in 10 chance of losing each stack, to drought. "
        "Do Hang 60 % shade cloth. By Best today; by 18 Jul at the latest (then 9 %)."
    )


def test_statistics_stand_only_where_they_are_asked_for() -> None:
    """Bootstrap, binomial, quantile and the like: in folded parts alone."""
    for page in PAGES.values():
        open_text = text_of(re.sub(r"<(details|style|script).*?</\1>", "", page, flags=re.DOTALL))
        for word in ("bootstrap", "binomial", "percentile", "quantile", "interval", "median"):
            assert word not in open_text.lower()


def test_words_are_explained_and_linked_once_a_text() -> None:
    known = glossary.terms(samples.season().spell_limits, samples.THRESHOLDS, Units("us"))
    assert len(known) >= 10
    assert {"Late", "Driest face", "Hot, dry spell", "Run"} <= {term.name for term in known}
    text = "The driest face is a spawn face; the driest face stays late."
    pieces = glossary.linked(text, known)
    assert "".join(words for words, _ in pieces) == text
    assert [key for _, key in pieces if key] == ["driest", "face", "late"]


def test_words_from_files_are_escaped() -> None:
    evil = '<script>alert(1)</script> & "quotes"'
    one = replace(samples.stack(), name=evil, fungus_caution=evil)
    page = season_page(replace(samples.season(one), yard_name=evil))
    assert page.count("<script") == 1
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; &#34;quotes&#34;" in page


def test_invented_places_say_so_and_real_ones_do_not() -> None:
    assert "are invented" in PAGES["season"]
    real = season_page(replace(samples.season(), invented=False))
    assert "are invented" not in real


def test_gaps_and_hashes_are_on_the_page() -> None:
    page = PAGES["season"]
    assert "56 missing values filled" in page
    assert "April 2011: 12 of 30 days of rain" in page
    assert "ab" * 32 in page


def test_files_can_be_saved_from_the_page() -> None:
    (link,) = (a for a in read("season").all("a") if a.get("download") == "daily.csv")
    kind, _, data = link["href"].partition(",")
    assert kind == "data:text/csv;base64"
    assert base64.b64decode(data) == b"date\n"


def test_air_is_given_at_the_stack_in_text_and_table() -> None:
    page = PAGES["southern"]
    stack = samples.southern_season().stacks[0]
    longest = max(stack.spells, key=lambda spell: spell.days)
    days = stack.daily.loc[str(longest.first) : str(longest.last), "air_temp_max_c"]
    assert f"{days.max():.0f} °C in the air at the stack" in text_of(page)
    assert "hottest air at the stack, °C" in page


def test_text_colours_reach_a_contrast_of_four_and_a_half() -> None:
    """Light and dark; WCAG 2.1, 1.4.3."""
    from test_report_look import contrast

    css = PAGES["season"].split("<style>")[1].split("</style>")[0]
    for root in re.findall(r":root \{(.*?)\}", css, re.DOTALL):
        colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", root))
        for ink in ("ink", "soft", "link"):
            for ground in ("paper", "over"):
                assert contrast(colours[ink], colours[ground]) >= 4.5, (ink, ground)
