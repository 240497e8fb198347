"""The numbers that motifs may be set to: their defaults and the ends of their ranges, stated anew; our own choice."""

from __future__ import annotations

import pytest

from carvegen.base.parameters import parameters
from carvegen.motifs import motif

#: Default, least, most.
RANGES = {
    "frost": """
        reach_mm 80 1 500 | feather_mm 26 1 500 | variety 0.7 0 1 | density 0.55 0 1 | gaps 0.15 0 0.95
        front_mm 45 2 500 | branching 0.9 0 1 | breadth 0.45 0 1 | plumes 0.35 0 1 | curve 0.5 0 1 | splay 0.4 0 1
        stem_mm 1.8 0.05 20 | rime 0.35 0 1 | needle_mm 3.5 0.2 50 | stars 0 0 1
    """,
    "grain": """
        ring_mm 2.6 0.3 40 | late_wood 0.34 0 0.8 | widest_mm 1.6 0.05 20 | plane_deg 8 0 90 | pith_mm 16 1 1000
        arch_mm 17 1 2000 | waviness 0.45 0 1 | faded 0.3 0 0.95 | hair_lines 0.6 0 1 | knots 1.2 0 20
        knot_mm 9 0.5 200 | dead_knots 0.35 0 1 | rays 0 0 1 | pores 0.15 0 1 | end_checks 0.1 0 1
        direction_deg 0 -180 180
    """,
    "snowfall": """
        snow 0.08 0 0.6 | smallest_mm 0.7 0.05 50 | largest_mm 7 0.05 100 | deep 0.7 0 1 | far 0.3 0 1
        middle 0.32 0 1 | near 0.38 0 1 | gathered 0.6 0 1 | flurry_mm 0 0 500 | wind 0.15 0 1
        wind_towards_deg -70 -180 180 | round 0.6 0 1 | torn 0.1 0 1 | hidden 0.8 0 1
    """,
    "snowload": """
        fallen_mm 3.5 0.2 60 | sticky 0.45 0 1 | bridging_mm 1.2 0 30 | patchy 0.25 0 1 | lumpy 0.5 0 1 | wind 0 0 1
        wind_towards_deg -30 -180 180 | reaching_down 0.4 0 1 | fields 0.5 0 1 | boughs 0.8 0 1 | bark 0.5 0 1
        detail_mm 0.7 0 20 | detail_kept 0.6 0 1
    """,
}


@pytest.mark.parametrize("name", RANGES)
def test_settings_have_the_defaults_and_the_ranges_that_are_meant(name: str) -> None:
    meant = {}
    for entry in RANGES[name].replace("\n", "|").split("|"):
        if entry.strip():
            setting, *numbers = entry.split()
            meant[setting] = tuple(map(float, numbers))
    stated = {its.name: (its.default, its.at_least, its.at_most) for its in parameters(motif(name).Settings)}
    assert {setting: stated[setting] for setting in meant} == meant
