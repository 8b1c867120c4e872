"""The libraries that only a region needs, and what to say where they are not there."""

from __future__ import annotations

from importlib.util import find_spec

from climate_risk.errors import RunError

LIBRARIES = ("xarray", "dask", "distributed", "zarr", "h5netcdf", "cf_xarray", "cftime", "pint")


def require_libraries() -> None:
    """Refuse, before anything is read, to go on without them.

    Raises
    ------
    RunError
        Naming those that are missing, and what installs them.
    """
    missing = [name for name in LIBRARIES if find_spec(name) is None]
    if missing:
        raise RunError(
            f"a region needs {', '.join(missing)}, which a plain installation leaves out; install "
            'with: pip install "climate-risk[region]"'
        )
