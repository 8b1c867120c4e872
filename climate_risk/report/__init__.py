"""Results as words, charts, tables and one self-contained page."""

from __future__ import annotations

from pathlib import Path

from climate_risk.risk.results import CompareResult, SeasonResult

__all__ = ["summary_lines", "write_results"]


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
        season.html, .png, .svg, daily.csv and, if there is an outlook, outlook.csv.
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
    from climate_risk.report import (
        compare_chart,
        files,
        page,
        season_chart,
        summary,
        tables,
        words,
    )

    files.refuse_folders(out_dir, ("season", "compare", "daily", "outlook", "summary"))
    made = summary.summary(season, compare)
    made = summary.kept_beside(made, out_dir / "summary.json")
    written = []
    if season is not None:
        worst = words.by_risk(season.stacks)[0]
        sheet = season_chart.draw_season(season, worst, others=True)
        written += [
            files.write_whole(out_dir / "season.html", page.season_page(season)),
            *files.write_sheet(sheet, out_dir, "season"),
            tables.write_daily_csv(season, out_dir / "daily.csv"),
        ]
        if any(stack.outlook is not None for stack in season.stacks):
            written.append(tables.write_outlook_csv(season, out_dir / "outlook.csv"))
    if compare is not None:
        sheet = compare_chart.draw_compare(compare)
        written += [
            files.write_whole(out_dir / "compare.html", page.compare_page(compare)),
            *files.write_sheet(sheet, out_dir, "compare"),
        ]
    text = summary.json_text(made)
    return [*written, files.write_whole(out_dir / "summary.json", text)]


def summary_lines(*results: SeasonResult | CompareResult) -> list[str]:
    """A few plain lines for the terminal."""
    from climate_risk.report import choice, words
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
    return lines
