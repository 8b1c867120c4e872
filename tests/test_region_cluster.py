"""A region on a dask cluster: separate processes on the loopback interface, one of them killed."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import distributed
import region_samples as samples

from climate_risk import api, cli
from climate_risk.region import bench
from climate_risk.region.results import RegionMap
from climate_risk.yard import Yard

SECONDS = 60.0


@dataclass
class Cluster:
    """A scheduler and two workers, each a process of its own."""

    address: str
    workers: list[subprocess.Popen[bytes]]


def started(*words: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", *words, "--no-dashboard", "--host", "127.0.0.1"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    file = tmp_path_factory.mktemp("cluster") / "scheduler.json"
    scheduler = started(
        "distributed.cli.dask_scheduler", "--port", "0", "--scheduler-file", str(file)
    )
    workers: list[subprocess.Popen[bytes]] = []
    try:
        until = time.monotonic() + SECONDS
        while not file.exists() or not file.read_text():
            assert time.monotonic() < until
            time.sleep(0.1)
        address = json.loads(file.read_text())["address"]
        workers += [
            started("distributed.cli.dask_worker", address, "--nthreads", "1", "--no-nanny",
                    "--local-directory", str(file.parent))
            for _ in range(2)
        ]  # fmt: skip
        yield Cluster(address, workers)
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("region")
    samples.region().to_netcdf(folder / "grid.nc")
    return folder


@pytest.fixture(scope="module")
def yard(folder: Path) -> Yard:
    yard = samples.yard(folder)
    return replace(yard, compare=replace(yard.compare, canopies=("open",)))


def same(one: RegionMap, other: RegionMap) -> None:
    """Every number of both, bit for bit."""
    np.testing.assert_array_equal(one.state, other.state)
    np.testing.assert_array_equal(one.observed, other.observed)
    assert one.water_residual == other.water_residual
    for left, right in zip(one.stacks, other.stacks, strict=True):
        for name in ("chance", "low", "high", "best", "years"):
            np.testing.assert_array_equal(getattr(left, name), getattr(right, name))


def test_a_worker_killed_in_mid_run_changes_no_bit(
    cluster: Cluster, yard: Yard, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("climate_risk.region.store.BLOCK", (1, 1))
    with distributed.Client(cluster.address, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=SECONDS)
        seen: list[float] = []

        def kill_one(share: float) -> None:
            seen.append(share)
            if len(seen) == 1:
                busy = {name for name, tasks in client.processing().items() if tasks}
                assert len(busy) == 2, "both have blocks under way or waiting"
                cluster.workers[0].kill()
                cluster.workers[0].wait()

        spread = api.map_region(
            yard, folder / "grid.nc", scheduler=cluster.address, draws=1, progress=kill_one
        )
        assert len(client.scheduler_info()["workers"]) == 1
    assert len(seen) == spread.blocks == 6
    alone = api.map_region(yard, folder / "grid.nc", draws=1)
    same(spread, alone)
    assert (spread.stacks[0].chance > 0.0).any()


def test_an_address_that_is_none_and_one_where_nobody_answers(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr("climate_risk.region.run.WAIT_S", 1.0)
    grid = str(folder / "grid.nc")
    samples.yard(folder)
    for address, status, said in (
        ("tcp://127.0.0.1:9", 1, "nobody answers within 1 s"),
        ("nonsense://x", 2, "no address"),
    ):
        words = ["map", grid, "--yard", str(folder), "--out", str(tmp_path / "out")]
        assert cli.main([*words, "--scheduler", address]) == status
        lines = capsys.readouterr().err.splitlines()
        assert len(lines) == 2
        assert lines[1].startswith(f"climate-risk: --scheduler {address}: {said}")
        assert "accepted is" in lines[1]


def test_memory_does_not_grow_with_the_grid() -> None:
    """Four times the cells, nearly all of them sea so that it is quick, in processes of their own:
    the peak grows by a small part of what is read.
    """
    small, large = (bench.measured(rows, years=4, land_every=0) for rows in (8, 32))
    assert large["cells"] == 4 * small["cells"]
    read_mb = large["read_mb"] - small["read_mb"]
    assert read_mb > 150.0
    assert large["peak_mb"] - small["peak_mb"] < 0.3 * read_mb


def test_the_chart_of_growth_says_what_was_measured() -> None:
    runs = [
        {"cells_of_land": n, "seconds": 1.0 + n, "peak_mb": 400.0, "read_mb": 10.0 * n}
        for n in (1.0, 2.0, 4.0)
    ]
    figure = bench.growth_figure({"runs": runs, "seconds_per_cell": 1.0, "seconds_to_start": 1.0})
    time_axes, memory_axes = figure.axes
    assert time_axes.get_title(loc="left") == "Time: 1.00 s a cell of land"
    np.testing.assert_allclose(time_axes.lines[1].get_ydata(), [1.0, 5.0])
    np.testing.assert_allclose(memory_axes.lines[0].get_ydata(), 400.0)
