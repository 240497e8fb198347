"""Local width along a wall: places anywhere on shapes of known width, and their lengths."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

from carvegen import geometry
from carvegen.geometry import widths
from carvegen.geometry.widths import Widths, first_narrow, local_widths
from tests.cases import disc, shapes
from tests.strategies import blobs


def of_region(region, limit: float, **how) -> Widths:
    return local_widths(geometry.rings(shapes(region)), limit, **how)


@given(st.floats(0.2, 3), st.floats(0, 180), st.floats(-5, 5))
def test_strip(width, turn, shift) -> None:
    strip = affinity.rotate(shapely.box(shift, 0, shift + 20.7, width), turn, origin=(0, 0))
    assert len(of_region(strip, width * (1 - 1e-6))) == 0
    result = of_region(strip, width * 1.001)
    inner = np.abs(result.facing_deg - 180) < 1e-6
    assert inner.all()
    off = np.abs(result.width / width - 1)
    assert off.max() < 0.005  # beside an end the disc that meets the end may be smaller by a hair
    assert np.median(off) < 1e-9
    assert result.length.sum() / 2 == pytest.approx(20.7 - width, rel=0.005, abs=0.01 * width)


@given(st.floats(5, 80), st.floats(0, 360))
def test_wedge(angle, turn) -> None:
    """At s along the side from the tip the disc is 2 s tan(a/2) across, touching both sides."""
    half = np.radians(angle / 2)
    wedge = shapely.Polygon([(0, 0), (60, -60 * np.tan(half)), (60, 60 * np.tan(half))])
    result = of_region(affinity.rotate(wedge, turn, origin=(0, 0)), 0.8)
    along = np.hypot(*result.at.T)
    tip = along < 20
    assert tip.any()
    assert result.width[tip] == pytest.approx(2 * along[tip] * np.tan(half), rel=1e-6, abs=1e-9)
    assert result.facing_deg[tip] == pytest.approx(180 - angle, abs=1e-3)


@given(st.floats(0.2, 2), st.floats(0, 6.3), st.integers(60, 200))
def test_ring(width, phase, points) -> None:
    """R2 - R1, between circles; polygons lie within a sagitta R (1 - cos(pi / n)) of them."""
    ring = disc(1, 2, 5, points=points, phase=phase).difference(disc(1, 2, 5 - width, points=points, phase=2 * phase))
    result = of_region(ring, width + 0.1)
    assert len(result) > points
    assert result.width == pytest.approx(width, abs=2 * 5 * (1 - np.cos(np.pi / points)) + 1e-9)


@given(blobs(), st.floats(0.5, 4))
def test_discs_lie_in_the_region_and_touch_both_walls(region, limit) -> None:
    result = of_region(region, limit)
    walls = region.boundary
    for at, across, centre, width in zip(result.at, result.across, result.centre, result.width, strict=True):
        middle = shapely.Point(centre)
        assert walls.distance(middle) == pytest.approx(width / 2, abs=1e-6)
        assert walls.distance(shapely.Point(at)) < 1e-9
        assert walls.distance(shapely.Point(across)) < 1e-6
        # of walls that discs alike to 0.4 % touch, the one across is told
        assert middle.distance(shapely.Point(across)) == pytest.approx(width / 2, rel=0.03)


def test_nothing_in_nothing() -> None:
    assert len(local_widths(geometry.rings(geometry.empty()), 1.0)) == 0


def test_long_edges_are_measured_beside_others_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leaving out the stretches beside which nothing lies changes no figure."""
    bites = [disc(x, 0.3 * k % 1.2, 0.9) for k, x in enumerate(np.arange(4, 96, 7.3))]
    face = affinity.rotate(shapely.box(0, 0, 100, 60).difference(shapely.union_all(bites)), 20, origin=(0, 0))
    near = of_region(face, 1.1)
    monkeypatch.setattr(widths, "_LONG_LIMITS", np.inf)
    every = of_region(face, 1.1)
    assert len(every) > 100
    for name in Widths.__dataclass_fields__:
        if name != "piece":
            np.testing.assert_array_equal(getattr(near, name), getattr(every, name))


def test_the_first_narrow_place_of_each_kind(monkeypatch: pytest.MonkeyPatch) -> None:
    """One for each kind that has any, the first; and places behind it are not measured."""
    bites = [disc(x, y, 0.9) for x in np.arange(4, 36, 2.1) for y in np.arange(3, 20, 2.2)]
    rings = geometry.rings(shapes(shapely.box(0, 0, 40, 23).difference(shapely.union_all(bites))))
    measured = []
    ruler = widths._Ruler.measured
    monkeypatch.setattr(
        widths._Ruler, "measured", lambda each, pieces: measured.append(len(pieces)) or ruler(each, pieces)
    )

    def column(at, inward):
        assert np.hypot(*inward.T) == pytest.approx(1)
        return (at[:, 0] // 5).astype(np.int64)

    monkeypatch.setattr(widths, "_FIRST_FEW", 10**9)  # all are measured at once
    every = first_narrow(rings, 0.5, lambda at, _: np.arange(len(at)))
    whole = sum(measured)
    measured.clear()
    monkeypatch.undo()
    monkeypatch.setattr(
        widths._Ruler, "measured", lambda one, pieces: measured.append(len(pieces)) or ruler(one, pieces)
    )
    result = first_narrow(rings, 0.5, column)
    first = np.sort(np.unique(every.at[:, 0] // 5, return_index=True)[1])
    np.testing.assert_array_equal(result.at, every.at[first])
    np.testing.assert_array_equal(result.width, every.width[first])
    assert len(first) == 8
    assert sum(measured) < whole / 3
    ring = np.repeat(np.arange(len(rings)), np.diff(rings.start))
    walls = shapely.union_all(shapely.linearrings(rings.xy, indices=ring))
    off = shapely.distance(shapely.points(every.centre), walls)
    assert off == pytest.approx(every.width / 2, abs=1e-6)


def test_no_first_in_nothing() -> None:
    assert len(first_narrow(geometry.rings(geometry.empty()), 1.0, lambda at, _: np.zeros(len(at), dtype=int))) == 0


def test_places_lie_a_third_of_the_limit_apart() -> None:
    """Along a strip all of which is narrow, but where it opens."""
    region = shapely.union_all([shapely.box(-5, -5, 0, 5), shapely.box(20, -5, 25, 5), shapely.box(-1, 0, 21, 0.45)])
    result = of_region(region, 0.6)
    x = np.sort(result.at[(result.at[:, 1] == 0) & (np.abs(result.at[:, 0] - 10) < 5), 0])
    assert 0.19 < np.diff(x).max() <= 0.2
    assert result.length[np.isin(result.at[:, 0], x)].max() == pytest.approx(np.diff(x).max())
