"""What is done of a region, on disk: one zarr array whose chunks are the blocks.

A chunk appears whole or not at all, so that a finished block is one that is there: a run that was
killed goes on with the others.  The folder's name is a digest of everything the numbers follow
from; another yard, grid or version of the program starts anew.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from climate_risk.errors import RunError

FloatArray = npt.NDArray[np.float64]

FOLDER = ".map-"
"""Hidden beside the results, and gone when they are written."""
BLOCK = (2, 4)
"""Rows and columns of a block: minutes of work, and little to lose (our own choice)."""


class Store:
    """Numbers of cells, block by block."""

    def __init__(self, folder: Path, key: str, shape: tuple[int, int], numbers: int) -> None:
        import zarr

        self.path = folder / f"{FOLDER}{key[:24]}"
        self.shape = shape
        self._array: Any = None
        try:
            self._array = zarr.open_array(
                store=str(self.path),
                mode="a",
                shape=(*shape, numbers),
                chunks=(*BLOCK, numbers),
                dtype="float64",
                fill_value=np.nan,
            )
        except OSError as error:
            raise RunError(
                f"{self.path}: cannot be written ({error.strerror or error}); choose another "
                "folder with --out"
            ) from error

    def blocks(self) -> Iterator[tuple[slice, slice]]:
        """Rows and columns of every block."""
        for row in range(0, self.shape[0], BLOCK[0]):
            for column in range(0, self.shape[1], BLOCK[1]):
                yield (
                    slice(row, min(row + BLOCK[0], self.shape[0])),
                    slice(column, min(column + BLOCK[1], self.shape[1])),
                )

    def is_done(self, rows: slice, columns: slice) -> bool:
        """Whether an earlier run finished the block: each of its cells has a state."""
        return not bool(np.isnan(self._array[rows, columns, 0]).any())

    def put(self, rows: slice, columns: slice, numbers: FloatArray) -> None:
        """Keep a finished block."""
        self._array[rows, columns] = numbers

    def read(self) -> FloatArray:
        """(rows, columns, numbers) of everything."""
        return np.asarray(self._array[:])


def key_of(*parts: object) -> str:
    """Digest of everything that numbers follow from."""
    return hashlib.sha256(repr(parts).encode()).hexdigest()


@cache
def source_of_the_package() -> str:
    """Digest of the program's own source and tables."""
    folder = Path(__file__).parents[1]
    files = sorted(p for kind in ("*.py", "*.toml") for p in folder.rglob(kind))
    return hashlib.sha256(b"\0".join(path.read_bytes() for path in files)).hexdigest()
