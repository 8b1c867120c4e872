"""What covers, watering and a lost stack cost, per stack."""

from __future__ import annotations

import math
from dataclasses import fields

from climate_risk.interventions import CoverSpan, Watering
from climate_risk.prices import OUR_PRICES
from climate_risk.risk.results import Chance, Cost, Prices
from climate_risk.tables import model
from climate_risk.yard import Costs

MINUTES_PER_HOUR = 60.0


def covers_cost(covers: tuple[CoverSpan, ...], costs: Costs) -> float:
    """Material and labour of covers on one stack, in the yard's currency.

    A cloth is priced at its full area, though it lasts for years; one that comes down and goes
    up again is paid once.  A cover with a day to come off is work twice.
    """
    bags = sum(costs.bag for cover in covers if cover.kind == "bag")
    cloths = {cover.percent for cover in covers if cover.kind == "shade cloth"}
    cloth = sum(cloth_cost(costs) for _ in cloths)
    minutes = costs.minutes
    work = 0.0
    for cover in covers:
        is_bag = cover.kind == "bag"
        work += minutes.bag_on if is_bag else minutes.cloth_on
        if cover.off is not None:
            work += minutes.bag_off if is_bag else minutes.cloth_off
    return bags + cloth + (labour_cost(work, costs) if covers else 0.0)


def cloth_cost(costs: Costs) -> float:
    """Of the cloth over one stack."""
    return model().cloth_area_per_stack_m2.value * costs.shade_cloth_per_m2


def labour_cost(minutes: float, costs: Costs) -> float:
    """Money for so many minutes of work."""
    return minutes / MINUTES_PER_HOUR * costs.labour_per_hour


def doses(watering: Watering) -> int:
    """How many times a watering is given."""
    return (watering.last - watering.first).days // watering.every_days + 1


def watering_cost(waterings: tuple[Watering, ...], costs: Costs) -> float:
    """Water and labour of every dose, for one stack."""
    labour = labour_cost(costs.minutes.watering_visit, costs)
    return sum(
        doses(watering) * (watering.litres * costs.water_per_litre + labour)
        for watering in waterings
    )


def cost_of(option: float, chance: Chance | None, costs: Costs) -> Cost:
    """An option's own cost beside the loss that remains to be expected."""
    loss = None if chance is None else chance.mean * costs.value_of_stack
    if loss is not None and math.isnan(loss):
        loss = None
    return Cost(option=option, expected_loss=loss, currency=costs.currency)


def prices_used(costs: Costs) -> Prices:
    """Which prices are the grower's, which are ours, and which are not known."""
    known = {
        field.name: float(getattr(costs, field.name))
        for field in fields(costs)
        if field.name in (*OUR_PRICES, "tolerated_chance") and field.name not in costs.unknown
    }
    return Prices(
        currency=costs.currency,
        given={name: price for name, price in known.items() if name not in costs.ours},
        ours={name: price for name, price in known.items() if name in costs.ours},
        unknown=costs.unknown,
    )
