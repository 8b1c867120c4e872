"""Write results so that each file appears whole or not at all, and the same run twice is equal."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from climate_risk.errors import RunError
from climate_risk.report.raster import png_bytes
from climate_risk.report.sheet import Sheet
from climate_risk.report.svg import svg_text


def write_whole(path: Path, content: bytes | str) -> Path:
    """Write through a temporary file beside ``path`` and rename.

    Raises
    ------
    RunError
        When the folder cannot be made or the file cannot be written.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    except OSError as error:
        raise RunError(_cannot_write(path, error)) from error
    scratch = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        scratch.chmod(0o644)
        scratch.replace(path)
    except BaseException as error:  # an interrupt too leaves nothing half-written
        scratch.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise RunError(_cannot_write(path, error)) from error
        raise
    return path


def _cannot_write(path: Path, error: OSError) -> str:
    return f"{path}: cannot be written ({error.strerror}); choose another folder with --out"


def write_sheet(sheet: Sheet, out_dir: Path, stem: str) -> list[Path]:
    """Write ``stem.png`` and ``stem.svg``."""
    return [
        write_whole(out_dir / f"{stem}.png", png_bytes(sheet)),
        write_whole(out_dir / f"{stem}.svg", svg_text(sheet)),
    ]
