"""The ``[costs]`` of a yard file: prices in the grower's words, or ours in their place."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from climate_risk.labour import Minutes, read_minutes
from climate_risk.toml_section import Section
from climate_risk.units import Dimension, parse_quantity

OUR_CURRENCY = "USD"
OUR_PRICES: Mapping[str, float] = {
    "spawn_bag": 19.0,
    "bag": 0.6,
    "shade_cloth_per_m2": 1.8,
    "water_per_litre": 0.01,
    "labour_per_hour": 20.0,
    "value_of_stack": 35.0,
}
"""Taken where a yard file in our currency gives none (common practice, no source)."""
OUR_TOLERATED_CHANCE = 0.10
PRICE_MAX = 1e6

_PRICE = re.compile(
    r"[^\d.,+-]*(?P<money>\d+(?:\.\d+)?|\.\d+)\s*[^\d.,/]*?\s*(?:/|\bper\b)\s*(?P<amount>.*\S)\s*"
)


@dataclass(frozen=True, kw_only=True)
class Costs:
    """Prices, in one currency; not a number where none is known."""

    currency: str
    spawn_bag: float
    """Of one bag of spawn."""
    spawn_bag_mass_kg: float
    spawn_depth_m: float
    """Layer of spawn on each face."""
    bag: float
    """Of one bag to cover a stack."""
    shade_cloth_per_m2: float
    water_per_litre: float
    labour_per_hour: float
    minutes: Minutes
    value_of_stack: float
    """What a stack that fruits is worth."""
    tolerated_chance: float
    """Of losing a stack, 0 to 1."""
    ours: tuple[str, ...] = ()
    """Fields that hold our default, since the yard file gives none."""

    @property
    def unknown(self) -> tuple[str, ...]:
        """Prices that the yard file does not give, in a currency that ours are not in."""
        return tuple(name for name in OUR_PRICES if math.isnan(getattr(self, name)))


def read_costs(section: Section) -> Costs:
    """Read ``[costs]``.

    A price left out is ours, and marked so; in another currency than ours it is not known.

    Raises
    ------
    InputError
        A key is unknown, given twice in two units, or out of bounds.
    """
    section.only(
        "currency", "spawn_bag", "spawn_bag_mass", "spawn_depth", "bag", "labour_per_hour",
        "minutes", "value_of_stack", "tolerated_chance", *_SPAWN.keys, *_CLOTH.keys, *_WATER.keys,
    )  # fmt: skip
    currency = section.words("currency", OUR_CURRENCY)
    mass_kg = section.quantity("spawn_bag_mass", "mass", ("50 g", "50 kg"), "5 lb")
    spawn_per_kg = _SPAWN.read(section)
    if spawn_per_kg is not None and section.has("spawn_bag"):
        section.fail("spawn_bag", "spawn is priced twice, by the bag and by weight; keep one")
    given = {
        "spawn_bag": None if spawn_per_kg is None else spawn_per_kg * mass_kg,
        "shade_cloth_per_m2": _CLOTH.read(section),
        "water_per_litre": _WATER.read(section),
    }
    for name in OUR_PRICES:
        if section.has(name) and given.get(name) is None:
            given[name] = section.number(name, 0.0, PRICE_MAX)
    is_ours = currency.upper() == OUR_CURRENCY
    missing = [name for name in OUR_PRICES if given.get(name) is None]
    prices = {name: price for name, price in given.items() if price is not None}
    prices |= {name: OUR_PRICES[name] if is_ours else math.nan for name in missing}
    has_limit = section.has("tolerated_chance")
    return Costs(
        currency=currency,
        spawn_bag_mass_kg=mass_kg,
        spawn_depth_m=section.quantity("spawn_depth", "length", ("1 mm", "50 mm"), "6 mm"),
        minutes=read_minutes(section.section("minutes")),
        tolerated_chance=section.number("tolerated_chance", 0.0, 1.0, OUR_TOLERATED_CHANCE),
        ours=(*(missing if is_ours else ()), *(() if has_limit else ("tolerated_chance",))),
        **prices,
    )


@dataclass(frozen=True)
class _PricePer:
    """What is priced by an amount: in a key with its unit, or as text with the unit in it."""

    stem: str
    """Key of the text, such as ``shade_cloth = "0.17 per sq ft"``."""
    dimension: Dimension
    amounts: Mapping[str, str]
    """Keys of numbers, and the amount that each is for."""

    @property
    def keys(self) -> tuple[str, ...]:
        return (*self.amounts, self.stem)

    def read(self, section: Section) -> float | None:
        """Price per kg, m2 or litre; None where no key gives it."""
        keys = [key for key in self.keys if section.has(key)]
        if not keys:
            return None
        if len(keys) > 1:
            section.fail(keys[1], f"priced twice; keep this or {keys[0]}")
        key = keys[0]
        if key in self.amounts:
            money, amount = section.number(key, 0.0, PRICE_MAX), self.amounts[key]
        else:
            match = _PRICE.fullmatch(section.words(key))
            if match is None:
                like = next(iter(self.amounts.values())).removeprefix("1 ")
                section.fail(key, f'give it as a price for an amount, such as "0.2 per {like}"')
            money, amount = float(match["money"]), match["amount"]
            amount = amount if amount[0].isdigit() else f"1 {amount}"
        try:
            size = parse_quantity(amount, self.dimension)
        except ValueError as error:
            section.fail(key, str(error))
        if size <= 0.0 or money > PRICE_MAX:
            section.fail(key, f"must be a price from 0 to {PRICE_MAX:,.0f} for more than nothing")
        return money / size


_SPAWN = _PricePer("spawn", "mass", {"spawn_per_lb": "1 lb", "spawn_per_kg": "1 kg"})
_CLOTH = _PricePer(
    "shade_cloth", "area", {"shade_cloth_per_ft2": "1 sq ft", "shade_cloth_per_m2": "1 m2"}
)
_WATER = _PricePer("water", "volume", {"water_per_gallon": "1 gal", "water_per_litre": "1 L"})
