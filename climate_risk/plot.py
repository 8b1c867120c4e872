"""Charts of results, and a region as a dataset, for notebooks and other programs.

Every ``_figure`` takes a result and returns a :class:`matplotlib.figure.Figure` of the object
interface, in no global registry: change its axes, show it in a notebook, or save it as PNG, SVG
or PDF with its own ``savefig``.

>>> from climate_risk.plot import season_figure                   # doctest: +SKIP
>>> season_figure(result, units="metric").savefig("season.pdf")   # doctest: +SKIP
"""

from __future__ import annotations

from climate_risk.report.compare_figure import compare_figure, years_figure
from climate_risk.report.map_dataset import map_dataset
from climate_risk.report.map_figure import map_figure
from climate_risk.report.past_figure import past_years_figure
from climate_risk.report.plan_figure import plan_figure
from climate_risk.report.season_figure import canopies_figure, season_figure
from climate_risk.report.skill_figure import skill_figure
from climate_risk.report.stack_figure import stack_figure
from climate_risk.report.witness_figure import witness_figure

__all__ = [
    "canopies_figure",
    "compare_figure",
    "map_dataset",
    "map_figure",
    "past_years_figure",
    "plan_figure",
    "season_figure",
    "skill_figure",
    "stack_figure",
    "witness_figure",
    "years_figure",
]
