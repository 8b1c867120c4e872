"""A delimited text file as rows of text, with the line number of every row."""

from __future__ import annotations

import gzip
import io
import zlib
from pathlib import Path

import pandas as pd

from climate_risk.errors import InputError


def read_text_table(path: Path) -> pd.DataFrame:
    """Read a CSV-like file without guessing at types.

    Parameters
    ----------
    path : Path
        Comma, semicolon or tab separated, plain or gzip; UTF-8, UTF-16 with its mark, or
        Windows-1252; lines before the header that start with ``#`` are comments.

    Returns
    -------
    DataFrame
        Every cell as stripped text, headers as given; the index is the line number in the
        file. Where the separator is not a comma, a decimal comma is turned into a point.

    Raises
    ------
    InputError
        The file is absent, empty, not text, or has a row with too many fields.
    """
    text = _decode(path)
    lines = text.splitlines()
    skipped = 0
    while skipped < len(lines) and (
        not lines[skipped].strip() or lines[skipped].lstrip().startswith("#")
    ):
        skipped += 1
    if skipped == len(lines):
        raise InputError(
            f"{path}: the file is empty; accepted is a CSV file with a header line "
            "and one row per day or hour"
        )
    separator = max(",;\t", key=lines[skipped].count)
    table = _parse(path, lines[skipped:], separator, skipped + 1)
    table.columns = [str(name).strip().strip('"') for name in table.columns]
    table.index = pd.RangeIndex(skipped + 2, skipped + 2 + len(table))
    table = table.fillna("")
    for name in table.columns:
        table[name] = table[name].str.strip()
        if separator != ",":
            table[name] = table[name].str.replace(",", ".", regex=False)
    return table.loc[(table != "").any(axis=1)]


def _parse(path: Path, lines: list[str], separator: str, header: int) -> pd.DataFrame:
    """Cells of the lines from the header (line number `header`) on."""
    rows = [line.rstrip(separator) for line in lines]
    fields = rows[0].count(separator)
    for number, row in enumerate(rows, header):
        if row.count(separator) > fields and '"' not in row:
            raise InputError(
                f"{path}, line {number}: {row.count(separator) + 1} fields under a header of "
                f"{fields + 1}; accepted are rows with as many fields as the header"
            )
    try:
        return pd.read_csv(
            io.StringIO("\n".join(rows)),
            sep=separator,
            dtype=str,
            keep_default_na=False,
            skip_blank_lines=False,
            index_col=False,
        )
    except pd.errors.ParserError as error:
        reason = " ".join(str(error).split())
        raise InputError(
            f"{path}: {reason} (lines counted from the header, line {header}); accepted are "
            "rows with as many fields as the header, quotes in pairs"
        ) from error


def _decode(path: Path) -> str:
    try:
        data = path.read_bytes()
        if data.startswith(b"\x1f\x8b"):
            data = gzip.decompress(data)
    except FileNotFoundError as error:
        raise InputError(
            f"{path}: no such weather file; accepted is the path of a CSV file"
        ) from error
    except (OSError, EOFError, zlib.error) as error:
        raise InputError(
            f"{path}: the weather file cannot be read ({error}); accepted is CSV text, plain or "
            "gzip"
        ) from error
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    if b"\x00" in data[:8192]:
        raise InputError(
            f"{path}: this is not a text file; accepted is CSV text (save a spreadsheet as CSV)"
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")
