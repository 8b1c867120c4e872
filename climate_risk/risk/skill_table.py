"""What outlooks were worth on the records on which that was measured: ``tables/skill.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from typing import Any

from climate_risk.parameter import FOLDER
from climate_risk.risk.hindsight import Hindcast, LeadSkill, Reliability, Skill


@cache
def measured_skill() -> tuple[Hindcast, ...]:
    """Hindcasts on real records, made by ``tests/outlook_skill.py``."""
    read = tomllib.loads((FOLDER / "skill.toml").read_text(encoding="utf-8"))
    return tuple(_hindcast(table) for table in read["record"])


def _hindcast(table: Mapping[str, Any]) -> Hindcast:
    leads = tuple(
        LeadSkill(**lead | {name: Skill(**lead[name]) for name in ("loss", "dryness_pct")})
        for lead in table["leads"]
    )
    classes = tuple(Reliability(**each) for each in table["reliability"])
    return Hindcast(**dict(table) | {"leads": leads, "reliability": classes})
