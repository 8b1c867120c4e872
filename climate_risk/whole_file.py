"""Files that appear whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def write_whole(path: Path, data: bytes) -> None:
    """Write through a temporary file beside ``path`` and rename.

    Parameters
    ----------
    path : Path
        In a folder that is there; a file of this name is replaced.
    data : bytes

    Raises
    ------
    OSError
        The disk refuses; what stood at ``path`` is untouched and nothing is left beside it.
    """
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    scratch = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        scratch.chmod(0o644)
        scratch.replace(path)
    except BaseException:  # an interrupt too leaves nothing half-written
        scratch.unlink(missing_ok=True)
        raise
