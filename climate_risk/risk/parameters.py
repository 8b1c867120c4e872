"""Every number of the tables that runs took, with its range and source."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields

from climate_risk.engine.stack import Scheme, StackModel
from climate_risk.parameter import Parameter, Row, sources
from climate_risk.risk.results import ParameterUsed, SourceUsed

NEEDS = {"bag": "bag", "cloth": "shade cloth"}
"""Group of parameters that only a stack with such a cover takes."""


def parameters_used(kind: StackModel, schemes: Iterable[Scheme]) -> tuple[ParameterUsed, ...]:
    """Each number once, in the order in which the schemes first took it."""
    taken = (used for scheme in schemes for used in _of(kind, scheme))
    found = {(used.group, used.row, used.name): used for used in taken}
    return tuple(found.values())


def sources_used(parameters: Iterable[ParameterUsed]) -> tuple[SourceUsed, ...]:
    """The sources that the parameters name, by citation."""
    keys = {parameter.source for parameter in parameters}
    cited = sorted(((key, sources()[key]) for key in keys), key=lambda pair: pair[1].citation)
    return tuple(SourceUsed(key=key, citation=s.citation, read=s.read) for key, s in cited)


def _of(kind: StackModel, scheme: Scheme) -> Iterator[ParameterUsed]:
    rows = kind.parameter_set(scheme)
    drawn = rows.unknowns()
    covers = {cover.kind for cover in scheme.covers}
    for group in (field.name for field in fields(rows)):
        if group in NEEDS and NEEDS[group] not in covers:
            continue
        row: Row = getattr(rows, group)
        for name, parameter in _parameters(row, rows.wood.name):
            is_drawn = f"{group}.{name.partition('.')[0]}" in drawn
            yield parameter_used(group, row, name, parameter, is_drawn)


def parameter_used(
    group: str, row: Row, name: str, parameter: Parameter, drawn: bool
) -> ParameterUsed:
    """One number of a table's row, told in full."""
    return ParameterUsed(
        group=group,
        row=row.name,
        name=name,
        value=parameter.value,
        low=parameter.low,
        high=parameter.high,
        unit=parameter.unit,
        source=parameter.source,
        grade=parameter.confidence,
        drawn=drawn,
    )


def _parameters(row: Row, wood: str) -> Iterator[tuple[str, Parameter]]:
    """Name and value of each number of a row; of those by wood, this wood's."""
    for field in fields(row):
        value = getattr(row, field.name)
        if isinstance(value, Mapping):
            yield f"{field.name}.{wood}", value[wood]
        elif isinstance(value, Parameter):
            yield field.name, value
