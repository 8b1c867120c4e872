"""What an option costs beside the plan, what that is worth, and the order that follows."""

from __future__ import annotations

import math

from climate_risk.risk.plan import spawn_per_stack
from climate_risk.risk.results import Difference, OptionResult
from climate_risk.risk.results_compare import BreakEven
from climate_risk.yard import Costs, Stack


def spawn_cost(stack: Stack, costs: Costs) -> float:
    """Spawn of one stack: on every face, as deep as the yard file says."""
    area_m2 = math.pi / 4.0 * stack.diameter_m**2
    mass_kg = spawn_per_stack(stack.pieces + 1, area_m2, stack.spawn_depth_m).value
    return mass_kg * costs.spawn_bag / costs.spawn_bag_mass_kg


def build_cost(stack: Stack, cover_and_water: float, plan: Stack, costs: Costs) -> float:
    """An option's cost for as much wood as the plan's stack holds, beyond the plan's spawn.

    Twice the wood is taken to be worth twice as much, so that covers, water and spawn of a
    larger stack are shared out; of a stack built as the plan's, its covers and water.
    """
    if _built(stack) == _built(plan):
        return cover_and_water
    share = _wood_m3(plan) / _wood_m3(stack)
    return share * (cover_and_water + spawn_cost(stack, costs)) - spawn_cost(plan, costs)


def _built(stack: Stack) -> tuple[float, ...]:
    return (stack.pieces, stack.piece_length_m, stack.diameter_m)


def _wood_m3(stack: Stack) -> float:
    return stack.pieces * stack.piece_length_m * stack.diameter_m**2 * math.pi / 4.0


def break_even(extra_cost: float, to_plan: Difference | None) -> BreakEven | None:
    """What a stack must be worth for an option to cost less than the plan, loss included.

    An option that costs ``c`` more and loses ``p`` less of the stacks pays where a stack is
    worth more than ``c / p``; one that costs less and loses more, where it is worth less.

    Parameters
    ----------
    extra_cost : float
        The option's own cost less the plan's.

    Returns
    -------
    BreakEven or None
        None where not both are known, or where one is better at any worth.
    """
    if to_plan is None or not math.isfinite(extra_cost):
        return None
    if extra_cost * to_plan.mean >= 0.0:
        return None
    sign = -1.0 if extra_cost > 0.0 else 1.0
    saved = sorted(sign * loss for loss in (to_plan.low, to_plan.high))
    cost = abs(extra_cost)
    return BreakEven(
        worth=cost / abs(to_plan.mean),
        low=cost / saved[1],
        high=cost / saved[0] if saved[0] > 0.0 else math.inf,
        pays_above=extra_cost > 0.0,
    )


def rank(option: OptionResult, worth: float) -> tuple[float, float, float, float]:
    """What options are ordered by, the best first.

    Cost with the loss to be expected, to the nearest 1 % of what a stack is worth; where that
    is not known (``worth`` not a number) or alike, the chance of loss, to the nearest 1 %.
    Many options lose no stack in any past year; of these the one with most in reserve comes
    first, by the middle run's moisture at its driest spawn face to the nearest 1 %; then the
    cheaper (our own choice).
    """
    total, own = option.cost.total, option.cost.option
    cost = 0.0
    if total is not None and math.isfinite(worth):
        cost = round(total / worth, 2) if worth > 0.0 else total
    driest = round(option.moisture_driest_face_pct[1])
    cheaper = own if math.isfinite(own) else 0.0
    return cost, round(option.shares.lost, 2), -driest, cheaper
