"""What holds for every test."""

from __future__ import annotations

import pytest


@pytest.fixture(scope="session", autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory) -> None:
    """No test reads or writes the cache of whoever runs it."""
    patch = pytest.MonkeyPatch()
    patch.setenv("CLIMATE_RISK_CACHE", str(tmp_path_factory.mktemp("cache")))
