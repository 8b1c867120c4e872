"""The first days of an outlook: what a service foretells, faded into each past year's weather."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import numpy.typing as npt

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine.record import Record
from climate_risk.microclimate.radiation import (
    W_BEAM,
    W_INDEX,
    W_PATH,
    W_SUN_COSINE,
    W_SUN_SINE,
)

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

FULL_DAYS, END_DAY = 3, 7
"""A forecast counts in full to the third day and for nothing on the seventh (our own choice;
what it gains is measured in ``tests/forecast_skill.py``)."""
SKY = [W_SUN_SINE, W_SUN_COSINE, W_INDEX, W_PATH]
"""Columns of a stand's table that are of the day, not of its weather."""


def forecast_share(day: npt.ArrayLike) -> FloatArray:
    """Weight of a forecast by the day ahead, tomorrow being 1: in full, then a straight line."""
    fade = (END_DAY - np.asarray(day, dtype=np.float64)) / (END_DAY - FULL_DAYS)
    return np.clip(fade, 0.0, 1.0)


class Bridge(Record):
    """A record of the days between today and the past years: one stretch of hours for each.

    Each stretch is the forecast and the same days of one past year, mixed column by column by
    :func:`forecast_share`. Rain is mixed too: its sum is right, its days are flatter than any
    one of the two.

    Parameters
    ----------
    record : Record
        With forecast days after its last.
    begins : sequence of date
        The day in each past year that stands for tomorrow.
    """

    def __init__(self, record: Record, begins: Sequence[date]) -> None:
        super().__init__(record.weather, record.site, record.log)
        self._whole = record
        self._rows = [record.row(day) for day in begins]
        self._years = np.array([day.year for day in begins])
        days = min(record.weather.forecast_days, END_DAY - 1)
        self.hours = days * HOURS_PER_DAY
        self._ahead = len(record.weather.time) - record.weather.forecast_days * HOURS_PER_DAY
        share = forecast_share(np.arange(1, days + 1))
        self._share = np.repeat(share, HOURS_PER_DAY)[:, None]

    def years_apart(self, rows: IntArray, day: date) -> IntArray:
        """Calendar years from tomorrow to the same day of each row's past year."""
        return np.asarray(self._years[rows // self.hours] - day.year)

    def _table(self, canopy: str, openness: float, diameter_m: float) -> FloatArray:
        """(years * hours, STAND_COLUMNS) mixed weather inside a stand."""
        key = (canopy, openness, diameter_m)
        if key not in self._tables:
            whole = self._whole.table(*key)
            ahead = whole[self._ahead : self._ahead + self.hours]
            stretches = []
            for row in self._rows:
                mixed = self._share * ahead + (1.0 - self._share) * whole[row : row + self.hours]
                mixed[:, SKY] = ahead[:, SKY]
                mixed[ahead[:, W_SUN_SINE] <= 0.0, W_BEAM] = 0.0
                stretches.append(mixed)
            self._tables[key] = np.concatenate(stretches)
        return self._tables[key]

    def sun(self, first: int, last: int) -> tuple[FloatArray, FloatArray]:
        """Elevation and azimuth of the sun [deg] in rows of one stretch."""
        begin = self._ahead + first % self.hours
        return super().sun(begin, begin + last - first)

    def start_rows(self, draws: int, hour: int) -> IntArray:
        """Row of hour 0 of runs laid out (year, draw) of which ``hour`` is tomorrow's first."""
        return np.repeat(np.arange(len(self._rows)) * self.hours - hour, draws)
