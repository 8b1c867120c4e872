"""Which numbers of the tables are drawn, and where a kernel finds them.

A field of a table's row that is declared ``Drawn`` is all there is to write: from it follow
its place in the list of draws and its row in the parameter array of the kernels that read its
table.  Value, range, unit and source stand in the TOML row.
"""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Mapping
from dataclasses import fields
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from climate_risk.parameter import Row

FloatArray = npt.NDArray[np.float64]


def drawn_fields(table: type[Row]) -> tuple[str, ...]:
    """Names of a table's drawn fields, in the order of their declaration."""
    return tuple(f.name for f in fields(table) if f.type == "Drawn")


class Schema:
    """Rows of one kernel's parameter array: the drawn fields of some tables, then what follows.

    Parameters
    ----------
    tables : mapping of str to type of Row
        By the name under which a case's parameter set holds the row, such as ``wood``.
    derived : tuple of str
        Rows that are worked out of drawn values: other units, two layers in series.
    """

    def __init__(self, tables: Mapping[str, type[Row]], derived: tuple[str, ...]) -> None:
        self.drawn = {
            f"{group}_{name}": f"{group}.{name}"
            for group, table in tables.items()
            for name in drawn_fields(table)
        }
        """Name of a row -> name of its unknown."""
        self.derived = derived

    @cached_property
    def index(self) -> Any:
        """Row numbers by name, a named tuple of integers: constants to the compiler."""
        names = (*self.drawn, *self.derived)
        return namedtuple("index", names)(*range(len(names)))

    def fill(self, values: Mapping[str, FloatArray], **derived: FloatArray) -> FloatArray:
        """(rows, cases) parameter array from drawn values by unknown and the derived rows."""
        rows = {name: values[unknown] for name, unknown in self.drawn.items()}
        return np.stack([rows[n] if n in rows else derived[n] for n in self.index._fields])
