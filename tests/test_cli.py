"""The command line: words in, words out, one line for every mistake."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
from datetime import date
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

from climate_risk import api
from climate_risk.cli import main
from climate_risk.report import files
from climate_risk.yard import read_yard, write_starter

ROOT = Path(__file__).parents[1]
HEAVY = ("pandas", "numpy", "numba", "pvlib", "matplotlib", "meteostat", "scipy")
PROBE = f"""
import sys
from climate_risk.cli import main
try:
    status = main(sys.argv[1:])
except SystemExit as stop:
    status = stop.code
loaded = [name for name in {HEAVY!r} if name in sys.modules]
print("LOADED", *loaded)
sys.exit(status)
"""


def environment() -> dict[str, str]:
    """Of a process that finds the package in this tree."""
    return os.environ | {"PYTHONPATH": str(ROOT)}


def probe(*words: str) -> tuple[int, list[str], str]:
    """Exit status, heavy libraries that were loaded, and all that was said."""
    # An empty folder: whatever lies about in a shared one could stand in for a module.
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(
            [sys.executable, "-c", PROBE, *words],
            capture_output=True,
            text=True,
            env=environment(),
            cwd=folder,
            check=False,
        )
    said, _, loaded = done.stdout.rpartition("LOADED")
    return done.returncode, loaded.split(), said + done.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("--help",),
        ("--version",),
        ("demo", "--help"),
        ("init", "--help"),
        ("season", "--help"),
        ("compare", "--help"),
        ("plan", "--help"),
    ],
)
def test_help_answers_at_once(words: tuple[str, ...]) -> None:
    status, loaded, said = probe(*words)
    assert status == 0
    assert loaded == []
    assert "climate-risk" in said


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "COMMAND"),
        (("sesaon",), "invalid choice"),
        (("season",), "YARD"),
        (("season", "yard.toml", "--as-of", "July"), "'July' is no date; use year-month-day"),
        (("season", "yard.toml", "--as-of", "2026-02-30"), "is no date"),
        (("season", "yard.toml", "--units", "imperial"), "invalid choice"),
        (("season", "yard.toml", "--draws", "0"), "use a whole number from 1 to 1000"),
        (("season", "yard.toml", "--draws", "many"), "use a whole number from 1 to 1000"),
        (("compare", "yard.toml", "--years", "2024"), "is no span of years; use, say, 1995:2024"),
        (("compare", "yard.toml", "--years", "2024:1995"), "is no span of years"),
        (("compare", "yard.toml", "--years", "a:b"), "is no span of years"),
        (("compare", "yard.toml", "--surprise"), "unrecognized arguments"),
    ],
)
def test_wrong_words_are_answered_at_once(words: tuple[str, ...], told: str) -> None:
    status, loaded, said = probe(*words)
    assert status == 2
    assert loaded == []
    assert told in said
    assert said.startswith("climate-risk: ")
    assert said.count("\n") == 1


def one_line(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """The single line that a run with wrong input says; nothing is written."""
    status = main([*words, "--quiet"])
    said = capsys.readouterr()
    assert status == 2
    assert said.out == ""
    assert said.err.startswith("climate-risk: ")
    lines = said.err.splitlines()
    assert all(line.startswith("climate-risk: ") for line in lines), said.err
    assert len(lines) <= 3
    assert "Traceback" not in said.err
    return said.err


def test_missing_yard_is_one_line_and_loads_nothing_heavy(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert "nowhere.toml" in one_line(capsys, "season", str(tmp_path / "nowhere.toml"))
    assert probe("season", str(tmp_path / "nowhere.toml"))[:2] == (2, [])
    assert "yard.toml" in one_line(capsys, "compare", str(tmp_path))


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('fungus = "grey oyster"', 'fungus = "grey oister"', '"grey oister"; nearest: "grey oyst'),
        ('diameter = "15 cm"', 'diameter = "12 inchs"', "(nearest: in)"),
        ('diameter = "15 cm"', 'diameter = "-15 cm"', "must be 5 cm to 60 cm"),
        ("latitude = 42.5", "latitude = 200", "must be -90 to 90"),
        ('canopy = "deciduous"', 'canopy = "umbrella"', "known: "),
        ("inoculated = 2010-04-12", 'inoculated = "soon"', "inoculated"),
        ("[yard]", "[yard", "yard.toml"),
    ],
)
@pytest.mark.parametrize("command", ["season", "compare"])
def test_mistakes_in_the_yard_file(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    command: str,
    old: str,
    new: str,
    told: str,
) -> None:
    path = samples.write_yard(tmp_path)
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), encoding="utf-8")
    said = one_line(capsys, command, str(path), "--out", str(tmp_path / "out"))
    assert told in said
    assert "yard.toml" in said
    assert not (tmp_path / "out").exists()


def weather_text(first: str = "2010-01-01", last: str = "2010-09-30") -> str:
    return samples.daily_table(first, last).to_csv()


def fahrenheit(text: str) -> str:
    lines = text.splitlines()
    rows = []
    for line in lines[1:]:
        day, low, mean, high, *rest = line.split(",")
        warm = [f"{float(value) * 1.8 + 32.0:.1f}" for value in (low, mean, high)]
        rows.append(",".join([day, *warm, *rest]))
    return "\n".join([lines[0], *rows, ""])


def twice_a_day(text: str) -> str:
    """The tenth day again, warmer."""
    lines = text.splitlines()
    day, *values = lines[10].split(",")
    return "\n".join([*lines[:11], ",".join([day, *(f"{float(v) + 1}" for v in values)]), ""])


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "empty"),
        (bytes(range(256)) * 40, "weather.csv"),
        (weather_text().replace("date,", "row,", 1).encode(), "date"),
        (twice_a_day(weather_text()).encode(), "2010-01-10"),
        (fahrenheit(weather_text()).encode(), "ahrenheit"),
        (weather_text("2001-01-01", "2003-12-31").encode(), "2001-01-01 to 2003-12-31"),
    ],
    ids=["empty", "binary", "no date", "day twice", "fahrenheit", "elsewhen"],
)
def test_weather_files_that_do_not_serve(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, content: bytes, told: str
) -> None:
    path = samples.write_yard(tmp_path)
    (tmp_path / "weather.csv").write_bytes(content)
    said = one_line(capsys, "season", str(path), "--out", str(tmp_path / "out"))
    assert told in said
    assert not (tmp_path / "out").exists()


def test_missing_weather_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = samples.write_yard(tmp_path)
    assert "weather.csv" in one_line(capsys, "compare", str(path))
    other = tmp_path / "other.csv"
    assert "other.csv" in one_line(capsys, "compare", str(path), "--weather", str(other))


def test_a_day_before_the_season(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = samples.write_yard(tmp_path)
    (tmp_path / "weather.csv").write_text(weather_text("2002-01-01"), encoding="utf-8")
    said = one_line(capsys, "season", str(path), "--as-of", "2010-01-15")
    assert "2010-01-15" in said
    assert "2010-03-20" in said


def test_years_outside_the_weather(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = samples.write_yard(tmp_path)
    (tmp_path / "weather.csv").write_text(weather_text("2002-01-01"), encoding="utf-8")
    said = one_line(capsys, "compare", str(path), "--years", "1950:1960")
    assert "1950 to 1960" in said


def test_a_disk_that_refuses_is_one_line_and_status_1(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    assert main(["init", str(blocked / "yard")]) in (1, 2)
    said = capsys.readouterr().err
    assert said.startswith("climate-risk: ")
    assert said.count("\n") == 1


def test_init_writes_a_yard_that_reads_back(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert main(["init", str(tmp_path / "mine")]) == 0
    assert "climate-risk season" in capsys.readouterr().out
    yard = read_yard(tmp_path / "mine" / "yard.toml")
    assert yard.stacks
    assert all(stack.inoculated <= date.today() for stack in yard.stacks)
    assert [path.name for path in (tmp_path / "mine").iterdir()] == ["yard.toml"]


def test_init_leaves_a_yard_alone_that_is_there(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    write_starter(tmp_path)
    (tmp_path / "yard.toml").write_text("mine", encoding="utf-8")
    assert main(["init", str(tmp_path)]) == 2
    assert "already there" in capsys.readouterr().err
    assert (tmp_path / "yard.toml").read_text(encoding="utf-8") == "mine"


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A yard with 12 years of invented weather."""
    folder = tmp_path_factory.mktemp("farm")
    samples.write_yard(folder, year=2014)
    text = weather_text("2002-01-01", "2014-07-15")
    (folder / "weather.csv").write_text(text, encoding="utf-8")
    return folder


def test_season_says_and_writes_its_results(
    capsys: pytest.CaptureFixture[str], farm: Path, tmp_path: Path
) -> None:
    """A folder stands for the yard file in it; progress goes to standard error."""
    out = tmp_path / "out"
    assert main(["season", str(farm), "--draws", "1", "--out", str(out)]) == 0
    said = capsys.readouterr()
    names = {path.name for path in out.iterdir()}
    assert {"season.html", "daily.csv", "outlook.csv", "summary.json"} <= names
    assert "season.html" in said.out
    assert "running the stacks" in said.err
    assert "running the stacks" not in said.out
    days = (date.today() - date(2014, 7, 15)).days
    assert f"ends {days} days ago, on 2014-07-15, and that day is taken for today" in said.err


def test_one_command_leaves_what_the_summary_says_of_the_other(farm: Path, tmp_path: Path) -> None:
    """Unless the inputs are others."""

    def keys() -> set[str]:
        said = json.loads((tmp_path / "summary.json").read_text(encoding="utf-8"))
        return {"season", "compare"} & set(said)

    out = ["--draws", "1", "--quiet", "--out", str(tmp_path)]
    assert main(["season", str(farm), *out]) == 0
    assert main(["compare", str(farm), "--years", "2011:2012", *out]) == 0
    assert keys() == {"season", "compare"}
    yard = farm / "yard.toml"
    text = yard.read_text(encoding="utf-8")
    yard.write_text(text + "\n# another yard\n", encoding="utf-8")
    try:
        assert main(["compare", str(farm), "--years", "2011:2012", *out]) == 0
    finally:
        yard.write_text(text, encoding="utf-8")
    assert keys() == {"compare"}


def test_results_have_no_place_in_a_file(capsys: pytest.CaptureFixture[str], farm: Path) -> None:
    """Said before anything is run."""
    said = one_line(capsys, "season", str(farm), "--out", str(farm / "yard.toml"))
    assert "is a file; accepted is a folder" in said


def test_a_folder_in_a_result_s_place_leaves_the_others_unwritten(
    capsys: pytest.CaptureFixture[str], farm: Path, tmp_path: Path
) -> None:
    (tmp_path / "summary.json").mkdir()
    words = ["season", str(farm), "--draws", "1", "--quiet", "--out", str(tmp_path)]
    assert main(words) == 1
    assert "summary.json: is a folder" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["summary.json"]


@pytest.mark.skipif(os.name == "nt", reason="a terminal of POSIX")
@pytest.mark.parametrize(("seconds", "is_shown"), [(0.0, True), (60.0, False)])
def test_progress_shows_on_a_terminal_after_a_while_only(seconds: float, is_shown: bool) -> None:
    """The command's own bar in a terminal of 80 by 24, told of 20 steps."""
    import fcntl
    import pty
    import struct
    import termios

    code = (
        "import argparse, time; from climate_risk import cli\n"
        f"cli.SILENT_SECONDS = {seconds}\n"
        "with cli._progress(argparse.Namespace(quiet=False), 'compare') as tell:\n"
        "    for step in range(20): time.sleep(0.02); tell(step / 19)\n"
    )
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    subprocess.run([sys.executable, "-c", code], stderr=theirs, env=environment(), check=True)
    os.close(theirs)
    said = b""
    while True:
        try:
            said += os.read(ours, 65536)
        except OSError:
            break
    os.close(ours)
    assert (b"compare:" in said and b"left" in said) == is_shown


def test_quiet_says_nothing(
    capsys: pytest.CaptureFixture[str], farm: Path, tmp_path: Path
) -> None:
    words = ["compare", str(farm), "--years", "2011:2012", "--draws", "1", "--quiet"]
    assert main([*words, "--units", "us", "--out", str(tmp_path)]) == 0
    said = capsys.readouterr()
    assert (said.out, said.err) == ("", "")
    assert (tmp_path / "compare.html").is_file()


def test_python_gives_what_the_command_runs(farm: Path) -> None:
    yard = api.read_yard(farm / "yard.toml", units="us")
    weather = api.load_weather(yard)
    result = api.season(yard, weather, as_of=date(2014, 7, 1), draws=1)
    assert result.units == "us"
    assert result.as_of == date(2014, 7, 1)
    assert set(result.inputs) == {"yard.toml", "weather.csv"}
    assert all(len(digest) == 64 for digest in result.inputs.values())


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_interrupt_leaves_nothing_half_written(farm: Path, tmp_path: Path) -> None:
    """Status 130, one line, and no file, whole or half, when stopped in the middle of a run."""
    out = tmp_path / "out"
    words = ["-m", "climate_risk", "compare", str(farm), "--draws", "1000", "--out", str(out)]
    run = subprocess.Popen(
        [sys.executable, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(),
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    assert run.stderr is not None
    try:
        for line in run.stderr:
            if "running every option" in line:
                break
        run.send_signal(signal.SIGINT)
        said = run.communicate(timeout=60)
    finally:
        run.kill()
    assert run.returncode == 130
    assert said[0] == ""
    assert said[1].strip() == "climate-risk: stopped; the results are as they were before"
    assert not out.exists() or not list(out.iterdir())


def test_interrupt_while_writing_leaves_no_scratch_file(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "replace", stop)
    with pytest.raises(KeyboardInterrupt):
        files.write_whole(tmp_path / "page.html", "half")
    assert list(tmp_path.iterdir()) == []


def test_a_closed_pipe_is_no_failure(farm: Path, tmp_path: Path) -> None:
    """``climate-risk init DIR | head -0`` and the like."""
    run = subprocess.Popen(
        [sys.executable, "-m", "climate_risk", "init", str(tmp_path / "mine")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(),
    )
    assert run.stdout is not None
    run.stdout.close()
    said = run.stderr.read() if run.stderr else ""
    assert run.wait(60) == 0
    assert "Traceback" not in said
    assert (tmp_path / "mine" / "yard.toml").is_file()
