"""A cluster process is as dense at the rim as inside: counts against their expectation."""

from __future__ import annotations

import math

import numpy as np

from carvegen.motifs.shared.points import Window, thomas

WINDOW = Window(0.0, 0.0, 150.0, 100.0)


def test_thomas_process_is_as_dense_at_the_rim_as_inside() -> None:
    # Density = parents × mean count (J. Neyman & E. L. Scott 1958); parents outside the window make up the rim.
    draws = [thomas(WINDOW, parents_per_mm2=0.02, mean_count=4, spread_mm=4.0, rng=np.random.default_rng(s))
             for s in range(60)]  # fmt: skip
    xy = np.concatenate(draws)
    rim = np.minimum.reduce([xy[:, 0], xy[:, 1], 150 - xy[:, 0], 100 - xy[:, 1]]) < 3
    rim_mm2 = WINDOW.area - 144 * 94
    # Count of a clustered rim: variance about 1 + mean count times a Poisson count's; four standard deviations.
    for count, area in ((rim.sum(), rim_mm2), ((~rim).sum(), WINDOW.area - rim_mm2)):
        expected = 60 * 0.08 * area
        assert abs(count - expected) < 4 * math.sqrt(5 * expected)
