"""Gridded weather, opened but not read: what its variables are, where its cells lie, its clock."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.errors import InputError, quoted, shown
from climate_risk.region.clock import clock, lag, running
from climate_risk.region.results import Axis, Place
from climate_risk.region.variables import (
    BY_KEY,
    FIXED,
    MISSING_BELOW,
    Conversion,
    Step,
    conversion,
    find_variables,
    listed,
    recognise,
)

if TYPE_CHECKING:
    import xarray as xr

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

GRAVITY_M_S2 = 9.80665
"""Standard gravity (BIPM, 3rd CGPM 1901), by which a geopotential becomes a height."""
LAND_SHARE = 0.5
"""A cell with less land is sea (our own choice)."""
NEEDED = {"daily": ("air_temp_min_c", "air_temp_max_c", "precip_mm"),
          "hourly": ("air_temp_c", "precip_mm")}  # fmt: skip
MORNING_NAMES = {"ppt"}
"""Of a set whose day ends at 12 UTC, morning in its country: maximum and rain are mostly of the
day before, as those of observers who read in the morning (PRISM; from memory)."""


@dataclass(frozen=True, kw_only=True)
class Grid:
    """Weather on a grid; nothing but coordinates and fixed fields has been read."""

    path: Path
    data: xr.Dataset
    """By key, dimensions (time, y, x), numbers as in the file."""
    step: Step
    times: pd.DatetimeIndex
    """Days; or hours of UTC, at their start for what is instantaneous."""
    conversions: dict[str, Conversion]
    running: frozenset[str]
    """Sums that run on from 00 UTC and start anew each day."""
    lag_h: int
    """Hours by which sums and means of an hour stand after its start."""
    is_morning_day: bool
    dims: tuple[str, str]
    place: Place
    land: BoolArray | None
    notes: tuple[str, ...]
    fingerprint: str
    """Of the files, by name, size and time of change."""

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of cells."""
        rows, columns = self.place.latitude.shape
        return rows, columns


def open_grid(path: Path, elevation_m: float) -> Grid:
    """Open gridded weather and tell what it is.

    Parameters
    ----------
    path : Path
        A netCDF file, a folder of them, or a zarr store.
    elevation_m : float
        Of cells where the grid has no elevation.

    Raises
    ------
    InputError
        It cannot be used as it stands; the line names file, variable, and what would do.
    """
    import xarray as xr

    opened = _opened(path)
    found = find_variables(path, opened)
    opened, step, time_name, times = clock(path, opened)
    names = {k: n for k, n in found.names.items() if k in FIXED or time_name in opened[n].dims}
    _refuse_without(path, names, found.unused, step)
    first = names[NEEDED[step][0]]
    y, x = _horizontal(path, opened[first], time_name)
    notes = []
    if found.unused:
        notes.append(f"variables not used: {listed(found.unused)}")
    latitude, longitude = _coordinates(path, opened, y, x)
    conversions = {
        key: conversion(path, name, key, str(opened[name].attrs.get("units", "")), step)
        for key, name in names.items()
    }
    fixed = {
        key: _fixed(path, opened[names[key]], y, x, conversions[key])
        for key in FIXED
        if key in names
    }
    if "elevation_m" not in fixed and "geopotential" in fixed:
        fixed["elevation_m"] = fixed["geopotential"] / GRAVITY_M_S2
    if "elevation_m" not in fixed:
        notes.append(
            "no elevation in the grid: every cell is taken to lie at the yard's "
            f"{elevation_m:.0f} m, which sets its air pressure"
        )
    data = xr.Dataset(
        {
            key: (("time", "y", "x"), _plain(path, opened[name], (time_name, y, x)).data)
            for key, name in names.items()
            if key not in FIXED
        }
    )
    run_on: frozenset[str] = frozenset()
    lag_h = 0
    if step == "hourly":
        lag_h = lag(opened, time_name)
        run_on = running(data, times, conversions)
        if run_on:
            notes.append(
                f"{' and '.join(sorted(run_on))}: sums that run on from 00 UTC were taken apart "
                "into those of each hour"
            )
    place = _place(opened, y, x, latitude, longitude, fixed.get("elevation_m"), elevation_m)
    land = fixed.get("land")
    morning = bool(MORNING_NAMES & set(names.values()))
    if morning:
        notes.append(
            "days end at 12 UTC: maxima, rain and means were given to the day before, to which "
            "most of their hours belong"
        )
    return Grid(
        path=path,
        data=data,
        step=step,
        times=times,
        conversions={k: v for k, v in conversions.items() if k not in FIXED},
        running=run_on,
        lag_h=lag_h,
        is_morning_day=morning and step == "daily",
        dims=(y, x),
        place=place,
        land=None if land is None else land >= LAND_SHARE,
        notes=tuple(notes),
        fingerprint=_fingerprint(path),
    )


def _opened(path: Path) -> xr.Dataset:
    """The dataset behind a path, lazily, variables by their own names."""
    import xarray as xr

    if not path.exists():
        raise InputError(
            f"{path}: not there; accepted is a netCDF file, a folder of netCDF files, or a zarr "
            "store"
        )
    how: dict[str, Any] = {"chunks": {}, "decode_timedelta": False}
    place = path.resolve()  # for workers that run in another folder
    try:
        if place.is_file():
            return xr.open_dataset(place, **how)
        if _is_zarr(place):
            return xr.open_dataset(place, engine="zarr", **how)
        files = sorted(each for each in place.iterdir() if each.suffix in (".nc", ".nc4", ".cdf"))
        if not files:
            raise InputError(
                f"{path}: a folder without netCDF files (.nc) and no zarr store; accepted is "
                "either, or one netCDF file"
            )
        return xr.open_mfdataset(
            files, combine="by_coords", preprocess=_by_key, data_vars="minimal",
            coords="minimal", compat="override", join="outer", combine_attrs="override", **how
        )  # fmt: skip
    except InputError:
        raise
    except Exception as error:  # backends raise what they like on a file that is none of theirs
        said = shown(f"{error}".partition(". ")[0].partition("[")[0].strip())
        raise InputError(
            f"{path}: cannot be read as netCDF or zarr ({said or type(error).__name__}); accepted "
            "is gridded weather in either"
        ) from error


def _is_zarr(path: Path) -> bool:
    return any((path / name).exists() for name in ("zarr.json", ".zgroup", ".zmetadata"))


def _by_key(data: xr.Dataset) -> xr.Dataset:
    """One file of several: names by quantity, since sets call two files' variables the same."""
    keys: dict[str, str] = {}
    for name in map(str, data.data_vars):
        variable = recognise(name, dict(data[name].attrs))
        if variable is not None and variable.key not in (*keys.values(), *data.variables):
            keys[name] = variable.key
    return data.rename(keys)


def _refuse_without(
    path: Path, names: dict[str, str], unused: tuple[str, ...], step: Step
) -> None:
    for key in NEEDED[step]:
        if key not in names:
            variable = BY_KEY[key]
            method = f" and cell_methods time: {variable.meaning}" if variable.meaning else ""
            have = [*names.values(), *unused]
            raise InputError(
                f"{path}: no {key} ({step} values) among its variables {listed(have)}; accepted "
                f"is one named {' or '.join(variable.names.split()[1:5])}, or with standard_name "
                f"{variable.standard_name}{method}"
            )


def _horizontal(path: Path, variable: xr.DataArray, time_name: str) -> tuple[str, str]:
    dims = [str(d) for d in variable.dims if d != time_name and variable.sizes[d] > 1]
    if len(dims) < 2:  # a grid of one row or column keeps its dimensions of one
        dims = [str(d) for d in variable.dims if d != time_name][-2:]
    if len(dims) != 2 or 0 in variable.shape:
        sizes = ", ".join(f"{name} {size}" for name, size in variable.sizes.items())
        raise InputError(
            f"{path}, variable {quoted(variable.name)}: {sizes}; accepted are cells in rows and "
            "columns beside time, at least one of each"
        )
    return dims[0], dims[1]


def _plain(path: Path, variable: xr.DataArray, dims: tuple[str, ...]) -> xr.DataArray:
    """The variable with these dimensions alone, in this order."""
    extra = [d for d in variable.dims if d not in dims]
    for name in extra:
        if variable.sizes[name] > 1:
            raise InputError(
                f"{path}, variable {quoted(variable.name)}: {variable.sizes[name]} values along "
                f"{quoted(name)}; accepted is one"
            )
    return variable.isel({name: 0 for name in extra}).transpose(*dims)


def _fixed(path: Path, variable: xr.DataArray, y: str, x: str, how: Conversion) -> FloatArray:
    still = variable.isel({d: 0 for d in variable.dims if d not in (y, x)})
    values = np.asarray(still.transpose(y, x).to_numpy(), dtype=np.float64)
    return np.where(values < MISSING_BELOW, np.nan, values) * how.scale + how.offset


def _coordinates(path: Path, data: xr.Dataset, y: str, x: str) -> tuple[FloatArray, FloatArray]:
    """Latitude and longitude of every cell, (rows, columns), degrees north and east."""
    import cf_xarray  # noqa: F401

    found = []
    for name, words, bound in (("latitude", ("lat", "latitude"), 90.0),
                               ("longitude", ("lon", "longitude"), 360.0)):  # fmt: skip
        known = [*words, *data.cf.coordinates.get(name, [])]
        values = next((data[n] for n in known if n in data.variables), None)
        if values is None:
            raise InputError(
                f"{path}: no {name} among its coordinates {listed(list(map(str, data.coords)))}; "
                f'accepted is a variable "{words[0]}" or one with standard_name "{name}"'
            )
        if not set(values.dims) <= {y, x}:
            raise InputError(
                f"{path}, {quoted(values.name)}: dimensions {listed(list(map(str, values.dims)))} "
                f"are not those of the cells; accepted are {y} and {x}"
            )
        if not values.dims or np.abs(values).max() > bound or values.isnull().all():
            raise InputError(
                f"{path}, {quoted(values.name)}: no {name} in degrees; accepted are values up to "
                f"{bound:g}"
            )
        cells = values.astype(np.float64).broadcast_like(
            data[y].astype(np.float64) * 0 + data[x].astype(np.float64) * 0
        )
        found.append(np.asarray(cells.transpose(y, x).to_numpy()))
    latitude, longitude = found
    return latitude, np.where(longitude > 180.0, longitude - 360.0, longitude)


def _place(
    data: xr.Dataset,
    y: str,
    x: str,
    latitude: FloatArray,
    longitude: FloatArray,
    elevation: FloatArray | None,
    elevation_m: float,
) -> Place:
    regular = bool((latitude == latitude[:, :1]).all() and (longitude == longitude[:1]).all())
    mapping = None
    if regular:
        axes = (Axis("lat", latitude[:, 0], {}), Axis("lon", longitude[0], {}))
    else:
        axes = (_axis(data, y), _axis(data, x))
        name = next((n for n in data.variables if "grid_mapping_name" in data[n].attrs), None)
        if name is not None:
            mapping = Axis(str(name), np.zeros(0), _plain_attributes(data[name].attrs))
    full = np.full(latitude.shape, elevation_m) if elevation is None else elevation
    return Place(
        axes=axes,
        latitude=latitude,
        longitude=longitude,
        elevation_m=np.where(np.isnan(full), elevation_m, full),
        has_elevation=elevation is not None,
        regular=regular,
        mapping=mapping,
    )


def _axis(data: xr.Dataset, name: str) -> Axis:
    if name not in data.variables:
        return Axis(name, np.arange(data.sizes[name], dtype=np.float64), {})
    values = np.asarray(data[name].to_numpy(), dtype=np.float64)
    return Axis(name, values, _plain_attributes(data[name].attrs))


def _plain_attributes(attributes: dict[Any, Any]) -> dict[str, Any]:
    return {
        str(name): value.tolist() if isinstance(value, np.ndarray | np.generic) else value
        for name, value in attributes.items()
        if not str(name).startswith("_")
    }


def _fingerprint(path: Path) -> str:
    digest = hashlib.sha256()
    for name, size, changed in sorted(_files(path)):
        digest.update(f"{name}\0{size}\0{changed}\n".encode())
    return digest.hexdigest()


def _files(path: Path) -> Iterator[tuple[str, int, int]]:
    files = [path] if path.is_file() else [each for each in path.rglob("*") if each.is_file()]
    for each in files:
        state = each.stat()
        yield str(each.relative_to(path.parent)), state.st_size, state.st_mtime_ns
