"""The pages in a real browser: keyboard, accessibility, width, print, network and policy.

Headless Chromium of the system, driven by playwright; accessibility by axe-core.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import measured_samples
import region_samples
import report_samples as samples

import climate_risk as cr
from climate_risk.report.map_page import map_page
from climate_risk.report.page import compare_page, season_page
from climate_risk.report.plan_page import plan_page

CHROMIUM = next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None
)
if CHROMIUM is None and os.environ.get("CI"):
    pytest.fail("no Chromium: CI must have it", pytrace=False)
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")
playwright = pytest.importorskip("playwright.sync_api")

SMALLEST_PX = 11.0
PAGES = {
    "season": lambda: season_page(
        samples.season(*samples.three_stacks()), {"daily.csv": b"date\n"}
    ),
    "readings": lambda: season_page(measured_samples.season()),
    "early": lambda: season_page(samples.early_season()),
    "long_names": lambda: season_page(samples.long_names_season()),
    "compare": lambda: compare_page(samples.compare()),
    "plan": lambda: plan_page(demo_plan()),
    "map": lambda: map_page(region_samples.made_up(stacks=2)),
}


def demo_plan() -> Any:
    """Of the invented farm, with its weather."""
    yard = cr.read_yard(Path(__file__).parents[1] / "sample_data" / "yard.toml")
    return cr.plan(yard, cr.load_weather(yard))


@dataclass
class Open:
    """A page in the browser, and what it asked for or complained of."""

    page: Any
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pages")
    for name, make in PAGES.items():
        (folder / f"{name}.html").write_text(make(), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


def _note(found: Open, url: str) -> None:
    """What a page asks for; a picture that stands in it as data asks nobody."""
    if not url.startswith("data:"):
        found.requests.append(url)


def opened(browser: Any, folder: Path, name: str, *, width: int, scheme: str = "light") -> Open:
    page = browser.new_page(
        viewport={"width": width, "height": 800}, color_scheme=scheme, bypass_csp=False
    )
    found = Open(page)
    page.on("request", lambda request: _note(found, request.url))
    page.on("console", lambda message: found.complaints.append(message.text))
    page.on("pageerror", lambda error: found.complaints.append(str(error)))
    page.goto((folder / f"{name}.html").as_uri())
    return found


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 768, 1440])
@pytest.mark.parametrize("name", ["season", "readings", "compare", "plan", "map"])
def test_axe_finds_nothing_and_nothing_leaves_the_page(
    browser: Any, folder: Path, name: str, width: int, scheme: str
) -> None:
    """With every folded part open; no request, no message, no width beyond the screen's."""
    from axe_playwright_python.sync_playwright import Axe

    found = opened(browser, folder, name, width=width, scheme=scheme)
    # axe is run from outside the page, which its policy would not let in.
    found.page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert found.page.evaluate("document.documentElement.scrollWidth") <= width
    assert [url for url in found.requests if not url.startswith("file:")] == []
    assert len(found.requests) == 1
    assert found.complaints == []
    result = Axe().run(found.page)
    assert result.violations_count == 0, result.generate_report()
    found.page.close()


def test_the_policy_stops_a_script_and_a_style_of_others(browser: Any, folder: Path) -> None:
    found = opened(browser, folder, "season", width=768)
    found.page.evaluate(
        """() => {
            const script = document.createElement("script");
            script.textContent = "window.stranger = 1";
            document.body.append(script);
            document.body.setAttribute("style", "margin: 99px");
        }"""
    )
    assert found.page.evaluate("window.stranger === undefined")
    assert found.page.evaluate("getComputedStyle(document.body).marginTop") == "0px"
    assert len(found.complaints) >= 2
    assert all("Content Security Policy" in text for text in found.complaints)
    found.page.close()


@pytest.mark.parametrize("name", PAGES)
def test_letters_are_large_enough_on_a_phone(browser: Any, folder: Path, name: str) -> None:
    """Every letter that shows at 360 px, in text and charts, with every folded part open."""
    found = opened(browser, folder, name, width=360)
    found.page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    smallest = found.page.evaluate(
        """() => Math.min(...[...document.querySelectorAll("svg text, p, li, td, th, dd, label")]
            .filter(e => e.getClientRects().length)
            .map(e => parseFloat(getComputedStyle(e).fontSize)
                * (e.ownerSVGElement ? e.getScreenCTM().a : 1)))"""
    )
    assert smallest >= SMALLEST_PX
    found.page.close()


def shown(page: Any, selector: str) -> list[str]:
    """Texts of the elements that show."""
    return [e.inner_text() for e in page.query_selector_all(selector) if e.is_visible()]


@pytest.mark.parametrize("width", [390, 1440])
def test_the_page_picks_the_chart_of_its_width(browser: Any, folder: Path, width: int) -> None:
    page = opened(browser, folder, "season", width=width).page
    desk = [e for e in page.query_selector_all(".desk svg") if e.is_visible()]
    phone = [e for e in page.query_selector_all(".phone svg") if e.is_visible()]
    assert (len(desk), len(phone)) == ((0, 1) if width == 390 else (1, 0))
    card = page.query_selector(".card").bounding_box()
    chart = (desk or phone)[0].bounding_box()
    assert card["y"] + card["height"] < 700
    assert chart["y"] < 800 if width == 1440 else chart["y"] < 900
    page.close()


def press_to(page: Any, name: str, value: str) -> None:
    """Reach a choice by keyboard alone: tab to its group, then the arrows."""
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.name") == name:
            break
    for _ in range(8):
        if page.evaluate("document.activeElement.value") == value:
            return
        page.keyboard.press("ArrowRight")
    raise AssertionError(f"no {name} {value} by keyboard")


def test_stack_canopy_and_units_change_the_view_by_keyboard(browser: Any, folder: Path) -> None:
    page = opened(browser, folder, "season", width=1440).page
    assert shown(page, "main h2")[0] == "North row"
    press_to(page, "stack", "2")
    assert shown(page, "main h2")[0] == "Pine edge"
    press_to(page, "canopy", "open")
    assert "In the open: " in shown(page, ".card")[0]
    assert any(e.is_visible() for e in page.query_selector_all(".canopies svg"))
    press_to(page, "canopy", "own")
    press_to(page, "units", "metric")
    labels = " ".join(e.text_content() for e in page.query_selector_all("svg") if e.is_visible())
    assert "°C" in labels
    assert "°F" not in labels
    assert "°F" not in " ".join(shown(page, "main section.view"))
    page.close()


def test_an_option_s_years_open_by_touch(browser: Any, folder: Path) -> None:
    context = browser.new_context(viewport={"width": 390, "height": 800}, has_touch=True)
    page = context.new_page()
    page.goto((folder / "compare.html").as_uri())
    assert not shown(page, "figure.years")
    page.tap("section.view:not([hidden]) details:has(figure.years) summary >> nth=0")
    assert len(shown(page, "figure.years")) == 1
    page.tap("label:has(input[name=units][value=metric])")
    assert not shown(page, "figure.years")
    first = page.text_content("section.view:not([hidden]) details:has(figure.years) summary")
    assert re.match(r"\d+\. Your plan, ", first)
    context.close()


def test_a_word_s_meaning_is_reached_by_touch(browser: Any, folder: Path) -> None:
    page = opened(browser, folder, "season", width=390).page
    page.click("section.view:not([hidden]) a.term >> visible=true >> nth=0")
    target = page.evaluate("location.hash.slice(1)")
    assert target.startswith("word-")
    box = page.query_selector(f"#{target}").bounding_box()
    assert 0 <= box["y"] < 800
    page.close()


def test_only_tables_that_scroll_are_tab_stops_and_say_so(browser: Any, folder: Path) -> None:
    for width, some in ((390, True), (1440, False)):
        page = opened(browser, folder, "season", width=width).page
        page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        page.wait_for_timeout(100)
        boxes = page.evaluate(
            """() => [...document.querySelectorAll(".scroll")]
                .filter(e => e.getClientRects().length)
                .map(e => [e.scrollWidth > e.clientWidth + 1, e.tabIndex === 0,
                    e.classList.contains("goes-on")])"""
        )
        assert all(scrolls == stop == marked for scrolls, stop, marked in boxes)
        assert any(scrolls for scrolls, *_ in boxes) == some
        page.close()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["season", "readings", "early", "compare", "plan"])
def test_a_page_prints_on_two_sheets(browser: Any, folder: Path, name: str, paper: str) -> None:
    page = opened(browser, folder, name, width=1440).page
    pdf = page.pdf(format=paper)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 2
    page.close()


def test_a_file_is_saved_from_the_page(browser: Any, folder: Path) -> None:
    page = opened(browser, folder, "season", width=1440).page
    with page.expect_download() as saved:
        page.click("a[download='daily.csv']")
    assert saved.value.suggested_filename == "daily.csv"
    assert Path(saved.value.path()).read_bytes() == b"date\n"
    page.close()


def test_the_dark_page_turns_the_charts_dark(browser: Any, folder: Path) -> None:
    def ground(scheme: str) -> list[str]:
        page = opened(browser, folder, "season", width=1440, scheme=scheme).page
        found = page.evaluate(
            """() => [getComputedStyle(document.body).backgroundColor,
                getComputedStyle(document.querySelector(".desk svg path")).fill,
                getComputedStyle(document.querySelector(".desk svg text")).fill,
                getComputedStyle(document.querySelector(".desk svg use:not([fill])")).fill]"""
        )
        page.close()
        return list(found)

    assert ground("light") == ["rgb(255, 255, 255)"] * 2 + ["rgb(0, 0, 0)"] * 2
    assert ground("dark") == ["rgb(22, 25, 29)"] * 2 + ["rgb(244, 244, 244)"] * 2


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["season", "compare", "plan"])
def test_every_text_of_a_chart_stands_out_from_the_page(
    browser: Any, folder: Path, name: str, scheme: str
) -> None:
    """Where axe leaves contrast open: 4.5 to 1 (WCAG 2.1, 1.4.3) against the page's ground."""
    from test_report_look import contrast

    page = opened(browser, folder, name, width=1440, scheme=scheme).page
    ground, *inks = page.evaluate(
        """() => [getComputedStyle(document.body).backgroundColor, ...new Set(
            [...document.querySelectorAll("svg text")].map(e => getComputedStyle(e).fill))]"""
    )
    assert inks
    for ink in inks:
        assert contrast(hex_of(ink), hex_of(ground)) >= 4.5
    page.close()


def hex_of(colour: str) -> str:
    """``rgb(0, 128, 255)`` as ``#0080ff``."""
    return "#" + "".join(f"{int(part):02x}" for part in re.findall(r"\d+", colour)[:3])


def test_ci_without_a_browser_fails() -> None:
    """Elsewhere these tests skip."""
    code = "import runpy, shutil; shutil.which = lambda name: None; runpy.run_path({!r})"
    done = subprocess.run(
        [sys.executable, "-c", code.format(__file__)],
        env=os.environ | {"CI": "true"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode != 0
    assert "CI must have it" in done.stderr
