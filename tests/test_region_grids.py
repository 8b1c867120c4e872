"""Gridded weather as the common sets write it, in our columns; and grids that are wrong."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr

sys.path.insert(0, str(Path(__file__).parent))

import region_samples as samples

from climate_risk import cli
from climate_risk.errors import InputError
from climate_risk.region.grid import Grid, open_grid
from climate_risk.region.series import raw_weather
from climate_risk.region.variables import conversion
from climate_risk.site import Site
from climate_risk.weather import psychro

RANDOM = np.random.default_rng(7)
YARD_M = 300.0


def table_of(grid: Grid, row: int, column: int) -> pd.DataFrame:
    """A cell's record, as the run makes it."""
    place = grid.place
    site = Site(
        latitude=float(place.latitude[row, column]),
        longitude=float(place.longitude[row, column]),
        elevation_m=float(place.elevation_m[row, column]),
    )
    series = {str(k): v.to_numpy()[:, row, column] for k, v in grid.data.items()}
    raw = raw_weather(
        series,
        grid.conversions,
        grid.times,
        site,
        source="grid",
        step=grid.step,
        running=grid.running,
        lag_h=grid.lag_h,
        is_morning_day=grid.is_morning_day,
    )
    return raw.table


def fields(
    dims: tuple[str, str, str], shape: tuple[int, ...], **ranges: tuple[float, float, str]
) -> dict[str, object]:
    """Variables of random numbers between two bounds, with units."""
    return {
        name: (dims, RANDOM.uniform(low, high, shape), {"units": unit})
        for name, (low, high, unit) in ranges.items()
    }


def test_running_sums_of_era5_land_give_back_each_hour(tmp_path: Path) -> None:
    """ERA5-Land sums run on from 00 UTC: the sum at 00 UTC is the day's before (ECMWF, Conversion
    table for accumulated variables).  Kelvin, metres, joules, pascals; longitude 0 to 360.
    """
    times = pd.date_range("2020-06-01 00:00", "2020-06-20 23:00", freq="h")
    shape = (len(times), 2, 3)
    sunny = np.maximum(np.sin(np.pi * ((times.hour - 17) % 24 - 18) / 12.0), 0.0)
    hour_rain = RANDOM.gamma(0.2, 1e-3, shape)
    hour_sun = sunny.to_numpy()[:, None, None] * RANDOM.uniform(1e6, 2e6, shape)
    ends = ((times - pd.Timedelta(hours=1)).normalize() - times[0].normalize()).days
    runs = [
        pd.DataFrame(hours.reshape(len(times), -1)).groupby(ends).cumsum().to_numpy()
        for hours in (hour_rain, hour_sun)
    ]
    dims = ("valid_time", "latitude", "longitude")
    about = {
        **fields(dims, shape, t2m=(280.0, 300.0, "K"), d2m=(275.0, 280.0, "K"),
                 u10=(-3.0, 3.0, "m s**-1"), v10=(-3.0, 3.0, "m s**-1"),
                 sp=(96_000.0, 97_000.0, "Pa")),
        "tp": (dims, runs[0].reshape(shape), {"units": "m"}),
        "ssrd": (dims, runs[1].reshape(shape), {"units": "J m**-2"}),
    }  # fmt: skip
    data = xr.Dataset(about, coords={
        "valid_time": ("valid_time", times, {"standard_name": "time"}),
        "latitude": [42.6, 42.5], "longitude": [287.7, 287.8, 287.9],
        "number": 0, "expver": ("valid_time", ["0001"] * len(times)),
    })  # fmt: skip
    data.to_netcdf(tmp_path / "era5_land.nc")
    grid = open_grid(tmp_path / "era5_land.nc", YARD_M)
    assert (grid.step, grid.lag_h, grid.running) == ("hourly", 1, {"precip_mm", "sun"})
    assert grid.place.longitude[0, 0] == pytest.approx(-72.3)
    table = table_of(grid, 1, 2)
    # 72.1 degrees west is five hours behind UTC; a sum that ends at 07 UTC is that of 01 to 02 h.
    local = times - pd.Timedelta(hours=5)
    assert list(table.index) == list(local)
    at = pd.Timestamp("2020-06-05 01:00")
    end = times.get_loc(pd.Timestamp("2020-06-05 07:00"))
    assert table.loc[at, "precip_mm"] == pytest.approx(1e3 * hour_rain[end, 1, 2], abs=1e-9)
    days = table["precip_mm"].iloc[:-1].to_numpy()
    np.testing.assert_allclose(days, 1e3 * hour_rain[1:, 1, 2], atol=1e-9)
    watts = hour_sun[1:, 1, 2] / 3600.0
    np.testing.assert_allclose(table["shortwave_w_m2"].iloc[:-1], watts, atol=1e-6)
    now = times.get_loc(pd.Timestamp("2020-06-05 06:00"))
    cell = data.isel(valid_time=now, latitude=1, longitude=2)
    assert table.loc[at, "air_temp_c"] == pytest.approx(float(cell["t2m"]) - 273.15)
    assert table.loc[at, "wind_ms"] == pytest.approx(np.hypot(cell["u10"], cell["v10"]))
    assert table.loc[at, "pressure_hpa"] == pytest.approx(float(cell["sp"]) / 100.0)


def test_sums_of_single_hours_are_left_as_they_are(tmp_path: Path) -> None:
    """ERA5 itself sums each hour: its sun falls every afternoon, not at 01 UTC alone."""
    times = pd.date_range("2020-06-01", "2020-06-10 23:00", freq="h")
    shape = (len(times), 1, 2)
    sunny = np.maximum(np.sin(np.pi * ((times.hour - 5) % 24 - 6) / 12.0), 0.0)
    dims = ("time", "lat", "lon")
    about = fields(dims, shape, t2m=(280.0, 300.0, "K"), tp=(0.0, 1e-3, "m"))
    about["ssrd"] = (dims, sunny.to_numpy()[:, None, None] * np.full(shape, 2e6),
                     {"units": "J m**-2"})  # fmt: skip
    data = xr.Dataset(about, coords={"time": times, "lat": [42.5], "lon": [-72.3, -72.2]})
    data.to_netcdf(tmp_path / "grid.nc")
    grid = open_grid(tmp_path / "grid.nc", YARD_M)
    assert grid.running == frozenset()
    table = table_of(grid, 0, 1)
    expected = 1e3 * data["tp"].to_numpy()[1:, 0, 1]
    np.testing.assert_allclose(table["precip_mm"].iloc[:-1], expected)


def test_gridmet_files_that_call_two_things_air_temperature(tmp_path: Path) -> None:
    """One file a variable, packed, kelvin, dimension ``day``, rows from north to south."""
    days = pd.date_range("2020-01-01", periods=40, name="day")
    shape = (len(days), 2, 2)
    coords = {"day": days, "lat": [42.54, 42.5], "lon": [-72.3, -72.26]}
    dims = ("day", "lat", "lon")
    values = {}
    for file, name, low, high, unit in (
        ("tmmx", "air_temperature", 285.0, 300.0, "K"),
        ("tmmn", "air_temperature", 270.0, 284.0, "K"),
        ("pr", "precipitation_amount", 0.0, 20.0, "mm"),
        ("sph", "specific_humidity", 0.002, 0.01, "kg/kg"),
        ("srad", "surface_downwelling_shortwave_flux_in_air", 50.0, 300.0, "W m-2"),
        ("vs", "wind_speed", 1.0, 6.0, "m/s"),
        ("th", "wind_from_direction", 0.0, 360.0, "Degrees clockwise from north"),
    ):
        values[file] = RANDOM.uniform(low, high, shape)
        about = {"units": unit, "long_name": file}
        packing = {"scale_factor": (high - low) / 6e4, "add_offset": low, "dtype": "uint16",
                   "_FillValue": 65535}  # fmt: skip
        data = xr.Dataset({name: (dims, values[file], about)}, coords=coords)
        data.to_netcdf(tmp_path / f"{file}_2020.nc", encoding={name: packing})
    grid = open_grid(tmp_path, YARD_M)
    table = table_of(grid, 0, 1)
    near = {"atol": 1e-3, "rtol": 0.0}
    np.testing.assert_allclose(table["air_temp_max_c"], values["tmmx"][:, 0, 1] - 273.15, **near)
    np.testing.assert_allclose(table["air_temp_min_c"], values["tmmn"][:, 0, 1] - 273.15, **near)
    np.testing.assert_allclose(table["precip_mm"], values["pr"][:, 0, 1], **near)
    np.testing.assert_allclose(
        table["shortwave_mj_m2"], values["srad"][:, 0, 1] * 0.0864, atol=1e-3
    )
    # Mixing ratio of saturated air at 10 C and 1000 hPa is 7.76 g/kg (Smithsonian tables 6th ed.,
    # table 73, from memory): as specific humidity 7.70 g/kg gives a dew point of 10 C.
    q = np.full(2, 0.0077)
    dew = raw_weather(
        {"specific_humidity": q, "pressure_hpa": np.full(2, 1000.0)},
        dict.fromkeys(("specific_humidity", "pressure_hpa"), grid.conversions["wind_ms"]),
        pd.date_range("2020-01-01", periods=2), Site(latitude=0.0, longitude=0.0, elevation_m=0.0),
        source="", step="daily",
    ).table["dew_point_c"]  # fmt: skip
    assert dew.iloc[0] == pytest.approx(10.0, abs=0.2)
    assert any("not used" in note for note in grid.notes)


def test_daymet_sun_is_that_of_the_daylight_and_december_31_is_a_gap(tmp_path: Path) -> None:
    """Daymet V4: a day's sun [MJ m-2] is srad times dayl over 1e6, srad being the mean of the
    daylight; leap years lack December 31; projected cells (ORNL DAAC 2129, user guide).
    """
    days = pd.date_range("2019-12-29 12:00", "2021-01-03 12:00")
    days = days[~(days.is_leap_year & (days.month == 12) & (days.day == 31))]
    shape, dims = (len(days), 2, 2), ("time", "y", "x")
    about = fields(dims, shape, tmin=(-5.0, 5.0, "degrees C"), tmax=(6.0, 20.0, "degrees C"),
                   prcp=(0.0, 9.0, "mm/day"), srad=(100.0, 400.0, "W/m2"),
                   vp=(300.0, 900.0, "Pa"), dayl=(30_000.0, 50_000.0, "s"))  # fmt: skip
    for name in ("tmin", "tmax"):
        about[name][1][3] = -9999.0
    lat = np.array([[42.50, 42.51], [42.49, 42.50]])
    lon = np.array([[-72.30, -72.29], [-72.30, -72.29]])
    about["lambert_conformal_conic"] = ((), 0, {"grid_mapping_name": "lambert_conformal_conic",
                                                "standard_parallel": [25.0, 60.0]})  # fmt: skip
    data = xr.Dataset(about, coords={
        "time": days, "y": ("y", [1000.0, 0.0], {"units": "m"}),
        "x": ("x", [0.0, 1000.0], {"units": "m"}), "lat": (("y", "x"), lat),
        "lon": (("y", "x"), lon),
    })  # fmt: skip
    data.to_zarr(tmp_path / "daymet.zarr", zarr_format=2)
    grid = open_grid(tmp_path / "daymet.zarr", YARD_M)
    assert not grid.place.regular
    assert [axis.name for axis in grid.place.axes] == ["y", "x"]
    assert grid.place.mapping is not None
    assert grid.place.mapping.name == "lambert_conformal_conic"
    table = table_of(grid, 0, 1)
    assert str(table.index[0]) == "2019-12-29 00:00:00"
    assert pd.Timestamp("2020-12-31") not in table.index
    cell = data.isel(y=0, x=1)
    np.testing.assert_allclose(table["shortwave_mj_m2"], cell["srad"] * cell["dayl"] / 1e6)
    vapour = psychro.saturation_vapour_pressure_kpa(table["dew_point_c"].to_numpy())
    np.testing.assert_allclose(vapour, cell["vp"] / 1000.0)
    assert np.isnan(table["air_temp_min_c"].iloc[3])


def test_prism_days_that_end_in_the_morning_are_given_back(tmp_path: Path) -> None:
    """A day to 12 UTC: its maximum and rain are mostly of the day before (PRISM, from memory)."""
    days = pd.date_range("2020-06-01", periods=10)
    dims, shape = ("time", "lat", "lon"), (10, 1, 2)
    about = fields(dims, shape, tmin=(10.0, 15.0, "degC"), tmax=(20.0, 30.0, "degC"),
                   tdmean=(5.0, 9.0, "degC"), ppt=(0.0, 9.0, "mm"))  # fmt: skip
    data = xr.Dataset(about, coords={"time": days, "lat": [42.5], "lon": [-72.3, -72.2]})
    data.to_netcdf(tmp_path / "prism.nc")
    table = table_of(open_grid(tmp_path / "prism.nc", YARD_M), 0, 0)
    cell = data.isel(lat=0, lon=0)
    np.testing.assert_array_equal(table["precip_mm"][:-1], cell["ppt"][1:])
    np.testing.assert_array_equal(table["air_temp_max_c"][:-1], cell["tmax"][1:])
    np.testing.assert_array_equal(table["air_temp_min_c"], cell["tmin"])
    assert np.isnan(table["precip_mm"].iloc[-1])


def test_a_calendar_without_leap_days_leaves_a_gap(tmp_path: Path) -> None:
    grid = samples.region(1, 2, "2004-01-01", "2004-12-31").isel(time=slice(0, 365))
    dates = xr.date_range("2004-01-01", periods=365, calendar="noleap", use_cftime=True)
    grid.assign_coords(time=dates).to_netcdf(tmp_path / "noleap.nc")
    table = table_of(open_grid(tmp_path / "noleap.nc", YARD_M), 0, 0)
    assert pd.Timestamp("2004-02-29") not in table.index
    assert str(table.index[-1].date()) == "2004-12-31"


@pytest.mark.parametrize(
    ("key", "units", "step", "file_value", "ours"),
    [
        ("precip_mm", "kg m-2 s-1", "daily", 1.0 / 86_400.0, 1.0),
        ("precip_mm", "kg m-2", "daily", 3.0, 3.0),
        ("precip_mm", "m", "hourly", 0.001, 1.0),
        ("precip_mm", "mm/day", "daily", 5.0, 5.0),
        ("precip_mm", "mm h-1", "hourly", 2.0, 2.0),
        ("precip_mm", "inches", "daily", 1.0, 25.4),
        ("air_temp_max_c", "degF", "daily", 212.0, 100.0),
        ("air_temp_max_c", "K", "daily", 273.15, 0.0),
        ("air_temp_max_c", "degrees C", "daily", 7.0, 7.0),
        ("sun", "W m-2", "daily", 100.0, 8.64),
        ("sun", "J m**-2", "hourly", 3.6e6, 3.6),
        ("wind_ms", "knot", "daily", 1.0, 1852.0 / 3600.0),
        ("rel_humidity_pct", "1", "daily", 0.5, 50.0),
        ("rel_humidity_pct", "%", "daily", 50.0, 50.0),
        ("pressure_hpa", "Pa", "hourly", 101_325.0, 1013.25),
    ],
)
def test_units_are_read_and_not_guessed(
    key: str, units: str, step: str, file_value: float, ours: float
) -> None:
    """Factors by definition: inch and knot (BIPM SI brochure), 1 kg m-2 of water = 1 mm."""
    how = conversion(Path("x.nc"), "v", key, units, step)  # type: ignore[arg-type]
    assert file_value * how.scale + how.offset == pytest.approx(ours, abs=1e-9)


def without(name: str) -> Callable[[xr.Dataset], xr.Dataset]:
    return lambda data: data.drop_vars(name)


def units(name: str, text: str | None) -> Callable[[xr.Dataset], xr.Dataset]:
    def change(data: xr.Dataset) -> xr.Dataset:
        data[name].attrs.pop("units")
        if text is not None:
            data[name].attrs["units"] = text
        return data

    return change


WRONG: dict[str, tuple[Callable[[xr.Dataset], xr.Dataset], str]] = {
    "no maximum": (without("tasmax"), "no air_temp_max_c (daily values) among its variables"),
    "no rain": (without("pr"), "no precip_mm (daily values) among its variables tasmin, tasmax"),
    "no unit": (units("pr", None), "variable 'pr': no attribute \"units\"; accepted are, say, mm"),
    "other unit": (units("tasmin", "mm"), "variable 'tasmin': unit 'mm' is not known for air_t"),
    "nonsense": (units("rsds", "glow"), "variable 'rsds': unit 'glow' is not known for sun"),
    "no time": (lambda d: d.isel(time=0, drop=True), "no time axis among its dimensions lat, lon"),
    "one time": (lambda d: d.isel(time=slice(1)), "'time': 1 times; accepted are two days"),
    "3-hourly": (
        lambda d: d.assign_coords(
            time=pd.date_range("2000", periods=d.sizes["time"], freq="3h")
        ),
        "'time': the usual step of 3 hours is neither hourly nor daily",
    ),
    "no cells": (lambda d: d.isel(lat=slice(0)), "time 40, lat 0, lon 2; accepted are cells"),
    "no latitude": (lambda d: d.rename(lat="row").drop_vars("row"), "no latitude among its coord"),
    "far north": (lambda d: d.assign_coords(lat=[400.0, 500.0]), "'lat': no latitude in degrees"),
    "levels": (
        lambda d: d.assign(tasmin=d["tasmin"].expand_dims(height=3).assign_attrs(units="K")),
        "height 3",
    ),
    "twice": (
        lambda d: d.assign(tmin=d["tasmin"]),
        "variables 'tasmin' and 'tmin': both are air_temp_min_c; accepted is one",
    ),
    "numbers": (
        lambda d: d.assign_coords(time=np.arange(d.sizes["time"])),
        "cannot be read as dates",
    ),
    "360 days": (
        lambda d: d.assign_coords(time=xr.date_range(
            "2000-01-01", periods=d.sizes["time"], calendar="360_day", use_cftime=True)),
        "a calendar of 360 days has no real dates",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_grid_gets_one_line(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change, said = WRONG[name]
    path = tmp_path / "grid.nc"
    change(samples.region(2, 2, "2000-01-01", "2000-02-09")).to_netcdf(path)
    samples.yard(tmp_path)
    out = tmp_path / "out"
    words = ["map", str(path), "--yard", str(tmp_path), "--out", str(out), "--quiet"]
    assert cli.main(words) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 1
    assert lines[0].startswith(f"climate-risk: {path}")
    assert said in lines[0]
    assert "accepted" in lines[0] or "no real dates" in lines[0]
    assert not list(out.glob("*"))


def test_what_is_no_grid_gets_one_line(tmp_path: Path) -> None:
    text = tmp_path / "grid.nc"
    text.write_text("not a grid")
    empty = tmp_path / "empty"
    empty.mkdir()
    for path in (text, empty, tmp_path / "absent.nc"):
        with pytest.raises(InputError, match="accepted is") as caught:
            open_grid(path, YARD_M)
        assert len(caught.value.lines) == 1
        assert str(path) in caught.value.lines[0]
