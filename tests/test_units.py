"""Conversions against NIST SP 811 (2008), appendix B.8, and the reading of quantities."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from climate_risk import units
from climate_risk.units import Units, parse_quantity


@pytest.mark.parametrize(
    ("converted", "published"),
    [
        (units.metres_from_inches(1.0), 2.54e-2),
        (units.metres_from_feet(1.0), 3.048e-1),
        (units.kilograms_from_pounds(1.0), 4.5359237e-1),
        (units.millimetres_from_inches(1.0), 25.4),
    ],
)
def test_factors_that_nist_prints_as_exact(converted: float, published: float) -> None:
    assert converted == pytest.approx(published, rel=1e-15)


def test_the_gallon_that_nist_rounds() -> None:
    # NIST SP 811 B.8 prints seven digits: gallon (US) 3.785412 L.
    assert units.litres_from_gallons(1.0) == pytest.approx(3.785412, abs=5e-7)
    # By definition: the US gallon is 231 cubic inches.
    assert units.litres_from_gallons(1.0) == pytest.approx(231 * 2.54**3 / 1000.0, rel=1e-15)


@pytest.mark.parametrize(("fahrenheit", "celsius"), [(32.0, 0.0), (212.0, 100.0), (-40.0, -40.0)])
def test_fixed_points_of_the_temperature_scales(fahrenheit: float, celsius: float) -> None:
    assert units.celsius_from_fahrenheit(fahrenheit) == pytest.approx(celsius, abs=1e-12)
    assert units.fahrenheit_from_celsius(celsius) == pytest.approx(fahrenheit, abs=1e-12)


def test_arrays_of_whole_numbers_convert_without_loss() -> None:
    temps_c = units.celsius_from_fahrenheit(np.array([32, 50, 86]))
    np.testing.assert_allclose(temps_c, [0.0, 10.0, 30.0], atol=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("12 in", "length", 0.3048),
        ("12in", "length", 0.3048),
        ("1/4 in", "length", 0.00635),
        ("10 1/2 in", "length", 0.2667),
        ("10-1/2 in", "length", 0.2667),
        ("10\u00bd in", "length", 0.2667),
        ("3\u20444 ft", "length", 0.2286),
        ("12 inches", "length", 0.3048),
        (" 30 cm ", "length", 0.30),
        ("2300 ft", "length", 701.04),
        ("6 mm", "length", 0.006),
        ("1.5e2 m", "length", 150.0),
        ("-20 m", "length", -20.0),
        ("6 mm", "rain", 6.0),
        ("1 in", "rain", 25.4),
        ("5 lb", "mass", 2.26796185),
        ("8 oz", "mass", 0.226796185),
        ("1 gal", "volume", 3.785411784),
        ("4 L", "volume", 4.0),
        ("4 litres", "volume", 4.0),
        ("100 sq ft", "area", 9.290304),
        ("90 F", "temperature", 32.2222222222),
        ("-5 °C", "temperature", -5.0),
        ("85 %", "share", 0.85),
        ("85%", "share", 0.85),
        (0, "length", 0.0),
        ("0", "mass", 0.0),
    ],
)
def test_quantities_as_growers_write_them(
    text: str | float, dimension: units.Dimension, expected: float
) -> None:
    assert parse_quantity(text, dimension) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize(
    ("text", "dimension", "message"),
    [
        ("12 inchs", "length", 'no unit "inchs"; use in, ft, cm, mm or m (nearest: in)'),
        ("12 furlongs", "length", 'no unit "furlongs"; use in, ft, cm, mm or m'),
        ("12", "length", 'no unit; use in, ft, cm, mm or m, as in "12 in"'),
        (12, "length", 'no unit; use in, ft, cm, mm or m, as in "12 in"'),
        (2300, "elevation", 'no unit; use ft or m, as in "2300 ft"'),
        ("2300 in", "elevation", 'no unit "in"; use ft or m'),
        ("90", "temperature", 'no unit; use F or C, as in "90 F"'),
        ("0", "temperature", 'no unit; use F or C, as in "90 F"'),
        ("85", "share", 'no unit; use %, as in "85 %"'),
        ("12 lb", "length", 'no unit "lb"; use in, ft, cm, mm or m'),
        ("1/0 in", "length", "a fraction cannot have 0 below its line"),
        ("2,300 ft", "length", 'not a number with a unit; write it as "12 in"'),
        ("twelve in", "length", 'not a number with a unit; write it as "12 in"'),
        ("", "length", 'not a number with a unit; write it as "12 in"'),
        (True, "length", 'not a number with a unit; write it as "12 in"'),
        (math.nan, "length", 'not a number with a unit; write it as "12 in"'),
        (math.inf, "length", 'not a number with a unit; write it as "12 in"'),
        ("1e999 m", "length", "the number is too large"),
        ("12 i\nn", "length", 'no unit "i\\nn"; use in, ft, cm, mm or m (nearest: in)'),
    ],
)
def test_mistakes_are_refused_in_plain_words(
    text: str | float, dimension: units.Dimension, message: str
) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(message)}$"):
        parse_quantity(text, dimension)


@given(st.text())
def test_any_text_gives_a_finite_number_or_one_line(text: str) -> None:
    try:
        outcome: float | str = parse_quantity(text, "length")
    except ValueError as error:
        outcome = str(error)
    if isinstance(outcome, float):
        assert math.isfinite(outcome)
    else:
        assert len(outcome.splitlines()) == 1


def test_what_a_reader_sees() -> None:
    us, metric = Units("us"), Units("metric")
    assert us.temperature.text(30.0) == "86 °F"
    assert metric.temperature.text(30.0) == "30 °C"
    assert us.temperature_difference.text(5.0) == "9.0 °F"
    assert us.length.text(0.3048, digits=0) == "12 in"
    assert metric.length.text(0.3048) == "30.5 cm"
    assert us.elevation.text(701.04) == "2300 ft"
    assert us.rain.text(25.4) == "1.00 in"
    assert metric.rain.text(25.4) == "25.4 mm"
    assert us.mass.text(2.26796185) == "5.0 lb"
    assert us.volume.text(3.785411784) == "1.0 gal"
    assert metric.volume.text(4.0) == "4.0 L"
    assert us.area.text(9.290304) == "100.0 sq ft"
    assert metric.temperature.text(-0.2) == "0 °C"  # never "-0"


def test_a_chart_converts_arrays() -> None:
    np.testing.assert_allclose(Units("us").temperature.of(np.array([0.0, 10.0])), [32.0, 50.0])


def test_an_unknown_system_is_refused() -> None:
    with pytest.raises(ValueError, match='no unit system "imperial"; use us or metric'):
        Units("imperial")
