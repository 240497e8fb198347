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

SIZE = (54.0, 40.0)  #: as the laws have it

#: Recorded from our own output: motif, preset, cuts, the share of the face that is white, mm of outline.
FIGURES = [
    ("frost", "ferns", 19, 0.2293, 1426),
    ("frost", "needles", 24, 0.2183, 1426),
    ("frost", "rime", 42, 0.1685, 1201),
    ("frost", "pane", 12, 0.2675, 1294),
    ("grain", "flat-sawn", 24, 0.2377, 1314),
    ("grain", "quarter-sawn", 43, 0.2419, 2067),
    ("grain", "rift", 27, 0.1908, 1427),
    ("grain", "knotty", 36, 0.2159, 1367),
    ("grain", "weathered", 56, 0.1712, 1278),
]


@pytest.mark.parametrize(("name", "preset", "count", "share", "outline"), few(FIGURES, 5))
def test_it_looks_as_it_was_found_good(name, preset, count, share, outline) -> None:
    cuts = grown(name, preset_settings(name, preset), limits(0.7, 0.4), 1, size=SIZE).cuts
    assert len(cuts) == pytest.approx(count, abs=1)
    assert shapely.area(cuts).sum() / (SIZE[0] * SIZE[1]) == pytest.approx(share, rel=0.02)
    assert shapely.length(cuts).sum() == pytest.approx(outline, rel=0.02)
