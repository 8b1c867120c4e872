"""Write results so that each file appears whole or not at all, and the same run twice is equal."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from climate_risk import whole_file
from climate_risk.errors import RunError
from climate_risk.report.inline_svg import saved

if TYPE_CHECKING:
    from matplotlib.figure import Figure


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
        raise RunError(
            f"{path}: cannot be written ({error.strerror}); choose another folder with --out"
        ) from error
    return path


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


def write_figure(figure: Figure, out_dir: Path, stem: str) -> list[Path]:
    """Write ``stem.png`` and ``stem.svg``."""
    return [
        write_whole(out_dir / f"{stem}.{kind}", saved(figure, kind)) for kind in ("png", "svg")
    ]
