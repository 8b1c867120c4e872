"""What covers, watering and a lost stack cost, per stack."""

from __future__ import annotations

from climate_risk.interventions import CoverSpan, Watering
from climate_risk.risk.results import Chance, Cost
from climate_risk.tables import model
from climate_risk.yard import Costs

MINUTES_PER_HOUR = 60.0


def covers_cost(covers: tuple[CoverSpan, ...], costs: Costs) -> float:
    """Material and labour of putting covers on one stack, in the yard's currency.

    A cloth is priced at its full area, though it lasts for years.
    """
    labour = model().minutes_per_cover.value / MINUTES_PER_HOUR * costs.labour_per_hour
    material = 0.0
    for cover in covers:
        if cover.kind == "bag":
            material += costs.bag
        else:
            material += model().cloth_area_per_stack_m2.value * costs.shade_cloth_per_m2
    return material + labour * len(covers)


def watering_cost(waterings: tuple[Watering, ...], costs: Costs) -> float:
    """Water and labour of every dose, for one stack."""
    labour = model().minutes_per_watering.value / MINUTES_PER_HOUR * costs.labour_per_hour
    total = 0.0
    for watering in waterings:
        doses = (watering.last - watering.first).days // watering.every_days + 1
        total += doses * (watering.litres * costs.water_per_litre + labour)
    return total


def cost_of(option: float, chance: Chance | None, costs: Costs) -> Cost:
    """An option's own cost beside the loss that remains to be expected."""
    loss = None if chance is None else chance.mean * costs.value_of_stack
    return Cost(option=option, expected_loss=loss, currency=costs.currency)
