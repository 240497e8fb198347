"""How frost and grain look on a small face, in figures: recorded from our own output, once looked at and found good.

They show that the look has changed, not that it is right: nothing outside the program says so. Whoever changes it looks
at it and records them anew. Snow has figures of its own in `closed_forms` and `published`.
"""

from __future__ import annotations

import pytest
import shapely

from tests.cases import grown, limits
from tests.laws.test_motifs import preset_settings
from tests.strategies import few

SIZE = (36.0, 27.0)  #: as the laws have it: grown once for both

#: Recorded from our own output: motif, preset, cuts, the share of the face that is white, mm of outline.
FIGURES = [
    ("frost", "ferns", 10, 0.2408, 615),
    ("frost", "needles", 11, 0.1811, 530),
    ("frost", "rime", 20, 0.1213, 395),
    ("frost", "pane", 9, 0.2344, 532),
    ("grain", "flat-sawn", 20, 0.2062, 573),
    ("grain", "quarter-sawn", 20, 0.2238, 902),
    ("grain", "rift", 13, 0.2248, 642),
    ("grain", "knotty", 23, 0.1931, 644),
    ("grain", "weathered", 13, 0.1057, 286),
]


@pytest.mark.parametrize(("name", "preset", "count", "share", "outline"), few(FIGURES, 5))
def test_it_looks_as_it_was_found_good(name, preset, count, share, outline) -> None:
    cuts = grown(name, preset_settings(name, preset), limits(0.7, 0.4), 1, size=SIZE).cuts
    assert len(cuts) == pytest.approx(count, abs=1)
    assert shapely.area(cuts).sum() / (SIZE[0] * SIZE[1]) == pytest.approx(share, rel=0.02)
    assert shapely.length(cuts).sum() == pytest.approx(outline, rel=0.02)
