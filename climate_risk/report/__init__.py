"""Results as words, charts, tables and one self-contained page."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from climate_risk.risk.hindsight import Hindcast
from climate_risk.risk.results import SeasonResult
from climate_risk.risk.results_compare import CompareResult

__all__ = ["summary_lines", "write_results", "write_skill"]

OF_SEASON = ("outlook.csv",)
"""What a season can write but need not: an older one's is taken away."""


def write_results(
    out_dir: Path, *, season: SeasonResult | None = None, compare: CompareResult | None = None
) -> list[Path]:
    """Write pages, charts and tables of what was run, and one summary.json for all of it.

    The season's picture shows the stack most at risk and names the danger of the others; the
    comparison's shows the first stack.

    Parameters
    ----------
    out_dir : Path
        Made when it is not there; files of the same names are replaced.
    season : SeasonResult, optional
        season.html, .png, .svg, .ics, daily.csv and, if there is an outlook, outlook.csv.
    compare : CompareResult, optional
        compare.html, .png, .svg.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    RunError
        When a file cannot be written.

    Notes
    -----
    What summary.json says of the other command stays, where it was of the same inputs.
    """
    from climate_risk.report import files, page, summary, tables, words
    from climate_risk.report.compare_figure import compare_figure
    from climate_risk.report.season_calendar import season_calendar
    from climate_risk.report.season_figure import season_figure

    files.refuse_folders(out_dir, ("season", "compare", "daily", "outlook", "summary"))
    made = summary.kept_beside(summary.summary(season, compare), out_dir / "summary.json")
    summary_json = summary.json_text(made).encode()
    family = OF_SEASON if season is not None else ()
    written = []
    with files.seldom_collected(), files.as_a_set(out_dir, family) as folder:
        if season is not None:
            saved = {
                "season.ics": season_calendar(season, _older(out_dir / "season.ics")),
                "daily.csv": tables.daily_csv(season),
            }
            if any(stack.outlook is not None for stack in season.stacks):
                saved["outlook.csv"] = tables.outlook_csv(season)
            text = page.season_page(season, saved | {"summary.json": summary_json})
            worst = season_figure(season, words.by_risk(season.stacks)[0])
            written += [
                files.write_whole(folder / "season.html", text),
                *files.write_figure(worst, folder, "season"),
                *(files.write_whole(folder / name, data) for name, data in saved.items()),
            ]
        if compare is not None:
            text = page.compare_page(compare, {"summary.json": summary_json})
            written += [
                files.write_whole(folder / "compare.html", text),
                *files.write_figure(compare_figure(compare), folder, "compare"),
            ]
        written.append(files.write_whole(folder / "summary.json", summary_json))
    return [out_dir / path.name for path in written]


def _older(path: Path) -> bytes | None:
    """What an earlier run left there, if it did."""
    try:
        return path.read_bytes()
    except OSError:
        return None


def write_skill(out_dir: Path, hindcasts: Sequence[Hindcast]) -> list[Path]:
    """Write skill.csv, .png and .svg: what outlooks were worth.

    Raises
    ------
    RunError
        When a file cannot be written.
    """
    from climate_risk.report import files, skill
    from climate_risk.report.skill_figure import skill_figure

    files.refuse_folders(out_dir, ("skill",))
    with files.as_a_set(out_dir, ()) as folder:
        written = [
            files.write_whole(folder / "skill.csv", skill.skill_csv(hindcasts)),
            *files.write_figure(skill_figure(hindcasts), folder, "skill"),
        ]
    return [out_dir / path.name for path in written]


def summary_lines(*results: SeasonResult | CompareResult) -> list[str]:
    """A few plain lines for the terminal."""
    from climate_risk.report import choice, prices, words
    from climate_risk.units import Units

    lines = []
    for result in results:
        show = Units(result.units)
        if isinstance(result, SeasonResult):
            limit = result.tolerated_chance
            lines += [words.verdict(stack, limit, show) for stack in result.stacks]
        else:
            advice = (result.tolerated_chance, result.currency, show)
            for stack in result.stacks:
                best = choice.best_option_sentence(stack, *advice)
                lines.append(f"{best} {choice.ties_sentence(stack)}".strip())
                plan = choice.plan_sentence(stack, result.tolerated_chance, result.currency)
                lines.append(f"{stack.name}: {plan}")
    for result in results[-1:]:
        lines += prices.prices_sentences(result.prices, Units(result.units))
    return lines
