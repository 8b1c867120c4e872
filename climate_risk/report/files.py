"""Write results so that each file appears whole or not at all, and the same run twice is equal."""

from __future__ import annotations

import io
import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from climate_risk.errors import RunError
from climate_risk.report import theme

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PNG_DPI = 150


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
    except OSError as error:
        scratch.unlink(missing_ok=True)
        raise RunError(_cannot_write(path, error)) from error
    return path


def _cannot_write(path: Path, error: OSError) -> str:
    return f"{path}: cannot be written ({error.strerror}); choose another folder with --out"


def svg_text(figure: Figure) -> str:
    """The figure as SVG, with no date and with fixed identifiers."""
    buffer = io.BytesIO()
    with theme.style():
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    return buffer.getvalue().decode("utf-8")


def png_bytes(figure: Figure) -> bytes:
    """The figure as PNG, with no date and no software name."""
    buffer = io.BytesIO()
    with theme.style():
        figure.savefig(buffer, format="png", dpi=PNG_DPI, metadata={"Software": None})
    return buffer.getvalue()


def save_figure(figure: Figure, out_dir: Path, stem: str) -> list[Path]:
    """Write ``stem.png`` and ``stem.svg``."""
    return [
        write_whole(out_dir / f"{stem}.png", png_bytes(figure)),
        write_whole(out_dir / f"{stem}.svg", svg_text(figure)),
    ]
