"""Acts searched over the simulation: which are enough, the cheapest first, and until when.

Every offer is screened on one draw of each year.  The likely ones, the cheapest first, are then
run with all other draws; a set counts as enough where the chance of all draws, and that of the
draws that it was not chosen by, keep the tolerance.  Pairs of the best single acts follow where
they could be cheaper than what is found, or where nothing is enough alone.  The latest day is
sought day by day over all that are offered, from the first on, and ends at the first that does
not serve: a later start may help more than an earlier one, so that halving could err.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import combinations

import numpy as np

from climate_risk.engine import hours as k
from climate_risk.engine.blocks import Block
from climate_risk.engine.stack import Scheme
from climate_risk.interventions import Act
from climate_risk.risk.advice import Action, Advice, AlsoTried, Poured, Tried
from climate_risk.risk.certainty import difference
from climate_risk.risk.chance import chance_of_loss, draw_error
from climate_risk.risk.cost import doses
from climate_risk.risk.ensemble import Outcomes, joined, some_draws
from climate_risk.risk.offers import Offer, Price, act_on, offers, price_of, scheme_with
from climate_risk.risk.outlook import Outlook, Way
from climate_risk.risk.results import Difference, OptionResult
from climate_risk.risk.signs import signs_of
from climate_risk.risk.turns import Turns
from climate_risk.yard import Yard

LEAST_GAIN = 0.005
"""Chance of loss that an action must take away to be worth a line (our own choice)."""
LEAST_ALIVE = 0.005
"""Living share of the mycelium that an offer must save, on the draws that it is screened on, to
be run with all: few runs tell it long before one of them is lost or kept (our own choice)."""
SCREENED = (0,)
"""The draws of each year that offers are screened on."""


@dataclass(frozen=True, kw_only=True)
class Effort:
    """How much is tried."""

    every_size: bool
    """False: of each family of acts one alone."""
    finished: int
    """Most sets, single or paired, that are run with all draws."""
    dated: int
    """Most sets whose latest day is sought."""
    delays_days: tuple[int, ...]
    """Days from now on which a set may begin, rising."""


THOROUGH = Effort(every_size=True, finished=4, dated=3, delays_days=(7, 14, 28, 56, 112))
QUICK = Effort(every_size=False, finished=2, dated=1, delays_days=(56, 112))
PARTNERS = 3
"""So many single acts, of different families, are paired."""


@dataclass(frozen=True, kw_only=True)
class Own:
    """The stack as it stands, carried on, and its runs as they stood on later days."""

    blocks: tuple[Block, ...]
    ends: Outcomes
    on_day: dict[date, Way] = field(default_factory=dict)


@dataclass(kw_only=True)
class Trial:
    """A set of offers taken up at once, and what came of it."""

    offers: tuple[Offer, ...]
    acts: tuple[Act, ...]
    scheme: Scheme
    price: Price
    screened: Outcomes
    blocks: list[Block]
    ends: Outcomes | None = None
    """With all draws, once run."""
    unseen_mean: float = 0.0
    """Chance of loss by the draws that it was not chosen by."""


def carry_on_by_days(outlook: Outlook, effort: Effort) -> Own:
    """Carry the stack on as it stands, with a copy of its runs on every day offered."""
    if outlook.over:
        blocks, ends = outlook.carry_on(outlook.scheme)
        return Own(blocks=tuple(blocks), ends=ends)
    way, on_day = outlook.set_out(outlook.scheme, range(outlook.draws)), {}
    for delay in effort.delays_days:
        day = outlook.next_day + timedelta(days=delay)
        if day < outlook.kind.horizon:
            outlook.go_on([way], day)
            on_day[day] = outlook.fork(way, outlook.scheme)
    outlook.go_on([way])
    return Own(blocks=tuple(way.blocks), ends=outlook.ends(way), on_day=on_day)


def find_actions(
    yard: Yard,
    outlook: Outlook,
    as_it_stands: OptionResult,
    own: Own,
    effort: Effort,
    turns: Turns | None = None,
) -> Advice:
    """Sets of acts that lower the chance of loss, the cheapest that are enough first.

    One whose worth hangs on a number nobody has measured comes after all others.  Nothing is
    sought for a stack that is under the tolerance as it stands, or for which the years are too
    few to give a chance.
    """
    now = as_it_stands.chance
    limit = yard.costs.tolerated_chance
    signs = tuple(signs_of(outlook, own.ends, (), limit))
    if now is None or now.mean <= limit or outlook.over:
        return Advice(signs=signs)
    search = _Search(yard, outlook, own.ends, effort)
    found = offers(
        yard,
        outlook.scheme,
        outlook.next_day,
        outlook.kind.horizon,
        every_size=effort.every_size,
        turns=turns,
    )
    singles = search.screen([(offer,) for offer in found])
    search.finish(singles, effort.finished)
    cheapest = min((t.price.weight for t in singles if search.is_enough(t)), default=None)
    pairs = search.screen(search.pairs(singles, cheapest))
    search.finish([t for t in pairs if search.may_do(t)], effort.finished)

    trials = [*singles, *pairs]
    worth = [t for t in trials if t.ends is not None and search.gain(t) > LEAST_GAIN]
    apart = {id(t): difference(t.ends, own.ends) for t in worth if t.ends is not None}
    worth.sort(key=lambda t: search.rank(t, apart[id(t)]))
    dated = [t for t in worth if search.is_enough(t)][: effort.dated]
    later = search.later_days(dated, own)
    actions = tuple(search.action(t, apart[id(t)], worth[0], later, own) for t in worth)
    kinds = {tuple(o.kind for o in t.offers) for t in worth}
    also: dict[tuple[str, ...], AlsoTried] = {}
    for trial in sorted(singles, key=lambda t: -search.screen_gain(t)):
        kind = tuple(o.kind for o in trial.offers)
        if kind not in kinds and kind not in also:
            also[kind] = AlsoTried(acts=trial.acts, helps=search.screen_gain(trial) > LEAST_ALIVE)
    if dated and dated[0] is worth[0] and dated[0].ends is not None:
        signs += tuple(signs_of(outlook, dated[0].ends, dated[0].acts, limit))
    return Advice(actions=actions, also_tried=tuple(also.values()), signs=signs)


def _lost(ends: Outcomes) -> float:
    return float(ends.lost.mean())


def _tried(day: date, ends: Outcomes) -> Tried:
    error = draw_error(ends.lost, ends.quantiles)
    return Tried(day=day, chance_mean=_lost(ends), draw_error=error)


def _saved(apart: Difference | None, value: float) -> tuple[float, float, float] | None:
    """Expected loss avoided in money, with its interval."""
    if apart is None or math.isnan(value):
        return None
    return -apart.high * value, -apart.mean * value, -apart.low * value


def rank(
    lost: float, cost: float, enough: bool, open_question: bool
) -> tuple[bool, bool, float, float]:
    """Sure ones first, of these enough before not enough, then the cheapest or most helpful."""
    return (open_question, not enough, cost if enough else lost, lost)


class _Search:
    """The trials of one stack: runs them side by side and judges them."""

    def __init__(self, yard: Yard, outlook: Outlook, own: Outcomes, effort: Effort) -> None:
        self.outlook = outlook
        self.costs = yard.costs
        self.limit = yard.costs.tolerated_chance
        self.own = own
        self.own_screened = some_draws(own, SCREENED)
        self.effort = effort
        self.rest = tuple(range(len(SCREENED), outlook.draws))

    def taken_up(
        self, chosen: Iterable[Offer], day: date
    ) -> tuple[tuple[Act, ...], Scheme] | None:
        """Offers taken up on a day, one after the other; None where one of them cannot be."""
        kind, scheme, acts = self.outlook.kind, self.outlook.scheme, []
        for offer in chosen:
            act = act_on(offer, scheme, day, kind.horizon)
            if act is None:
                return None
            acts.append(act)
            scheme = scheme_with(scheme, [act], kind.stack.inoculated)
        return tuple(acts), scheme

    def screen(self, sets: Iterable[tuple[Offer, ...]]) -> list[Trial]:
        """Run sets of offers from today on, on few draws, side by side."""
        plans = []
        for chosen in sets:
            found = self.taken_up(chosen, self.outlook.next_day)
            if found is not None:
                plans.append((chosen, *found))
        ways = [self.outlook.set_out(scheme, SCREENED) for _, _, scheme in plans]
        self.outlook.go_on(ways)
        return [
            Trial(
                offers=chosen,
                acts=acts,
                scheme=scheme,
                price=price_of(acts, self.costs, self.outlook.kind.horizon),
                screened=self.outlook.ends(way),
                blocks=way.blocks,
            )
            for (chosen, acts, scheme), way in zip(plans, ways, strict=True)
        ]

    def finish(self, trials: Sequence[Trial], most: int) -> None:
        """Run the likely trials with all other draws: the best of each kind, then others.

        Of a kind that one of its trials has proved enough for, the dearer ones are left.
        """
        waiting = sorted((t for t in trials if self.screen_gain(t) > LEAST_ALIVE), key=self.order)
        settled: set[tuple[str, ...]] = set()
        while waiting and most > 0:
            batch: dict[tuple[str, ...], Trial] = {}
            for trial in waiting:
                batch.setdefault(tuple(o.kind for o in trial.offers), trial)
            chosen = list(batch.values())[:most]
            self._with_all_draws(chosen)
            most -= len(chosen)
            for kind, trial in batch.items():
                if trial.ends is not None and (self.is_enough(trial) or not self.may_do(trial)):
                    settled.add(kind)
            waiting = [
                t
                for t in waiting
                if t.ends is None and tuple(o.kind for o in t.offers) not in settled
            ]

    def _with_all_draws(self, trials: Sequence[Trial]) -> None:
        ways = []
        if self.rest:
            ways = [self.outlook.set_out(trial.scheme, self.rest) for trial in trials]
            self.outlook.go_on(ways)
        for place, trial in enumerate(trials):
            trial.ends = trial.screened
            trial.unseen_mean = _lost(trial.screened)
            if ways:
                rest = self.outlook.ends(ways[place])
                trial.ends = joined(trial.screened, rest)
                trial.unseen_mean = _lost(rest)
                trial.blocks += ways[place].blocks

    def pairs(self, singles: Sequence[Trial], cheapest: float | None) -> list[tuple[Offer, ...]]:
        """The best single acts two by two, where that may be cheaper than what is enough alone."""
        best: dict[str, Trial] = {}
        for trial in sorted(singles, key=lambda t: (-self.screen_gain(t), t.price.weight)):
            if self.screen_gain(trial) > LEAST_ALIVE:
                best.setdefault(trial.offers[0].family, trial)
        partners = list(best.values())[:PARTNERS]
        return [
            (*one.offers, *other.offers)
            for one, other in combinations(partners, 2)
            if cheapest is None or one.price.weight + other.price.weight < cheapest
        ]

    def screen_gain(self, trial: Trial) -> float:
        """Living share of the mycelium saved, on the draws screened."""
        return float((trial.screened.alive - self.own_screened.alive).mean())

    def gain(self, trial: Trial) -> float:
        """Chance of loss taken away, by all draws where they were run."""
        if trial.ends is None:
            return _lost(self.own_screened) - _lost(trial.screened)
        return _lost(self.own) - _lost(trial.ends)

    def may_do(self, trial: Trial) -> bool:
        """Whether the screening found it enough."""
        return _lost(trial.screened) <= self.limit

    def is_enough(self, trial: Trial) -> bool:
        if trial.ends is None:
            return False
        return max(_lost(trial.ends), trial.unseen_mean) <= self.limit

    def order(self, trial: Trial) -> tuple[bool, float, float]:
        """Likely ones first, the cheapest of them, then what helps most."""
        dead, likely = -self.screen_gain(trial), self.may_do(trial)
        return (not likely, trial.price.weight if likely else dead, dead)

    def rank(self, trial: Trial, apart: Difference | None) -> tuple[bool, bool, float, float]:
        """Place of a finished trial; see :func:`rank`."""
        lost = 1.0 if trial.ends is None else _lost(trial.ends)
        open_question = apart is not None and apart.turns_on is not None
        return rank(lost, trial.price.weight, self.is_enough(trial), open_question)

    def later_days(self, trials: Sequence[Trial], own: Own) -> dict[int, list[Tried]]:
        """Every day offered, in order, until one that does not serve; all draws, side by side.

        A day up to that on which a set is due anyway is no later one.
        """
        tried: dict[int, list[Tried]] = {id(trial): [] for trial in trials}
        serving = list(trials)
        for day, way in own.on_day.items():
            ways, going = [], []
            due = [trial for trial in serving if self.begins(trial) < day]
            serving = [trial for trial in serving if self.begins(trial) >= day]
            for trial in due:
                taken = self.taken_up(trial.offers, day)
                if taken is not None:
                    ways.append(self.outlook.fork(way, taken[1]))
                    going.append(trial)
            self.outlook.go_on(ways)
            for trial, begun in zip(going, ways, strict=True):
                found = _tried(day, self.outlook.ends(begun))
                tried[id(trial)].append(found)
                if found.chance_mean <= self.limit:
                    serving.append(trial)
        return tried

    def begins(self, trial: Trial) -> date:
        """The first day on which there is something to do."""
        today = self.outlook.next_day
        return min((act.day or today for act in trial.acts), default=today)

    def action(
        self,
        trial: Trial,
        apart: Difference | None,
        first: Trial,
        later: dict[int, list[Tried]],
        own: Own,
    ) -> Action:
        """A finished trial as the report gets it."""
        if trial.ends is None or first.ends is None:
            raise ValueError("only what was run with all draws is an action")
        tried = tuple(later.get(id(trial), ()))
        latest = None
        if self.is_enough(trial):
            served = [t.day for t in tried if t.chance_mean <= self.limit]
            latest = max([self.begins(trial), *served])
        return Action(
            acts=trial.acts,
            start=self.begins(trial),
            latest=latest,
            chance=chance_of_loss(trial.ends.outcomes, trial.ends.quantiles),
            cost=trial.price.money,
            minutes=trial.price.minutes,
            minutes_given=trial.price.minutes_given,
            saved=_saved(apart, self.costs.value_of_stack),
            difference=apart,
            to_first=None if trial is first else difference(trial.ends, first.ends),
            later=tried,
            water=self.poured(trial, own),
        )

    def poured(self, trial: Trial, own: Own) -> Poured | None:
        """Litres of a set's waterings, and by how much more went into the log than without."""
        waterings = [act.watering for act in trial.acts if act.watering is not None]
        if not waterings:
            return None
        runs = len(self.outlook.years) * self.outlook.draws

        def taken(blocks: Sequence[Block], runs: int) -> float:
            inflow = np.concatenate([b.daily[:, k.D_WATER_IN].sum(axis=0) for b in blocks])
            return float(inflow[:runs].mean())

        screened = len(self.outlook.years) * len(SCREENED)
        few = -(-screened // len(trial.blocks[0].booked[0]))
        parts = [(trial.blocks[:few], screened), (trial.blocks[few:], runs - screened)]
        with_acts = sum(taken(blocks, n) * n for blocks, n in parts if n) / runs
        return Poured(
            litres=sum(doses(watering) * watering.litres for watering in waterings),
            kept_litres=with_acts - taken(own.blocks, runs),
        )
