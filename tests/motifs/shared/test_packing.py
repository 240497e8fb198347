"""Packing keeps the gap, whatever is offered."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from carvegen.motifs.shared.packing import Discs, packed

NONE = Discs(np.empty((0, 2)), np.empty(0), np.empty(0, dtype=np.int64))


def some(seed: int, count: int, *, families: int, side: float = 20.0) -> Discs:
    rng = np.random.default_rng(seed)
    family = rng.integers(-1, families, count)
    return Discs(rng.uniform(0, side, (count, 2)), rng.lognormal(-0.5, 1, count), family)


def overlaps(discs: Discs, gap: float) -> list[tuple[int, int]]:
    """Pairs of strangers that end nearer than the gap: one pair after another."""
    found = []
    for i in range(len(discs)):
        for j in range(i):
            kin = discs.family[i] == discs.family[j] >= 0
            apart = float(np.hypot(*(discs.xy[i] - discs.xy[j])))
            if not kin and apart < discs.radius[i] + discs.radius[j] + gap - 1e-9:
                found.append((i, j))
    return found


@given(st.integers(0, 2**32), st.integers(0, 60), st.floats(0, 2), st.floats(0.05, 1.5))
def test_gap_is_kept(seed, count, gap, least) -> None:
    wanted = some(seed, count, families=5)
    radius = packed(wanted, NONE, gap=gap, least=least)
    fits = Discs(wanted.xy, radius, wanted.family).chosen(radius > 0)
    assert overlaps(fits, gap) == []
    assert (fits.radius >= least).all()
    assert (radius <= wanted.radius).all()


@given(st.integers(0, 2**32), st.floats(0, 1))
def test_placed_discs_stay_and_keep_the_gap(seed, gap) -> None:
    first = some(seed, 20, families=3)
    first = Discs(first.xy, packed(first, NONE, gap=gap, least=0.1), first.family)
    placed = first.chosen(first.radius > 0)
    wanted = some(seed + 1, 40, families=3)
    radius = packed(wanted, placed, gap=gap, least=0.1)
    both = placed.with_more(Discs(wanted.xy, radius, wanted.family).chosen(radius > 0))
    assert overlaps(both, gap) == []


@given(st.integers(0, 2**32))
def test_nothing_that_would_fit_is_left_out(seed) -> None:
    """A disc left out has less room than the least beside those that are in: tried one by one."""
    wanted, gap, least = some(seed, 50, families=0), 0.2, 0.4
    radius = packed(wanted, NONE, gap=gap, least=least)
    placed = np.flatnonzero(radius > 0)
    for k in np.flatnonzero((radius == 0) & (wanted.radius >= least)):
        room = np.hypot(*(wanted.xy[placed] - wanted.xy[k]).T) - radius[placed] - gap
        assert room.min() < least


def test_larger_disc_goes_first_and_the_smaller_shrinks() -> None:
    """Larger by an octave; of discs less unlike the first given goes first."""
    wanted = Discs(np.array([[0.0, 0.0], [4.0, 0.0]]), np.array([1.0, 3.0]), np.array([-1, -1]))
    assert packed(wanted, NONE, gap=0.5, least=0.1).tolist() == [0.5, 3.0]
    assert packed(wanted, NONE, gap=0.5, least=0.6).tolist() == [0.0, 3.0]
    alike = Discs(wanted.xy, np.array([2.0, 3.0]), wanted.family)
    assert packed(alike, NONE, gap=0.5, least=0.1).tolist() == [2.0, 1.5]


def test_kin_may_overlap() -> None:
    wanted = Discs(np.zeros((2, 2)), np.array([2.0, 3.0]), np.array([4, 4]))
    assert packed(wanted, NONE, gap=0.5, least=0.1).tolist() == [2.0, 3.0]


def test_nothing_from_nothing() -> None:
    assert packed(NONE, NONE, gap=1.0, least=0.1).tolist() == []
