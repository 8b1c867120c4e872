"""What a grid's variables are: names of the common sets, CF standard names, and units.

Names are those of ERA5-Land (short names of ECMWF), gridMET, Daymet, PRISM and of CF-conforming
climate data; files of ours take the canonical column's name.  The units of a file are read by
pint with the spellings of CF (cf-xarray), never guessed from the size of the numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from climate_risk.errors import InputError, quoted, shown

if TYPE_CHECKING:
    import xarray as xr

Step = Literal["daily", "hourly"]
STEP_SECONDS = {"daily": 86_400.0, "hourly": 3_600.0}
MEANINGS = ("minimum", "maximum", "mean")


@dataclass(frozen=True)
class Variable:
    """One quantity: what files call it, and the unit it is brought to."""

    key: str
    unit: str
    names: str
    """Separated by spaces, in lower case; of the variable, or its long or standard name."""
    standard_name: str = ""
    """Of CF, for a variable whose own name is not known."""
    meaning: str = ""
    """What ``cell_methods`` must say of time beside the standard name."""
    rate_of: str = ""
    """Unit of what it is a rate of: amounts of a step and rates over it are both taken."""


VARIABLES = (
    Variable("air_temp_min_c", "degC", "air_temp_min_c tmin tmmn tasmin mn2t "
             "daily_minimum_temperature", "air_temperature", "minimum"),
    Variable("air_temp_max_c", "degC", "air_temp_max_c tmax tmmx tasmax mx2t "
             "daily_maximum_temperature", "air_temperature", "maximum"),
    Variable("air_temp_c", "degC", "air_temp_c air_temp_mean_c tmean tas t2m 2m_temperature "
             "2_metre_temperature", "air_temperature"),
    Variable("dew_point_c", "degC", "dew_point_c tdmean tdps d2m 2m_dewpoint_temperature "
             "2_metre_dewpoint_temperature", "dew_point_temperature"),
    Variable("specific_humidity", "kg kg-1", "sph huss daily_mean_specific_humidity",
             "specific_humidity"),
    Variable("vapour_pressure_kpa", "kPa", "vp vapour_pressure_kpa",
             "water_vapor_partial_pressure_in_air"),
    Variable("rel_humidity_pct", "percent", "rel_humidity_pct hurs rh", "relative_humidity"),
    Variable("rel_humidity_min_pct", "percent", "rmin hursmin daily_minimum_relative_humidity",
             "relative_humidity", "minimum"),
    Variable("rel_humidity_max_pct", "percent", "rmax hursmax daily_maximum_relative_humidity",
             "relative_humidity", "maximum"),
    Variable("precip_mm", "mm", "precip_mm pr prcp ppt tp total_precipitation "
             "precipitation_amount", "precipitation_flux", rate_of="mm"),
    Variable("wind_ms", "m s-1", "wind_ms sfcwind vs si10 wind_speed daily_mean_wind_speed",
             "wind_speed"),
    Variable("wind_east_ms", "m s-1", "u10 uas 10m_u_component_of_wind", "eastward_wind"),
    Variable("wind_north_ms", "m s-1", "v10 vas 10m_v_component_of_wind", "northward_wind"),
    Variable("sun", "MJ m-2", "shortwave_mj_m2 shortwave_w_m2 srad rsds ssrd "
             "surface_solar_radiation_downwards daily_mean_shortwave_radiation_at_surface",
             "surface_downwelling_shortwave_flux_in_air", rate_of="MJ m-2"),
    Variable("day_length_s", "s", "dayl"),
    Variable("pressure_hpa", "hPa", "pressure_hpa ps sp surface_pressure", "surface_air_pressure"),
    Variable("elevation_m", "m", "elevation_m elevation orog elev altitude topo",
             "surface_altitude"),
    Variable("geopotential", "m2 s-2", "z geopotential", "geopotential"),
    Variable("land", "1", "lsm land_sea_mask sftlf land_mask", "land_area_fraction"),
)  # fmt: skip
ALSO_STANDARD = {
    "precipitation_amount": "precip_mm",
    "lwe_precipitation_rate": "precip_mm",
    "lwe_thickness_of_precipitation_amount": "precip_mm",
    "integral_wrt_time_of_surface_downwelling_shortwave_flux_in_air": "sun",
    "land_binary_mask": "land",
    "surface_geopotential": "geopotential",
    "height_above_mean_sea_level": "elevation_m",
}
"""Other standard names of the same quantities."""
MISSING_BELOW = -9_000.0
"""Codes for missing of files that do not declare them; no quantity taken is as low."""
FIXED = ("elevation_m", "geopotential", "land")
"""Variables without time."""
BY_KEY = {variable.key: variable for variable in VARIABLES}
_BY_NAME = {name: variable for variable in VARIABLES for name in variable.names.split()}
_BY_STANDARD = {(v.standard_name, v.meaning): v for v in VARIABLES if v.standard_name}
_SPELLINGS = {
    "degrees c": "degC",
    "degree c": "degC",
    "degrees_celsius": "degC",
    "degrees f": "degF",
    "degrees fahrenheit": "degF",
    "m of water equivalent": "m",
    "fraction": "1",
    "(0 - 1)": "1",
    "": "1",
}
"""Spellings that neither CF nor pint has, as these sets write them."""


def recognise(name: str, attributes: dict[str, object]) -> Variable | None:
    """The quantity of a variable by its own, its long or its standard name; None: not known."""
    said = [name, attributes.get("long_name", ""), attributes.get("standard_name", "")]
    for word in (str(each).strip().lower().replace(" ", "_") for each in said):
        if word in _BY_NAME:
            return _BY_NAME[word]
    standard = str(attributes.get("standard_name", ""))
    if standard in ALSO_STANDARD:
        return BY_KEY[ALSO_STANDARD[standard]]
    methods = str(attributes.get("cell_methods", ""))
    meaning = next((m for m in MEANINGS[:2] if f"time: {m}" in methods), "")
    return _BY_STANDARD.get((standard, meaning)) or None


@dataclass(frozen=True)
class Conversion:
    """A file's number times ``scale`` plus ``offset`` is ours."""

    scale: float = 1.0
    offset: float = 0.0
    is_rate: bool = False
    """Written as a mean rate over the step, not as its amount."""


@dataclass(frozen=True)
class Found:
    """The variables of a file that are used, by key."""

    names: dict[str, str] = field(default_factory=dict)
    unused: tuple[str, ...] = ()


def find_variables(path: Path, data: xr.Dataset) -> Found:
    """Which variable is which quantity.

    Raises
    ------
    InputError
        Two variables are the same quantity.
    """
    names: dict[str, str] = {}
    unused = []
    for name in map(str, data.data_vars):
        variable = recognise(name, dict(data[name].attrs))
        if variable is None:
            unused.append(name)
        elif variable.key in names:
            raise InputError(
                f"{path}, variables {quoted(names[variable.key])} and {quoted(name)}: both are "
                f"{variable.key}; accepted is one of each quantity: leave one out"
            )
        else:
            names[variable.key] = name
    return Found(names, tuple(unused))


def conversion(path: Path, name: str, key: str, units: str, step: Step) -> Conversion:
    """How a variable's numbers become ours.

    Rain as an amount (mm, m, kg m-2) or a rate (kg m-2 s-1, mm day-1); sun as an amount (J m-2)
    or a rate (W m-2); a kilogram of water on a square metre is a millimetre.

    Raises
    ------
    InputError
        There is no unit, it is not known, or it is of something else.
    """
    import cf_xarray.units
    import pint

    registry = cf_xarray.units.units
    variable = BY_KEY[key]
    accepted = ", ".join(_accepted(variable))
    where = f"{path}, variable {quoted(name)}"
    if not units.strip() and key != "land":
        raise InputError(f'{where}: no attribute "units"; accepted are, say, {accepted}')
    try:
        unit = registry.Unit(_SPELLINGS.get(units.strip().lower(), units.strip()))
        ours = registry.Unit(variable.unit)
        if variable.rate_of:
            if any(unit.is_compatible_with(mass) for mass in ("kg m-2", "kg m-2 s-1")):
                unit = unit / registry.Unit("kg m-2") * registry.Unit("mm")
            is_rate = unit.is_compatible_with(ours / registry.Unit("s"))
            if is_rate:
                over = registry.Quantity(STEP_SECONDS[step], "s")
                amount = (registry.Quantity(1.0, unit) * over).to(ours)
                return Conversion(float(amount.magnitude), 0.0, is_rate=True)
        if unit == ours:
            return Conversion()
        offset = float(registry.Quantity(0.0, unit).to(ours).magnitude)
        scale = float(registry.Quantity(1.0, unit).to(ours).magnitude) - offset
    except (pint.errors.PintError, ValueError, TypeError, AssertionError, AttributeError) as error:
        raise InputError(
            f"{where}: unit {quoted(units)} is not known for {key}; accepted are, say, {accepted}"
        ) from error
    return Conversion(scale, offset)


def _accepted(variable: Variable) -> tuple[str, ...]:
    if variable.key == "precip_mm":
        return "mm", "m", "kg m-2", "kg m-2 s-1", "mm day-1"
    if variable.key == "sun":
        return "W m-2", "J m-2", "MJ m-2 day-1"
    return {"degC": ("K", "degC", "degF"), "percent": ("%", "1"), "hPa": ("Pa", "hPa")}.get(
        variable.unit, (variable.unit,)
    )


def listed(names: tuple[str, ...] | list[str]) -> str:
    """The first names of many."""
    return shown(", ".join(names[:12]) + (" ..." if len(names) > 12 else "")) or "none"
