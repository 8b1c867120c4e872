"""Runs side by side: the same bits however they are cut, covers and doses by date, balances."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import risk_samples as samples

from climate_risk.constants import HOURS_PER_DAY
from climate_risk.engine import compile_ahead, draws
from climate_risk.engine import hours as k
from climate_risk.engine.balance import residuals
from climate_risk.engine.blocks import Block, advance, branch, new_blocks
from climate_risk.engine.days import months_after, shifted
from climate_risk.engine.record import Record
from climate_risk.engine.stack import WATERING_HOUR, Scheme, StackModel, cover_table, horizon_of
from climate_risk.log.layout import CASES, MOISTURE, TEMP
from climate_risk.microclimate.radiation import C_BAG, C_CLOTH, C_WATERING
from climate_risk.options import CoverSpan, Watering
from climate_risk.risk.ensemble import collect, jobs_for, start_rows, usable_years

FloatArray = npt.NDArray[np.float64]
OPEN = Scheme(canopy="open")
DOSE = Watering(litres=4.0, every_days=7, first=date(2010, 6, 1), last=date(2010, 6, 29))


@pytest.fixture(scope="module")
def record() -> Record:
    return samples.make_record("2008-01-01", "2012-12-31")


@pytest.fixture(scope="module")
def kind(record: Record) -> StackModel:
    return samples.model_of(record, samples.small_stack(felled=date(2010, 3, 20)))


def quantiles(kind: StackModel, runs: int, seed: int = 7) -> FloatArray:
    return draws.latin_hypercube(runs, len(kind.parameter_set(OPEN).unknowns()), seed)


def go(
    kind: StackModel, scheme: Scheme, blocks: Sequence[Block], first_day: int, last_day: int
) -> None:
    """Run blocks from one day of the run to another, all in the stack's own year."""
    row = kind.record.row(kind.start_day)
    rows = [np.full(CASES, row, dtype=np.int64)] * len(blocks)
    advance(
        jobs_for(kind, scheme, blocks, rows, first_day * HOURS_PER_DAY, last_day * HOURS_PER_DAY)
    )


def bits(block: Block) -> list[bytes]:
    """All that a block remembers."""
    return [block.a.tobytes(), block.booked.tobytes(), block.mycelium.tobytes()]


def test_a_run_cut_in_two_is_the_whole_run_bit_for_bit(kind: StackModel) -> None:
    """Over 33 lanes, so that the second block is padded; cut after 83 days."""
    scheme = replace(OPEN, covers=(CoverSpan(kind="bag", material="paper"),), waterings=(DOSE,))
    sample = quantiles(kind, CASES + 1)
    whole = new_blocks(kind, scheme, sample)
    go(kind, scheme, whole, 0, 120)
    first = new_blocks(kind, scheme, sample)
    go(kind, scheme, first, 0, 83)
    then = branch(first, np.arange(2 * CASES))
    go(kind, scheme, then, 83, 120)
    for one, head, tail in zip(whole, first, then, strict=True):
        assert bits(one) == bits(tail)
        assert np.array_equal(one.daily, np.concatenate([head.daily, tail.daily]))


def test_branching_leaves_the_trunk_alone(kind: StackModel) -> None:
    trunk = new_blocks(kind, OPEN, quantiles(kind, 4))
    go(kind, OPEN, trunk, 0, 30)
    before = bits(trunk[0])
    copies = branch(trunk, np.array([2, 0]))
    go(kind, OPEN, copies, 30, 40)
    assert bits(trunk[0]) == before
    assert np.array_equal(copies[0].quantiles[:2], trunk[0].quantiles[[2, 0]])


def test_the_same_seed_gives_the_same_bits_and_another_does_not(kind: StackModel) -> None:
    made = []
    for seed in (7, 7, 8):
        blocks = new_blocks(kind, OPEN, quantiles(kind, 4, seed))
        go(kind, OPEN, blocks, 0, 60)
        made.append(bits(blocks[0]))
    assert made[0] == made[1] != made[2]


def test_one_thread_gives_the_bits_of_two(
    kind: StackModel, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = []
    for threads in (1, 2):
        monkeypatch.setattr(os, "cpu_count", lambda threads=threads: threads)
        blocks = new_blocks(kind, OPEN, quantiles(kind, 3 * CASES))
        go(kind, OPEN, blocks, 0, 60)
        made.append([bits(block) for block in blocks])
    assert made[0] == made[1]


def test_a_run_does_not_feel_its_neighbours(kind: StackModel) -> None:
    """Not in one bit: every other run has other neighbours."""
    sample, others = quantiles(kind, CASES), quantiles(kind, CASES, seed=8)
    others[::2] = sample[::2]
    blocks = [*new_blocks(kind, OPEN, sample), *new_blocks(kind, OPEN, others)]
    go(kind, OPEN, blocks, 0, 60)
    plain, mixed = (block.a[..., ::2] for block in blocks)
    assert np.array_equal(plain, mixed)
    assert not np.array_equal(blocks[0].a[TEMP], blocks[1].a[TEMP])


def test_a_run_s_place_in_its_block_is_rounding(kind: StackModel) -> None:
    """Vectors of a block are unrolled, and each may round a product and a sum in another order."""
    sample = quantiles(kind, CASES)
    order = np.random.default_rng(3).permutation(CASES)
    plain, mixed = new_blocks(kind, OPEN, sample), new_blocks(kind, OPEN, sample[order])
    for blocks in (plain, mixed):
        go(kind, OPEN, blocks, 0, 60)
    rows = [TEMP, MOISTURE]
    np.testing.assert_allclose(mixed[0].a[rows], plain[0].a[rows][..., order], rtol=0, atol=1e-10)


@pytest.mark.parametrize(
    ("day", "months", "later"),
    [
        (date(2015, 4, 12), 12, date(2016, 4, 12)),
        (date(2016, 2, 29), 12, date(2017, 2, 28)),
        (date(2015, 8, 31), 1, date(2015, 9, 30)),
        (date(2015, 12, 31), 2, date(2016, 2, 29)),
        (date(2015, 11, 15), 24, date(2017, 11, 15)),
    ],
)
def test_months_later(day: date, months: int, later: date) -> None:
    assert months_after(day, months) == later


def test_leap_day_in_other_years() -> None:
    assert shifted(date(2016, 2, 29), 1) == date(2017, 2, 28)
    assert shifted(date(2016, 2, 29), -4) == date(2012, 2, 29)
    assert shifted(date(2016, 3, 1), -1) == date(2015, 3, 1)


def test_horizon_is_the_fungus_s() -> None:
    """A year for oyster, two for lion's mane (first fruit mostly after 12 to 24 months)."""
    assert horizon_of(samples.small_stack()) == date(2011, 4, 12)
    assert horizon_of(samples.small_stack(fungus="lion's mane")) == date(2012, 4, 12)


def test_years_of_a_season_that_the_record_holds_whole(kind: StackModel) -> None:
    """From felling on 20 March to 12 April of the next year."""
    assert usable_years(kind, kind.start_day, kind.horizon) == (2008, 2009, 2010, 2011)


@pytest.mark.parametrize("last", ["2017-04-10", "2017-04-11", "2017-04-12"])
def test_no_run_reads_past_the_end_of_the_record(last: str) -> None:
    """The own year spans 29 February 2016: its run is a day longer than those of other years."""
    record = samples.make_record("2014-01-01", last)
    stack = samples.small_stack(inoculated=date(2015, 4, 12))
    kind = samples.model_of(record, stack)
    hours = record.weather.time.size
    years = usable_years(kind, kind.start_day, kind.horizon)
    assert 2015 in years
    rows = start_rows(kind, years, 1, kind.start_day, 0)[0]
    assert rows.min() >= 0
    assert rows.max() + kind.hours <= hours
    assert (2016 in years) == (last == "2017-04-12")


def test_a_stack_set_on_29_february_runs_in_every_year(record: Record) -> None:
    stack = samples.small_stack(inoculated=date(2012, 2, 29))
    long_record = samples.make_record("2008-01-01", "2013-12-31")
    kind = samples.model_of(long_record, stack)
    assert kind.horizon == date(2013, 2, 28)
    years = usable_years(kind, kind.start_day, kind.horizon)
    assert years == (2008, 2009, 2010, 2011, 2012)
    rows = start_rows(kind, years, 1, kind.start_day, 0)[0][: len(years)]
    days = [long_record.weather.time[row].astype("datetime64[D]").item() for row in rows]
    assert [day.day for day in days] == [29, 28, 28, 28, 29]


def days_on(table: FloatArray, column: int, kind: StackModel) -> list[date]:
    """First day with a cover and first day without it again."""
    on = np.flatnonzero(np.diff(np.concatenate([[0], table[:, column] > 0, [0]]).astype(int)))
    return [kind.start_day + timedelta(hours=int(hour)) for hour in on]


def test_covers_are_on_between_their_dates(kind: StackModel) -> None:
    covers = (
        CoverSpan(kind="bag", material="paper", off=date(2010, 9, 1)),
        CoverSpan(kind="shade cloth", percent=60.0, on=date(2010, 10, 20)),
    )
    table = cover_table(kind, replace(OPEN, covers=covers))
    assert days_on(table, C_BAG, kind) == [date(2010, 4, 12), date(2010, 9, 1)]
    assert days_on(table, C_CLOTH, kind) == [date(2010, 10, 20), kind.horizon]
    assert set(np.unique(table[:, C_CLOTH])) == {0.0, 0.6}


def test_a_cover_beyond_the_run_is_cut_to_it(kind: StackModel) -> None:
    cover = CoverSpan(kind="shade cloth", percent=50.0, on=date(2009, 1, 1), off=date(2030, 1, 1))
    table = cover_table(kind, replace(OPEN, covers=(cover,)))
    assert np.all(table[:, C_CLOTH] == 0.5)


def test_doses_fall_on_their_days(kind: StackModel) -> None:
    table = cover_table(kind, replace(OPEN, waterings=(DOSE,)))
    hours = np.flatnonzero(table[:, C_WATERING])
    days = [kind.start_day + timedelta(hours=int(hour)) for hour in hours]
    assert days == [date(2010, 6, d) for d in (1, 8, 15, 22, 29)]
    assert set(hours % HOURS_PER_DAY) == {WATERING_HOUR}
    assert np.all(table[hours, C_WATERING] == 4.0)


def test_no_dose_before_inoculation_and_two_waterings_add_up(kind: StackModel) -> None:
    early = replace(DOSE, first=date(2010, 3, 25), last=date(2010, 4, 13))
    table = cover_table(kind, replace(OPEN, waterings=(early,)))
    assert days_on(table, C_WATERING, kind) == []
    both = cover_table(kind, replace(OPEN, waterings=(DOSE, DOSE)))
    assert both[:, C_WATERING].max() == 8.0


def ended(kind: StackModel, scheme: Scheme, last_day: int = 200) -> Block:
    """One block of four draws after some months."""
    blocks = new_blocks(kind, scheme, quantiles(kind, 4))
    go(kind, scheme, blocks, 0, last_day)
    return blocks[0]


def test_a_dose_wets_and_its_water_is_booked(kind: StackModel) -> None:
    bare, watered = ended(kind, OPEN), ended(kind, replace(OPEN, waterings=(DOSE,)))
    day = (date(2010, 6, 1) - kind.start_day).days
    gain = watered.daily[day, k.D_WATER_IN] - bare.daily[day, k.D_WATER_IN]
    assert np.all(gain > 0.0)
    assert np.all(gain <= 4.0)
    assert np.array_equal(watered.daily[:day], bare.daily[:day])
    later = slice(day + 1, day + 30)
    assert np.all(watered.daily[later, k.D_MOISTURE] > bare.daily[later, k.D_MOISTURE])


def test_cloth_and_trees_cool_the_bark(kind: StackModel) -> None:
    cloth = CoverSpan(kind="shade cloth", percent=80.0, on=date(2010, 5, 1))
    hottest = {
        name: ended(kind, scheme).daily[60:, k.D_BARK_MAX].max(axis=0)
        for name, scheme in {
            "open": OPEN,
            "cloth": replace(OPEN, covers=(cloth,)),
            "conifer": Scheme(canopy="conifer"),
        }.items()
    }
    assert np.all(hottest["open"] > hottest["cloth"] + 2.0)
    assert np.all(hottest["cloth"] > hottest["conifer"])


def test_a_bag_keeps_rain_off_and_slows_drying(kind: StackModel) -> None:
    bag = CoverSpan(kind="bag", material="plastic")
    bare, bagged = ended(kind, OPEN), ended(kind, replace(OPEN, covers=(bag,)))
    under = slice(kind.inoculation_hour // HOURS_PER_DAY + 1, None)
    out = [b.daily[under, k.D_WATER_OUT].sum(axis=0) for b in (bare, bagged)]
    rain = bagged.daily[under, k.D_WATER_IN].sum(axis=0)
    assert np.all(out[1] < out[0])
    assert np.all(rain < 0.5 * bare.daily[under, k.D_WATER_IN].sum(axis=0))


@pytest.mark.parametrize(
    "scheme",
    [
        OPEN,
        Scheme(canopy="conifer", covers=(CoverSpan(kind="bag", material="plastic"),)),
        Scheme(
            canopy="deciduous",
            covers=(
                CoverSpan(kind="bag", material="paper", off=date(2010, 8, 1)),
                CoverSpan(kind="shade cloth", percent=60.0, on=date(2010, 7, 1)),
            ),
            waterings=(DOSE,),
        ),
    ],
)
def test_water_and_energy_close(kind: StackModel, scheme: Scheme) -> None:
    """To 1e-9 of the first store and all that crossed a face; days also close one by one."""
    block = ended(kind, scheme, 300)
    water, heat = residuals(kind, block)
    assert 0.0 <= water <= 1e-9
    assert 0.0 <= heat <= 1e-9
    stored = block.daily[:, k.D_LOG_WATER]
    flow = block.daily[:, k.D_WATER_IN] - block.daily[:, k.D_WATER_OUT]
    assert np.diff(stored, axis=0) == pytest.approx(flow[1:], abs=1e-9)


def test_a_leak_shows_in_the_balance(kind: StackModel) -> None:
    """A gram of water, or the heat of a tenth of a degree, that no flux accounts for."""
    block = ended(kind, OPEN, 60)
    block.a[MOISTURE, 0] += 1e-3
    assert residuals(kind, block)[0] > 1e-9
    block = ended(kind, OPEN, 60)
    block.a[TEMP, 0] += 0.1
    assert residuals(kind, block)[1] > 1e-9


def test_drying_before_inoculation_is_not_the_season(kind: StackModel) -> None:
    blocks = new_blocks(kind, OPEN, quantiles(kind, 4))
    go(kind, OPEN, blocks, 0, kind.hours // HOURS_PER_DAY)
    first = kind.inoculation_hour // HOURS_PER_DAY
    blocks[0].daily[:first, k.D_BARK_MAX] = 99.0
    ends = collect(kind, OPEN, blocks, (2010,), 4)
    assert ends.bark_temp_max_c.max() < 90.0
    assert not blocks[0].daily[:first, k.D_COLONIZED].any()


def test_a_state_given_at_the_start_is_taken(record: Record) -> None:
    stack = samples.small_stack(felled=date(2010, 3, 20), start_moisture=0.5)
    kind = samples.model_of(record, stack)
    assert kind.start_day == date(2010, 4, 12)
    assert np.all(samples.fresh(kind, OPEN, 3).a[MOISTURE][0] == 0.5)


def test_best_estimate_is_the_median_of_the_draws(kind: StackModel) -> None:
    rows = kind.parameter_set(OPEN)
    middle = draws.values_at(rows, draws.best_estimate(len(rows.unknowns())))
    for name, parameter in rows.unknowns().items():
        assert middle[name] == pytest.approx([parameter.value])
    many = draws.values_at(rows, draws.latin_hypercube(400, len(rows.unknowns()), 3))
    for name, parameter in rows.unknowns().items():
        assert np.all((many[name] >= parameter.low) & (many[name] <= parameter.high))
        assert np.mean(many[name] <= parameter.value) >= 0.5


def test_every_unknown_is_drawn_once_in_every_stratum() -> None:
    """McKay, Beckman and Conover 1979, Technometrics 21:239-245 (from memory)."""
    sample = draws.latin_hypercube(16, 5, 1)
    for column in sample.T:
        assert sorted(np.floor(column * 16).astype(int)) == list(range(16))


def test_what_compiles_ahead_calls_the_kernels_as_they_are() -> None:
    """Its own process tells nobody when it fails: the first demo would only be slower."""
    compile_ahead.main()
