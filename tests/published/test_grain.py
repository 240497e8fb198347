"""Ring widths against measured wood (source: silva-fennica-1255)."""

from __future__ import annotations

import numpy as np
import pytest

from carvegen.motifs.grain.knots import ring_widths


def series(count: int = 60, years: int = 64) -> np.ndarray:
    """As many years as the beeches were measured (1949-2012)."""
    return np.array([ring_widths(years, 2.80, np.random.default_rng(seed)) for seed in range(count)])


def test_rings_are_as_uneven_as_measured_beech() -> None:
    """Table 1: beech, mean 2.80, standard deviation 1.01 mm."""
    widths = series()
    assert widths.mean() == pytest.approx(2.80, rel=0.05)
    assert widths.std() == pytest.approx(1.01, rel=0.1)
    assert widths.min() > 0


def test_rings_remember_their_neighbours_as_measured() -> None:
    """The same table: first-order autocorrelation 0.61 (beech). Short series show less than they have: 0.5 to 0.65."""
    widths = series(years=400)
    own = [np.corrcoef(line[:-1], line[1:])[0, 1] for line in widths]
    assert np.mean(own) == pytest.approx(0.61, abs=0.04)


def test_mean_sensitivity_lies_between_the_two_species_measured() -> None:
    """Mean sensitivity, the mean of 2 |a - b| / (a + b) over neighbours: 0.22 beech, 0.29 larch. It was not fitted."""
    widths = series()
    a, b = widths[:, :-1], widths[:, 1:]
    assert 0.22 <= (2 * np.abs(a - b) / (a + b)).mean() <= 0.29


def test_widest_rings_stay_within_what_was_measured() -> None:
    """Beech from 0.30 to 6.63 mm at a mean of 2.80: all but the rarest of ours lie there."""
    widths = series(200)
    assert ((widths > 0.30) & (widths < 6.63)).mean() > 0.995
