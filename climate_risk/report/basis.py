"""What the numbers rest on: weather coverage, grades of knowledge, sources and cautions."""

from __future__ import annotations

from climate_risk.report.display import full_day, listed, plural
from climate_risk.weather.record import WeatherCoverage

GRADES: tuple[tuple[str, str], ...] = (
    (
        "Measured",
        "Weather of the stations or file named below, apart from the values marked filled or "
        "estimated. Sorption of water by wood, heat capacity, light under measured canopies, and "
        "the temperatures between which these fungi grow come from published measurements.",
    ),
    (
        "Modelled",
        "Air, sun and wind at the stack; heat and moisture in the wood; the advance of the "
        "fungus along the grain. All follow from the measured values by published equations. "
        "The band comes from past years' weather and from drawing the unsure values from "
        "their ranges.",
    ),
    (
        "Guess",
        "How fast these fungi cross whole logs outdoors, how many hours of heat or weeks of "
        "drought kill half of them, and how freely bark lets water out are known only roughly; "
        "they are drawn from wide ranges. No published survival counts of stacks by weather "
        "were found, so the chance of loss has not been checked against counted losses.",
    ),
)

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

METHODS: tuple[str, ...] = (
    "Growth against temperature: Rosso, Lobry and Flandrois 1993, J. Theor. Biol. 162:447-463.",
    "Daily weather to hours: Parton and Logan 1981, Agric. Meteorol. 23:205-216.",
    "Sun and sky: pvlib; Allen and others 1998 (FAO-56); Erbs and others 1982, Solar Energy.",
    "Heat and moisture in wood: Forest Products Laboratory, Wood Handbook, chapter 4.",
)

CAUTIONS: tuple[tuple[str, str], ...] = (
    (
        "Chainsaw",
        "Only trained people. Helmet with face and ear protection, chaps, gloves, boots, a saw in "
        "good order with its chain brake. Never alone. Follow local rules; leave felling to "
        "licensed professionals.",
    ),
    (
        "Lifting",
        "Green pieces are heavy: lift with help or use a cart. Steady tall stacks so that none "
        "can topple, and keep children away from them.",
    ),
    (
        "Eating",
        "Eat nothing that a competent person has not identified. Some people are allergic. "
        "Cook it.",
    ),
    (
        "Moving wood",
        "Do not move logs or firewood across quarantine lines; they carry pests and disease.",
    ),
    (
        "Golden oyster",
        "It is not native to North America, has spread to 25 states or more since about 2010, and "
        "where studied, in dead elms in Wisconsin, the colonized trees held about half as many "
        "kinds of fungi (A. Veerabahu and others, Current Biology, 2025; numbers from the "
        "universities' news reports). Near woods prefer a native oyster or lion's mane, and ask "
        "the local authority.",
    ),
    ("In the woods", "Ticks, poison ivy, sun and heat: look after yourself and your helpers too."),
    (
        "This tool",
        "It gives chances from a model, not promises. Look at and weigh a sample stack before you "
        "spend money or give up a stack on its word.",
    ),
)


def coverage_sentence(coverage: WeatherCoverage) -> str:
    """Source, span and how much of the weather was filled or estimated."""
    span = (
        f"Weather: {coverage.source}, {full_day(coverage.first)} to {full_day(coverage.last)} "
        f"({plural(coverage.days, 'day')})."
    )
    filled = coverage.filled_count
    gaps = (
        f" {plural(filled, 'missing value')} filled, counted by kind in the table."
        if filled
        else " No missing value had to be filled."
    )
    ahead = (
        f" The service's forecast to {full_day(coverage.forecast_to)} counts in full for three "
        "days of the outlook and fades into past years' weather by the seventh."
        if coverage.forecast_to
        else ""
    )
    if not coverage.estimated:
        return span + gaps + ahead
    return f"{span}{gaps}{ahead} Not in the source and estimated: {listed(coverage.estimated)}."


def closure_sentence(water_residual: float, energy_residual: float) -> str:
    """How well water and energy add up in the runs."""
    return (
        f"Water and energy are booked in every run: the largest gap is {water_residual:.1g} of "
        f"the water and {energy_residual:.1g} of the energy moved. This checks the arithmetic, "
        f"not the truth of the model."
    )
