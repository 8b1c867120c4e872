"""A region's map: each cell as `compare` has it, cells masked and counted, runs that go on."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from compliance_checker import runner

sys.path.insert(0, str(Path(__file__).parent))

import region_samples as samples

from climate_risk import api, cli
from climate_risk.region import extra
from climate_risk.region import run as region_run
from climate_risk.region.results import RUN, SEA, SHORT, RegionMap
from climate_risk.report.map_dataset import map_dataset, netcdf_bytes
from climate_risk.report.map_page import write_map
from climate_risk.report.map_words import chance_said


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("region")
    samples.region().to_netcdf(folder / "grid.nc")
    return folder


@pytest.fixture(scope="module")
def found(folder: Path) -> RegionMap:
    yard, work = samples.yard(folder), folder / "results"
    return api.map_region(yard, folder / "grid.nc", work=work, draws=samples.DRAWS)


def test_cells_are_masked_and_counted(found: RegionMap) -> None:
    assert found.state[samples.BAY] == SEA
    assert found.state[samples.SHORT] == SHORT
    assert [found.count(state) for state in (RUN, SEA, SHORT)] == [4, 1, 1]
    stack = found.stacks[0]
    masked = found.state != RUN
    assert np.isnan(stack.chance[:, masked]).all()
    assert np.isfinite(stack.chance[:, ~masked]).all()
    assert 0 < stack.years[samples.SHORT] < 10
    assert found.observed[samples.SHORT] < 0.6


def test_a_cell_equals_compare_at_that_place_bit_for_bit(
    found: RegionMap, folder: Path, tmp_path: Path
) -> None:
    """The cell's series as a weather file of a yard at its place: same checks, fills and runs."""
    grid = xr.open_dataset(folder / "grid.nc")
    stack = found.stacks[0]
    for row, column in ((1, 0), (0, 2)):
        cell = grid.isel(lat=row, lon=column)
        samples.canonical(cell).to_csv(tmp_path / "weather.csv")
        yard = samples.yard(tmp_path, float(cell["lat"]), float(cell["lon"]), float(cell["orog"]))
        weather = api.load_weather(yard)
        result = api.compare(yard, weather, draws=samples.DRAWS)
        options = {option.canopy: option for option in result.stacks[0].options}
        assert stack.years[row, column] == len(options["open"].years)
        for place, option in enumerate(found.options):
            chance = options[option.canopy].chance
            assert chance is not None
            assert stack.chance[place, row, column] == chance.mean
            assert stack.low[place, row, column] == chance.low
            assert stack.high[place, row, column] == chance.high
            assert stack.draw_error[place, row, column] == chance.draw_error
        best = found.options[int(stack.best[row, column])]
        assert best.canopy == result.stacks[0].best.canopy
    assert np.unique(stack.chance[:, found.state == RUN]).size > 2


def test_the_dataset_conforms_to_cf(found: RegionMap, tmp_path: Path) -> None:
    """Checked by IOOS's compliance-checker against the CF conventions 1.8."""
    path = tmp_path / "map.nc"
    path.write_bytes(netcdf_bytes(map_dataset(found)))
    runner.CheckSuite.load_all_available_checkers()
    out = tmp_path / "report.txt"
    passed, _ = runner.ComplianceChecker.run_checker(
        str(path), ["cf:1.8"], verbose=0, criteria="strict", output_filename=str(out)
    )
    assert passed, out.read_text()


def test_the_dataset_holds_what_was_found(found: RegionMap, tmp_path: Path) -> None:
    path = tmp_path / "map.nc"
    path.write_bytes(netcdf_bytes(map_dataset(found)))
    data = xr.open_dataset(path)
    assert data["chance_of_loss"].dims == ("option", "lat", "lon")
    assert list(data["option"].values) == ["in the open, bare", "under deciduous trees, bare"]
    np.testing.assert_array_equal(data["chance_of_loss"], found.stacks[0].chance)
    np.testing.assert_array_equal(data["cell_state"], found.state)
    assert data.attrs["cells_sea"] == 1
    assert data.attrs["cells_short"] == 1
    bare = data["chance_of_loss"].sel(option="under deciduous trees, bare")
    best = data["chance_of_loss"].isel(option=data["best_option"].fillna(0).astype(int))
    expected = (bare - best).where(data["cell_state"] == RUN)
    np.testing.assert_array_equal(data["gain"], expected)


def test_a_run_that_was_killed_goes_on_with_the_other_blocks(
    found: RegionMap, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("climate_risk.region.store.BLOCK", (1, 2))
    done = []

    def stop(share: float) -> None:
        done.append(share)
        if len(done) == 2:
            raise KeyboardInterrupt

    yard = samples.yard(tmp_path)
    yard = replace(yard, compare=replace(yard.compare, canopies=("open",)))
    grid = folder / "grid.nc"
    with pytest.raises(KeyboardInterrupt):
        api.map_region(yard, grid, work=tmp_path, draws=samples.DRAWS, progress=stop)
    again = api.map_region(yard, grid, work=tmp_path, draws=samples.DRAWS)
    assert (again.blocks, again.blocks_kept) == (4, 2)
    np.testing.assert_array_equal(again.stacks[0].chance[0], found.stacks[0].chance[0])
    np.testing.assert_array_equal(again.state, found.state)
    other = region_run.key_of(
        region_run.source_of_the_package(), yard.sha256, "another grid", None, samples.DRAWS
    )
    assert again.work is not None
    assert other[:24] not in again.work.name
    write_map(tmp_path, again)
    assert not again.work.exists()


def test_the_command_writes_dataset_picture_and_page(
    found: RegionMap, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It goes on from what the fixture's run left, which needs no block more."""
    out = folder / "results"
    words = ["map", str(folder / "grid.nc"), "--yard", str(folder), "--out", str(out)]
    assert cli.main([*words, "--draws", str(samples.DRAWS)]) == 0
    said = capsys.readouterr()
    assert f"{found.blocks} of {found.blocks} blocks were done by an earlier run" in said.err
    assert (
        "Of 6 cells 4 were run; left out: 1 sea, 0 without temperature or rain, 1 with" in said.out
    )
    assert sorted(path.name for path in out.iterdir()) == ["map.html", "map.nc", "map.png"]


def test_a_chance_that_nobody_met_is_not_called_nought() -> None:
    assert [chance_said(chance) for chance in (0.0, 0.18)] == ["none seen", "18 %"]


def test_without_its_libraries_the_command_says_what_to_install(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    real = extra.find_spec
    monkeypatch.setattr(extra, "find_spec", lambda name: None if name == "zarr" else real(name))
    words = ["map", str(folder / "grid.nc"), "--yard", str(folder), "--out", str(tmp_path / "out")]
    assert cli.main([*words, "--quiet"]) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("climate-risk: a region needs zarr, which")
    assert 'pip install "climate-risk[region]"' in line
    assert not (tmp_path / "out").exists()
