"""How the level of the weather is sought at which as much is white as is asked: when a search ends, and its steps."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from carvegen import geometry
from carvegen.geometry import PolygonArray
from carvegen.motifs.snowfall import Settings, falling
from tests.cases import box, limits, shapes


@pytest.fixture(params=["sky", "edge"])
def sought(request, monkeypatch) -> Callable[..., tuple[float, list[float]]]:
    """A search from level 1 on in a sky that turns `white_at` of each white: the level it takes, and all it tried."""

    def search(white_at: Callable[[float], float], asked: float, *, most: float = 1000.0) -> tuple[float, list[float]]:
        fell, tried = list[float](), list[float]()

        def fallen(_: Any, level: float) -> PolygonArray:
            fell.append(level)
            return shapes(box(0, 0, 10, 10 * white_at(level)))

        def bounded(cuts: PolygonArray, *_: Any) -> PolygonArray:
            tried.append(fell[-1])
            return cuts

        monkeypatch.setattr(falling, "_fallen", fallen)
        monkeypatch.setattr(falling, "_steepness", lambda *_: 1.0)
        monkeypatch.setattr(falling, "bounded", bounded)
        frame = geometry.box(10, 10)
        sky: Any = SimpleNamespace(settings=Settings(snow=asked), frame=frame, limits=limits())
        if request.param == "sky":
            return falling._sought(sky, 1.0, falling._constant(asked), most=most)[0], fell
        level, _, cuts = falling._sought_with_edge(sky, frame, 1.0, fallen(sky, 1.0), most)
        assert cuts[0].equals(box(0, 0, 10, 10 * white_at(level)))
        assert fell == tried, "snow fell that was not looked at"
        return level, tried

    return search


@pytest.mark.parametrize(
    ("asked", "white", "ends"),
    [
        # a twentieth of what is asked, but no more than 0.8 % of the face, nor less than 0.15 %
        (0.1, 0.1049, True), (0.1, 0.0951, True), (0.1, 0.1051, False), (0.1, 0.0949, False),
        (0.3, 0.3079, True), (0.3, 0.3081, False), (0.01, 0.0114, True), (0.01, 0.0116, False),
    ],
)  # fmt: skip
def test_a_search_ends_as_soon_as_it_is_near_enough_or_after_six_tries(sought, asked, white, ends) -> None:
    level, tried = sought(lambda _: white, asked)
    assert len(tried) == (1 if ends else 6)
    assert (level == 1) or not ends


def test_a_search_ends_at_the_highest_level_if_less_is_white_than_asked(sought) -> None:
    assert sought(lambda _: 0.1, 0.3, most=1.0) == (1.0, [1.0])
    level, tried = sought(lambda level: min(0.4 * level, 1), 0.3, most=1.0)
    assert len(tried) > 1
    assert 0.4 * level == pytest.approx(0.3, abs=0.008)
    rising, up = sought(lambda _: 0.1, 0.3, most=2.0)
    assert up == [1.0, 2.0]
    assert rising in up


@pytest.mark.parametrize("power", [0.5, 1.0, 1.2])
def test_of_two_tries_the_third_is_right_where_white_rises_as_it_usually_does(sought, power: float) -> None:
    """As 1 - exp(-a level^b): where the secant is drawn that is a line."""
    _, tried = sought(lambda level: -float(np.expm1(-0.2 * level**power)), 0.3)
    assert len(tried) == 3 if power != 1 else len(tried) == 2
    assert -np.expm1(-0.2 * tried[-1] ** power) == pytest.approx(0.3, abs=0.001)


@pytest.mark.parametrize(
    ("tried", "slope", "then"),
    [
        # from one: by the slope that is known, no flatter than 0.15, no steeper than 1.2; by 0.05 to 1.2
        ([(2.0, 0.3)], 0.5, 1.4), ([(2.0, -0.3)], 0.5, 2.6), ([(2.0, 0.12)], 0.1, 1.2), ([(2.0, 0.6)], 2.0, 1.5),
        ([(2.0, 0.01)], 1.0, 1.95), ([(2.0, -0.9)], 0.5, 3.2),
        # two on one side: by their own slope, on beyond the outer one
        ([(2.0, 0.6), (1.0, 0.2)], 9.0, 0.5), ([(1.0, -0.6), (2.0, -0.2)], 9.0, 2.5),
        ([(1.0, -0.2), (2.0, -0.6)], 1.0, 3.2),
        # one on either side: between them, nearer to the one that came nearer
        ([(1.0, -0.2), (2.0, 0.2)], 1.0, 1.5), ([(1.0, -0.1), (2.0, 0.3)], 1.0, 1.25),
        ([(1.0, -0.01), (2.0, 0.3)], 1.0, 1.15), ([(1.0, -0.3), (2.0, 0.01)], 1.0, 1.85),
        # by halves where two of them in turn came off on one side
        ([(1.0, -0.1), (2.0, 0.4), (1.6, 0.3)], 1.0, 1.3), ([(2.0, 0.4), (1.0, -0.1), (1.6, 0.3)], 1.0, 1.15),
    ],
)  # fmt: skip
def test_which_level_is_tried_next(tried, slope: float, then: float) -> None:
    assert falling._next(tried, slope) == pytest.approx(then)
