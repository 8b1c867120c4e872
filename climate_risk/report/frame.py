"""What every page shares: policy, style, script, controls, words explained, and basis."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from climate_risk.report import basis, theme
from climate_risk.report import glossary as words_explained
from climate_risk.report.display import plain_name
from climate_risk.report.inline_svg import inline_svg, svg_bytes
from climate_risk.risk.results import ParameterUsed, SeasonResult
from climate_risk.risk.results_compare import CompareResult
from climate_risk.risk.results_plan import PlanResult
from climate_risk.units import Units
from climate_risk.version import program_version

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup
    from matplotlib.figure import Figure

TEMPLATES = Path(__file__).with_name("templates")
SYSTEMS = ("us", "metric")
MOST_STACKS_IN_BOTH = 3
"""A page of more stacks shows the yard's own units only, so that it stays under 2 MB."""
UNIT_WORDS = {"us": "°F, inches, gallons", "metric": "°C, mm, litres"}
FILE_KINDS = {"csv": "text/csv", "json": "application/json", "ics": "text/calendar"}
Context = dict[str, Any]


def render(
    name: str,
    title: str,
    result: SeasonResult | CompareResult | PlanResult,
    order: Sequence[int],
    files: Mapping[str, bytes] | None,
    first_choices: Mapping[str, str],
    context: Context,
    known: list[words_explained.Term] | None = None,
) -> str:
    """One page from its template.

    Parameters
    ----------
    name : str
        Of the template.
    order : sequence of int
        Places of the stacks in ``result.stacks``, the first shown at first.
    files : mapping of name to bytes, optional
        To be saved from the page.
    first_choices : mapping of str to str
        What else is chosen when the page opens, by the names of its controls.
    context : dict
        What this template alone asks for.
    known : list of Term, optional
        Words that the page explains, in place of those of a run's results.
    """
    systems = sorted(SYSTEMS, key=lambda system: system != result.units)
    if len(order) > MOST_STACKS_IN_BOTH:
        del systems[1:]
    first = {"units": systems[0], "stack": str(order[0]), **first_choices}
    if known is None:
        known = _terms(result, Units(systems[0]))
    environment = _environment()
    style, script = _style(), (TEMPLATES / "page.js").read_text(encoding="utf-8")
    environment.filters["terms"] = lambda text: _with_links(text, known)
    return environment.get_template(f"{name}.html.j2").render(
        title=title,
        result=result,
        order=order,
        systems=systems,
        stack_choices=[(str(n), result.stacks[n].name) for n in order],
        unit_choices=[(system, UNIT_WORDS[system]) for system in systems],
        shown_first=lambda when: all(first.get(n) == str(v) for n, v in when.items()),
        style=_safe(style),
        script=_safe(script),
        policy=_policy(style, script),
        files=[_file(n, data) for n, data in (files or {}).items()],
        glossary=known,
        version=program_version(),
        **_values(result),
        **({} if isinstance(result, PlanResult) else _basis(result)),
        **context,
    )


def render_plain(name: str, title: str, context: Context) -> str:
    """A page from its template without controls, its pictures in it as data."""
    environment, style = _environment(), _style()
    script = (TEMPLATES / "page.js").read_text(encoding="utf-8")
    environment.filters["terms"] = str
    return environment.get_template(f"{name}.html.j2").render(
        title=title,
        style=_safe(style),
        script=_safe(script),
        policy=f"{_policy(style, script)}; img-src data:",
        version=program_version(),
        **context,
    )


def _terms(
    result: SeasonResult | CompareResult | PlanResult, show: Units
) -> list[words_explained.Term]:
    if isinstance(result, PlanResult):
        return []
    limits = result.spell_limits if isinstance(result, SeasonResult) else None
    return words_explained.terms(limits, result.stacks[0].thresholds, show)


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _safe(text: str) -> Markup:
    """Our own tags, not to be escaped."""
    from markupsafe import Markup

    return Markup(text)


def _with_links(text: str, known: list[words_explained.Term]) -> Markup:
    from markupsafe import Markup, escape

    link = Markup('<a class="term" href="#word-{}">{}</a>')
    pieces = [
        link.format(key, piece) if key else escape(piece)
        for piece, key in words_explained.linked(text, known)
    ]
    return Markup("").join(pieces)


def _style() -> str:
    """The page's style and, for dark screens, each colour of the charts in its dark turn.

    A rule names no ``svg`` before the attribute: a mark that is drawn by ``use`` has none above.
    """
    rules = [
        f'[{kind}="{light}"] {{ {kind}: {dark}; }}'
        for light, dark in theme.DARK.items()
        for kind in ("fill", "stroke")
    ]
    unsaid = "svg :is(text, use, :not(defs) > path):not([fill]) { fill: currentColor; }"
    dark = "\n".join((unsaid, *rules))
    page = (TEMPLATES / "page.css").read_text(encoding="utf-8")
    return f"{page}@media screen and (prefers-color-scheme: dark) {{\n{dark}\n}}\n"


def _policy(style: str, script: str) -> str:
    """Nothing may load, and only this style and this script may act."""
    digests = {
        kind: base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        for kind, text in (("style", style), ("script", script))
    }
    rules = [f"{kind}-src 'sha256-{digest}'" for kind, digest in digests.items()]
    return "; ".join(("default-src 'none'", *rules, "base-uri 'none'", "form-action 'none'"))


def _file(name: str, data: bytes) -> dict[str, str]:
    kind = FILE_KINDS[name.rpartition(".")[2]]
    return {"name": name, "link": f"data:{kind};base64,{base64.b64encode(data).decode()}"}


def chart(key: str, said: str, desk: Figure, phone: Figure) -> dict[str, Markup]:
    """A chart for desk and paper, and for a phone; the page shows the one of its width."""
    return {
        "desk": inline(svg_bytes(desk), f"{key}d", said),
        "phone": inline(svg_bytes(phone), f"{key}p", said),
    }


def inline(svg: bytes, key: str, said: str) -> Markup:
    """A chart as an element of the page; see :func:`inline_svg`."""
    return _safe(inline_svg(svg, key, said))


def _values(result: SeasonResult | CompareResult | PlanResult) -> Context:
    used = {(p.group, p.row, p.name): p for s in result.stacks for p in s.parameters}
    return {
        "grade_words": basis.GRADE_WORDS,
        "parameters": [
            (p.row, _name(p), f"{p.value:g}", _range(p), p.unit, p.grade) for p in used.values()
        ],
        "sources": [
            *basis.METHODS,
            *(f"{s.citation} ({basis.READ_WORDS[s.read]})." for s in result.sources),
        ],
    }


def _basis(result: SeasonResult | CompareResult) -> Context:
    coverage = result.coverage
    return {
        "grades": basis.GRADES,
        "cautions": basis.CAUTIONS,
        "coverage": coverage,
        "given": [
            (one.column, one.source, one.first, one.last, f"{one.values:,} {one.of}")
            for one in coverage.given
        ],
        "coverage_sentence": basis.coverage_sentence(coverage),
        "filled": [
            (column, way, str(count))
            for column, ways in coverage.filled.items()
            for way, count in ways.items()
        ],
        "closure": basis.closure_sentence(result.water_residual, result.energy_residual),
    }


def _name(parameter: ParameterUsed) -> str:
    name, _, wood = parameter.name.partition(".")
    return f"{plain_name(name)}, {wood}" if wood else plain_name(name)


def _range(parameter: ParameterUsed) -> str:
    return f"{parameter.low:g} to {parameter.high:g}" if parameter.drawn else "not drawn"
