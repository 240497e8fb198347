"""Which pencils are refused: our own limits from both sides."""

from __future__ import annotations

from contextlib import nullcontext
from types import SimpleNamespace

import numpy as np
import pytest

from carvegen.base.errors import InputError
from carvegen.marking.pencil import pencils


@pytest.mark.parametrize(("density", "rows", "refused"), [(0.4, 9, False), (0.4, 11, True), (0.29, 50, False)])
def test_a_pencil_as_grey_as_graphite_over_a_tenth_of_its_box_is_refused(density, rows, refused) -> None:
    """A box of 100 rows on white paper, some of them grey by 0.3 and more, or all by less."""
    box = SimpleNamespace(white_mm=102 / pencils.PX_PER_MM + 1e-9, meaning="more")
    grey = np.zeros((130, 40))
    grey[:rows] = density
    with pytest.raises(InputError, match="grey or black") if refused else nullcontext():
        pencils._check_grey(SimpleNamespace(grey=grey), box, [(slice(0, 100), slice(0, 40))])
