"""An hourly record at a site, and the weather inside each of its stands."""

from __future__ import annotations

from datetime import date, timedelta
from functools import cached_property
from threading import Lock

import numpy as np
import numpy.typing as npt
import pandas as pd

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.interventions import LeafDay, LeafOut
from climate_risk.leaves import SOUTH_DAYS
from climate_risk.log.formulas import convection_coefficient
from climate_risk.microclimate.canopy import spring_warmth
from climate_risk.microclimate.radiation import (
    STAND_COLUMNS,
    W_AIR_TEMP,
    W_BEAM,
    W_CONVECTION,
    W_CONVECTION_CLOTH,
    W_DIFFUSE,
    W_GROUND_TEMP,
    W_HUMIDITY_DOUBT,
    W_INDEX,
    W_LONGWAVE,
    W_PATH,
    W_RAIN,
    W_RAIN_DOUBT,
    W_SUN_COSINE,
    W_SUN_DOUBT,
    W_SUN_SINE,
    W_TEMP_DOUBT,
    W_VAPOUR,
    W_WIND,
    W_WIND_CLOTH,
    W_WIND_DOUBT,
)
from climate_risk.microclimate.stand import StandWeather, below_canopy
from climate_risk.microclimate.stand_log import (
    Offset,
    StandLog,
    doubt_of_air,
    has_humidity,
    with_log,
)
from climate_risk.site import Site
from climate_risk.tables import canopies, cloths, model
from climate_risk.weather.record import HourlyWeather

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


EPOCH_YEAR = 1970
"""That numpy counts years from."""


class Record:
    """An hourly record at a site, with each stand's table made once."""

    def __init__(
        self, weather: HourlyWeather, site: Site, log: tuple[StandLog, Offset] | None = None
    ) -> None:
        self.weather = weather
        self.site = site
        self.log = log
        """A logger in one of the stands, and what it differs from the modelled air there."""
        self._stands: dict[tuple[str, float], StandWeather] = {}
        self._tables: dict[tuple[str, float, float], FloatArray] = {}
        self._making = Lock()
        """Runs on several cores ask for the same table at once."""

    @cached_property
    def first(self) -> date:
        """First day of the record."""
        return pd.Timestamp(self.weather.time[0]).date()

    @cached_property
    def last(self) -> date:
        """Last day that was seen; days that are forecast may follow."""
        end = pd.Timestamp(self.weather.time[-1]).date()
        return end - timedelta(days=self.weather.forecast_days)

    def sun(self, first: int, last: int) -> tuple[FloatArray, FloatArray]:
        """Elevation and azimuth of the sun [deg] in rows of :meth:`table`, the last not among."""
        weather = self.weather
        return weather.sun_elevation_deg[first:last], weather.sun_azimuth_deg[first:last]

    def row(self, day: date) -> int:
        """Row of the first hour of a day; days before or after the record are the caller's."""
        return (day - self.first).days * HOURS_PER_DAY

    def years_apart(self, rows: IntArray, day: date) -> IntArray:
        """Calendar years from a day of a run to the days at whose first hours the rows lie."""
        years = self.weather.time[rows].astype("datetime64[Y]").astype(np.int64) + EPOCH_YEAR
        return np.asarray(years - day.year)

    def leaf_shift_days(self, day: LeafDay, years: int) -> int:
        """Days by which the leaves are later than usual, some years after a usual leaf day."""
        if not isinstance(day, LeafOut):
            return 0
        south = timedelta(days=SOUTH_DAYS if self.site.latitude < 0.0 else 0)
        warmth = self._spring_warmth.get((day + south).year + years, 0.0)
        return round(model().days_per_k_spring.value * warmth)

    @cached_property
    def _spring_warmth(self) -> dict[int, float]:
        days = pd.DatetimeIndex(self.weather.time[::HOURS_PER_DAY])
        means = self.weather.air_temp_c.reshape(-1, HOURS_PER_DAY).mean(axis=1)
        warmth = spring_warmth(days, means, self.site)
        return dict(zip(warmth.index.tolist(), warmth.tolist(), strict=True))

    def table(self, canopy: str, openness: float, diameter_m: float) -> FloatArray:
        """(hours, STAND_COLUMNS) weather inside a stand, for stacks of one diameter."""
        with self._making:
            return self._table(canopy, openness, diameter_m)

    def _table(self, canopy: str, openness: float, diameter_m: float) -> FloatArray:
        stand, key = (canopy, openness), (canopy, openness, diameter_m)
        if key not in self._tables:
            if stand not in self._stands:
                row = canopies()[canopy]
                inside = below_canopy(self.weather, row, self.site, openness)
                if self.log is not None and self.log[0].canopy == canopy:
                    inside = with_log(inside, *self.log)
                self._stands[stand] = inside
            table = _stand_table(self._stands[stand], diameter_m)
            doubt = self.weather.doubt
            table[:, W_TEMP_DOUBT] = doubt.temp
            table[:, W_RAIN_DOUBT] = doubt.rain
            table[:, W_HUMIDITY_DOUBT] = doubt.humidity
            if self.log is not None and self.log[0].canopy == canopy:
                inside = self._stands[stand]
                table[:, W_TEMP_DOUBT] = doubt_of_air(inside, *self.log, doubt.temp)
                table[has_humidity(inside, self.log[0]), W_HUMIDITY_DOUBT] = 0.0
            table[:, W_SUN_DOUBT] = doubt.sun
            table[:, W_WIND_DOUBT] = doubt.wind
            self._tables[key] = table
        return self._tables[key]


def _stand_table(stand: StandWeather, diameter_m: float) -> FloatArray:
    table = np.empty((stand.air_temp_c.size, STAND_COLUMNS))
    calm = stand.wind_ms * cloths()["shade cloth"].wind_factor.value
    columns = {
        W_AIR_TEMP: stand.air_temp_c,
        W_VAPOUR: stand.vapour_density_kg_m3,
        W_CONVECTION: convection_coefficient(diameter_m, stand.wind_ms, stand.air_temp_c),
        W_CONVECTION_CLOTH: convection_coefficient(diameter_m, calm, stand.air_temp_c),
        W_LONGWAVE: stand.longwave_w_m2,
        W_RAIN: stand.rain_mm,
        W_GROUND_TEMP: stand.ground_temp_c,
        W_BEAM: stand.beam_normal_w_m2,
        W_DIFFUSE: stand.diffuse_w_m2,
        W_SUN_SINE: stand.sun_sine,
        W_SUN_COSINE: stand.sun_cosine,
        W_INDEX: stand.canopy_index,
        W_PATH: stand.canopy_path,
        W_WIND: stand.wind_ms,
        W_WIND_CLOTH: calm,
    }
    for column, values in columns.items():
        table[:, column] = values
    return table
