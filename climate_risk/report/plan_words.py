"""What the plan says: sentences, lines of tables, cautions; amounts in the units asked for."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta

from climate_risk.report.display import day, full_day, listed, percent, plural
from climate_risk.report.glossary import Term
from climate_risk.risk.results_plan import (
    Pair,
    PlanResult,
    Ranged,
    SpawnToBuy,
    StackPlan,
    Tree,
    Window,
)
from climate_risk.units import METRES_PER_FOOT, METRES_PER_INCH, Scale, Units

GOOD, FAIR = 0.85, 0.55
"""Of the rate in the fungus's best wood: from here on a wood is called good, or fair."""
EIGHTHS = 8
FEW_YEARS = 5
USUAL_WOOD_M = 0.254
"""Across, of the stacks that growers count by."""
NO_WEEKS = (
    "No weather was read, so the weeks for felling and inoculating, and what the fungi make of "
    "your summers, are not given."
)
NO_SPRING = (
    "The weather read holds no whole spring, so the weeks for felling and inoculating are not "
    "given."
)
PRACTICE = (
    "Common practice, no source: fell while the trees are bare, inoculate once days stay above "
    "freezing, and early enough that the fungus has left the spawn before the heat."
)

CAUTIONS: tuple[tuple[str, str], ...] = (
    (
        "Saw and felling",
        "Only trained people, by local rules; leave felling, hung-up and storm-thrown trees to "
        "licensed professionals. Helmet with face and ear protection, chaps, gloves, boots, a "
        "saw in good order with its chain brake; two tree lengths clear of others, a way out "
        "behind you, never alone.",
    ),
    (
        "Lifting",
        "Cut the tree where it lies and move pieces, not stems. Two people or a cart for what is "
        "heavy or awkward. Set stacks level and steady, away from where children play.",
    ),
    (
        "Sound wood",
        "Live, healthy trees only, bark whole: no rot, no other fungi, no dead or lying wood, "
        "nothing sprayed. Ask who owns the tree, and what your forester would keep.",
    ),
    (
        "Moving wood",
        "Cut and use wood where it grew. Do not move logs across quarantine lines: they carry "
        "pests and disease. Oaks where oak wilt is about: ask your authority when to cut.",
    ),
    (
        "Fungi from elsewhere",
        "Near woods choose kinds native to your region; golden oyster is not native to North "
        "America and spreads there. Ask the local authority.",
    ),
    (
        "Eating",
        "Eat nothing that a competent person has not identified; other fungi fruit on the same "
        "logs. Cook it; some people are allergic. Spores can harm the lungs indoors.",
    ),
    (
        "This plan",
        "Estimates with their ranges, not a promise; local codes, your extension service and "
        "licensed practice come first.",
    ),
)


def tape(length_m: float, show: Units) -> str:
    """A length as a tape shows it: ``1 ft 2 3/8 in`` to the eighth, or ``36.5 cm``."""
    if show.system != "us":
        return f"{100.0 * length_m:.1f} cm"
    eighths = round(length_m / METRES_PER_INCH * EIGHTHS)
    feet, rest = divmod(eighths, 12 * EIGHTHS)
    return f"{feet} ft {_inches(rest)}" if feet else _inches(rest)


def _inches(eighths: int) -> str:
    whole, part = divmod(eighths, EIGHTHS)
    if not part:
        return f"{whole} in"
    below = EIGHTHS
    while part % 2 == 0:
        part, below = part // 2, below // 2
    return f"{whole} {part}/{below} in" if whole else f"{part}/{below} in"


def stem(length_m: float, show: Units) -> str:
    """A tree's length: ``24 ft``, ``7.5 m``."""
    if show.system == "us":
        return f"{length_m / METRES_PER_FOOT:.3g} ft"
    return f"{length_m:.3g} m"


def ranged(amount: Ranged, scale: Scale, digits: int | None = None) -> str:
    """``12.5 lb (10.4 to 15.2)``."""
    places = scale.digits if digits is None else digits
    if amount.low == amount.high:
        return scale.text(amount.value, places)
    low, high = (f"{scale.of(end):.{places}f}" for end in (amount.low, amount.high))
    return f"{scale.text(amount.value, places)} ({low} to {high})"


def money_ranged(amount: Ranged, currency: str) -> str:
    """``USD 11.79 (6.06 to 18.85)``, or that it is not known."""
    if math.isnan(amount.value):
        return NO_PRICE
    first = f"{currency} {amount.value:.2f}"
    if amount.low == amount.high:
        return first
    return f"{first} ({amount.low:.2f} to {amount.high:.2f})"


def day_of_year(number: int) -> str:
    """``18 Jul``: of a common year."""
    return day(date(2001, 1, 1) + timedelta(days=number - 1))


def window_words(window: Window) -> str:
    """``20 Mar to 26 May``."""
    return f"{day_of_year(window.first_day)} to {day_of_year(window.last_day)}"


def make_sentence(stack: StackPlan, show: Units) -> str:
    """What one stack is."""
    shape, size = stack.shape, show.length.text
    cap = f", cap {size(shape.cap_thickness_m)}" if shape.cap_thickness_m > 0.0 else ", no cap"
    return (
        f"{plural(stack.count, 'stack')} of {stack.fungus} on {stack.wood}: "
        f"{plural(shape.pieces, 'piece')} {size(shape.piece_length_m)} long, "
        f"{size(shape.diameter_m)} across over the bark{cap}; {size(stack.height_m)} high."
    )


def trees_of(stack: StackPlan) -> list[tuple[int, Tree]]:
    """How many trees are cut alike, and one of them, for each way of cutting."""
    alike = Counter(tree.pattern for tree in stack.trees)
    first = {tree.pattern: tree for tree in reversed(stack.trees)}
    return [(number, first[pattern]) for pattern, number in alike.items()]


def trees_sentence(stack: StackPlan, ours: frozenset[str], show: Units) -> str:
    """How many trees, how long, and what is lost."""
    tree = stack.trees[0]
    made = sum(t.sum_m("piece") + t.sum_m("cap") for t in stack.trees)
    total = sum(t.length_m for t in stack.trees)
    left = sum(t.rest_m for t in stack.trees)
    assumed = " (our guess: set tree_length under [plan])" if "tree_length" in ours else ""
    return (
        f"Trees: {len(stack.trees)} with {stem(tree.length_m, show)} of straight stem each"
        f"{assumed}; {percent(made / total)} of it becomes pieces and caps, "
        f"{percent(sum(t.dust_m for t in stack.trees) / total)} sawdust, "
        f"{tape(left, show)} is left over."
    )


def cutting_note(stack: StackPlan, ours: frozenset[str], show: Units) -> str:
    """How to read the marks."""
    tree = stack.trees[0]
    kerf = tape(tree.kerf_m, show) if show.system == "us" else f"{1000.0 * tree.kerf_m:.0f} mm"
    guess = " (our guess)" if "kerf" in ours else ""
    return (
        "Hook the tape to the butt end and leave it; saw on the far side of each mark, square "
        f"to the log. The {kerf}{guess} that each cut turns to dust is counted. Keep the pieces "
        "of a stack in the order they grew, so that their faces meet; a mixed stack is put "
        "together from several trees."
    )


def lift_sentence(stack: StackPlan, lift_alone_kg: float, show: Units) -> str:
    """What a fresh piece weighs, and who may lift it."""
    weight = ranged(stack.piece_mass_kg, show.mass, 0)
    limit = show.mass.text(lift_alone_kg, 0)
    rule = f"{limit}, the most that a published rule allows one person when nothing is awkward"
    if stack.piece_mass_kg.low > lift_alone_kg:
        advice = f"that is over {rule}: two people or a cart"
    elif stack.piece_mass_kg.high > lift_alone_kg:
        advice = f"it may pass {rule}: weigh one, and have help or a cart"
    else:
        advice = f"under {rule}; bent over, reaching or all day long, less"
    return (
        f"A fresh piece weighs about {weight}, the whole stack "
        f"{ranged(stack.stack_mass_kg, show.mass, 0)}; {advice}."
    )


def spawn_sentence(stack: StackPlan, show: Units) -> str:
    """Faces x area x depth x bulk, and how far a bag goes."""
    few, many = (f"{n:.0f}" for n in (stack.stacks_per_bag.low, stack.stacks_per_bag.high))
    return (
        f"{plural(stack.faces, 'face')} of {show.area.text(stack.face_area_m2)} with spawn "
        f"{_depth(stack.spawn_depth_m, show)} deep take {ranged(stack.spawn_kg, show.mass)} a "
        f"stack, some spare included: a bag serves about {stack.stacks_per_bag.value:.0f} stacks "
        f"({few} to {many}; growers say 5 to 10 of "
        f"{show.length.text(USUAL_WOOD_M, 0)} wood, common practice, no source)."
    )


def _depth(depth_m: float, show: Units) -> str:
    metric = f"{1000.0 * depth_m:.0f} mm"
    return f"{depth_m / METRES_PER_INCH:.2f} in ({metric})" if show.system == "us" else metric


def bags_sentence(spawn: SpawnToBuy, bag_kg: float, currency: str, show: Units) -> str:
    """Whole bags to buy of one fungus."""
    low, best, high = spawn.bags
    span = "" if low == high else f" (between {low} and {high})"
    price = "" if math.isnan(spawn.price) else f", {currency} {spawn.price:.2f}"
    return (
        f"Buy {plural(best, 'bag')} of {show.mass.text(bag_kg)}{span} of {spawn.fungus} spawn: "
        f"{ranged(spawn.mass_kg, show.mass)} in all{price}. Order it for the week you inoculate."
    )


NO_PRICE = "not known, a price is missing"
COST_NOTE = (
    "Your own wood is not counted. Spawn is counted by weight here; whole bags are above. A "
    "cloth is counted in full, though it lasts for years."
)


def weeks_sentences(result: PlanResult, stack: StackPlan) -> list[str]:
    """When to fell and inoculate, what that rests on, and how the stack's own dates fit."""
    weeks, spring = stack.weeks, result.spring
    if weeks is None or spring is None:
        return [NO_WEEKS if result.coverage is None else NO_SPRING, PRACTICE]
    least, most = result.rest_days
    share = f"in {percent(result.sure_share)} of {plural(spring.years, 'past year')}"
    if spring.years < FEW_YEARS:
        share = f"in the {plural(spring.years, 'past year')} that was read: a hint, no more"
    if weeks.inoculation is None or weeks.felling is None:
        first = (
            f"No week would have served {share}. It froze by day too late, or heat came too "
            "soon, for felling and inoculating in one spring. Ask growers near you; a stack "
            "begun under cover or in autumn is outside this plan."
        )
        return [first, PRACTICE]
    leap = weeks.leap_off_days
    return [
        f"Inoculate from {window_words(weeks.inoculation)}; fell {least} to {most} days before, "
        f"from {window_words(weeks.felling)}. This would have served {share}.",
        f"In mid-window the fungus needs about {leap.value:.0f} days ({leap.low:.0f} to "
        f"{leap.high:.0f}) to leave the spawn.",
        *_own_dates(stack, weeks.felling, weeks.inoculation, least, most),
        PRACTICE,
    ]


def _own_dates(
    stack: StackPlan, felling: Window, inoculation: Window, least: int, most: int
) -> list[str]:
    said = []
    for what, window, on in (
        ("felled", felling, stack.felled),
        ("inoculated", inoculation, stack.inoculated),
    ):
        if on is not None and not window.holds(on):
            said.append(f"{what} on {full_day(on)}, outside these weeks")
    if stack.felled is not None:
        rest = (stack.inoculated - stack.felled).days
        if not least <= rest <= most:
            said.append(
                f"{plural(rest, 'day')} from felling to inoculation, not {least} to {most}"
            )
    return [f"Your yard file: {'; '.join(said)}."] if said else []


def pair_sentence(result: PlanResult, stack: StackPlan) -> str:
    """How the stack's own fungus does in its wood, and which others would run it in time."""
    pair, complete = stack.pair, result.complete_share
    grade = grade_words(pair)
    months = next(s.horizon_months for s in result.fungi if s.fungus == stack.fungus)
    said = f"{stack.wood.capitalize()} is {grade} wood for {stack.fungus}"
    if pair.run_share is None:
        return f"{said}."
    low, high = (f"{100.0 * share:.0f}" for share in (pair.run_share.low, pair.run_share.high))
    reach = f"{low} to {high} %" if low != high else f"{low} %"
    said += (
        f"; in your air, and wood that never dries, its pieces are run {reach} of the way within "
        f"{months} months"
    )
    cautioned = {site.fungus for site in result.fungi if site.caution}
    others = [
        other.fungus
        for other in result.pairs
        if other.wood == stack.wood
        and other.fungus not in {stack.fungus, *cautioned}
        and other.run_share is not None
        and other.run_share.value >= complete
    ]
    if pair.run_share.value >= complete or not others:
        return f"{said}."
    return f"{said}. More likely in time on this wood: {listed(others)}."


def grade_words(pair: Pair) -> str:
    """``good``, ``fair`` or ``poor``."""
    return "good" if pair.factor.value >= GOOD else "fair" if pair.factor.value >= FAIR else "poor"


def pairs_note(result: PlanResult, show: Units) -> str:
    """What the table of pairs rests on."""
    length = show.length.text(result.pairs_length_m)
    times = listed(f"{site.fungus} {site.horizon_months} months" for site in result.fungi)
    if result.spring is None:
        return f"How fast each fungus runs in each wood. Pieces {length}."
    return (
        f"In time: run through a piece of {length} from both faces within its time ({times}), in "
        "the air of your past years and wood that never dries; drought and heat come on top. "
        "Grades of woods are growers' and extension charts'; rates in whole logs are known "
        "roughly."
    )


def terms() -> list[Term]:
    """Words that the page explains."""
    return [
        Term("face", "Spawn face", r"\bfaces?\b",
             "A cut face of the log with spawn on it: on the ground, between pieces, under the "
             "cap."),
        Term("butt", "Butt end", r"butt end", "The thick, lower end of a felled stem."),
        Term("cap", "Cap", r"\bcaps?\b", "The thin slice of log on top, over the last spawn."),
        Term("fresh", "Fresh", r"\bfresh\b",
             "As felled, with all its water. A piece that has dried for weeks is lighter."),
        Term("run", "Run", r"\brun\b",
             "How far the fungus has grown from the spawn into the wood, as a share of the way "
             "until it meets itself."),
    ]  # fmt: skip


def cost_line(stack: StackPlan, currency: str) -> str:
    """What a stack costs, and all of them."""
    one, every = (money_ranged(stack.cost(of_all=of_all), currency) for of_all in (False, True))
    return f"{one}." if one == NO_PRICE else f"{one} a stack, {every} in all."


def summary_sentences(result: PlanResult, stacks: Sequence[StackPlan], show: Units) -> list[str]:
    """A few plain lines for the terminal."""
    lines = []
    for stack in stacks:
        lines.append(
            f"{stack.name}: {make_sentence(stack, show)} {plural(len(stack.trees), 'tree')} of "
            f"{stem(stack.trees[0].length_m, show)}; a fresh piece weighs "
            f"{ranged(stack.piece_mass_kg, show.mass, 0)}. Cost: "
            f"{cost_line(stack, result.currency)}"
        )
        lines.append(f"{stack.name}: {weeks_sentences(result, stack)[0]}")
    lines += [
        bags_sentence(spawn, result.spawn_bag_kg, result.currency, show) for spawn in result.spawn
    ]
    return lines
