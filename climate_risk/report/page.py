"""The pages: card, chart, advice first; what they rest on folded away. Templates hold the tags."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache, lru_cache

from climate_risk.report import (
    advice,
    certainty,
    choice,
    condition,
    measured,
    past,
    past_figure,
    skill,
    theme,
    words,
)
from climate_risk.report.compare_figure import compare_figure, years_figure
from climate_risk.report.display import full_day, percent, plural
from climate_risk.report.frame import Context, chart, inline, render
from climate_risk.report.inline_svg import svg_bytes
from climate_risk.report.numbers import month_rows, option_cells, option_heads
from climate_risk.report.option_names import option_name
from climate_risk.report.prices import prices_sentences
from climate_risk.report.season_figure import (
    BAND_NOTE,
    MOISTURE_NOTE,
    canopies_figure,
    season_figure,
    subject,
)
from climate_risk.report.skill_figure import skill_figure
from climate_risk.report.stack_figure import stack_figure
from climate_risk.report.witness_figure import witness_figure
from climate_risk.risk.hindsight import PastYears
from climate_risk.risk.results import OptionResult, SeasonResult, StackSeason
from climate_risk.risk.results_compare import CompareResult
from climate_risk.units import Units

OPTIONS_BY_YEAR = 12
"""Best options that are also shown year by year, so that a page stays small."""
AGAINST_PLAN = ("more lost than by your plan, points (8 times in 10)", "against your plan")


def season_page(result: SeasonResult, files: Mapping[str, bytes] | None = None) -> str:
    """The whole page of ``season`` as one self-contained HTML text.

    Parameters
    ----------
    result : SeasonResult
        What ``season`` found.
    files : mapping of name to bytes, optional
        To be saved from the page.

    Returns
    -------
    str
        HTML with its style, script and charts inside; it loads nothing.
    """
    order = words.by_risk(result.stacks)
    own = [(s.canopy, [o.canopy for o in s.under_canopies]) for s in result.stacks]
    others = dict.fromkeys(c for canopy, found in own for c in found if c != canopy)
    first_choices = {"canopy": "own"}
    years = cache(lambda stack: svg_bytes(years_figure(result, stack, narrow=True)))
    before = _past_chart(result)
    trust = (
        svg_bytes(skill_figure(result.skill, narrow=True, heading=False)) if result.skill else b""
    )
    context = {
        "skill_chart": cache(
            lambda key: inline(
                trust,
                key,
                "Skill of outlooks by months after inoculation, and how often a loss came where "
                "a chance was told.",
            )
        ),
        "view": cache(
            lambda stack, units: (
                _season_view(result, stack, units, years(stack)) | before(stack, units)
            )
        ),
        "canopy_choices": [
            ("own", "as it stands"), *((c, words.place_words(c)) for c in others)
        ],
        "canopy_note": choice.CANOPY_NOTE,
    }  # fmt: skip
    title = f"Season risk: {result.yard_name}, {full_day(result.as_of)}"
    return render("season", title, result, order, files, first_choices, context)


def compare_page(result: CompareResult, files: Mapping[str, bytes] | None = None) -> str:
    """The whole page of ``compare``; see :func:`season_page`."""
    years = cache(lambda *place: svg_bytes(years_figure(result, *place, narrow=True)))
    before = _past_chart(result)
    context = {
        "view": cache(
            lambda stack, units: _compare_view(result, stack, units, years) | before(stack, units)
        ),
        "canopy_note": choice.CANOPY_NOTE,
    }
    title = f"Options compared: {result.yard_name}, {result.first_year} to {result.last_year}"
    order = list(range(len(result.stacks)))
    return render("compare", title, result, order, files, {}, context)


def _past_chart(result: SeasonResult | CompareResult) -> Callable[[int, str], Context]:
    """What the part on past years shows of a stack; nothing where there are none."""

    def view(place: int, units: str) -> Context:
        stack = result.stacks[place]
        said = past.sentences(stack.past, Units(units))
        charts = {
            name: inline(
                _past_svg(stack.past, layout),
                f"h{place}{units[0]}{name[0]}",
                f"Days too dry and too hot for {stack.name} in past years, and of dry and hot "
                "weather. The sentences give the same numbers.",
            )
            for name, layout in (("desk", theme.DESK), ("phone", theme.PHONE))
            if stack.past is not None and said
        }
        return {"past": said, "past_chart": charts}

    return view


@lru_cache(maxsize=16)
def _past_svg(past: PastYears, layout: theme.Layout) -> bytes:
    """Drawn once for the pages of season and compare, which tell of the same years."""
    return svg_bytes(past_figure.figure_of(past, layout))


def _season_view(result: SeasonResult, place: int, units: str, years: bytes) -> Context:
    stack, show, limit = result.stacks[place], Units(units), result.tolerated_chance
    key = f"s{place}{units[0]}"
    own = stack.result
    is_over = words.is_over_tolerance(own, limit)
    said = f"{words.verdict(stack, limit, show)} The same numbers stand in the tables below."
    desk, phone = (
        season_figure(result, place, units=units, narrow=n, heading=False) for n in (False, True)
    )
    canopies = canopies_figure(result, place, units=units, narrow=True)
    drawn = stack_figure(result, place, units=units)
    return {
        "key": key,
        "stack": stack,
        "card": words.card(stack, limit, show),
        "over": is_over,
        "subject": subject(result, stack),
        "chart": chart(key, f"Chart of the season. {said}", desk, phone),
        "notes": [
            BAND_NOTE if stack.outlook is not None else "No outlook: everything shown is past.",
            condition.acted_sentence(stack),
            MOISTURE_NOTE,
            *([f"{words.OTHER_DRAWS}."] if own.chance and words.error_words(own.chance) else []),
            *prices_sentences(result.prices, show),
        ],
        "canopies": [
            {
                "name": option.canopy,
                "card": _canopy_card(option, limit, show),
                "over": words.is_over_tolerance(option, limit),
            }
            for option in stack.under_canopies
            if option.canopy != stack.canopy
        ],
        "canopy_chart": inline(
            svg_bytes(canopies),
            f"{key}c",
            f"Bark heat, moisture and run of {stack.name} under each canopy.",
        ),
        "lead": advice.lead(stack, limit),
        "actions": [
            advice.action_sentence(a, limit, result.currency, show) for a in stack.actions
        ],
        "tried": [advice.also_sentence(stack, show), advice.basis_sentence(stack)],
        "signs": advice.sign_sentences(stack, result, show),
        "caution": stack.fungus_caution,
        "state": [
            condition.state_sentence(stack),
            condition.harm_sentence(stack),
            condition.bark_sentence(stack, show),
            condition.spells_sentence(stack, show),
            condition.rivals_sentence(stack),
        ],
        "stack_chart": inline(
            svg_bytes(drawn), f"{key}k", f"{stack.name} to scale: {_faces(stack)}."
        ),
        "measured": measured.view(stack, limit, show),
        "witness_chart": _witness_chart(result, place, units),
        "ahead": [words.run_sentence(stack), words.lost_sentence(stack)],
        "sure": [
            words.limit_sentence(own, limit),
            words.basis_sentence(own.chance) if own.chance else "",
            certainty.level_sentence(stack.result.level),
            words.uncertainty_sentence(stack),
        ],
        "skill": [skill.outlook_sentence(result.skill)] if stack.outlook is not None else [],
        "years_chart": inline(
            years,
            f"{key}y",
            f"Past years of {stack.name}, worst first, by how dry the driest face got.",
        ),
        "months": month_rows(stack, show),
        "options": (
            f"{stack.name}: the same stack and covers under each canopy",
            ("canopy", *option_heads(show, result.currency)),
            [[o.canopy, *option_cells(o, limit, show)] for o in stack.under_canopies],
        ),
    }


def _witness_chart(result: SeasonResult, place: int, units: str) -> Context | None:
    stack = result.stacks[place]
    if stack.measured is None or stack.measured.track is None:
        return None
    desk, phone = (
        witness_figure(result, place, units=units, narrow=n, heading=False) for n in (False, True)
    )
    said = "Weight and moisture of the witness piece over time, without your readings and with."
    return chart(
        f"w{place}{units[0]}", f"{said} The table below gives the weights in numbers.", desk, phone
    )


def _faces(stack: StackSeason) -> str:
    found = ", ".join(f"{moisture:.0f} %" for moisture in stack.face_moisture_pct)
    return f"moisture of its spawn faces from the ground up {found}"


def _canopy_card(option: OptionResult, limit: float, show: Units) -> list[tuple[str, str]]:
    wet, bark = option.moisture_driest_face_pct[1], option.bark_temp_max_c[1]
    return [
        ("Danger", choice.option_danger(option, words.place_words(option.canopy), limit)),
        (
            "Log",
            f"Driest face at its lowest {wet:.0f} %, bark at its hottest "
            f"{show.temperature.text(bark)} in a middling year.",
        ),
        ("Run", f"{percent(option.colonized_fraction[1])} of the way by the end of the year."),
    ]


def _compare_view(
    result: CompareResult, place: int, units: str, years: Callable[[int, int], bytes]
) -> Context:
    stack, show, limit = result.stacks[place], Units(units), result.tolerated_chance
    key = f"c{place}{units[0]}"
    terms = (limit, result.currency, show)
    best = choice.best_option_sentence(stack, *terms)
    heads = (*option_heads(show, result.currency), *AGAINST_PLAN)
    options = plural(len(stack.options), "option")
    desk, phone = (
        compare_figure(result, place, units=units, narrow=n, heading=False) for n in (False, True)
    )
    said = f"Chart of {options}, best first. {best} The same numbers stand in the table below."
    return {
        "stack": stack,
        "over": words.is_over_tolerance(stack.best, limit),
        "best": best,
        "safest": choice.safest_sentence(stack, *terms),
        "plan": choice.plan_sentence(stack, limit, result.currency),
        "ties": choice.how_sure(stack, limit),
        "ranking": choice.ranking(stack),
        "prices": prices_sentences(result.prices, show),
        "subject": choice.basis_line(result, stack, show),
        "chart": chart(key, said, desk, phone),
        "cautions": stack.cautions,
        "options": [
            _option_view(result, place, number, units, years(place, number))
            for number, option in enumerate(stack.options)
            if option.rank <= OPTIONS_BY_YEAR or option.is_plan
        ],
        "table": (
            f"{stack.name}: {options}, your plan, then best first",
            ("option", *heads),
            [
                [
                    f"{o.rank}. {option_name(o, stack, show)}",
                    *option_cells(o, limit, show),
                    choice.difference_words(o),
                    choice.pays_words(o, stack.plan, result.currency),
                ]
                for o in stack.options
            ],
        ),
    }


def _option_view(
    result: CompareResult, place: int, number: int, units: str, years: bytes
) -> Context:
    stack = result.stacks[place]
    option, show, limit = stack.options[number], Units(units), result.tolerated_chance
    name = option_name(option, stack, show)
    wet, bark = option.moisture_driest_face_pct[1], option.bark_temp_max_c[1]
    return {
        "name": f"{option.rank}. {words.capital(name)}",
        "sentences": [
            choice.option_danger(option, name, limit),
            f"Driest face at its lowest {wet:.0f} %, bark at its hottest "
            f"{show.temperature.text(bark)} in a middling year; "
            f"{choice.cost_words(option, result.currency)}.",
        ],
        "years_chart": inline(
            years,
            f"o{place}{units[0]}{number}",
            f"Past years of {name}, worst first, by how dry the driest face got.",
        ),
    }
