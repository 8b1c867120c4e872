"""Files that appear whole or not at all, one by one or as a set."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path

MAKING, MADE, BEFORE = ".making-", ".made-", ".before-"
"""Folders of a set under way, of one that only has to be moved in, and of what it replaces."""
ABANDONED_S = 3600.0
"""What was begun this long ago is no other process's work under way."""


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


@contextmanager
def as_a_set(folder: Path, family: Collection[str] = ()) -> Iterator[Path]:
    """A place to write files that then land in ``folder`` together: all of them or none.

    Parameters
    ----------
    folder : Path
        Made where it is absent.
    family : collection of str
        Names that belong to the set: one that is not written this time is taken away, so
        that no file of an older run stands beside the new ones.

    Yields
    ------
    Path
        A folder beside the old files. When the block ends without an exception its files are
        moved in; a failure in the midst of that puts the old ones back.

    Raises
    ------
    OSError
        The disk refuses; the files in ``folder`` are as before.

    Notes
    -----
    A process killed while writing leaves the old set. One killed between two of the renames,
    which follow one another without anything written, leaves a folder that `finish` moves in.
    """
    folder.mkdir(parents=True, exist_ok=True)
    finish(folder)
    making = Path(tempfile.mkdtemp(dir=folder, prefix=MAKING))
    try:
        yield making
        gone = [name for name in family if not (making / name).exists()]
        made = making.with_name(MADE + making.name.removeprefix(MAKING))
        making.rename(made)
    except BaseException:
        shutil.rmtree(making, ignore_errors=True)
        raise
    _move_in(made, folder, gone)


def finish(folder: Path) -> None:
    """Complete or clear away what an earlier process was killed over."""
    for made in folder.glob(f"{MADE}*"):
        _move_in(made, folder, ())
    for left in (*folder.glob(f"{MAKING}*"), *folder.glob(f"{BEFORE}*")):
        if is_abandoned(left):
            shutil.rmtree(left, ignore_errors=True)


def is_abandoned(path: Path) -> bool:
    """Whether something was begun so long ago that nobody is still at it."""
    try:
        return time.time() - path.stat().st_mtime >= ABANDONED_S
    except OSError:
        return False


def _move_in(made: Path, folder: Path, gone: Collection[str]) -> None:
    before = made.with_name(BEFORE + made.name.removeprefix(MADE))
    shutil.rmtree(before, ignore_errors=True)
    before.mkdir()
    names = sorted(path.name for path in made.iterdir())
    moved: list[str] = []
    try:
        for name in [n for n in (*names, *gone) if (folder / n).is_file()]:
            _keep(folder / name, before / name)
        for name in gone:
            (folder / name).unlink(missing_ok=True)
        for name in names:
            (made / name).replace(folder / name)
            moved.append(name)
    except BaseException:
        for name in moved:
            (folder / name).unlink(missing_ok=True)
        for path in before.iterdir():
            path.replace(folder / path.name)
        shutil.rmtree(made, ignore_errors=True)
        raise
    finally:
        shutil.rmtree(before, ignore_errors=True)
    made.rmdir()


def _keep(path: Path, copy: Path) -> None:
    """A second name for a file; a copy where the disk knows no second names."""
    try:
        os.link(path, copy)
    except OSError:
        shutil.copy2(path, copy)
