"""The README's year of one yard: its commands are there, its files are read."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

import climate_risk as cr
from climate_risk.cli import main

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
YEAR = re.search(r"## One yard through its year\n(.*?)\n## ", TEXT, re.DOTALL)


def block(kind: str) -> str:
    """A fenced block of the year, without its indent."""
    assert YEAR
    found = re.search(rf"( *)```{kind}\n(.*?)```", YEAR[1], re.DOTALL)
    assert found
    return re.sub(rf"^{found[1]}", "", found[2], flags=re.MULTILINE)


def test_every_command_that_the_readme_names_is_one(capsys: pytest.CaptureFixture[str]) -> None:
    named = set(re.findall(r"climate-risk ([a-z]+) ", TEXT))
    assert {"plan", "weather", "season", "compare", "init"} <= named
    with pytest.raises(SystemExit):
        main(["--help"])
    told = capsys.readouterr().out
    assert all(re.search(rf"^ +{name} ", told, re.MULTILINE) for name in named)


def test_the_year_s_files_are_read_as_they_stand(tmp_path: Path) -> None:
    """The copied farm with the act and the weighings that the README has a grower write."""
    farm = tmp_path / "hollow"
    shutil.copytree(ROOT / "sample_data", farm)
    (farm / "weighings.csv").write_text(block("csv"))
    bag, rest = (farm / "yard.toml").read_text().split('foot = "closed"\n', 1)
    assert "`off = 2026-07-13`" in TEXT
    text = f'{bag}foot = "closed"\noff = 2026-07-13\n{rest}\n{block("toml")}'
    (farm / "yard.toml").write_text(text)
    yard = cr.read_yard(farm / "yard.toml")
    assert yard.measured is not None
    assert yard.measured.weighings == farm / "weighings.csv"
    (cover,) = yard.stacks[0].covers
    assert str(cover.off) == "2026-07-13"


def test_the_year_s_plan_is_the_plan(tmp_path: Path) -> None:
    yard = cr.read_yard(ROOT / "sample_data" / "yard.toml")
    result = cr.plan(yard, cr.load_weather(yard))
    (stack,) = result.stacks
    assert YEAR
    assert "Two trees of 16 ft, cut alike, give 32 pieces and 16 caps" in YEAR[1]
    assert len(stack.trees) == 2
    assert len({tree.pattern for tree in stack.trees}) == 1
    assert stack.piece_mass_kg.value / 0.4536 == pytest.approx(13, abs=0.5)
    assert result.spawn[0].bags[1] == 2
    assert stack.weeks is not None
    window = stack.weeks.inoculation
    assert window is not None
    assert (window.first_day, window.last_day) == (79, 146)
