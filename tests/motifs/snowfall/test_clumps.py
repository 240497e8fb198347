"""What is remembered from one level tried to the next changes nothing."""

from __future__ import annotations

import numpy as np
import pytest

from carvegen.motifs import snowfall
from carvegen.motifs.snowfall import clumps, falling, sky
from tests.cases import limits

WINDOW = np.array([0.0, 0.0, 90.0, 60.0])


@pytest.mark.parametrize("preset", ["flurry", "heavy"])
def test_snow_at_a_level_is_the_same_whatever_levels_were_tried_before(monkeypatch, preset) -> None:
    """Point by point and in the same order, though most of it is neither drawn nor smoothed again."""
    drawn, smoothed = [], []
    plain_drawn, plain_smoothed = sky.drawn, clumps._smoothed
    monkeypatch.setattr(sky, "drawn", lambda *its: drawn.append(len(its[1])) or plain_drawn(*its))
    monkeypatch.setattr(clumps, "_smoothed", lambda *its: smoothed.append(len(its[0])) or plain_smoothed(*its))
    settings = snowfall.Settings(**snowfall.PRESETS[preset])

    def above() -> sky.Sky:
        return sky.Sky(settings, limits(), 77, WINDOW)

    one = above()
    for level in (0.3, 0.6, 0.5, 0.48):
        drawn.clear(), smoothed.clear()
        again = falling._fallen(one, level)
        few = sum(drawn), smoothed[0]
        drawn.clear(), smoothed.clear()
        afresh = falling._fallen(above(), level)
        assert [its.wkb for its in again] == [its.wkb for its in afresh]
    assert few[0] < 0.3 * sum(drawn)
    assert few[1] < 0.5 * smoothed[0]
