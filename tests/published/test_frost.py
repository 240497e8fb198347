"""Frost beside what is known of ice: sixty degrees, parallel side-branches (source: libbrecht-2005)."""

from __future__ import annotations

import numpy as np

from carvegen.motifs.frost.branching import OFF_LATTICE
from carvegen.motifs.frost.crystals import Thicket
from tests.crystals import points_of, thicket


def fork_angles(grown: Thicket) -> np.ndarray:
    """Between each branch's first steps and its mother's steps at the fork, degrees, from the drawn points only."""
    arms, result = grown.arms, []
    for k in np.flatnonzero((arms.parent >= 0) & (arms.length > 8 * grown.habit.step)):
        child, mother = points_of(grown, k), points_of(grown, arms.parent[k])
        start = np.argmin(np.hypot(*(mother - child[0]).T))
        if start < len(mother) - 3:
            along, off = mother[start + 3] - mother[start], child[3] - child[0]
            cos = along @ off / np.hypot(*along) / np.hypot(*off)
            result.append(np.degrees(np.arccos(np.clip(cos, -1, 1))))
    return np.array(result)


def test_branches_stand_at_sixty_degrees() -> None:
    # Ice is six-fold: branches at multiples of 60 degrees (source: libbrecht-2005).
    straight, bent = fork_angles(thicket(curve=0.0)), fork_angles(thicket(curve=0.5))
    assert len(straight) > 200
    assert np.abs(straight - 60).max() <= np.degrees(OFF_LATTICE) + 0.6  # the grid of 1 µm turns a step by 0.3 degrees
    assert abs(straight.mean() - 60) < 0.5
    assert abs(bent.mean() - 60) < 1.5
    assert np.abs(bent - 60).max() < 12  # over the three steps the lattice has bent on


def test_side_branches_of_one_side_are_parallel() -> None:
    # "side-branches parallel to neighbouring arms": crystal symmetry, as above.
    grown = thicket(curve=0.0)
    arms = grown.arms
    pairs = 0
    for mother in range(len(arms)):
        for side in (-1, 1):
            of = np.flatnonzero((arms.parent == mother) & (arms.side == side) & (arms.length > 2))
            branches = [points_of(grown, k) for k in of]
            angles = np.array([np.arctan2(*(xy[-1] - xy[0])[::-1]) for xy in branches])
            spread = np.degrees(np.abs(np.angle(np.exp(1j * (angles[1:] - angles[:-1])))))
            assert (spread <= 2 * np.degrees(OFF_LATTICE) + 0.2).all()
            pairs += len(spread)
    assert pairs > 100
