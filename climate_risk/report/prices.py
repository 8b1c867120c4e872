"""Which prices are the grower's, which are ours, and which are not known."""

from __future__ import annotations

import math

from climate_risk.report.display import listed, money, percent
from climate_risk.risk.results import Prices
from climate_risk.units import LITRES_PER_GALLON, METRES_PER_FOOT, Units

NAMES = {
    "spawn_bag": "a bag of spawn",
    "bag": "a bag over a stack",
    "shade_cloth_per_m2": "shade cloth",
    "water_per_litre": "water",
    "labour_per_hour": "labour",
    "value_of_stack": "a stack that fruits",
}


def _amount(name: str, price: float, prices: Prices, show: Units) -> str:
    us = show.system == "us"
    per = {
        "shade_cloth_per_m2": (METRES_PER_FOOT**2, "a square foot") if us else (1.0, "a m²"),
        "water_per_litre": (LITRES_PER_GALLON, "a gallon") if us else (1.0, "a litre"),
        "labour_per_hour": (1.0, "an hour"),
    }.get(name, (1.0, ""))
    return f"{NAMES[name]} {money(price * per[0], prices.currency)} {per[1]}".rstrip()


def prices_sentences(prices: Prices, show: Units) -> list[str]:
    """What of the money is not the grower's own; empty where all is."""
    said = []
    ours = [
        _amount(name, price, prices, show) for name, price in prices.ours.items() if name in NAMES
    ]
    limit = prices.ours.get("tolerated_chance", math.nan)
    if not math.isnan(limit):
        ours.append(f"the limit of {percent(limit)} for losing a stack")
    if ours:
        said.append(f"Our default, not yours: {listed(ours)}. Put your own under [costs].")
    if prices.unknown:
        missing = listed(NAMES[name] for name in prices.unknown)
        said.append(
            f"No cost is given that needs the price of {missing}: [costs] has none in "
            f"{prices.currency}, and our defaults are in another currency."
        )
    return said
