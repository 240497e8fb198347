"""The depth that keeps paper off the floor: common practice, no source."""

from __future__ import annotations

import numpy as np
import pytest

from carvegen.facts.printing import paper_mm


@pytest.mark.parametrize(("gap", "depth"), [(2, 1.0), (8, 1.0), (12.5, 1.5), (20, 2.4), (33.4, 4.0), (90, 4.0)])
def test_paper_rule(gap, depth) -> None:
    """Depth at least max(1.0, 0.12 g) up to 4 mm: common practice, no source."""
    assert paper_mm("firm", np.array([gap]))[0] == pytest.approx(depth, abs=0.01)
