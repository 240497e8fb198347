"""Paper sag beside what carvers wrote."""

from __future__ import annotations

import numpy as np

from carvegen.facts.printing import paper_mm


def test_paper_rule_agrees_with_what_carvers_wrote() -> None:
    """Up to half an inch the first cuts are deep enough, 1/16 inch at edges (source: fletcher-1916, phillips-1926).

    That first cuts are 1 to 2 mm deep is common practice, no source.
    """
    assert 1.0 <= paper_mm("firm", np.array([12.7]))[0] <= 25.4 / 16
