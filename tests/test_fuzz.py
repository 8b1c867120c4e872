"""The short form of ``tests/fuzz.py``, and the inputs that once ended in a traceback."""

from __future__ import annotations

import gzip
from pathlib import Path

import fuzz
import pytest

from climate_risk.errors import ClimateRiskError, InputError, RunError
from climate_risk.weather import load_weather
from climate_risk.weather.text_table import MAX_BYTES

HEAD = "date,air_temp_min_c,air_temp_max_c,precip_mm\n"
HOURS = "time,air_temp_c,dew_point_c,precip_mm\n"


def refusal(folder: Path, text: str | bytes) -> InputError:
    path = folder / "weather.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(InputError) as caught:
        load_weather(path, fuzz.SITE)
    assert all(line.isprintable() for line in caught.value.lines)
    return caught.value


def test_damaged_inputs_are_read_or_refused_in_a_line(tmp_path: Path) -> None:
    wrong = {number: fuzz.run_one(number, tmp_path) for number in range(1, 301)}
    assert {number: text for number, text in wrong.items() if text} == {}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (HEAD + "0001-06-01,1,2,0\n2013-06-01,1,2,0\n", "line 2: '0001-06-01' is not a date"),
        (HEAD + "1800-06-01,1,2,0\n", "line 2: '1800-06-01' is not a date"),
        (",", "accepted"),
        (HEAD + "2024-06-01,,20,0\n2024-06-02,,21,0\n", "no value of air_temp_min_c"),
        (HOURS + "".join(f"2024-06-01 {h:02d}:00,,9,0\n" for h in range(24)), "air_temp_c"),
        (
            HEAD
            + "".join(f"2024-06-{d:02d},10,20,1\n" for d in range(1, 31))
            + "2099-06-01,10,20,1\n",
            "line 32: '2099-06-01' lies more than 400 days from all other rows",
        ),
    ],
    ids=["year 1", "1800", "a comma", "no minima", "no hourly air", "2099"],
)
def test_what_once_was_a_traceback_or_was_filled_up(tmp_path: Path, text: str, words: str) -> None:
    assert words in str(refusal(tmp_path, text))


def test_every_mistake_of_a_file_has_a_line(tmp_path: Path) -> None:
    text = HEAD + "2024-06-01,x1,2,0\n2024-06-02,1,x2,0\n2024-06-03,1,2,x3\n"
    lines = refusal(tmp_path, text).lines
    assert [word for word in ("x1", "x2", "x3") if any(word in line for line in lines)] == [
        "x1",
        "x2",
        "x3",
    ]
    assert len(lines) == 3


def test_many_mistakes_are_cut_and_counted(tmp_path: Path) -> None:
    rows = "".join(f"2024-06-{d:02d},x,2,0\n" for d in range(1, 29))
    lines = refusal(tmp_path, HEAD + rows).lines
    assert len(lines) == 21
    assert lines[-1] == "and 8 mistakes more"


def test_what_steers_a_terminal_is_escaped_and_long_text_is_cut(tmp_path: Path) -> None:
    header = HEAD.strip() + ",\x1b[31mred," + "y" * 5000 + "\n"
    error = refusal(tmp_path, header + "2024-06-01,x\x1b[2J" + "z" * 5000 + ",2,0,1,1\n")
    assert "\\x1b" in str(error)
    assert max(map(len, error.lines)) < 600


def test_every_mistake_of_a_yard_has_a_line(tmp_path: Path) -> None:
    text = (fuzz.DATA / "full_yard.toml").read_text(encoding="utf-8")
    text = text.replace("latitude = ", "latitude = 1", 1).replace('canopy = "', 'canopy = "x', 1)
    text = text.replace('wood = "', 'wood = "x')
    path = tmp_path / "yard.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        fuzz.read_yard(path)
    said = str(caught.value)
    assert said.count("wood") >= 2
    assert "canopy" in said
    assert len(caught.value.lines) >= 3


def test_a_file_too_large_is_refused_before_it_is_read(tmp_path: Path) -> None:
    """Also one that is small on disk and unpacks to more than is taken."""
    path = tmp_path / "weather.csv"
    with path.open("wb") as stream:
        stream.truncate(MAX_BYTES + 2)
    with pytest.raises(InputError, match="more than 200 MB"):
        load_weather(path, fuzz.SITE)
    packed = tmp_path / "weather.csv.gz"
    with gzip.open(packed, "wb", compresslevel=1) as stream:
        for _ in range(MAX_BYTES // 1_000_000 + 1):
            stream.write(b"0" * 1_000_000)
    with pytest.raises(InputError, match="more than 200 MB"):
        load_weather(packed, fuzz.SITE)


@pytest.mark.parametrize("path", ["/dev/zero", "/"])
def test_what_is_no_file_is_not_read(path: str) -> None:
    if Path(path).exists():
        with pytest.raises(InputError, match="not a file"):
            load_weather(path, fuzz.SITE)


def test_errors_keep_a_status_of_their_own() -> None:
    assert (InputError("x").exit_status, RunError("x").exit_status) == (2, 1)
    assert issubclass(InputError, ClimateRiskError)
    assert str(InputError("a", "b")) == "a\nb"
