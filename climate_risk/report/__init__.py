"""Results as words, charts, tables and one self-contained page."""

from __future__ import annotations

from pathlib import Path

from climate_risk.risk.results import CompareResult, SeasonResult

__all__ = ["summary_lines", "write_results"]

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
    from climate_risk.report import compare_chart, files, page, season_chart, tables, words

    files.refuse_folders(out_dir, ("season", "compare", "daily", "outlook", "summary"))
    summary = tables.summary(season, compare)
    summary = tables.kept_beside(summary, out_dir / "summary.json")
    family = OF_SEASON if season is not None else ()
    written = []
    with files.as_a_set(out_dir, family) as folder:
        if season is not None:
            worst = words.by_risk(season.stacks)[0]
            sheet = season_chart.draw_season(season, worst, others=True)
            written += [
                files.write_whole(folder / "season.html", page.season_page(season)),
                *files.write_sheet(sheet, folder, "season"),
                tables.write_daily_csv(season, folder / "daily.csv"),
            ]
            if any(stack.outlook is not None for stack in season.stacks):
                written.append(tables.write_outlook_csv(season, folder / "outlook.csv"))
        if compare is not None:
            sheet = compare_chart.draw_compare(compare)
            written += [
                files.write_whole(folder / "compare.html", page.compare_page(compare)),
                *files.write_sheet(sheet, folder, "compare"),
            ]
        text = tables.json_text(summary)
        written.append(files.write_whole(folder / "summary.json", text))
    return [out_dir / path.name for path in written]


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
