"""Snow on branches, by bounds of our own."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen.motifs.snowload.snowpack import cap_mm
from tests.motifs.test_snowload import PLAIN, depth_over, grow, shapes


@pytest.mark.parametrize("breadth", [2.0, 4.0, 8.0])
@pytest.mark.parametrize("sticky", [0.1, 0.45])
def test_no_branch_bears_more_than_its_cap(breadth, sticky) -> None:
    """Much has fallen; a level branch of this breadth carries (b / 2) tan A, the allowance, and a round pen's slack."""
    branch = shapes(shapely.box(20, 70, 130, 70 + breadth))
    growth = grow(branch, "deep", fallen_mm=20, **{**PLAIN, "sticky": sticky})
    most = max(depth_over(growth, x, 70 + breadth) for x in np.linspace(22, 128, 54))
    assert 0.6 * cap_mm(np.array([breadth]), sticky)[0] < most <= cap_mm(np.array([breadth]), sticky)[0] + 0.05
