"""The canonical weather columns: plausible range, units, and other people's names for them."""

from __future__ import annotations

import re
from dataclasses import dataclass

DEGREES_C = {"c": (1.0, 0.0), "f": (5.0 / 9.0, -160.0 / 9.0), "k": (1.0, -273.15)}
LENGTH_MM = {"mm": (1.0, 0.0), "cm": (10.0, 0.0), "m": (1000.0, 0.0), "in": (25.4, 0.0)}
SPEED_MS = {
    "m/s": (1.0, 0.0),
    "km/h": (1 / 3.6, 0.0),
    "mph": (0.44704, 0.0),
    "kt": (1852 / 3600, 0.0),
}
PERCENT = {"%": (1.0, 0.0), "fraction": (100.0, 0.0)}
PRESSURE_HPA = {
    "hpa": (1.0, 0.0),
    "mb": (1.0, 0.0),
    "pa": (0.01, 0.0),
    "kpa": (10.0, 0.0),
    "inhg": (33.86389, 0.0),
}
SUN_MJ = {"mj/m2": (1.0, 0.0), "w/m2": (0.0864, 0.0), "wh/m2": (0.0036, 0.0)}
SUN_W = {"w/m2": (1.0, 0.0), "mj/m2": (1e6 / 3600, 0.0), "wh/m2": (1.0, 0.0)}
TENTHS = {"tenths c": DEGREES_C, "tenths mm": LENGTH_MM, "tenths m/s": SPEED_MS}


@dataclass(frozen=True)
class Column:
    """One canonical column: the range a value can have, and how units convert to ours.

    A value in a foreign unit times the first number of its pair plus the second is ours.
    """

    low: float
    high: float
    units: dict[str, tuple[float, float]]

    @property
    def unit(self) -> str:
        """Our own unit, as spelled in a column mapping."""
        return next(iter(self.units))

    def conversion(self, unit: str) -> tuple[float, float] | None:
        """Scale and offset from `unit`, None where it is not a unit of this quantity."""
        key = plain_unit(unit)
        if TENTHS.get(key) is self.units:
            scale, offset = self.units[key.removeprefix("tenths ")]
            return scale / 10.0, offset
        return self.units.get(key)


# Ranges: temperature bounds of WMO world records rounded outward; others are the limits of
# Zahumensky 2004 (WMO guidelines on quality control of automatic stations), from memory.
_TEMPERATURE = Column(-70.0, 60.0, DEGREES_C)
DAILY = {
    "air_temp_min_c": _TEMPERATURE,
    "air_temp_mean_c": _TEMPERATURE,
    "air_temp_max_c": _TEMPERATURE,
    "rel_humidity_pct": Column(0.0, 105.0, PERCENT),
    "dew_point_c": Column(-80.0, 35.0, DEGREES_C),
    "precip_mm": Column(0.0, 1000.0, LENGTH_MM),
    "wind_ms": Column(0.0, 50.0, SPEED_MS),
    "shortwave_mj_m2": Column(0.0, 45.0, SUN_MJ),
    "pressure_hpa": Column(500.0, 1090.0, PRESSURE_HPA),
    "snow_depth_mm": Column(0.0, 15000.0, LENGTH_MM),
}
HOURLY = {
    "air_temp_c": _TEMPERATURE,
    "rel_humidity_pct": DAILY["rel_humidity_pct"],
    "dew_point_c": DAILY["dew_point_c"],
    "precip_mm": Column(0.0, 300.0, LENGTH_MM),
    "wind_ms": Column(0.0, 75.0, SPEED_MS),
    "shortwave_w_m2": Column(0.0, 1600.0, SUN_W),
    "pressure_hpa": DAILY["pressure_hpa"],
    "snow_depth_mm": DAILY["snow_depth_mm"],
}
ALL = DAILY | HOURLY
TEMPERATURES = ("air_temp_min_c", "air_temp_mean_c", "air_temp_max_c", "air_temp_c")

_UNIT_WORDS = {
    "degc": "c",
    "celsius": "c",
    "degf": "f",
    "fahrenheit": "f",
    "kelvin": "k",
    "inch": "in",
    "inches": "in",
    "ms": "m/s",
    "m s-1": "m/s",
    "kmh": "km/h",
    "kph": "km/h",
    "knots": "kt",
    "knot": "kt",
    "kn": "kt",
    "pct": "%",
    "percent": "%",
    "mbar": "mb",
    "mj": "mj/m2",
    "mj m2": "mj/m2",
    "mj m-2": "mj/m2",
    "w m2": "w/m2",
    "w m-2": "w/m2",
    "wh m-2": "wh/m2",
}
_KNOWN_UNITS = {u for column in ALL.values() for u in column.units}

_NAMES = {
    "air_temp_min_c": "tmin mintemp tempmin temperaturemin mintemperature minimumtemperature "
    "airtempmin low lowtemp mint tmn",
    "air_temp_max_c": "tmax maxtemp tempmax temperaturemax maxtemperature maximumtemperature "
    "airtempmax high hightemp maxt tmx",
    "air_temp_mean_c": "tmean meantemp tempmean tavg avgtemp tempavg averagetemperature "
    "meantemperature airtempmean",
    "air_temp_c": "temp temperature airtemp airtemperature drybulb",
    "rel_humidity_pct": "rh relhumidity relativehumidity humidity humid rhmean meanrh rhavg avgrh",
    "dew_point_c": "dewpoint dewp dewpt dewpointtemperature tdew tdmean dew",
    "precip_mm": "precip precipitation prcp rain rainfall ppt precipsum",
    "wind_ms": "wind windspeed meanwind windmean avgwind avgwindspeed windavg",
    "shortwave_mj_m2": "solar srad solarradiation radiation globalradiation rs shortwave radn ghi",
    "pressure_hpa": "pressure stationpressure pres airpressure barometer",
    "snow_depth_mm": "snowdepth",
}
_NAME_OF = {word: name for name, words in _NAMES.items() for word in words.split()}


def plain_unit(text: str) -> str:
    """Spelling of a unit that the tables above use."""
    text = text.strip().lower().replace("°", "").replace("²", "2").replace("deg ", "")
    text = text.removesuffix("/day").removesuffix("/d")
    return _UNIT_WORDS.get(text, text)


def recognise_header(header: str) -> tuple[str, str] | None:
    """Canonical column and unit of a stranger's header, None where it is not known.

    Parameters
    ----------
    header : str
        Such as ``Max Temp (F)``, ``tmin_c`` or ``Rain [in]``.

    Returns
    -------
    (name, unit) or None
        `unit` is empty where the header names none. The sun's name is the daily one.
    """
    match = re.search(r"[(\[]([^)\]]*)[)\]]", header)
    unit = plain_unit(match.group(1).split(",")[0]) if match else ""
    rest = re.sub(r"[(\[].*", "", header).strip().lower()
    rest, _, tail = rest.partition(",")
    if tail.strip() and (plain_unit(tail) in _KNOWN_UNITS or not unit):
        unit = plain_unit(tail)
    words = re.split(r"[\s_.\-]+", rest)
    for taken in (2, 1) if not unit else ():
        tail = plain_unit(" ".join(words[-taken:]))
        if len(words) > taken and tail in _KNOWN_UNITS:
            unit, words = tail, words[:-taken]
            break
    name = _NAME_OF.get("".join(words))
    return None if name is None else (name, unit)
