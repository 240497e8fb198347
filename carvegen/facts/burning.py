"""A beam's pace and passes by depth and material: for estimates, and for what to try first; never a setting."""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING

from carvegen.facts.profile_reader import read_toml
from carvegen.facts.profiles import shipped

if TYPE_CHECKING:
    from collections.abc import Mapping

    from carvegen.facts.profiles import Machine

__all__ = ["ease", "eases", "passes", "through_mm_s"]


def through_mm_s(material: str, machine: Machine, thickness_mm: float) -> float:
    """The pace of a cut through this thickness: slower as it is thicker, and as the material is denser.

    ``v = v0 e d0 / d``, as the energy for each mm³ stays the same; v0 and d0 by the machine's profile, the ease e
    by the material; never faster than the machine travels.
    """
    usual = machine.work_mm_s or 1.0
    if machine.work_depth_mm is None:
        return usual
    return min(usual * ease(material) * machine.work_depth_mm / thickness_mm, machine.travel_mm_s or math.inf)


def passes(material: str, machine: Machine, depth_mm: float) -> int:
    """In how many passes an area is lowered by this depth."""
    if machine.lower_pass_mm is None:
        return 1
    return max(1, math.ceil(depth_mm / (machine.lower_pass_mm * ease(material)) - 1e-9))


def ease(material: str) -> float:
    """How readily a beam takes the material away, beside softwood; of an unknown one the lowest of all."""
    known = eases()
    return known.get(material, min(known.values()))


@cache
def eases() -> Mapping[str, float]:
    """The table, by the material's key."""
    table = read_toml(shipped() / "laser-paces.toml")
    rows = [row for row in table.values() if isinstance(row, dict)]
    return {key: float(row["ease"]) for row in rows for key in row["materials"]}
