"""Ranges of motifs' settings that follow from what a setting means; how far the others go is our own choice."""

from __future__ import annotations

import pytest

from carvegen.base.parameters import parameters
from carvegen.motifs import motif, summaries

EVERY = {(name, its.name): its for name in summaries() for its in parameters(motif(name).Settings) if its.bounded}

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
    lengths = [its for (_, name), its in EVERY.items() if name.endswith("_mm") and not name.startswith("view_")]
    assert len(lengths) > 10
    assert [its.name for its in lengths if its.at_least < 0] == []
    assert [its.name for its in EVERY.values() if not its.at_least <= its.default <= its.at_most] == []
