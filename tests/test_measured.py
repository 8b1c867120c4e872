"""Own measurements: reading them, weighing draws by them, and what the page says."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from unittest import mock

import numpy as np
import numpy.typing as npt
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples

from climate_risk.engine.draws import best_estimate
from climate_risk.engine.hours import D_BARK_MAX, D_NEAR_HUMIDITY
from climate_risk.engine.stack import Scheme
from climate_risk.engine.witness import (
    dry_mass_kg,
    midday_moisture,
    possible_mass_kg,
    run_days,
    witness_model,
    witness_scheme,
)
from climate_risk.errors import InputError
from climate_risk.options import CoverSpan
from climate_risk.report import measured as words
from climate_risk.report.certainty import MEASURED
from climate_risk.report.unknown_names import NAMES
from climate_risk.risk import measured as room
from climate_risk.risk import season as season_room
from climate_risk.risk import weighed_piece
from climate_risk.risk.results import SeasonResult
from climate_risk.units import Units
from climate_risk.weather.own_readings import read_measurements, read_weighings
from climate_risk.yard import Yard, read_yard

FloatArray = npt.NDArray[np.float64]
START = date(2010, 4, 12)
AS_OF = date(2010, 8, 1)


# ---------------------------------------------------------------- the files


def written(folder: Path, text: str) -> Path:
    path = folder / "weighings.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_pounds_and_kilograms_are_read_and_put_in_order(tmp_path: Path) -> None:
    pounds = read_weighings(written(tmp_path, "date,mass_lb\n2010-05-01,20\n2010-04-20,22\n"))
    assert pounds.days == (date(2010, 4, 20), date(2010, 5, 1))
    assert pounds.mass_kg == pytest.approx([9.979, 9.072], abs=1e-3)
    kilos = read_weighings(written(tmp_path, "Date;Weight (kg)\n2010-04-20;9,98\n"))
    assert kilos.mass_kg == pytest.approx([9.98])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("date,mass\n2010-05-01,20\n", "line 1, column 'mass': no unit; accepted is mass_kg or"),
        ("# May\ndate,rain\n2010-05-01,20\n", "line 2: no mass among date, rain"),
        ("when,mass_kg\n2010-05-01,20\n", "line 1: no date column among when, mass_kg"),
        ("date,mass_kg,mass_lb\n2010-05-01,9,20\n", "'mass_kg' and 'mass_lb' both hold masses"),
        ("date,mass_kg\n5/1/2010,20\n", "line 2, column 'date': '5/1/2010' is not a date"),
        ("date,mass_kg\n2010-05-01,-2\n", "'-2' is not a mass; accepted is a number above 0"),
        ("date,mass_kg\n2010-05-01,9\n2010-05-01,8\n", "lines 2 and 3: 2010-05-01 stands twice"),
    ],
)
def test_a_wrong_file_is_refused_in_a_line(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        read_weighings(written(tmp_path, text))
    assert len(caught.value.lines) == 1
    assert said in caught.value.lines[0]
    assert caught.value.lines[0].startswith("weighings.csv, line")


# ---------------------------------------------------------------- the piece


@pytest.fixture(scope="module")
def kind():  # type: ignore[no-untyped-def]
    record = risk_samples.make_record("2000-01-01", "2011-12-31")
    return risk_samples.model_of(record, risk_samples.small_stack(inoculated=START))


def test_a_sealed_piece_dries_slower_than_a_bare_one(kind) -> None:  # type: ignore[no-untyped-def]
    own = Scheme(canopy="deciduous", covers=(CoverSpan(kind="bag", material="paper"),))
    one = best_estimate(len(kind.parameter_set(own).unknowns()))
    lost = {}
    for ends in ("bare", "sealed"):
        witness = witness_model(kind, 0.2, 0.15, ends)  # type: ignore[arg-type]
        moisture = midday_moisture(witness, witness_scheme(own), one, date(2010, 7, 1))[:, 0]
        lost[ends] = moisture[0] - moisture[-1]
    assert 0.0 < lost["sealed"] < 0.7 * lost["bare"]
    low, high = possible_mass_kg(witness)
    volume = np.pi * 0.075**2 * 0.2
    assert low < dry_mass_kg(witness) == pytest.approx(350.0 * volume, rel=0.1)
    assert high < 1.3 * 1250.0 * volume


# ---------------------------------------------------------------- a season


def write_measured(folder: Path, more: str = "") -> Path:
    path = risk_samples.write_yard(folder)
    text = path.read_text(encoding="utf-8")
    given = f'\n[measured]\nweighings = "weighings.csv"\nwitness_ends = "sealed"\n{more}'
    path.write_text(text + given, encoding="utf-8")
    return path


def season_of(yard: Yard, record: object, with_readings: bool = True) -> SeasonResult:
    readings = None
    if with_readings and yard.measured is not None:
        readings = read_measurements(yard.measured, -5)
    table = risk_samples.daily_table("2000-01-01", "2010-08-01")
    with mock.patch.object(room, "DRAWS", 128):
        return season_room.season(
            yard, record, risk_samples.coverage(table), {}, as_of=AS_OF, draws=2, readings=readings
        )  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def weighed(tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    """A yard whose witness piece has tight bark, weighed eight times, once wrongly."""
    folder = tmp_path_factory.mktemp("yard")
    yard = read_yard(write_measured(folder))
    record = risk_samples.make_record("2000-01-01", "2010-08-01")
    stack = yard.stacks[0]
    model = season_room.stack_model(stack, record, yard.openness, yard.canopy)
    own = Scheme(canopy=yard.canopy, covers=stack.covers)
    witness = witness_model(model, 0.2, 0.15, "sealed")
    names = list(model.parameter_set(own).unknowns())
    truth = best_estimate(len(names))
    truth[0, names.index("wood.bark_resistance_s_m")] = 0.95
    moisture = midday_moisture(witness, own, truth, AS_OF)[:, 0]
    rows = ["date,mass_kg"]
    noise = np.random.default_rng(8).normal(0.0, 0.02, 8)
    for n in range(8):
        day = START + timedelta(days=14 * n)
        mass = dry_mass_kg(witness) * (1.0 + moisture[(day - witness.start_day).days])
        rows.append(f"{day},{mass + noise[n] + (1.0 if n == 3 else 0.0):.3f}")
    (folder / "weighings.csv").write_text("\n".join(rows), encoding="utf-8")
    return yard, record, season_of(yard, record)


def test_a_season_takes_up_the_weighings(weighed) -> None:  # type: ignore[no-untyped-def]
    _, _, result = weighed
    found = result.stacks[0].measured
    assert found is not None
    assert found.used
    assert [w.day for w in found.left_out] == [START + timedelta(days=42)]
    bark = found.parameters[0]
    assert bark.unknown == "wood.bark_resistance_s_m"
    assert bark.posterior[1] > 1.2 * bark.prior[1]
    assert found.held_out is not None
    assert found.held_out.after_kg < found.held_out.before_kg
    assert found.chance_after == result.stacks[0].result.chance


def test_without_readings_nothing_changes(weighed) -> None:  # type: ignore[no-untyped-def]
    """The chance before the readings is that of a yard without them, to the bit."""
    yard, record, result = weighed
    plain = season_of(replace(yard, measured=None), record).stacks[0]
    found = result.stacks[0].measured
    assert plain.measured is None
    assert found.chance_before == plain.result.chance
    assert found.lost_before == plain.result.shares.lost


def test_the_page_says_before_and_after_and_names_the_bad_weighing(weighed) -> None:  # type: ignore[no-untyped-def]
    stack = weighed[2].stacks[0]
    view = words.view(stack, 0.1, Units("metric"))
    assert view is not None
    text = " ".join(view["lead"])
    assert "7 weighings" in text
    assert "on 24 May" in text
    assert "before your readings" in text or "without your readings" in text
    assert view["moved"][0].startswith("How tight the bark is: about ")
    assert "times the usual (more is tighter)" in view["moved"][0]
    assert "holds about" in view["piece"][0]
    assert "two thirds of the doubt" in view["advice"][0]
    summary = words.summary_values(stack.measured)
    assert summary["parameters"][0]["posterior"]["p50"] > 0.0
    now = summary["witness_moisture_pct"]
    assert now["before"]["p90"] - now["before"]["p10"] > now["after"]["p90"] - now["after"]["p10"]


def test_whatever_readings_can_move_has_a_name_of_a_grower_s(kind) -> None:  # type: ignore[no-untyped-def]
    known = {n for n in kind.parameter_set(Scheme(canopy="open")).unknowns()}
    named = MEASURED.keys() | NAMES.keys()
    assert {n for n in known if not n.startswith("fungus.")} <= named
    assert named <= known


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("2009-05-01,4", "2009-05-01 lies outside the season"),
        ("2010-05-01,40", "heavier than water-logged aspen of 20 by 15 cm"),
        ("2010-05-01,0.4", "lighter than oven-dry aspen"),
        ("2010-05-01,2.4", "1 weighing up to 2010-08-01; accepted are 2 or more"),
    ],
)
def test_impossible_weighings_are_refused_in_a_line(
    weighed, tmp_path: Path, row: str, said: str
) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "weighings.csv").write_text(f"date,mass_kg\n{row}\n", encoding="utf-8")
    yard = read_yard(write_measured(tmp_path))
    with pytest.raises(InputError) as caught:
        season_of(yard, weighed[1])
    assert len(caught.value.lines) == 1
    assert said in caught.value.lines[0]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ('stack = "Rw"', 'no such stack; known: "Row"'),
        ('disc_wet = "200 g"', "disc_dry: missing"),
        ('disc_wet = "200 g"\ndisc_dry = "250 g"', "must be less than disc_wet"),
        ('witness_lenght = "10 in"', "unknown key; nearest: witness_length"),
        ("witness_diameter = 10", "no unit; use in, ft, cm, mm or m"),
    ],
)
def test_a_wrong_key_is_refused_in_a_line(tmp_path: Path, more: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        read_yard(write_measured(tmp_path, more))
    assert len(caught.value.lines) == 1
    assert said in caught.value.lines[0]


# ---------------------------------------------------------------- loggers


def hourly(path: Path, header: str, by_day: FloatArray) -> Path:
    """A logger's file, a reading every hour from the stack's first day on."""
    rows = [f"time,{header}"]
    for n, value in enumerate(by_day):
        day = START + timedelta(days=n)
        rows += [f"{day} {hour:02d}:00,{value:.2f}" for hour in range(24)]
    path.write_text("\n".join(rows), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("key", "column", "unknown", "header"),
    [
        ("bag_hygrometer", D_NEAR_HUMIDITY, "bag.foot_gap_closed_mm", "RH (%)"),
        ("bark_thermometer", D_BARK_MAX, "wood.bark_absorptance", "bark_temp_f"),
    ],
)
def test_a_logger_moves_what_it_feels(  # type: ignore[no-untyped-def]
    kind, tmp_path: Path, key: str, column: int, unknown: str, header: str
) -> None:
    """Readings simulated with one number near either end of its range pull the draws apart."""
    bag = () if key == "bark_thermometer" else (CoverSpan(kind="bag", material="paper"),)
    own, last = Scheme(canopy="open", covers=bag), date(2010, 5, 20)
    names = list(kind.parameter_set(own).unknowns())
    ends = np.repeat(best_estimate(len(names)), 2, axis=0)
    ends[:, names.index(unknown)] = 0.05, 0.95
    yard = read_yard(write_measured(tmp_path))
    assert yard.measured is not None
    middles = []
    for said in run_days(kind, own, ends, last, [column])[0].T:
        values = 1.8 * said + 32.0 if header.endswith("_f") else said
        file = hourly(tmp_path / "log.csv", header, values)
        measured = replace(yard.measured, weighings=None, **{key: file})
        readings = read_measurements(measured, -5)
        with mock.patch.object(room, "DRAWS", 256):
            found = room.learn(kind, own, measured, readings, last)
        assert found.bag_days + found.bark_days == 39
        draws = found.posterior.quantiles[:, names.index(unknown)]
        middles.append(weighed_piece.weighted_quantiles(draws, found.posterior.weights)[1])
    assert middles[0] < 0.5 < middles[1]
    assert middles[1] - middles[0] > 0.15


def test_a_logger_of_another_season_or_without_its_column_is_refused(  # type: ignore[no-untyped-def]
    kind, tmp_path: Path
) -> None:
    yard = read_yard(write_measured(tmp_path))
    assert yard.measured is not None
    file = hourly(tmp_path / "bark.csv", "bark_temp_c", np.full(20, 30.0))
    measured = replace(yard.measured, weighings=None, bark_thermometer=file)
    readings = read_measurements(measured, -5)
    other = replace(kind, stack=replace(kind.stack, inoculated=date(2010, 6, 1)))
    with pytest.raises(InputError, match="no whole day of readings from 2010-06-01 to 2010-08-01"):
        room.learn(other, Scheme(canopy="open"), measured, readings, AS_OF)
    for header, value, said in (
        ("bark_temp", 30.0, "bark.csv, line 1: no bark_temp_c among"),
        ("bark_temp_c", 130.0, "accepted is a number from -50 to 100"),
        ("bark_temp_f", 230.0, "accepted is a number from -58 to 212"),
    ):
        hourly(file, header, np.full(20, value))
        with pytest.raises(InputError, match=said):
            read_measurements(measured, -5)
