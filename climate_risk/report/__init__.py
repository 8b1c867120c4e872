"""Results as words, charts, tables and one self-contained page."""

from __future__ import annotations

from pathlib import Path

from climate_risk.risk.results import CompareResult, SeasonResult

__all__ = ["write_compare", "write_season"]


def write_season(result: SeasonResult, out_dir: Path) -> list[Path]:
    """Write season.html, .png, .svg, daily.csv, outlook.csv (if any) and summary.json.

    The picture shows the stack most at risk and names the danger of the others.

    Parameters
    ----------
    result : SeasonResult
        What ``season`` found.
    out_dir : Path
        Made when it is not there; files of the same names are replaced.

    Returns
    -------
    list of Path
        What was written, the page first.

    Raises
    ------
    RunError
        When a file cannot be written.
    """
    from climate_risk.report import files, page, season_chart, tables, words

    worst = words.by_risk(result.stacks)[0]
    figure = season_chart.season_figure(result, worst, others=True)
    written = [
        files.write_whole(out_dir / "season.html", page.season_page(result)),
        *files.save_figure(figure, out_dir, "season"),
        tables.write_daily_csv(result, out_dir / "daily.csv"),
    ]
    if any(stack.outlook is not None for stack in result.stacks):
        written.append(tables.write_outlook_csv(result, out_dir / "outlook.csv"))
    summary = tables.json_text(tables.season_summary(result))
    return [*written, files.write_whole(out_dir / "summary.json", summary)]


def write_compare(result: CompareResult, out_dir: Path) -> list[Path]:
    """Write compare.html, .png, .svg and summary.json; the picture shows the first stack.

    Parameters and errors as in :func:`write_season`.
    """
    from climate_risk.report import compare_chart, files, page, tables

    return [
        files.write_whole(out_dir / "compare.html", page.compare_page(result)),
        *files.save_figure(compare_chart.compare_figure(result), out_dir, "compare"),
        files.write_whole(
            out_dir / "summary.json", tables.json_text(tables.compare_summary(result))
        ),
    ]
