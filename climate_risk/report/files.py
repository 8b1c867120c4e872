"""Write results so that each file appears whole or not at all, and the same run twice is equal."""

from __future__ import annotations

import gc
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from climate_risk import whole_file
from climate_risk.errors import RunError
from climate_risk.report.inline_svg import saved

if TYPE_CHECKING:
    from matplotlib.figure import Figure

NEW_OBJECTS = 200_000
"""Between two searches for dead objects; those of a dozen charts, under 50 MB."""


def write_whole(path: Path, content: bytes | str) -> Path:
    """Write text or bytes into a folder that is made where it is absent.

    Raises
    ------
    RunError
        When the folder cannot be made or the file cannot be written.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        whole_file.write_whole(path, data)
    except OSError as error:
        in_set = path.parent.name.startswith(whole_file.MAKING)
        raise _refused(path.parent.with_name(path.name) if in_set else path, error) from error
    return path


def _refused(path: Path, error: OSError) -> RunError:
    return RunError(
        f"{path}: cannot be written ({error.strerror}); choose another folder with --out"
    )


@contextmanager
def as_a_set(out_dir: Path, family: Collection[str]) -> Iterator[Path]:
    """A folder to write results into that then land in ``out_dir`` together.

    Parameters
    ----------
    out_dir : Path
        Made where it is absent.
    family : collection of str
        Every name such a run can write; see :func:`climate_risk.whole_file.as_a_set`.

    Raises
    ------
    RunError
        When the disk refuses; what stood in ``out_dir`` is as before.
    """
    try:
        with whole_file.as_a_set(out_dir, family) as folder:
            yield folder
    except OSError as error:
        raise _refused(out_dir, error) from error


def refuse_folders(out_dir: Path, stems: Sequence[str]) -> None:
    """Refuse, before any file is written, a folder that stands where a result would.

    Raises
    ------
    RunError
        Naming the first of them.
    """
    for path in sorted(out_dir.glob("*.*")):
        if path.stem in stems and path.is_dir():
            raise RunError(f"{path}: is a folder; move it or choose another place with --out")


@contextmanager
def seldom_collected() -> Iterator[None]:
    """Let Python look for cycles of dead objects seldom: charts make so many objects that the
    search, hundreds of times, takes a fifth of the time of drawing."""
    before = gc.get_threshold()
    gc.set_threshold(NEW_OBJECTS, *before[1:])
    try:
        yield
    finally:
        gc.set_threshold(*before)


def write_figure(figure: Figure, out_dir: Path, stem: str) -> list[Path]:
    """Write ``stem.png`` and ``stem.svg``."""
    return [
        write_whole(out_dir / f"{stem}.{kind}", saved(figure, kind)) for kind in ("png", "svg")
    ]
