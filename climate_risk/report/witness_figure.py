"""The witness piece over the season: its weights, and its moisture before and after them."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from climate_risk.report import theme
from climate_risk.report.column import MONTHS_IN, Panel, compose, month_axis, side_notes
from climate_risk.report.display import day, full_day, listed
from climate_risk.report.over_time import PERCENT
from climate_risk.risk.measured_results import StackMeasured, WitnessTrack
from climate_risk.risk.results import SeasonResult
from climate_risk.units import Scale, Units

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = npt.NDArray[np.float64]

PANEL_IN, GAP_IN = 1.55, 0.1
BEFORE_DASHES = (0, (4, 2))
FEWEST_DAYS = 28
"""Shown, however young the season."""
LONG_MONTHS_D = 190
"""Days of which a phone has room for every month's name only up to here."""


def witness_figure(
    result: SeasonResult,
    stack: int = 0,
    *,
    units: str | None = None,
    narrow: bool = False,
    heading: bool = True,
) -> Figure:
    """Weights of the witness piece as points, and what the simulation says without and with them.

    Parameters
    ----------
    result : SeasonResult
    stack : int
        Place of the stack in ``result.stacks``.
    units : str, optional
        ``us`` or ``metric``, in place of what the yard says.
    narrow : bool
        For a phone, 355 px wide, instead of for a desk or paper.
    heading : bool
        With what is shown on top.

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    ValueError
        No piece of this stack was weighed.
    """
    chosen, show = result.stacks[stack], Units(units or result.units)
    found = chosen.measured
    if found is None or found.track is None:
        raise ValueError(f"no weighings beside {chosen.name}")
    track, mass = found.track, show.mass
    layout = theme.PHONE if narrow else theme.DESK
    stop = chosen.thresholds.moisture_stop_pct
    bad = listed(day(w.day) for w in found.left_out)

    def draw_mass(axes: Axes) -> None:
        _draw_bands(axes, track, track.mass_before_kg, track.mass_after_kg, mass)
        _draw_weighings(axes, found, mass)
        _name_bands(axes, track.mass_before_kg, track.mass_after_kg, mass)

    def draw_moisture(axes: Axes) -> None:
        axes.axhline(stop, color=theme.BLACK, linewidth=1.2, linestyle="--")
        _draw_bands(axes, track, track.moisture_before_pct, track.moisture_after_pct, PERCENT)
        axes.set_ylim(bottom=0.0)
        _name_bands(axes, track.moisture_before_pct, track.moisture_after_pct, PERCENT)

    crossed = f"; cross: not used, {bad}" if bad else ""
    panels = [
        Panel(
            heading=f"Weight of the piece, {mass.unit} (rings: weighed{crossed})",
            height_in=PANEL_IN,
            draw=draw_mass,
            below_in=GAP_IN,
        ),
        Panel(
            heading=f"Its moisture, % of dry wood (no growth below the dashes at {stop:.0f} %)",
            height_in=PANEL_IN,
            draw=draw_moisture,
            below_in=MONTHS_IN,
        ),
    ]
    title = [f"The witness piece beside {chosen.name}", f"to {full_day(result.as_of)}"]
    notes = [
        "Dashed: what size, wood and weather say without your readings. Full line and its band: "
        "with them. Bands: 8 times in 10; lines between: the middle."
    ]
    with theme.styled(layout):
        figure, axes = compose(layout, title if heading else [], panels, notes)
        _share_time(axes, track, layout)
    return figure


def _draw_bands(
    axes: Axes, track: WitnessTrack, before: FloatArray, after: FloatArray, scale: Scale
) -> None:
    """Dashed edges and middle without the readings; a full band and line with them."""
    first = track.first.toordinal()
    days = np.arange(first, first + before.shape[1], dtype=np.float64)
    usual, learned = scale.of(before), scale.of(after)
    axes.fill_between(days, usual[0], usual[2], color=theme.PALE, linewidth=0)
    for edge, width in zip(usual, (0.8, 1.3, 0.8), strict=True):
        axes.plot(days, edge, color=theme.GREY, linewidth=width, linestyle=BEFORE_DASHES)
    axes.fill_between(
        days, learned[0], learned[2], color=theme.MOISTURE, alpha=2 * theme.BAND_OPACITY,
        linewidth=0,
    )  # fmt: skip
    axes.plot(days, learned[1], color=theme.MOISTURE, linewidth=1.8)
    axes.margins(y=0.08)


def _name_bands(axes: Axes, before: FloatArray, after: FloatArray, scale: Scale) -> None:
    ends = (float(scale.of(middle[1, -1])) for middle in (before, after))
    names = ("without\nreadings", "with your\nreadings")
    side_notes(axes, list(zip(ends, names, strict=True)), PANEL_IN)


def _draw_weighings(axes: Axes, found: StackMeasured, scale: Scale) -> None:
    for is_used, marker in ((True, "o"), (False, "x")):
        shown = [w for w in found.weighings if (w.left_out is None) == is_used]
        axes.plot(
            [w.day.toordinal() for w in shown],
            scale.of(np.array([w.mass_kg for w in shown])),
            marker,
            color=theme.BLACK if is_used else theme.VERMILION,
            markerfacecolor=theme.WHITE,
            markersize=5.0 if is_used else 8.0,
            markeredgewidth=1.3 if is_used else 2.4,
        )


def _share_time(axes: list[Axes], track: WitnessTrack, layout: theme.Layout) -> None:
    """Days since the piece was cut, one axis for both."""
    count = max(track.mass_after_kg.shape[1], FEWEST_DAYS)
    every = 2 if layout.narrow and count > LONG_MONTHS_D else 1
    for place, one in enumerate(axes):
        last = track.first + timedelta(days=count)
        month_axis(one, track.first, last, every=every, labelled=place == len(axes) - 1)
