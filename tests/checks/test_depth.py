"""What a V-tool reaches in the narrowest cut: in long thin ones, and beside every cut looked at by itself."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import affinity

from carvegen.checks.depths import depth
from carvegen.checks.survey import Survey
from carvegen.facts import cutting
from tests.cases import block, setup
from tests.strategies import MANY, few

THIN_RINGS = ((60, 0.05), (111, 0.07), (42, 0.02), (90, 0.06), (100, 0.08), (50, 0.03))  # mm across, mm wide


def found(*cuts, size=(200.0, 200.0)) -> list:
    return list(depth.find(Survey(setup().on(block(*cuts, size=size)))))


def ring(across: float, width: float, *, points: int = 92, turn: float = 0.0) -> shapely.Polygon:
    """On a grid of 1 µm, as read from a drawing."""
    middle = shapely.Point(across / 2 + 10.013, across / 2 + 9.87)
    outer, inner = (middle.buffer(across / 2 - off, quad_segs=points // 4) for off in (0, width))
    return shapely.set_precision(affinity.rotate(outer.difference(inner), turn), 0.001)


@pytest.mark.parametrize(
    ("across", "width", "turn"),
    [
        (*each, turn)
        for turn in (0.0, 17.0, 61.0)
        for each in THIN_RINGS
        if MANY or (turn < 60 and each[0] in (42, 111))
    ],
)
def test_a_ring_thinner_than_a_thousandth_of_its_size_is_told(across, width, turn) -> None:
    each = ring(across, width, turn=turn)
    (report,) = found(each)
    assert report.kind == "too-shallow"
    assert report.measured == 0  # narrower than the flat of the V, 0.1 mm
    assert shapely.distance(each, shapely.Point(report.at)) == 0


def thin(rng: np.random.Generator) -> shapely.Polygon:
    """A ring or a bent strip of some width, often less than a thousandth of its size."""
    width = float(np.exp(rng.uniform(np.log(0.02), np.log(0.44))))
    if rng.random() < 0.4:
        return ring(rng.uniform(3, 120), width, points=4 * int(rng.integers(4, 40)), turn=rng.uniform(0, 90))
    x = np.linspace(0, rng.uniform(2, 150), 40)
    line = np.column_stack([5 + x, 100 + rng.uniform(0, 8) * np.sin(x * rng.uniform(0.02, 0.5))])
    strip = shapely.LineString(line).buffer(width / 2, quad_segs=int(rng.integers(1, 9)))
    return shapely.set_precision(affinity.rotate(strip, rng.uniform(0, 180)), 0.001)


def test_the_narrowest_cut_is_not_the_one_with_the_least_area_for_its_edge() -> None:
    """A strip 0.3 mm wide, and one of 0.2 with a blob of 0.36 at its end, which a disc may lie in."""
    blob = shapely.union(shapely.box(10, 50, 50, 50.2), shapely.Point(50, 50.1).buffer(0.18))
    (report,) = found(blob, shapely.box(10, 10, 50, 10.3))
    values = setup().cutter.values
    assert report.measured == pytest.approx(cutting.v_depth_mm(values["included_deg"], values["tip_mm"], 0.3), abs=1e-3)


@pytest.mark.parametrize("seed", few(range(12), 1))
def test_among_thin_cuts_the_narrowest_is_told(seed) -> None:
    """Beside its twin, which looks for the largest disc of each cut closely."""
    rng = np.random.default_rng(seed)
    cuts = [thin(rng) for _ in range(int(rng.integers(1, 9)))]
    radius = [shapely.length(shapely.maximum_inscribed_circle(cut, tolerance=1e-3)) for cut in cuts]
    values = setup().cutter.values
    deep = cutting.v_depth_mm(values["included_deg"], values["tip_mm"], 2 * min(radius))
    (report,) = found(*cuts)
    error = max(float(np.ptp(np.reshape(one.bounds, (2, 2)), axis=0).max()) for one in cuts) / 1000
    assert report.measured == pytest.approx(deep, abs=2 * error / (2 * np.tan(np.radians(30))))
    kept = depth._narrowest(np.array(cuts, dtype=object), np.zeros(len(cuts)))
    assert any(each.equals(cuts[int(np.argmin(radius))]) for each in kept)


@pytest.mark.parametrize(("wide", "looked_at"), [(0.201, 2), (0.214, 1)])
def test_what_holds_a_larger_disc_than_the_slightest_cut_is_left_out(wide: float, looked_at: int) -> None:
    """Beside a strip 0.2 mm wide that a tenth more would not leave out: the search looks closely at few."""
    strips = np.array([shapely.box(10, 10, 50, 10.2), shapely.box(10, 20, 50, 20 + wide)])
    kept = depth._narrowest(strips, np.zeros(2))
    assert len(kept) == looked_at
    assert strips[0] in kept


@pytest.mark.parametrize(("half", "looked_at"), [(0.1562, 2), (0.15645, 1)])
def test_of_short_cuts_the_slightest_disc_is_looked_for_to_a_thousandth_of_their_size(half: float, looked_at) -> None:
    """Beside a square of 0.3 mm, whose disc has a radius of 0.15: left out is what 1.04 · (0.15 + 0.0003) leaves."""
    squares = np.array([shapely.Point(10, 20).buffer(r, cap_style="square") for r in (0.15, half)])
    assert len(depth._narrowest(squares, np.zeros(2))) == looked_at


@pytest.mark.parametrize("count", [1, 2, 3])
def test_how_many_cuts_are_so_narrow_is_told_of_several(count: int) -> None:
    (report,) = found(
        *(shapely.box(10, 10 * k + 5, 50, 10 * k + 5.2) for k in range(count)), shapely.box(10, 60, 50, 70)
    )
    assert ("so narrow" in report.why) == (count > 1)
    assert count == 1 or report.why.endswith(f". {count} cuts are so narrow")
