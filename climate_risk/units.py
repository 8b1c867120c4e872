"""Units at the edge of the program: what a grower writes in, what a reader sees out.

Inside, every quantity is metric and its name ends in its unit.  All factors are exact by
definition (NIST Special Publication 811, 2008, appendix B).
"""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeVar

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Value = TypeVar("Value", float, npt.NDArray[np.float64])
else:
    Value = TypeVar("Value")

METRES_PER_INCH = 0.0254
METRES_PER_FOOT = 0.3048
KILOGRAMS_PER_POUND = 0.45359237
LITRES_PER_GALLON = 3.785411784
"""US liquid gallon, 231 cubic inches."""

Dimension = Literal[
    "length", "elevation", "rain", "mass", "volume", "area", "temperature", "share"
]


def celsius_from_fahrenheit(temp_f: Value) -> Value:
    """Temperature in degrees Celsius, from degrees Fahrenheit."""
    return (temp_f - 32.0) / 1.8


def fahrenheit_from_celsius(temp_c: Value) -> Value:
    """Temperature in degrees Fahrenheit, from degrees Celsius."""
    return temp_c * 1.8 + 32.0


def metres_from_inches(length_in: Value) -> Value:
    """Length in metres, from inches."""
    return length_in * METRES_PER_INCH


def metres_from_feet(length_ft: Value) -> Value:
    """Length in metres, from feet."""
    return length_ft * METRES_PER_FOOT


def millimetres_from_inches(depth_in: Value) -> Value:
    """Rain depth in millimetres, from inches."""
    return depth_in * (METRES_PER_INCH * 1000.0)


def kilograms_from_pounds(mass_lb: Value) -> Value:
    """Mass in kilograms, from avoirdupois pounds."""
    return mass_lb * KILOGRAMS_PER_POUND


def litres_from_gallons(volume_gal: Value) -> Value:
    """Volume in litres, from US gallons."""
    return volume_gal * LITRES_PER_GALLON


def _times(factor: float) -> Callable[[float], float]:
    return lambda value: value * factor


_READERS: Mapping[Dimension, Mapping[str, Callable[[float], float]]] = {
    "length": {
        "in": metres_from_inches,
        "ft": metres_from_feet,
        "cm": _times(0.01),
        "mm": _times(0.001),
        "m": _times(1.0),
    },
    "elevation": {"ft": metres_from_feet, "m": _times(1.0)},
    "rain": {"in": millimetres_from_inches, "mm": _times(1.0), "cm": _times(10.0)},
    "mass": {
        "lb": kilograms_from_pounds,
        "oz": _times(KILOGRAMS_PER_POUND / 16.0),
        "kg": _times(1.0),
        "g": _times(0.001),
    },
    "volume": {"gal": litres_from_gallons, "L": _times(1.0), "mL": _times(0.001)},
    "area": {
        "sq in": _times(METRES_PER_INCH**2),
        "sq ft": _times(METRES_PER_FOOT**2),
        "cm2": _times(1e-4),
        "m2": _times(1.0),
    },
    "temperature": {"F": celsius_from_fahrenheit, "C": _times(1.0)},
    "share": {"%": _times(0.01)},
}

_SPELLINGS: Mapping[str, str] = {
    **dict.fromkeys(("inch", "inches"), "in"),
    **dict.fromkeys(("foot", "feet"), "ft"),
    **dict.fromkeys(("centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("lbs", "pound", "pounds"), "lb"),
    **dict.fromkeys(("ounce", "ounces"), "oz"),
    **dict.fromkeys(("kilogram", "kilograms"), "kg"),
    **dict.fromkeys(("gram", "grams"), "g"),
    **dict.fromkeys(("gallon", "gallons"), "gal"),
    **dict.fromkeys(("l", "litre", "litres", "liter", "liters"), "L"),
    **dict.fromkeys(("ml",), "mL"),
    **dict.fromkeys(("ft2", "ft\u00b2", "sqft", "square foot", "square feet"), "sq ft"),
    **dict.fromkeys(("in2", "in\u00b2", "square inch", "square inches"), "sq in"),
    **dict.fromkeys(("cm²", "square centimetres", "square centimeters"), "cm2"),
    **dict.fromkeys(
        ("m²", "square metre", "square metres", "square meter", "square meters"), "m2"
    ),
    **dict.fromkeys(("°F", "degF"), "F"),
    **dict.fromkeys(("°C", "degC"), "C"),
    **dict.fromkeys(("percent",), "%"),
}

_EXAMPLES: Mapping[Dimension, str] = {
    "length": "12 in",
    "elevation": "2300 ft",
    "rain": "6 mm",
    "mass": "5 lb",
    "volume": "4 L",
    "area": "10 m2",
    "temperature": "90 F",
    "share": "85 %",
}

_QUANTITY = re.compile(
    r"\s*(?:(?P<sign>[+-]?)(?:(?P<whole>\d{1,9})[\s-]+)?(?P<top>\d{1,9})\s*/\s*(?P<bottom>\d{1,9})"
    r"|(?P<number>[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?))"
    r"\s*(?P<unit>(?:[^\d.,/].*?)?)\s*",
    re.DOTALL,
)
_ONE_SIGN_FRACTION = re.compile("[\u00bc-\u00be\u2044\u2150-\u215e]")


def parse_quantity(quantity: str | float, dimension: Dimension) -> float:
    """Read a number with its unit.

    Parameters
    ----------
    quantity : str or float
        Text such as ``"12 in"``, ``"1/4 in"`` or ``"10 1/2 in"``.  A bare number carries no
        unit, so only 0 is taken as one (and not for a temperature, whose zero depends on the
        scale).
    dimension : str
        What is measured: length, elevation, rain, mass, volume, area, temperature or share.

    Returns
    -------
    float
        m, mm (rain), kg, L, m2, degrees Celsius, or a fraction of 1 (share).

    Raises
    ------
    ValueError
        No number, no unit or an unknown unit; the message names what is accepted.
    """
    readers = _READERS[dimension]
    accepted = _one_of(list(readers))
    if isinstance(quantity, bool) or not isinstance(quantity, str | int | float):
        raise ValueError(f'not a number with a unit; write it as "{_EXAMPLES[dimension]}"')
    match = _QUANTITY.fullmatch(_ONE_SIGN_FRACTION.sub(_spelled_out, str(quantity)))
    if match is None:
        raise ValueError(f'not a number with a unit; write it as "{_EXAMPLES[dimension]}"')
    number, unit = _number_of(match), match["unit"]
    if not math.isfinite(number):
        raise ValueError("the number is too large")
    if not unit:
        if number == 0.0 and dimension != "temperature":
            return 0.0
        raise ValueError(f'no unit; use {accepted}, as in "{_EXAMPLES[dimension]}"')
    known = unit if unit in readers else _SPELLINGS.get(unit, "")
    if known not in readers:
        shown = unit.encode("unicode_escape").decode("ascii") if not unit.isprintable() else unit
        raise ValueError(f'no unit "{shown}"; use {accepted}{_nearest_unit(unit, readers)}')
    return readers[known](number)


def _spelled_out(sign: re.Match[str]) -> str:
    """A fraction of one character as `` 1/2``, and the fraction bar as a stroke."""
    return (
        "/"
        if sign[0] == "\u2044"
        else " " + unicodedata.normalize("NFKC", sign[0]).replace("\u2044", "/")
    )


def _number_of(match: re.Match[str]) -> float:
    if match["number"]:
        return float(match["number"])
    if int(match["bottom"]) == 0:
        raise ValueError("a fraction cannot have 0 below its line")
    size = int(match["whole"] or 0) + int(match["top"]) / int(match["bottom"])
    return -size if match["sign"] == "-" else size


def _one_of(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def _nearest_unit(unit: str, readers: Mapping[str, Callable[[float], float]]) -> str:
    names = {name: name for name in readers}
    names |= {other: name for other, name in _SPELLINGS.items() if name in readers}
    near = difflib.get_close_matches(unit, names, n=1, cutoff=0.5)
    return f" (nearest: {names[near[0]]})" if near else ""


@dataclass(frozen=True)
class Scale:
    """How one kind of quantity is shown: ``shown = inner * factor + offset``."""

    unit: str
    factor: float
    digits: int
    offset: float = 0.0

    def of(self, value: Value) -> Value:
        """Convert a value, or an array of values, to the shown unit."""
        return value * self.factor + self.offset

    def text(self, value: float, digits: int | None = None) -> str:
        """Write a value with its unit, ``digits`` after the point."""
        places = self.digits if digits is None else digits
        shown = round(self.of(value), places) + 0.0  # adding zero turns -0.0 into 0.0
        return f"{shown:.{places}f} {self.unit}"


_SCALES: Mapping[str, Mapping[str, Scale]] = {
    "us": {
        "temperature": Scale("°F", 1.8, 0, 32.0),
        "temperature_difference": Scale("°F", 1.8, 1),
        "length": Scale("in", 1.0 / METRES_PER_INCH, 1),
        "elevation": Scale("ft", 1.0 / METRES_PER_FOOT, 0),
        "rain": Scale("in", 1.0 / (METRES_PER_INCH * 1000.0), 2),
        "mass": Scale("lb", 1.0 / KILOGRAMS_PER_POUND, 1),
        "volume": Scale("gal", 1.0 / LITRES_PER_GALLON, 1),
        "area": Scale("sq ft", 1.0 / METRES_PER_FOOT**2, 1),
    },
    "metric": {
        "temperature": Scale("°C", 1.0, 0),
        "temperature_difference": Scale("°C", 1.0, 1),
        "length": Scale("cm", 100.0, 1),
        "elevation": Scale("m", 1.0, 0),
        "rain": Scale("mm", 1.0, 1),
        "mass": Scale("kg", 1.0, 1),
        "volume": Scale("L", 1.0, 1),
        "area": Scale("m²", 1.0, 1),
    },
}


@dataclass(frozen=True)
class Units:
    """The units a reader asked for; each property is a :class:`Scale`.

    ``Units("us").temperature.text(30.0)`` is ``"86 °F"``; for a chart,
    ``Units("us").temperature.of(array_c)`` and ``.unit``.
    """

    system: str

    def __post_init__(self) -> None:
        if self.system not in _SCALES:
            raise ValueError(f'no unit system "{self.system}"; use us or metric')

    def _scale(self, kind: str) -> Scale:
        return _SCALES[self.system][kind]

    @property
    def temperature(self) -> Scale:
        """From degrees Celsius."""
        return self._scale("temperature")

    @property
    def temperature_difference(self) -> Scale:
        """From kelvin; no zero shift."""
        return self._scale("temperature_difference")

    @property
    def length(self) -> Scale:
        """Size of a log, from metres."""
        return self._scale("length")

    @property
    def elevation(self) -> Scale:
        """Height above the sea, from metres."""
        return self._scale("elevation")

    @property
    def rain(self) -> Scale:
        """Depth of rain, from millimetres."""
        return self._scale("rain")

    @property
    def mass(self) -> Scale:
        """From kilograms."""
        return self._scale("mass")

    @property
    def volume(self) -> Scale:
        """From litres."""
        return self._scale("volume")

    @property
    def area(self) -> Scale:
        """From square metres."""
        return self._scale("area")
