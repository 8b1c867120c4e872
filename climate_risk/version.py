"""The version of the program that made a result."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version


def program_version() -> str:
    """Installed version; ``source`` when run from a checkout that is not installed."""
    try:
        return version("climate-risk")
    except PackageNotFoundError:
        return "source"
