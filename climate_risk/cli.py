"""Words in, words out: the ``climate-risk`` command.

Heavy libraries load inside the commands, so that help and mistakes answer at once.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from climate_risk.command_options import (
    OUT_DEFAULT,
    Parser,
    add_draws,
    add_out,
    add_shown,
    add_source,
    add_yard,
    add_years,
    day,
)
from climate_risk.errors import ClimateRiskError, InputError, RunError, plural

if TYPE_CHECKING:
    from climate_risk.api import Weather
    from climate_risk.progress import Progress
    from climate_risk.risk.results import SeasonResult
    from climate_risk.risk.results_compare import CompareResult

INTERRUPTED = 130
SILENT_SECONDS = 2.0
"""Shorter work shows no progress."""
STALE_DAYS = 7
"""Weather that ends longer ago than this is pointed out (our own choice)."""
DEMO_DAY = date(2026, 7, 12)
"""The demo's today: the last day of the invented weather."""
SKILL_DRAWS = 4
"""A year carried on, in every outlook that ``skill`` makes."""
DEMO_DRAWS, DEMO_COMPARE_DRAWS = 2, 1
"""Few, for a quick look: every one of 32 years has draws of its own."""


def run() -> NoReturn:
    """Entry point of the ``climate-risk`` command."""
    sys.exit(main(sys.argv[1:]))


def main(words: Sequence[str]) -> int:
    """Run one command; returns the exit status.

    0 done; 1 the run failed for a reason outside the input; 2 the input is wrong.
    """
    args = _parser().parse_args(words)
    try:
        args.command(args)
        sys.stdout.flush()
    except ClimateRiskError as error:
        _complain(*error.lines)
        return error.exit_status
    except KeyboardInterrupt:
        _complain("stopped; the results are as they were before")
        return INTERRUPTED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError as error:
        _complain(*RunError(_disk_trouble(error)).lines)
        if not error.filename:  # the exit would try to write the same words once again
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return RunError.exit_status
    return 0


def _complain(*lines: str) -> None:
    for line in lines:
        print(f"climate-risk: {line}", file=sys.stderr)


def _disk_trouble(error: OSError) -> str:
    """Where and what; an error without a file is of the words for standard output."""
    return f"{error.filename or 'standard output'}: {error.strerror or error}"


def _parser() -> argparse.ArgumentParser:
    parser = Parser(
        prog="climate-risk",
        description="Will this year's mushroom stacks stay moist and cool enough in their first "
        "year, and what would help?  Turns weather into log condition, risk and advice.",
        epilog="Try:  climate-risk demo      then:  climate-risk init my-yard",
    )
    parser.add_argument("--version", action="version", version=_version())
    commands = parser.add_subparsers(metavar="COMMAND", required=True)

    demo = commands.add_parser("demo", help="run season and compare on the invented sample farm")
    demo.set_defaults(command=_demo)
    add_out(demo, "demo-results")
    add_shown(demo)

    init = commands.add_parser("init", help="write a commented starter yard.toml that runs")
    init.add_argument("folder", metavar="DIR", type=Path)
    init.set_defaults(command=_init)

    season = commands.add_parser("season", help="this year's stacks: to date, then an outlook")
    season.set_defaults(command=_season)
    add_yard(season)
    season.add_argument(
        "--as-of", metavar="DATE", type=day, help="last day of weather to take as seen"
    )

    compare = commands.add_parser("compare", help="canopy x cover x watering over past years")
    compare.set_defaults(command=_compare)
    add_yard(compare)
    add_years(compare)

    region = commands.add_parser("map", help="the same options on gridded weather: a region")
    region.set_defaults(command=_map)
    region.add_argument(
        "grid", metavar="GRID", type=Path, help="netCDF file, a folder of them, or a zarr store"
    )
    region.add_argument(
        "--yard", metavar="YARD", type=Path, required=True, help="a yard file, or its folder"
    )
    region.add_argument("--scheduler", metavar="ADDRESS", help="of dask; default: this machine")
    add_years(region)
    add_draws(region, "8")
    add_out(region, OUT_DEFAULT)
    add_shown(region)

    plan = commands.add_parser(
        "plan", help="a batch before it is cut: trees, pieces, spawn, weights, cost, weeks"
    )
    plan.set_defaults(command=_plan)
    add_source(plan)
    add_out(plan, OUT_DEFAULT)
    add_shown(plan)

    skill = commands.add_parser(
        "skill", help="what outlooks are worth here: made for past years, then compared"
    )
    skill.set_defaults(command=_skill)
    add_source(skill)
    add_draws(skill, str(SKILL_DRAWS))
    add_out(skill, OUT_DEFAULT)
    add_shown(skill)

    weather = commands.add_parser(
        "weather", help="fetch or read the weather, check it, and show what it rests on"
    )
    weather.set_defaults(command=_weather)
    add_source(weather)
    add_out(weather, OUT_DEFAULT)
    add_shown(weather)
    return parser


def _version() -> str:
    from climate_risk.version import program_version

    return f"climate-risk {program_version()}"


def _demo(args: argparse.Namespace) -> None:
    from climate_risk import api
    from climate_risk.demo_files import demo_folder
    from climate_risk.engine import compile_ahead
    from climate_risk.risk.actions import QUICK

    _free(args.out)
    compile_ahead.start()
    yard = api.read_yard(demo_folder() / "yard.toml", units=args.units)
    _say(args, f"{yard.name} is an invented farm with invented weather.")
    weather = api.load_weather(yard)
    with _progress(args, "season") as tell:
        season = api.season(
            yard, weather, as_of=DEMO_DAY, draws=DEMO_DRAWS, effort=QUICK, progress=tell
        )
    with _progress(args, "compare") as tell:
        compare = api.compare(yard, weather, draws=DEMO_COMPARE_DRAWS, progress=tell)
    _finish(args, season=season, compare=compare)


def _init(args: argparse.Namespace) -> None:
    from climate_risk.yard import write_starter

    path = write_starter(args.folder)
    print(f"{path}\nEdit it, then run:  climate-risk season {path}")


def _season(args: argparse.Namespace) -> None:
    from climate_risk import api
    from climate_risk.engine import compile_ahead

    yard = api.read_yard(_yard_file(args.yard), units=args.units)
    _free(args.out)
    compile_ahead.start()
    _say(args, "reading the weather")
    weather = api.load_weather(yard, source=args.weather, last=args.as_of)
    _warn(args, weather)
    _warn_of_age(args, weather)
    _say(args, "running the stacks")
    with _progress(args, "season") as tell:
        season = api.season(yard, weather, as_of=args.as_of, draws=args.draws, progress=tell)
    _finish(args, season=season)


def _compare(args: argparse.Namespace) -> None:
    from climate_risk import api
    from climate_risk.engine import compile_ahead

    yard = api.read_yard(_yard_file(args.yard), units=args.units)
    _free(args.out)
    compile_ahead.start()
    _say(args, "reading the weather")
    weather = api.load_weather(yard, source=args.weather)
    _warn(args, weather)
    _say(args, "running every option through the past years")
    with _progress(args, "compare") as tell:
        compare = api.compare(yard, weather, years=args.years, draws=args.draws, progress=tell)
    _finish(args, compare=compare)


def _skill(args: argparse.Namespace) -> None:
    from climate_risk import api
    from climate_risk.engine import compile_ahead

    yard = api.read_yard(_yard_file(args.yard), units=args.units)
    _free(args.out)
    compile_ahead.start()
    _say(args, "making outlooks of past years, each with its year left out; this takes minutes")
    draws = args.draws or SKILL_DRAWS
    with _progress(args, "skill") as tell:
        found = api.hindcast(yard, source=args.weather, draws=draws, progress=tell)

    from climate_risk.report import skill, write_skill

    written = write_skill(args.out, found)
    if not args.quiet:
        for line in skill.sentences(found):
            print(line)
        print(f"{len(written)} files in {args.out}; open {args.out / 'skill.png'}")


def _plan(args: argparse.Namespace) -> None:
    from climate_risk import api

    yard = api.read_yard(_yard_file(args.yard), units=args.units)
    _free(args.out)
    weather = None
    try:
        _say(args, "reading the weather")
        weather = api.load_weather(yard, source=args.weather)
    except RunError as error:
        _complain(*error.lines, "the plan goes on without weather")
    else:
        _warn(args, weather)
    plan = api.plan(yard, weather)

    from climate_risk.report import plan_page

    written = plan_page.write_plan(args.out, plan)
    if not args.quiet:
        for line in plan_page.summary_lines(plan):
            print(line)
        print(f"{len(written)} files in {args.out}; open {args.out / 'plan.html'}")


def _weather(args: argparse.Namespace) -> None:
    from climate_risk import api

    yard = api.read_yard(_yard_file(args.yard), units=args.units)
    _free(args.out)
    _say(args, "reading the weather")
    weather = api.load_weather(yard, source=args.weather)
    _warn(args, weather)

    from climate_risk.report import weather_page
    from climate_risk.weather import clean_table
    from climate_risk.weather.record import WeatherRecord
    from climate_risk.weather.summary import summarise

    summary = summarise(
        weather.table,
        weather.quality,
        weather.coverage,
        yard.site,
        yard_name=yard.name,
        invented=yard.invented,
        tolerated_chance=yard.costs.tolerated_chance,
        currency=yard.costs.currency,
        units=yard.units,
        inputs=weather.inputs,
    )
    record = WeatherRecord(
        table=weather.table,
        quality=weather.quality,
        step="daily" if summary.step == "daily" else "hourly",
        coverage=weather.coverage,
    )
    written = weather_page.write_weather(args.out, summary, clean_table(record))
    if not args.quiet:
        for line in weather_page.summary_lines(summary):
            print(line)
        print(f"{len(written)} files in {args.out}; open {args.out / 'weather.html'}")


def _map(args: argparse.Namespace) -> None:
    from climate_risk import api
    from climate_risk.engine import compile_ahead

    yard = api.read_yard(_yard_file(args.yard), units=args.units)
    _free(args.out)
    compile_ahead.start()
    _say(args, "running every option in every cell")
    with _progress(args, "map") as tell:
        found = api.map_region(yard, args.grid, work=args.out, scheduler=args.scheduler,
                           years=args.years, draws=args.draws, progress=tell)  # fmt: skip

    from climate_risk.report import map_page

    for note in map_page.notes(found):
        _say(args, f"grid: {note}")
    written = map_page.write_map(args.out, found)
    if not args.quiet:
        for line in map_page.summary_lines(found):
            print(line)
        print(f"{len(written)} files in {args.out}; open {args.out / 'map.html'}")


def _yard_file(path: Path) -> Path:
    return path / "yard.toml" if path.is_dir() else path


def _say(args: argparse.Namespace, text: str) -> None:
    if not args.quiet:
        print(text, file=sys.stderr)


@contextmanager
def _progress(args: argparse.Namespace, what: str) -> Iterator[Progress]:
    """A bar on a terminal for what takes longer than a moment; gone when it is done."""
    from tqdm import tqdm

    hidden = args.quiet or not sys.stderr.isatty()
    form = "{desc}: {percentage:3.0f} % |{bar}| {remaining} left"
    with tqdm(total=1.0, desc=what, delay=SILENT_SECONDS, leave=False, disable=hidden,
              bar_format=form, file=sys.stderr) as bar:  # fmt: skip

        def tell(share: float) -> None:
            bar.update(share - bar.n)

        yield tell


def _warn(args: argparse.Namespace, weather: Weather) -> None:
    for warning in weather.coverage.warnings:
        _say(args, f"weather: {warning}")
    filled = weather.coverage.filled_count
    if filled:
        _say(args, f"weather: {plural(filled, 'missing value')} filled; the page says of what")


def _warn_of_age(args: argparse.Namespace, weather: Weather) -> None:
    days = (date.today() - weather.record.last).days
    if args.as_of is None and days > STALE_DAYS:
        _say(
            args,
            f"weather: it ends {days} days ago, on {weather.record.last}, and that day is taken "
            "for today; add newer weather for a season under way",
        )


def _free(out: Path) -> None:
    """Refuse, before anything is run, a place for results that cannot take them."""
    if out.exists() and not out.is_dir():
        raise InputError(f"--out {out}: is a file; accepted is a folder, made where it is absent")


def _finish(
    args: argparse.Namespace,
    *,
    season: SeasonResult | None = None,
    compare: CompareResult | None = None,
) -> None:
    from climate_risk.report import summary_lines, write_results

    written = write_results(args.out, season=season, compare=compare)
    if args.quiet:
        return
    for line in summary_lines(*(result for result in (season, compare) if result is not None)):
        print(line)
    pages = [str(path) for path in written if path.suffix == ".html"]
    print(f"{len(written)} files in {args.out}; open {' and '.join(pages)}")


__all__ = ["InputError", "main", "run"]
