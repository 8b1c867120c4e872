"""The invented farm: can be made again, looks like weather, and travels with the package."""

from __future__ import annotations

import runpy
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from climate_risk import demo_files
from climate_risk.errors import RunError

ROOT = Path(__file__).parents[1]
SAMPLE = ROOT / "sample_data"
COLUMNS = [
    "air_temp_min_c",
    "air_temp_mean_c",
    "air_temp_max_c",
    "rel_humidity_pct",
    "dew_point_c",
    "precip_mm",
    "wind_ms",
    "shortwave_mj_m2",
]


@pytest.fixture(scope="module")
def maker() -> dict[str, Any]:
    return runpy.run_path(str(SAMPLE / "make_weather.py"))


@pytest.fixture(scope="module")
def weather() -> pd.DataFrame:
    return pd.read_csv(SAMPLE / "weather.csv", index_col="date", parse_dates=True)


@pytest.fixture(scope="module")
def warm_half(weather: pd.DataFrame) -> pd.DataFrame:
    return weather[weather.index.month.isin(range(5, 10))]


def test_weather_is_made_again_byte_for_byte(maker: dict[str, Any]) -> None:
    made = maker["csv_text"](maker["make_weather"]()).encode("ascii")
    assert made == (SAMPLE / "weather.csv").read_bytes()


def test_another_seed_gives_other_weather(maker: dict[str, Any], weather: pd.DataFrame) -> None:
    other = maker["make_weather"](seed=1)
    assert other.index.equals(weather.index)
    assert np.mean(np.abs(other["air_temp_max_c"] - weather["air_temp_max_c"])) > 1.0


def test_every_day_is_there_once_and_whole(weather: pd.DataFrame) -> None:
    assert list(weather.columns) == COLUMNS
    days = pd.date_range("1994-01-01", "2026-07-12")
    assert list(weather.index) == list(days)
    assert not weather.isna().to_numpy().any()


def test_values_agree_with_each_other(weather: pd.DataFrame) -> None:
    low, mean, high = (weather[name] for name in COLUMNS[:3])
    assert (low < mean).all()
    assert (mean < high).all()
    assert (weather["dew_point_c"] <= mean).all()
    assert weather["rel_humidity_pct"].between(10, 100).all()
    assert (weather["precip_mm"] >= 0).all()
    assert (weather["wind_ms"] > 0).all()
    assert (weather["shortwave_mj_m2"] > 0).all()


def test_sun_never_beats_a_clear_sky(maker: dict[str, Any], weather: pd.DataFrame) -> None:
    clear = maker["clear_sky_mj_m2"](weather.index.day_of_year.to_numpy(dtype=float))
    assert (weather["shortwave_mj_m2"] <= clear + 0.05).all()


def test_monthly_climate_is_the_stated_one(weather: pd.DataFrame) -> None:
    """README of the folder: July about 21 C, January about -2 C, some 1100 mm a year."""
    monthly = weather["air_temp_mean_c"].groupby(weather.index.month).mean()
    assert monthly[7] == pytest.approx(21.0, abs=0.8)
    assert monthly[1] == pytest.approx(-2.0, abs=1.0)
    yearly = weather.loc[:"2025", "precip_mm"].groupby(weather.loc[:"2025"].index.year).sum()
    assert yearly.mean() == pytest.approx(1100, abs=80)
    assert yearly.min() < 850 < 1350 < yearly.max()


def test_warming_is_the_stated_one(maker: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> None:
    """Same seed, slope taken out: what is left of the difference is the trend alone."""
    with_trend = maker["make_weather"]()["air_temp_mean_c"]
    monkeypatch.setitem(maker["make_weather"].__globals__, "WARMING_C_PER_DECADE", 0.0)
    without = maker["make_weather"]()["air_temp_mean_c"]
    gap = with_trend - without
    decades = (gap.index[-1] - gap.index[0]).days / 3652.5
    assert (gap.iloc[-1] - gap.iloc[0]) / decades == pytest.approx(0.25, rel=1e-3)


def test_wet_days_cluster_and_are_cool_and_dull(warm_half: pd.DataFrame) -> None:
    wet = warm_half["precip_mm"] > 0
    after_wet = wet.shift(1, fill_value=False)
    assert wet[after_wet].mean() > wet[~after_wet].mean() + 0.1
    means = warm_half.groupby(wet).mean()
    assert means["air_temp_max_c"][True] < means["air_temp_max_c"][False] - 2.0
    assert means["shortwave_mj_m2"][True] < means["shortwave_mj_m2"][False] - 5.0


def test_dry_spells_come_in_some_years_only(weather: pd.DataFrame) -> None:
    """A 30-day total under 15 mm between May and September, as growers fear it."""
    month_mm = weather["precip_mm"].rolling(30).sum()
    ends = month_mm[(month_mm.index.month >= 6) & (month_mm.index.month <= 9)]
    driest_mm = ends.groupby(ends.index.year).min()
    assert 5 <= (driest_mm < 15).sum() <= 15
    assert (driest_mm > 40).sum() >= 5


def test_dry_fortnights_are_hot_and_their_dew_point_leaves_the_minimum(
    weather: pd.DataFrame, warm_half: pd.DataFrame
) -> None:
    """Measured stations show a dew point 3 to 8 K under the minimum when it is driest."""
    fortnight_mm = weather["precip_mm"].rolling(14).sum().reindex(warm_half.index)
    dry = warm_half[fortnight_mm < 3]
    gap_k = dry["dew_point_c"] - dry["air_temp_min_c"]
    assert -8 < gap_k.mean() < -2
    assert dry["air_temp_max_c"].mean() > warm_half["air_temp_max_c"].mean() + 1.0


def test_july_heat_is_in_range(weather: pd.DataFrame) -> None:
    july_max_c = weather.loc[weather.index.month == 7, "air_temp_max_c"]
    assert july_max_c.quantile(0.1) > 23
    assert july_max_c.quantile(0.9) < 32
    assert 35 < weather["air_temp_max_c"].max() < 38


def test_demo_day_ends_a_hot_dry_spell(weather: pd.DataFrame) -> None:
    spell = weather.loc["2026-06-24":]
    usual = weather.loc[weather.index.month == 7].mean()
    assert spell["precip_mm"].sum() < 10
    assert spell["air_temp_max_c"].mean() > usual["air_temp_max_c"] + 2
    assert spell["rel_humidity_pct"].iloc[-10:].mean() < usual["rel_humidity_pct"] - 10


def test_saturation_pressure_matches_published_values(maker: dict[str, Any]) -> None:
    """Allen et al. 1998, FAO-56, example 3: 3.075 kPa at 24.5 C and 1.705 kPa at 15 C."""
    pressure_kpa = maker["saturation_vp_kpa"](np.array([24.5, 15.0]))
    np.testing.assert_allclose(pressure_kpa, [3.075, 1.705], atol=5e-4)


def test_radiation_matches_published_value(
    maker: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Allen et al. 1998, FAO-56, example 8: 32.2 MJ/m2 outside the air, 20 S, 3 September."""
    names = maker["clear_sky_mj_m2"].__globals__
    monkeypatch.setitem(names, "LATITUDE_DEG", -20.0)
    monkeypatch.setitem(names, "ELEVATION_M", 0.0)
    clear = maker["clear_sky_mj_m2"](np.array([246.0]))
    np.testing.assert_allclose(clear / 0.75, 32.2, atol=0.05)


def test_humidity_of_an_even_day_is_the_plain_ratio(maker: dict[str, Any]) -> None:
    temp_c, dew_c = np.array([15.0, 15.0]), np.array([15.0, 24.5])
    humidity_pct = maker["mean_humidity_pct"](temp_c + 9.5, temp_c + 9.5, dew_c)
    np.testing.assert_allclose(humidity_pct, [100 * 1.705 / 3.075, 100.0], rtol=5e-4)


def test_anomalies_keep_variance_and_persistence(maker: dict[str, Any]) -> None:
    draws = np.random.default_rng(3).standard_normal(40_000)
    series = pd.Series(maker["autoregressive"](draws, 0.7))
    assert series.std() == pytest.approx(1.0, abs=0.03)
    assert series.autocorr(1) == pytest.approx(0.7, abs=0.02)


def test_yard_says_that_it_is_invented_and_points_at_the_weather() -> None:
    yard = tomllib.loads((SAMPLE / "yard.toml").read_text(encoding="utf-8"))
    assert yard["yard"]["invented"] is True
    assert (SAMPLE / yard["weather"]["file"]).is_file()
    assert [stack["count"] for stack in yard["stack"]] == [16]


def test_demo_folder_holds_the_farm() -> None:
    names = {path.name for path in demo_files.demo_folder().iterdir()}
    assert {"yard.toml", "weather.csv"} <= names


def test_demo_folder_inside_an_installed_package_comes_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    installed = tmp_path / "climate_risk"
    (installed / "sample_data").mkdir(parents=True)
    monkeypatch.setattr(demo_files, "__file__", str(installed / "demo_files.py"))
    with pytest.raises(RunError, match="install the package again"):
        demo_files.demo_folder()
    (installed / "sample_data" / "yard.toml").touch()
    assert demo_files.demo_folder() == installed / "sample_data"


def test_build_file_lists_every_package() -> None:
    """The list is written out because the sample folder is mapped into the package."""
    build = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    folders = {path.parent for path in (ROOT / "climate_risk").rglob("*.py")}
    found = {".".join(folder.relative_to(ROOT).parts) for folder in folders}
    listed = build["tool"]["setuptools"]["packages"]
    assert sorted(listed) == sorted(found | {"climate_risk.sample_data"})
