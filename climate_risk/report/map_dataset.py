"""A region's result as a dataset by the CF conventions (1.8), for other programs."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from climate_risk.region.results import STATES, Axis, RegionMap, StackMap
from climate_risk.report.map_words import draws_sentence, uniform_sentence
from climate_risk.report.map_words import labels as labels_of
from climate_risk.units import Units
from climate_risk.version import program_version

if TYPE_CHECKING:
    import xarray as xr

METRIC = Units("metric")
NETCDF_CELLS = 4_000_000
"""Cells of a larger region are written as zarr, in chunks."""
ZARR_CHUNK = 512
AXES = {
    "lat": {"standard_name": "latitude", "long_name": "latitude", "units": "degrees_north",
            "axis": "Y"},
    "lon": {"standard_name": "longitude", "long_name": "longitude", "units": "degrees_east",
            "axis": "X"},
}  # fmt: skip
MEANING = {
    "chance_of_loss": "chance of losing a stack in its first year",
    "chance_low": "lower end of the 80 % interval of the chance of loss",
    "chance_high": "upper end of the 80 % interval of the chance of loss",
    "chance_draw_error": "standard error of the chance of loss that the number of draws leaves",
    "best_option": "option with the least loss, as the compare command ranks them",
    "gain": "chance of loss when nothing is done less that under the best option",
    "years": "past years with weather of the whole season",
    "cell_state": "what became of the cell",
    "observed": "share of hours with temperature, humidity and rain as in the grid, not filled",
}


def map_dataset(result: RegionMap) -> xr.Dataset:
    """The result with dimensions option and those of the grid, first stack where it has several.

    Parameters
    ----------
    result : RegionMap

    Returns
    -------
    xarray.Dataset
        ``chance_of_loss``, ``chance_low``, ``chance_high``, ``chance_draw_error`` by option;
        ``best_option`` (place of an option from 0 on), ``gain``, ``years``, ``cell_state``,
        ``observed``. Masked cells are NaN. With one kind of stack ``stack`` is a scalar
        coordinate, else the first dimension.
    """
    import xarray as xr

    cells = tuple(axis.name for axis in result.place.axes)
    stacks = result.stacks
    fields: dict[str, Any] = {}

    def put(name: str, dims: tuple[str, ...], values: Any, **more: Any) -> None:
        about = {"long_name": MEANING[name], "units": "1", **more}
        fields[name] = (dims, values, about)

    def of_stacks(take: Any) -> Any:
        return np.stack([take(stack) for stack in stacks])

    by_option = ("stack", "option", *cells)
    beside = "chance_low chance_high chance_draw_error years cell_state"
    put("chance_of_loss", by_option, of_stacks(lambda s: s.chance), ancillary_variables=beside)
    put("chance_low", by_option, of_stacks(lambda s: s.low))
    put("chance_high", by_option, of_stacks(lambda s: s.high))
    put("chance_draw_error", by_option, of_stacks(lambda s: s.draw_error))
    labels = labels_of(result, METRIC)
    put("best_option", ("stack", *cells), of_stacks(lambda s: s.best),
        comment="place in option, from 0 on: " + "; ".join(
            f"{n}: {label}" for n, label in enumerate(labels)))  # fmt: skip
    if result.nothing is not None:
        put("gain", ("stack", *cells), of_stacks(result.gain),
            comment=f"doing nothing is {labels[result.nothing]}")  # fmt: skip
    put("years", ("stack", *cells), of_stacks(lambda s: s.years))
    put("observed", cells, result.observed)
    states = np.arange(len(STATES), dtype=np.int8)
    put("cell_state", cells, result.state.astype(np.int8), flag_values=states,
        flag_meanings=" ".join(STATES))  # fmt: skip
    del fields["cell_state"][2]["units"]
    data = xr.Dataset(fields, coords=_coordinates(result, stacks, labels), attrs=_about(result))
    _lay_out(data, result, cells)
    return data.isel(stack=0) if len(stacks) == 1 else data


def _coordinates(
    result: RegionMap, stacks: tuple[StackMap, ...], labels: list[str]
) -> dict[str, Any]:
    place = result.place
    coordinates: dict[str, Any] = {
        "option": ("option", np.array(labels), {"long_name": "option"}),
        "stack": (
            "stack",
            np.array([stack.name for stack in stacks]),
            {"long_name": "kind of stack"},
        ),
    }
    for axis in place.axes:
        about = AXES.get(axis.name) if place.regular else axis.attributes
        coordinates[axis.name] = (axis.name, axis.values, dict(about or {}))
    cells = tuple(axis.name for axis in place.axes)
    if not place.regular:
        for name, values in (("lat", place.latitude), ("lon", place.longitude)):
            about = {key: value for key, value in AXES[name].items() if key != "axis"}
            coordinates[name] = (cells, values, about)
    if place.has_elevation:
        about = {"standard_name": "surface_altitude", "long_name": "elevation", "units": "m"}
        coordinates["elevation"] = (cells, place.elevation_m, about)
    return coordinates


def _lay_out(data: xr.Dataset, result: RegionMap, cells: tuple[str, ...]) -> None:
    """Projection, and what is written how."""
    mapping: Axis | None = result.place.mapping
    if mapping is not None:
        data[mapping.name] = ((), np.int32(0), mapping.attributes)
    for name in data.data_vars:
        if set(cells) <= set(data[name].dims):
            if mapping is not None:
                data[name].attrs["grid_mapping"] = mapping.name
            if data[name].dtype.kind == "f":
                data[name].encoding = {"_FillValue": np.nan, "zlib": True}
    for name in data.coords:
        data[name].encoding = {"_FillValue": None}


def _about(result: RegionMap) -> dict[str, Any]:
    version = program_version()
    where = "an invented place" if result.invented else result.yard_name
    return {
        "Conventions": "CF-1.8",
        "title": f"Chance of losing mushroom log stacks by option: {where}",
        "institution": result.yard_name,
        "source": f"climate-risk {version}; simulation of {result.grid_name}, {result.step} "
        f"weather of {result.first} to {result.last}, {result.draws} draws a year",
        "history": f"made by climate-risk {version} from "
        + ", ".join(f"{name} ({digest[:12]})" for name, digest in result.inputs.items()),
        "references": "climate_risk/tables/sources.toml of the program",
        "comment": " ".join(
            (uniform_sentence(result), draws_sentence(result), *(f"{n}." for n in result.notes))
        ),
        **{f"cells_{state}": result.count(n) for n, state in enumerate(STATES)},
    }


def netcdf_bytes(data: xr.Dataset) -> bytes:
    """The dataset as a netCDF-4 file."""
    target = io.BytesIO()
    data.to_netcdf(target, engine="h5netcdf")
    return target.getvalue()


def write_zarr(data: xr.Dataset, path: Path) -> None:
    """The dataset as a zarr store, in chunks that a reader can take one by one."""
    y, x = (axis for axis in data["cell_state"].dims)
    for name in data.variables:
        data[name].encoding.pop("zlib", None)
    data.chunk({y: ZARR_CHUNK, x: ZARR_CHUNK}).to_zarr(
        path, mode="w", consolidated=True, zarr_format=2
    )
