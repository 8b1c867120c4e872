"""A delimited text file as rows of text, with the line number of every row."""

from __future__ import annotations

import csv
import gzip
import io
import re
import zipfile
import zlib
from collections import Counter
from pathlib import Path

import pandas as pd

from climate_risk.errors import InputError, quoted, shown

MAX_BYTES = 200_000_000
"""Thirty years of readings every five minutes are a hundred million; more is refused."""
HEADER_LINES = 60
"""A header is looked for in this many first lines."""
SEPARATORS = ",;\t"
_COMMENT = re.compile(r"\s*#(?!\s*[,;\t])")
"""A hash before a separator is a loggers' header for the number of a reading."""
_TIME_WORD = re.compile(r'^[\s"\']*(date|time|day\b|datetime|timestamp)', re.IGNORECASE)


def read_text(path: Path) -> str:
    """Text of a file, plain or gzip: UTF-8, UTF-16 with its mark, or Windows-1252.

    Of a workbook the first sheet, as tab-separated text.

    Raises
    ------
    InputError
        The file is absent, too large, or no text.
    """
    try:
        if path.exists() and not path.is_file():
            raise InputError(f"{shown(path)}: not a file; accepted is the path of a weather file")
        with path.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
        if data.startswith(b"\x1f\x8b"):
            with gzip.open(io.BytesIO(data)) as packed:
                data = packed.read(MAX_BYTES + 1)
    except FileNotFoundError as error:
        raise InputError(
            f"{shown(path)}: no such weather file; accepted is the path of a CSV file"
        ) from error
    except (OSError, EOFError, ValueError, zlib.error) as error:
        raise InputError(
            f"{shown(path)}: the weather file cannot be read ({shown(error)}); accepted is CSV "
            "text, plain or gzip"
        ) from error
    if len(data) > MAX_BYTES:
        raise InputError(
            f"{path}: more than {MAX_BYTES / 1e6:.0f} MB; accepted is a smaller file, such as "
            "the years that are wanted"
        )
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    if data.startswith(b"PK\x03\x04"):
        return _sheet_as_text(path, data)
    if b"\x00" in data[:8192]:
        raise InputError(
            f"{path}: this is not a text file; accepted is CSV text (save a spreadsheet as CSV)"
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _sheet_as_text(path: Path, data: bytes) -> str:
    """The first sheet of a workbook (Office Open XML, ISO/IEC 29500) as tab-separated text."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as book:
            whole = sum(part.file_size for part in book.infolist())
        if whole > MAX_BYTES:
            raise InputError(f"{path}: unpacks to more than {MAX_BYTES / 1e6:.0f} MB; accepted is "
                             "a smaller workbook, or its sheet as CSV")  # fmt: skip
        sheet = pd.read_excel(io.BytesIO(data), header=None, dtype=object, engine="openpyxl")
    except InputError:
        raise
    except Exception as error:  # each part of the format fails in a way of its own
        raise InputError(
            f"{path}: not a text file and no workbook that can be read "
            f"({shown(type(error).__name__)}); accepted is CSV text, or a workbook (.xlsx) whose "
            "first sheet has a header and a row a day or hour"
        ) from error
    return sheet.to_csv(sep="\t", header=False, index=False, date_format="%Y-%m-%d %H:%M:%S")


def text_table(path: Path, text: str) -> pd.DataFrame:
    """Split CSV-like text into cells without guessing at types.

    Parameters
    ----------
    path : Path
        For messages.
    text : str
        Comma, semicolon or tab separated; lines that start with ``#`` before the header are
        comments, and a title above the header is passed over.

    Returns
    -------
    DataFrame
        Every cell as stripped text, headers as given; the index is the line number in the
        file, ``attrs["header_line"]`` that of the header. Where the separator is not a comma,
        a decimal comma is turned into a point.

    Raises
    ------
    InputError
        No row, or a row with too many fields.
    """
    lines = text.splitlines()
    skipped = _header_line(lines)
    if skipped == len(lines):
        raise InputError(
            f"{path}: the file is empty; accepted is a CSV file with a header line "
            "and one row per day or hour"
        )
    separator = _separator(lines[skipped])
    table = _parse(path, lines[skipped:], separator, skipped + 1)
    table.columns = [str(name).strip().strip('"') for name in table.columns]
    table.index = pd.RangeIndex(skipped + 2, skipped + 2 + len(table))
    table = table.fillna("")
    for place in range(table.shape[1]):
        cells = table.iloc[:, place].str.strip()
        if separator != ",":
            cells = cells.str.replace(",", ".", regex=False)
        table.isetitem(place, cells.to_numpy())
    twice = [name for name, count in Counter(table.columns).items() if count > 1 and name]
    if twice:
        raise InputError(
            f"{path}: more than one column has the header {quoted(twice[0])}; accepted is a name "
            "of its own for each"
        )
    filled = table.loc[(table != "").any(axis=1)]
    filled.attrs["header_line"] = skipped + 1
    return filled


def _header_line(lines: list[str]) -> int:
    """Number of the header's line: the first that names a date or time, else the first at all."""
    first = len(lines)
    for number, line in enumerate(lines[:HEADER_LINES]):
        if not line.strip() or _COMMENT.match(line):
            continue
        first = min(first, number)
        if _names_a_time(line, _separator(line)):
            return number
    if first == len(lines) > HEADER_LINES:
        return next((n for n, line in enumerate(lines) if line.strip()), first)
    return first


def _separator(line: str) -> str:
    """What parts a header's cells: what bares a date or time, else what is there most often."""
    by_count = sorted(SEPARATORS, key=line.count, reverse=True)
    return next((each for each in by_count if _names_a_time(line, each)), by_count[0])


def _names_a_time(line: str, separator: str) -> bool:
    cells = next(csv.reader([line[:10_000]], delimiter=separator), [])
    return len(cells) > 1 and any(_TIME_WORD.match(cell) for cell in cells)


def _parse(path: Path, lines: list[str], separator: str, header: int) -> pd.DataFrame:
    """Cells of the lines from the header (line number `header`) on."""
    rows = [line.rstrip(separator) for line in lines]
    quoted = '"' in rows[0]
    fields = rows[0].count(separator)
    if quoted:
        fields = len(next(csv.reader([rows[0]], delimiter=separator))) - 1
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
    except (ValueError, OverflowError) as error:
        reason = shown(" ".join(str(error).split()))
        raise InputError(
            f"{path}: {reason} (lines counted from the header, line {header}); accepted are "
            "rows with as many fields as the header, quotes in pairs"
        ) from error
