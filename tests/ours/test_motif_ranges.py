"""Ranges of motifs' settings that follow from what a setting means; how far the others go is our own choice."""

from __future__ import annotations

import pytest

from carvegen.base.parameters import parameters
from carvegen.motifs import motif, summaries

EVERY = {
    (name, parameter.name): parameter
    for name in summaries()
    for parameter in parameters(motif(name).Settings)
    if parameter.bounded
}

#: Shares of so many flakes, knots, places or stretches: none of them to all of them.
NONE_TO_ALL = [
    ("frost", "rime"), ("grain", "dead_knots"), ("snowfall", "round"), ("snowfall", "torn"), ("snowfall", "hidden"),
    ("snowload", "patchy"), ("snowload", "detail_kept"),
]  # fmt: skip
#: Of the edge that is left clear, of a ring that is dark, of grain that is left uncut, of the face that turns white:
#: with all of it nothing would be left to cut, or to print.
NEVER_ALL = [("frost", "gaps"), ("grain", "late_wood"), ("grain", "faded"), ("snowfall", "snow")]
DIRECTIONS = [("grain", "direction_deg"), ("snowfall", "wind_towards_deg"), ("snowload", "wind_towards_deg")]


def ends(setting: tuple[str, str]) -> tuple[float, float]:
    return EVERY[setting].at_least, EVERY[setting].at_most


@pytest.mark.parametrize("setting", NONE_TO_ALL, ids="-".join)
def test_a_share_of_many_goes_from_none_to_all(setting) -> None:
    assert ends(setting) == (0, 1)


@pytest.mark.parametrize("setting", NEVER_ALL, ids="-".join)
def test_a_share_of_which_all_would_leave_nothing_ends_before(setting) -> None:
    least, most = ends(setting)
    assert 0 <= least < most < 1


@pytest.mark.parametrize("setting", DIRECTIONS, ids="-".join)
def test_a_direction_may_be_any(setting) -> None:
    """A whole turn, to either side of right."""
    assert ends(setting) == (-180, 180)


def test_a_board_is_sawn_between_flat_and_quarter() -> None:
    """The rings' angle to the face: 0 is flat-sawn, a right angle quarter-sawn (common practice, no source)."""
    assert ends(("grain", "plane_deg")) == (0, 90)


def test_no_length_is_negative_and_every_default_may_be_typed() -> None:
    lengths = [each for (_, name), each in EVERY.items() if name.endswith("_mm") and not name.startswith("view_")]
    assert len(lengths) > 10
    assert [length.name for length in lengths if length.at_least < 0] == []
    assert [value.name for value in EVERY.values() if not value.at_least <= value.default <= value.at_most] == []


#: Stated anew, so that a slip is noticed: the least, what is taken where nothing is asked, the most; our own choice.
#: A share that goes from 0 to 1 stands with its default alone.
STATED: dict[str, dict[str, object]] = {
    "frost": {
        "reach_mm": (1, 80, 500), "feather_mm": (1, 26, 500), "front_mm": (2, 45, 500), "stem_mm": (0.05, 1.8, 20),
        "needle_mm": (0.2, 3.5, 50), "gaps": (0, 0.15, 0.95), "variety": 0.7, "density": 0.55, "branching": 0.9,
        "breadth": 0.45, "plumes": 0.35, "curve": 0.5, "splay": 0.4, "rime": 0.35, "stars": 0,
    },
    "grain": {
        "ring_mm": (0.3, 2.6, 40), "late_wood": (0, 0.34, 0.8), "widest_mm": (0.05, 1.6, 20), "plane_deg": (0, 8, 90),
        "pith_mm": (1, 16, 1000), "arch_mm": (1, 17, 2000), "faded": (0, 0.3, 0.95), "knots": (0, 1.2, 20),
        "knot_mm": (0.5, 9, 200), "direction_deg": (-180, 0, 180), "waviness": 0.45, "hair_lines": 0.6,
        "dead_knots": 0.35, "rays": 0, "pores": 0.15, "end_checks": 0.1,
    },
    "snowfall": {
        "snow": (0, 0.08, 0.6), "snow_far": (0, 0, 0.6), "snow_middle": (0, 0, 0.6), "snow_near": (0, 0, 0.6),
        "smallest_mm": (0.05, 0.7, 50), "largest_mm": (0.05, 7, 100), "flurry_mm": (0, 0, 500), "level": (0, 0, 1000),
        "wind_towards_deg": (-180, -70, 180), "view_x_mm": (-1e5, 0, 1e5), "view_y_mm": (-1e5, 0, 1e5), "deep": 0.7,
        "far": 0.3, "middle": 0.32, "near": 0.38, "gathered": 0.6, "wind": 0.15, "round": 0.6, "torn": 0.18,
        "hidden": 0.8,
    },
}  # fmt: skip


@pytest.mark.parametrize("name", STATED)
def test_settings_are_those_that_were_chosen(name) -> None:
    stated = {key: each if isinstance(each, tuple) else (0, each, 1) for key, each in STATED[name].items()}
    assert {
        key: (one.at_least, one.default, one.at_most) for (motif_name, key), one in EVERY.items() if motif_name == name
    } == stated
