"""Rules of the house that a reader would otherwise have to watch over."""

from __future__ import annotations

import ast
import importlib
import inspect
from collections.abc import Iterator
from pathlib import Path

import pytest

import climate_risk
from climate_risk import api, plot, tables
from climate_risk.parameter import Parameter, Row, sources

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "climate_risk"
MODULES = sorted(PACKAGE.rglob("*.py"))
STAGES = (
    "base",
    "weather",
    "microclimate",
    "log",
    "fungus",
    "engine",
    "risk",
    "region",
    "api",
    "report",
    "cli",
)
"""Each imports itself and what stands before it; report reads results and never calls api."""
SMALL_LINES = 400
FOLDERS = (".ci", "climate_risk", "tests", "sample_data", "notebooks")
FILES = ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml")
BUILT = ("build", "dist", "climate_risk.egg-info")
TEXT = {".py", ".toml", ".md", ".css", ".html", ".csv", ".ipynb", ".cfg", ".txt", ".yml", ""}


def name_of(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


def stage_of(module: str) -> str:
    """Stage of a dotted module name inside the package."""
    parts = module.split(".")
    first = parts[1] if len(parts) > 1 else "api"
    if first in ("__main__", "bench", "cli") or parts[1:] == ["region", "bench"]:
        return "cli"
    if first == "plot":
        return "report"
    return first if first in STAGES else "base"


def imports_of(path: Path) -> Iterator[str]:
    """Modules of the package that a file imports, wherever in the file it does so."""
    known = {"climate_risk." + name_of(p)[:-3].replace("/", ".") for p in MODULES}
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (a.name for a in node.names if a.name.startswith("climate_risk"))
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("climate_risk"):
            assert node.level == 0, path
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                yield inner if inner in known or node.module == "climate_risk" else node.module


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_imports_run_one_way(path: Path) -> None:
    own = stage_of("climate_risk." + name_of(path)[:-3].replace("/", "."))
    if name_of(path) == "__init__.py":  # the front door offers what all rooms before cli have
        own = "report"
    for module in imports_of(path):
        assert STAGES.index(stage_of(module)) <= STAGES.index(own), module


def test_the_rule_on_imports_would_see_a_wrong_one(tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.py"
    wrong.write_text("def f():\n    from climate_risk.risk import chance\n", encoding="utf-8")
    assert [stage_of(module) for module in imports_of(wrong)] == ["risk"]
    assert stage_of("climate_risk.weather.sun") == "weather"
    assert stage_of("climate_risk.tables") == "base"


REPORT_READS = (
    "climate_risk.report",
    "climate_risk.risk.advice",
    "climate_risk.risk.hindsight",
    "climate_risk.risk.measured_results",
    "climate_risk.risk.results",
    "climate_risk.region.results",
    "climate_risk.weather",
    "climate_risk.interventions",
    "climate_risk.units",
    "climate_risk.constants",
    "climate_risk.errors",
    "climate_risk.version",
    "climate_risk.whole_file",
)
"""Plain records and units: what is shown comes from results, never from tables or engine."""


@pytest.mark.parametrize("path", sorted((PACKAGE / "report").rglob("*.py")), ids=name_of)
def test_report_reads_results_and_units_only(path: Path) -> None:
    for module in imports_of(path):
        assert module.startswith(REPORT_READS), module


REGION_ONLY = {"xarray", "dask", "distributed", "zarr", "h5netcdf", "cf_xarray", "cftime", "pint"}
LAZY = {"icalendar", "meteostat", "pvlib", "matplotlib", "scipy", "xclim"} | REGION_ONLY


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_heavy_libraries_load_only_where_they_are_used(path: Path) -> None:
    """At the top of no module; on the way to the command line not even pandas and numba."""
    quick = name_of(path) in ("cli.py", "__main__.py", "__init__.py", "api.py")
    banned = LAZY | ({"pandas", "numpy", "numba"} if quick else set())
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
        assert not banned & {name.split(".")[0] for name in names}


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_files_are_small(path: Path) -> None:
    lines = len(path.read_text(encoding="utf-8").splitlines())
    assert lines <= SMALL_LINES, f"{name_of(path)} has {lines} lines"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_only_commands_print(path: Path) -> None:
    calls = {
        node.func.id
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    }
    commands = ("cli.py", "bench/__main__.py", "region/bench.py")
    assert "print" not in calls or name_of(path) in commands
    assert not calls & {"breakpoint", "eval", "exec", "input"}


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_every_module_says_what_it_is_for(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree) or not tree.body


def parameters() -> Iterator[tuple[str, Parameter]]:
    """Every number of every table."""
    groups = (
        tables.fungi(),
        tables.woods(),
        tables.canopies(),
        tables.bags(),
        tables.cloths(),
        tables.barriers(),
        {"model": tables.model(), "plan": tables.batch()},
    )
    rows: list[Row] = [row for group in groups for row in group.values()]
    for row in rows:
        for key, value in vars(row).items():
            if isinstance(value, Parameter):
                yield f"{row.name}.{key}", value
            elif isinstance(value, dict):
                yield from ((f"{row.name}.{key}.{k}", v) for k, v in value.items())


def test_every_number_of_the_tables_has_a_known_source_and_a_unit() -> None:
    found = list(parameters())
    assert len(found) > 400
    for name, parameter in found:
        assert parameter.source in sources(), name
        assert parameter.unit, name


def test_the_package_offers_its_entry_points_and_no_more() -> None:
    public = {
        name
        for name, value in vars(api).items()
        if inspect.isfunction(value) and value.__module__ == api.__name__
    }
    assert set(climate_risk.__all__) == public | set(plot.__all__)
    for name in climate_risk.__all__:
        assert getattr(climate_risk, name) is getattr(api if name in public else plot, name)
    with pytest.raises(AttributeError, match="nothing"):
        climate_risk.nothing  # noqa: B018


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_what_a_module_lists_is_there(path: Path) -> None:
    dotted = "climate_risk." + name_of(path)[:-3].replace("/", ".")
    if dotted.endswith("__main__"):
        return
    module = importlib.import_module(dotted.removesuffix(".__init__"))
    listed = getattr(module, "__all__", [])
    assert len(listed) == len(set(listed))
    assert [name for name in listed if not hasattr(module, name)] == []


def texts() -> Iterator[Path]:
    """Every text file of the project."""
    yield from (
        path
        for path in ROOT.iterdir()
        if path.is_file() and path.suffix in TEXT and path.name != ".git"
    )
    for folder in FOLDERS:
        for path in (ROOT / folder).rglob("*"):
            if path.is_file() and path.suffix in TEXT and "__pycache__" not in path.parts:
                yield path


def test_no_file_points_outside_the_project() -> None:
    """Machine paths mean nothing to a reader elsewhere."""
    banned = [
        "/" + "/".join(parts) for parts in (("work", "shared"), ("work", "main"), ("opt", "venvs"))
    ]
    banned.append("/." + "library")
    wrong = [
        f"{path.relative_to(ROOT)}: {word}"
        for path in texts()
        for word in banned
        if word in path.read_text(encoding="utf-8", errors="replace")
    ]
    assert wrong == []
    assert len(list(texts())) > 50


def test_the_top_level_holds_what_it_is_to_hold() -> None:
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert found - set(BUILT) == {*FILES, *FOLDERS} - {".ci"}


def test_nothing_is_left_to_do() -> None:
    """Work that is not done belongs in the list of limits, not in the code."""
    marks = ["TO" + "DO", "FIX" + "ME", "XX" + "X"]
    wrong = [
        name_of(path)
        for path in MODULES
        for mark in marks
        if mark in path.read_text(encoding="utf-8")
    ]
    assert wrong == []


def test_a_change_to_any_file_of_a_kernel_renews_what_was_compiled() -> None:
    """A kernel holds numbers of other files as constants: any of them makes it stale."""
    from climate_risk import compiled

    files = {path.relative_to(PACKAGE).as_posix() for path in compiled.kernel_files()}
    kernels = {
        name_of(path)
        for path in MODULES
        if {"compiled", "inlined", "law"} & set(imported_from_compiled(path))
    }
    assert kernels <= files
    needed = {
        module.removeprefix("climate_risk.").replace(".", "/") + ".py"
        for name in kernels
        for module in imports_of(PACKAGE / name)
    }
    assert needed <= files


def imported_from_compiled(path: Path) -> Iterator[str]:
    """Names that a module takes from ``climate_risk.compiled``."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module == "climate_risk.compiled":
            yield from (alias.name for alias in node.names)
