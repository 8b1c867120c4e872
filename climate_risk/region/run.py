"""A region's blocks on every core of this machine, or on a dask cluster."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from copy import copy
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from climate_risk.errors import InputError, RunError, shown
from climate_risk.progress import Progress
from climate_risk.region.cell import (
    HEAD,
    OF_OPTION,
    OF_STACK,
    Block,
    Chain,
    map_options,
    run_block,
)
from climate_risk.region.extra import require_libraries
from climate_risk.region.grid import Grid, open_grid
from climate_risk.region.results import RegionMap, StackMap
from climate_risk.region.store import FloatArray, Store, key_of, source_of_the_package
from climate_risk.risk.chance import FEWEST_YEARS
from climate_risk.tables import fungi
from climate_risk.yard import Yard

if TYPE_CHECKING:
    from distributed import Client

THREADS_A_PROCESS = 4
"""Of a machine with more cores: reading and checking hold Python's lock, the kernel does not."""
AHEAD = 3
"""Blocks handed out at once for every thread, so that none waits and none piles up."""
LOOPBACK = "127.0.0.1:0"
"""Where a local run's scheduler and workers tell of themselves: to this machine alone."""
WAIT_S = 20.0
"""For a scheduler to answer, and for its first worker."""


def run_region(
    yard: Yard,
    grid: Path,
    *,
    work: Path,
    scheduler: str | None = None,
    years: tuple[int, int] | None = None,
    draws: int,
    progress: Progress | None = None,
) -> RegionMap:
    """Compare the yard's options in every cell of gridded weather.

    Parameters
    ----------
    yard : Yard
        Its stacks, options, canopy, gaps, slope and aspect are those of every cell; latitude,
        longitude and, where the grid has it, elevation are the cell's own.
    grid : Path
        See `grid.open_grid`.
    work : Path
        Folder for what is done, from which a run that was killed goes on.
    scheduler : str, optional
        Address of a dask scheduler; this machine by default. Its workers read the grid by the
        same path.
    years, draws
        As `compare`.
    progress : callable, optional
        Told the share done, 0 to 1.

    Returns
    -------
    RegionMap
        With the folder in ``work`` that may go once the results are written.

    Raises
    ------
    InputError
        The grid or the address is wrong.
    RunError
        Libraries, cluster or disk are not there.
    """
    require_libraries()
    opened = open_grid(grid, yard.site.elevation_m)
    program = source_of_the_package()
    chain = Chain(
        program=program,
        yard=replace(yard, path=Path(yard.path.name)),
        years=years,
        draws=draws,
        source=f"grid {grid.name}",
        step=opened.step,
        times=opened.times,
        conversions=opened.conversions,
        running=opened.running,
        lag_h=opened.lag_h,
        is_morning_day=opened.is_morning_day,
    )
    key = key_of(program, yard.sha256, opened.fingerprint, years, draws)
    work.mkdir(parents=True, exist_ok=True)
    store = Store(work, key, opened.shape, chain.numbers)
    blocks = list(store.blocks())
    left = [each for each in blocks if not store.is_done(*each)]
    if left:
        with _client(scheduler) as client:
            _run(client, left, opened, chain, store, progress)
    found = _assemble(yard, opened, chain, store.read())
    return replace(found, blocks=len(blocks), blocks_kept=len(blocks) - len(left), work=store.path)


@contextmanager
def _client(scheduler: str | None) -> Iterator[Client]:
    """A client of the cluster at an address, or of this machine."""
    import distributed

    if scheduler is not None:
        with _connected(scheduler) as client:
            yield client
        return
    cores = os.cpu_count() or 1
    processes = -(-cores // THREADS_A_PROCESS)
    with (
        distributed.LocalCluster(
            n_workers=processes,
            threads_per_worker=-(-cores // processes),
            processes=processes > 1,
            dashboard_address=LOOPBACK,
            worker_dashboard_address=LOOPBACK,
            memory_limit=None,
        ) as cluster,
        distributed.Client(cluster, set_as_default=False) as client,
    ):
        yield client


def _connected(scheduler: str) -> Client:
    import distributed

    try:
        client = distributed.Client(scheduler, timeout=WAIT_S, set_as_default=False)
    except ValueError as error:
        raise InputError(
            f"--scheduler {scheduler}: no address ({shown(error)}); accepted is one such as "
            "tcp://192.0.2.7:8786"
        ) from error
    except OSError as error:
        raise RunError(
            f"--scheduler {scheduler}: nobody answers within {WAIT_S:.0f} s; accepted is the "
            "address of a dask scheduler that runs, such as tcp://192.0.2.7:8786"
        ) from error
    try:
        client.wait_for_workers(1, timeout=WAIT_S)
    except TimeoutError as error:
        client.close()
        raise RunError(
            f"--scheduler {scheduler}: no worker within {WAIT_S:.0f} s; start one with: dask "
            f"worker {scheduler}"
        ) from error
    return client


def _run(
    client: Client,
    left: list[tuple[slice, slice]],
    grid: Grid,
    chain: Chain,
    store: Store,
    progress: Progress | None,
) -> None:
    """Hand out a few blocks at a time, and keep each as it comes back."""
    import distributed

    everywhere = client.submit(copy, chain)  # a task, so that it survives the worker that has it
    waiting = iter(left)
    places: dict[Any, tuple[slice, slice]] = {}

    def hand_out() -> Any:
        rows, columns = next(waiting)
        future = client.submit(run_block, _block(grid, rows, columns), everywhere, pure=False)
        places[future] = (rows, columns)
        return future

    threads = sum(client.nthreads().values())
    first = [hand_out() for _ in range(min(AHEAD * threads, len(left)))]
    queue = distributed.as_completed(first, loop=client.loop)
    for done, future in enumerate(queue, start=1):
        store.put(*places.pop(future), _numbers(future))
        if done + len(places) < len(left):
            queue.add(hand_out())
        if progress is not None:
            progress(done / len(left))


def _numbers(future: Any) -> FloatArray:
    import distributed

    try:
        return np.asarray(future.result())
    except OSError as error:
        raise RunError(
            f"{error.filename or 'the grid'}: a worker cannot read it "
            f"({error.strerror or error}); accepted is a path at which every worker finds the grid"
        ) from error
    except distributed.scheduler.KilledWorker as error:
        raise RunError(
            f"the cluster lost a block's worker again and again ({shown(error)}); what is done is "
            "kept: give workers more memory and run the same command again"
        ) from error


def _block(grid: Grid, rows: slice, columns: slice) -> Block:
    import dask

    (data,) = dask.optimize(grid.data.isel(y=rows, x=columns))
    place = grid.place
    return Block(
        rows=rows,
        columns=columns,
        data=data,
        latitude=place.latitude[rows, columns],
        longitude=place.longitude[rows, columns],
        elevation_m=place.elevation_m[rows, columns],
        land=None if grid.land is None else grid.land[rows, columns],
    )


def _assemble(yard: Yard, grid: Grid, chain: Chain, numbers: FloatArray) -> RegionMap:
    options = map_options(yard)
    planes = np.moveaxis(numbers, -1, 0)
    each = OF_STACK + OF_OPTION * len(options)
    stacks = []
    for place, stack in enumerate(yard.stacks):
        first = len(HEAD) + place * each
        years, best = planes[first], planes[first + 1]
        chances = planes[first + OF_STACK : first + each].reshape(
            len(options), OF_OPTION, *grid.shape
        )
        fungus = fungi()[stack.fungus]
        stacks.append(
            StackMap(
                name=stack.name,
                fungus=stack.fungus,
                wood=stack.wood,
                horizon_months=fungus.horizon_months,
                fungus_caution=fungus.caution,
                chance=chances[:, 0],
                low=chances[:, 1],
                high=chances[:, 2],
                draw_error=chances[:, 3],
                best=best,
                years=years,
            )
        )
    nothing = [n for n, option in enumerate(options) if not option.covers + option.waterings]
    own = [n for n in nothing if options[n].canopy == yard.canopy]
    residuals = np.nan_to_num(planes[2:4]).max(axis=(1, 2))
    return RegionMap(
        yard_name=yard.name,
        invented=yard.invented,
        units=yard.units,
        currency=yard.costs.currency,
        tolerated_chance=yard.costs.tolerated_chance,
        fewest_years=FEWEST_YEARS,
        slope_deg=yard.site.slope_deg,
        aspect_deg=yard.site.aspect_deg,
        openness=yard.openness,
        canopy=yard.canopy,
        inputs={yard.path.name: yard.sha256, grid.path.name: grid.fingerprint},
        grid_name=grid.path.name,
        step=grid.step,
        first=grid.times[0].date(),
        last=grid.times[-1].date(),
        draws=chain.draws,
        place=grid.place,
        options=options,
        nothing=next(iter([*own, *nothing]), None),
        stacks=tuple(stacks),
        state=planes[0].astype(np.int64),
        observed=planes[1],
        water_residual=float(residuals[0]),
        energy_residual=float(residuals[1]),
        notes=grid.notes,
        blocks=0,
        blocks_kept=0,
        work=None,
    )
