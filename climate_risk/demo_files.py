"""Where the invented farm of `climate-risk demo` lies on disk."""

from __future__ import annotations

from pathlib import Path

from climate_risk.errors import RunError


def demo_folder() -> Path:
    """Folder that holds the invented farm's `yard.toml` and `weather.csv`.

    An installed package carries it inside, as `climate_risk.sample_data`; a source checkout, also
    one installed in editable mode, has it beside the package.

    Raises
    ------
    RunError
        Neither place has it: the installation is broken.
    """
    package = Path(__file__).parent
    for folder in (package / "sample_data", package.parent / "sample_data"):
        if (folder / "yard.toml").is_file():
            return folder
    raise RunError(f"the sample farm is missing from {package}: install the package again")
