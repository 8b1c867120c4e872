"""Words that the commands share, and how each is read."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path
from typing import NoReturn

OUT_DEFAULT = "results"


class Parser(argparse.ArgumentParser):
    """Says a mistake in one line, as every other mistake."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"climate-risk: {message}; see {self.prog} --help\n")


def add_yard(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    add_draws(parser, "8 or more, until their error is under 2 points")
    add_out(parser, OUT_DEFAULT)
    add_shown(parser)


def add_draws(parser: argparse.ArgumentParser, usual: str) -> None:
    parser.add_argument(
        "--draws",
        metavar="N",
        type=draws,
        default=None,
        help=f"draws of the unknown parameters a year (default {usual})",
    )


def add_years(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--years", metavar="A:B", type=years, help="years of inoculation, such as 1995:2024"
    )


def add_source(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("yard", metavar="YARD", type=Path, help="a yard file, or its folder")
    parser.add_argument(
        "--weather",
        metavar="SRC",
        help="meteostat (nearest stations) or a file; default: what the yard file says",
    )


def add_out(parser: argparse.ArgumentParser, default: str) -> None:
    parser.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        default=Path(default),
        help=f"folder for the results (default {default})",
    )


def add_shown(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--units", choices=("us", "metric"), help="default: as the yard file says")
    parser.add_argument("--quiet", action="store_true", help="no summary, no progress")


def day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{text!r} is no date; use year-month-day, such as 2026-07-12"
        ) from None


def years(text: str) -> tuple[int, int]:
    first, colon, last = text.partition(":")
    if not (colon and first.isdigit() and last.isdigit() and int(first) <= int(last)):
        raise argparse.ArgumentTypeError(f"{text!r} is no span of years; use, say, 1995:2024")
    return int(first), int(last)


def draws(text: str) -> int:
    if not (text.isdigit() and 1 <= int(text) <= 1000):
        raise argparse.ArgumentTypeError(f"{text!r}: use a whole number from 1 to 1000")
    return int(text)
