"""The pages: verdict and actions first, then the chart, tables, basis, sources, cautions."""

from __future__ import annotations

import pandas as pd

from climate_risk.report import basis, choice, words
from climate_risk.report.compare_chart import draw_compare
from climate_risk.report.display import (
    MONTHS,
    full_day,
    percent,
    percent_range,
    plain_name,
    plural,
)
from climate_risk.report.markup import (
    chart,
    element,
    listing,
    page,
    paragraph,
    paragraphs,
    section,
    table,
    terms,
)
from climate_risk.report.season_chart import draw_season
from climate_risk.risk.results import (
    CompareResult,
    OptionResult,
    ParameterUsed,
    SeasonResult,
    StackCompare,
    StackSeason,
)
from climate_risk.units import Units
from climate_risk.version import program_version

INVENTED = "This place, its weather and its stacks are invented, to show what the program does."


def season_page(result: SeasonResult) -> str:
    """The whole page of ``season`` as one self-contained HTML text.

    Parameters
    ----------
    result : SeasonResult
        What ``season`` found.

    Returns
    -------
    str
        HTML with its style and charts inside; it loads nothing.
    """
    order = words.by_risk(result.stacks)
    boxes = (_verdict_box(result, result.stacks[place]) for place in order)
    main = [
        section("do", "What to do", *boxes),
        section("season", "The season at a glance", *_season_charts(result)),
        section("canopies", "Under each canopy", *_canopy_tables(result)),
        *_closing(result),
    ]
    title = f"Season risk: {result.yard_name}, {full_day(result.as_of)}"
    return page(title, _header(title, result), "\n".join(main), _footer(result))


def compare_page(result: CompareResult) -> str:
    """The whole page of ``compare`` as one self-contained HTML text."""
    main = [
        section("do", "What to choose", *(_choice_box(result, s) for s in result.stacks)),
        section("options", "The options side by side", *_compare_charts(result)),
        section("numbers", "The options in numbers", *_option_tables(result)),
        *_closing(result),
    ]
    title = f"Options compared: {result.yard_name}, {result.first_year} to {result.last_year}"
    return page(title, _header(title, result), "\n".join(main), _footer(result))


def _header(title: str, result: SeasonResult | CompareResult) -> str:
    note = paragraph(INVENTED) if result.invented else ""
    return element("h1", title) + note


def _footer(result: SeasonResult | CompareResult) -> str:
    return paragraph(f"climate-risk {program_version()}. Each run of the same inputs is the same.")


def _verdict_box(result: SeasonResult, stack: StackSeason) -> str:
    limit, show = result.tolerated_chance, Units(result.units)
    is_over = words.is_over_tolerance(stack.result, limit)
    over = " over" if is_over else ""
    lead = "What helps:" if is_over else "To lower the chance further:"
    actions = [words.action_sentence(a, limit, result.currency, show) for a in stack.actions]
    return "\n".join(
        (
            f'<article class="verdict{over}">',
            element("h3", f"{stack.name}: {words.danger(stack)}."),
            paragraph(words.to_do(stack, limit, show), class_="do"),
            paragraph(lead) if actions else "",
            listing(actions, ordered=True),
            paragraph(
                f"{words.chance_sentence(stack.result)} "
                f"{words.limit_sentence(stack.result, limit)}"
            ),
            paragraph(words.lost_sentence(stack)),
            paragraph(stack.fungus_caution, class_="note"),
            "</article>",
        )
    )


def _season_charts(result: SeasonResult) -> list[str]:
    show = Units(result.units)
    notes = (words.outlook_note(stack) for stack in result.stacks)
    ended = f"No outlook: everything shown ends on {full_day(result.as_of)}."
    parts = [paragraph(next(filter(None, notes), ended))]
    for place in words.by_risk(result.stacks):
        stack = result.stacks[place]
        parts.append(element("h3", stack.name))
        parts.append(
            paragraphs(
                (
                    words.run_sentence(stack),
                    words.doubt_sentence(stack),
                    words.state_sentence(stack, show),
                    "" if stack.daily.empty else words.spells_sentence(stack, show),
                )
            )
        )
        parts.append(
            chart(
                draw_season(result, place),
                draw_season(result, place, narrow=True),
                f"Chart of the season. {words.verdict(stack, result.tolerated_chance, show)} "
                f"The same numbers stand in the table below.",
            )
        )
        heads = (
            "month",
            f"hottest air, {show.temperature.unit}",
            f"hottest bark, {show.temperature.unit}",
            "driest face at month's end, %",
            "run done at month's end, %",
        )
        rows = month_rows(stack, show)
        caption = f"{stack.name}, month by month; outlook: middle of a day (8 of 10 runs)"
        parts.append(table(caption, heads, rows))
    return parts


def month_rows(stack: StackSeason, show: Units) -> list[list[str]]:
    """The chart in numbers: observed months, then those of the outlook."""
    rows = []
    for part in _by_month(stack.daily):
        last = part.iloc[-1]
        rows.append(
            [
                f"{_month(part)}",
                f"{show.temperature.of(float(part['air_temp_max_c'].max())):.0f}",
                f"{show.temperature.of(float(part['bark_temp_max_c'].max())):.0f}",
                f"{last['moisture_driest_face_pct']:.0f}",
                f"{100 * last['colonized_fraction']:.0f}",
            ]
        )
    if stack.outlook is None or stack.outlook.empty:
        return rows
    for part in _by_month(stack.outlook):
        rows.append(
            [
                f"{_month(part)}, outlook",
                _hottest(part, "air_temp_max_c", show),
                _hottest(part, "bark_temp_max_c", show),
                _band(part.iloc[-1], "moisture_driest_face_pct", 1.0),
                _band(part.iloc[-1], "colonized_fraction", 100.0),
            ]
        )
    return rows


def _by_month(frame: pd.DataFrame) -> list[pd.DataFrame]:
    months = pd.DatetimeIndex(frame.index).strftime("%Y-%m")
    return [part for _, part in frame.groupby(months)]


def _month(part: pd.DataFrame) -> str:
    first = part.index[0]
    return f"{MONTHS[first.month - 1]} {first.year}"


def _band(row: pd.Series[float], quantity: str, factor: float) -> str:
    if (quantity, 50) not in row.index:
        return "not given"
    low, middle, high = (factor * float(row[(quantity, q)]) for q in (10, 50, 90))
    return f"{middle:z.0f} ({low:z.0f} to {high:z.0f})"


def _hottest(part: pd.DataFrame, quantity: str, show: Units) -> str:
    """The day of the month with the highest middle value."""
    if (quantity, 50) not in part:
        return "not given"
    row = part.iloc[int(part[(quantity, 50)].to_numpy().argmax())]
    low, middle, high = (show.temperature.of(float(row[(quantity, q)])) for q in (10, 50, 90))
    return f"{middle:z.0f} ({low:z.0f} to {high:z.0f})"


def _canopy_tables(result: SeasonResult) -> list[str]:
    show = Units(result.units)
    tables = [
        table(
            f"{stack.name}: the same stack and covers under each canopy",
            ("canopy", *_option_heads(show, result.currency)),
            [[o.canopy, *_option_cells(o, show)] for o in stack.under_canopies],
        )
        for stack in result.stacks
        if stack.under_canopies
    ]
    return [paragraph(choice.CANOPY_NOTE), *tables] if tables else []


def _option_heads(show: Units, currency: str) -> tuple[str, ...]:
    return (
        "chance of loss (9 in 10 sure)",
        "killed by",
        "late",
        "run done (8 of 10 runs)",
        "driest face, % (8 of 10 runs)",
        f"hottest bark, {show.temperature.unit} (8 of 10 runs)",
        f"cost of option, {currency}",
        "with expected loss",
    )


def _option_cells(option: OptionResult, show: Units) -> list[str]:
    shares, cost, run = option.shares, option.cost, option.colonized_fraction
    chance = f"not given: {words.what_happened(option)}"
    if option.chance is not None:
        mean = option.chance.mean
        interval = percent_range(option.chance.low, option.chance.high)
        chance = f"{'none seen' if mean <= 0.0 else percent(mean)} ({interval})"
    low, dry, high = option.moisture_driest_face_pct
    cool, warm, hot = (show.temperature.of(value) for value in option.bark_temp_max_c)
    return [
        chance,
        words.cause_split(shares) or "none",
        percent(shares.delayed),
        percent(run[1]) + ("" if run[0] == run[2] else f" ({percent_range(run[0], run[2])})"),
        f"{dry:z.0f} ({low:z.0f} to {high:z.0f})",
        f"{warm:z.0f} ({cool:z.0f} to {hot:z.0f})",
        f"{cost.option:.2f}",
        "not given" if cost.total is None else f"{cost.total:.2f}",
    ]


def _choice_box(result: CompareResult, stack: StackCompare) -> str:
    limit, currency = result.tolerated_chance, result.currency
    advice = (limit, currency, Units(result.units))
    best = stack.options[0]
    over = " over" if words.is_over_tolerance(best, limit) else ""
    return "\n".join(
        (
            f'<article class="verdict{over}">',
            element("h3", choice.best_option_sentence(stack, *advice)),
            paragraph(choice.cheapest_sentence(stack, *advice), class_="do"),
            paragraphs(
                (
                    f"{words.chance_sentence(best)} {words.limit_sentence(best, limit)}",
                    choice.ties_sentence(stack),
                )
            ),
            paragraph(stack.fungus_caution, class_="note"),
            "</article>",
        )
    )


def _compare_charts(result: CompareResult) -> list[str]:
    advice = (result.tolerated_chance, result.currency, Units(result.units))
    return [
        chart(
            draw_compare(result, place),
            draw_compare(result, place, narrow=True),
            f"Chart of {plural(len(stack.options), 'option')}, best first. "
            f"{choice.best_option_sentence(stack, *advice)} "
            f"The same numbers stand in the table below.",
        )
        for place, stack in enumerate(result.stacks)
    ]


def _option_tables(result: CompareResult) -> list[str]:
    show = Units(result.units)
    tables = [
        table(
            f"{stack.name}: {plural(len(stack.options), 'option')}, best first",
            ("option", *_option_heads(show, result.currency)),
            [
                [f"{rank}. {choice.option_words(option, show)}", *_option_cells(option, show)]
                for rank, option in enumerate(stack.options, 1)
            ],
        )
        for stack in result.stacks
    ]
    return [paragraph(choice.RANKING), paragraph(choice.CANOPY_NOTE), *tables]


def _closing(result: SeasonResult | CompareResult) -> list[str]:
    used = {(p.group, p.row, p.name): p for stack in result.stacks for p in stack.parameters}
    cited = [f"{source.citation} ({READ_WORDS[source.read]})." for source in result.sources]
    return [
        section(
            "basis",
            "What the numbers rest on",
            terms(basis.GRADES),
            element("h3", "Weather"),
            *_coverage(result),
            element("h3", "Arithmetic"),
            paragraph(basis.closure_sentence(result.water_residual, result.energy_residual)),
            element("h3", "Values and their ranges"),
            paragraph(GRADE_WORDS),
            table(
                "Values taken, with the range they are drawn from",
                ("value of", "name", "best", "range", "unit", "grade"),
                [
                    [p.row, _name(p), f"{p.value:g}", _range(p), p.unit, p.grade]
                    for p in used.values()
                ],
            ),
        ),
        section("sources", "Sources", listing((*basis.METHODS, *cited))),
        section("cautions", "Cautions", terms(basis.CAUTIONS)),
    ]


def _name(parameter: ParameterUsed) -> str:
    name, _, wood = parameter.name.partition(".")
    return f"{plain_name(name)}, {wood}" if wood else plain_name(name)


def _range(parameter: ParameterUsed) -> str:
    if not parameter.drawn:
        return "not drawn"
    return f"{parameter.low:g} to {parameter.high:g}"


READ_WORDS = {
    "text": "text read",
    "abstract": "abstract read",
    "memory": "from memory, not looked up",
    "practice": "practice, not science",
    "judgement": "judgement",
}
GRADE_WORDS = (
    "Grades: A measured on the species near to our use; B measured on other material, or two "
    "sources agree; C extension or handbook figure, or derived from dated field observations; "
    "D judgement."
)


def _coverage(result: SeasonResult | CompareResult) -> list[str]:
    coverage = result.coverage
    filled = [
        [column, way, str(count)]
        for column, ways in coverage.filled.items()
        for way, count in ways.items()
    ]
    parts = [paragraph(basis.coverage_sentence(coverage)), listing(coverage.warnings)]
    if filled:
        caption = "Missing values and how they were filled"
        parts.append(table(caption, ("column", "filled by", "number"), filled))
    if coverage.estimated:
        pairs = [[column, way] for column, way in coverage.estimated.items()]
        caption = "Columns the source lacks"
        parts.append(table(caption, ("column", "estimated"), pairs))
    parts.append(paragraph(coverage.attribution))
    files = [[name, digest] for name, digest in result.inputs.items()]
    parts.append(table("Files read", ("file", "SHA-256"), files) if files else "")
    return [part for part in parts if part]
