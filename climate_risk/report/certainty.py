"""Two voices: the order of options, which holds over the whole range, and the level's width."""

from __future__ import annotations

from climate_risk.report.display import odds, plain_name, plural
from climate_risk.report.unknown_names import NAMES
from climate_risk.risk.results import Level
from climate_risk.risk.results_compare import StackCompare, Tie

MEASURED = {
    "bag.rain_share": (
        "the share of the rain that soaks through the bag",
        "stand a cup on the cap under the bag through a rain, and one beside the bag",
    ),
    "bag.foot_gap_closed_mm": (
        "how tight the foot of the bag is",
        "look where light shows under it, and measure the slit",
    ),
    "wood.bark_resistance_s_m": (
        "how tight the bark is",
        "weigh one sample piece when it is cut and every few weeks",
    ),
    "wood.bark_bare_share": ("how much bark has come off", "look, and guess the share"),
    "wood.green_moisture_pct": (
        "how wet the wood was when felled",
        "weigh a disc fresh and again oven-dry",
    ),
    "model.bare_wood_resistance_s_m": (
        "how tight wood is where the bark is off",
        "weigh a piece that lost bark beside one that did not",
    ),
    "model.side_rain_catch_share": (
        "how much rain the sides catch",
        "stand cups against the side of a stack through a rain",
    ),
    "model.bark_thickness_exponent": (
        "how far thick bark is tighter than thin",
        "weigh a thin and a thick piece side by side",
    ),
    "fungus.drought_half_kill_d": (
        "how long the mycelium lives in dry wood",
        "keep a grown chip air-dry and try each month whether it still grows out",
    ),
    "fungus.drought_onset_pct": (
        "how dry wood must be before the mycelium dies",
        "keep grown chips at several moistures and try which still grow out",
    ),
    "fungus.spawn_half_kill_d": (
        "how long spawn lives once it has dried",
        "let some spawn dry and try each week whether it still grows",
    ),
    "fungus.heat_ref_temp_c": (
        "how much heat the mycelium stands",
        "hang a thermometer on the sunny bark and note which pieces live",
    ),
    "fungus.front_rate_mm_day": (
        "how fast the mycelium runs in your wood",
        "split one piece in autumn and measure how far it has come",
    ),
    "model.estimated_temp_error_k": (
        "how warm it was in the gaps of the record",
        "fill the gaps from a neighbour's record, as one more source",
    ),
    "model.estimated_rain_factor": (
        "how much it rained in the gaps of the record",
        "fill the gaps from a neighbour's rain gauge, as one more source",
    ),
    "model.estimated_humidity_error_pct": (
        "how humid the air was that nobody measured",
        "hang a logger with humidity in the yard, out of sun and rain",
    ),
    "model.estimated_wind_factor": (
        "how windy it was where nobody measured",
        "give a station with wind, or an anemometer's readings",
    ),
    "canopy.index_factor": (
        "how dense your stand is",
        "compare light or air temperature in the stand with the open",
    ),
}
"""What an unknown is in a grower's words, and how it could be measured."""


def unknown_words(unknown: str) -> str:
    """An unknown in a grower's words."""
    if unknown in MEASURED:
        return MEASURED[unknown][0]
    if unknown in NAMES:
        return NAMES[unknown]
    return f"the {plain_name(unknown.removeprefix('model.').replace('.', ' '))}"


def how_to_measure(unknown: str) -> str:
    """How an unknown could be measured, as a clause; empty where no way is known."""
    return MEASURED[unknown][1] if unknown in MEASURED else ""


def level_sentence(level: Level | None) -> str:
    """How wide the chance of loss itself is; empty where no number moves it."""
    if level is None:
        return ""
    low, high = sorted((level.where_low, level.where_high))
    how = how_to_measure(level.unknown)
    tail = f" To find out: {how}." if how else ""
    return (
        f"The order of options is surer than this level: by {unknown_words(level.unknown)} it "
        f"lies between {odds(low)} and {odds(high)}.{tail}"
    )


def tie_sentence(tie: Tie) -> str:
    """Two options, by their ranks, that one number may turn round."""
    first, second = tie.ranks
    how = how_to_measure(tie.unknown)
    tail = f" To find out: {how}." if how else ""
    return (
        f"{first} and {second} tie: which is better hangs on {unknown_words(tie.unknown)}.{tail}"
    )


def overlap_sentence(stack: StackCompare) -> str:
    """How many other options the years and draws cannot tell from the first."""
    ties = sum(option.to_best is not None and option.to_best.is_tie for option in stack.options)
    return f"{plural(ties, 'other option')} may lose as few as the best." if ties else ""
