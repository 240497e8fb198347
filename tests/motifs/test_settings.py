"""What may be asked of each motif, what it usually does, and what its presets are about."""

from __future__ import annotations

import math

import pytest

from carvegen.base.parameters import parameters
from carvegen.motifs import motif

#: Each number that may be set: what is usual, the least and the most.
RANGES = {
    "frost": {
        "reach_mm": (80, 1, 500), "feather_mm": (26, 1, 500), "variety": (0.7, 0, 1), "density": (0.55, 0, 1),
        "gaps": (0.15, 0, 0.95), "front_mm": (45, 2, 500), "branching": (0.9, 0, 1), "breadth": (0.45, 0, 1),
        "plumes": (0.35, 0, 1), "curve": (0.5, 0, 1), "splay": (0.4, 0, 1), "stem_mm": (1.8, 0.05, 20),
        "rime": (0.35, 0, 1), "needle_mm": (3.5, 0.2, 50), "stars": (0, 0, 1),
    },
    "grain": {
        "ring_mm": (2.6, 0.3, 40), "late_wood": (0.34, 0, 0.8), "widest_mm": (1.6, 0.05, 20), "plane_deg": (8, 0, 90),
        "pith_mm": (16, 1, 1000), "arch_mm": (17, 1, 2000), "waviness": (0.45, 0, 1), "faded": (0.3, 0, 0.95),
        "hair_lines": (0.6, 0, 1), "knots": (1.2, 0, 20), "knot_mm": (9, 0.5, 200), "dead_knots": (0.35, 0, 1),
        "rays": (0, 0, 1), "pores": (0.15, 0, 1), "end_checks": (0.1, 0, 1), "direction_deg": (0, -180, 180),
    },
    "snowfall": {
        "snow": (0.08, 0, 0.6), "smallest_mm": (0.7, 0.05, 50), "largest_mm": (7, 0.05, 100), "deep": (0.7, 0, 1),
        "far": (0.3, 0, 1), "middle": (0.32, 0, 1), "near": (0.38, 0, 1), "snow_far": (0, 0, 0.6),
        "snow_middle": (0, 0, 0.6), "snow_near": (0, 0, 0.6), "gathered": (0.6, 0, 1), "flurry_mm": (0, 0, 500),
        "wind": (0.15, 0, 1), "wind_towards_deg": (-70, -180, 180), "round": (0.6, 0, 1), "torn": (0.18, 0, 1),
        "hidden": (0.8, 0, 1), "level": (0, 0, 1000), "view_x_mm": (0, -100000, 100000),
        "view_y_mm": (0, -100000, 100000),
    },
    "snowload": {
        "fallen_mm": (3.5, 0.2, 60), "sticky": (0.45, 0, 1), "bridging_mm": (1.2, 0, 30), "patchy": (0.25, 0, 1),
        "lumpy": (0.5, 0, 1), "wind": (0, 0, 1), "wind_towards_deg": (-30, -180, 180), "reaching_down": (0.4, 0, 1),
        "fields": (0.5, 0, 1), "boughs": (0.8, 0, 1), "bark": (0.5, 0, 1), "twigs": (0.75, 0, 1),
        "detail_mm": (0.7, 0, 20), "detail_kept": (0.6, 0, 1),
    },
}  # fmt: skip

#: How a preset differs from the rest, by about as much.
ABOUT = {
    ("frost", "needles"): {
        "feather_mm": 22, "branching": 0.3, "breadth": 0.6, "plumes": 0.6, "curve": 0.06, "splay": 0.9,
        "density": 0.8, "stem_mm": 1.5, "gaps": 0.05,
    },
    ("frost", "rime"): {
        "reach_mm": 26, "feather_mm": 10, "branching": 0.85, "breadth": 0.6, "density": 0.75, "gaps": 0, "splay": 0.7,
        "curve": 0.4, "stem_mm": 1.2, "rime": 0.7, "needle_mm": 4.5,
    },
    ("frost", "pane"): {
        "reach_mm": 120, "feather_mm": 42, "variety": 0.75, "gaps": 0, "plumes": 0.8, "curve": 0.7, "density": 0.6,
        "stem_mm": 2.6, "stars": 0.35, "front_mm": 80,
    },
    ("grain", "quarter-sawn"): {
        "plane_deg": 86, "pith_mm": 120, "arch_mm": 200, "ring_mm": 2.3, "waviness": 0.4, "knots": 0, "rays": 0.4,
        "hair_lines": 0.35, "faded": 0.4,
    },
    ("grain", "rift"): {
        "plane_deg": 48, "pith_mm": 70, "arch_mm": 60, "ring_mm": 2, "waviness": 0.5, "knots": 0.3, "pores": 0.4,
    },
    ("grain", "knotty"): {
        "knots": 4.5, "knot_mm": 10, "waviness": 0.55, "pith_mm": 22, "arch_mm": 24, "plane_deg": 15,
    },
    ("grain", "weathered"): {
        "late_wood": 0.55, "widest_mm": 2.2, "faded": 0.45, "waviness": 0.6, "end_checks": 0.8, "pores": 0.4,
        "knots": 1.2, "dead_knots": 0.8, "ring_mm": 3,
    },
    ("snowfall", "steady"): {
        "gathered": 0.38, "deep": 0.75, "wind": 0.05, "snow": 0.08, "largest_mm": 6,
    },
    ("snowfall", "heavy"): {
        "snow": 0.3, "smallest_mm": 0.8, "gathered": 0.33, "middle": 0.4, "near": 0.3, "torn": 0.12,
    },
    ("snowfall", "sparse"): {
        "snow": 0.025, "torn": 0.26, "largest_mm": 6, "gathered": 0.6, "far": 0.45, "middle": 0.35, "near": 0.2,
    },
    ("snowfall", "squall"): {
        "snow": 0.07, "wind": 0.85, "wind_towards_deg": -25, "gathered": 0.6, "largest_mm": 5.5,
    },
    ("snowload", "dusting"): {
        "fallen_mm": 1.5, "patchy": 0.3, "bridging_mm": 0.5, "bark": 0.7, "fields": 0.3, "twigs": 0.5,
        "detail_kept": 0.9,
    },
    ("snowload", "deep"): {
        "fallen_mm": 7, "patchy": 0.05, "bridging_mm": 1.8, "sticky": 0.5, "bark": 0.4, "twigs": 0.95,
        "detail_kept": 0.3,
    },
    ("snowload", "windblown"): {
        "fallen_mm": 3.6, "wind": 0.9, "wind_towards_deg": -20, "patchy": 0.15, "sticky": 0.3, "lumpy": 0.3,
        "bark": 0.6, "twigs": 0.5,
    },
    ("snowload", "wet"): {
        "fallen_mm": 4.6, "sticky": 0.9, "bridging_mm": 1.8, "patchy": 0.2, "lumpy": 0.8, "bark": 0.4, "twigs": 0.95,
    },
}  # fmt: skip


@pytest.mark.parametrize("name", RANGES)
def test_what_may_be_asked_and_what_is_usual(name: str) -> None:
    numbers = {each.name: each for each in parameters(motif(name).Settings) if each.name in RANGES[name]}
    for key, (usual, least, most) in RANGES[name].items():
        each = numbers[key]
        assert each.default == pytest.approx(usual, rel=0.3), key  # a matter of taste, but no other thing
        assert each.allows(float(least)), key
        assert each.allows(float(most)), key
        assert not each.allows(math.nextafter(least, -math.inf)), key
        assert not each.allows(math.nextafter(most, math.inf)), key


@pytest.mark.parametrize(("name", "preset"), ABOUT)
def test_a_preset_is_about_what_it_says(name: str, preset: str) -> None:
    named = motif(name).PRESETS[preset]
    motif(name).Settings(**named)
    assert named == pytest.approx(ABOUT[name, preset], rel=0.3)
