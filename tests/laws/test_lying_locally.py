"""Lying snow where the drawing changes: what does not lie on what has changed, nor below it, stays as it was."""

from __future__ import annotations

import shapely
from hypothesis import Phase, example, given, settings
from hypothesis import strategies as st

from carvegen import geometry
from carvegen.base.streams import stream
from carvegen.motifs import snowload
from carvegen.motifs.growth import Place
from tests.cases import limits, shapes
from tests.strategies import MANY, examples

FACE = shapely.box(0, 0, 130, 50)
LIMITS = limits(0.5, 0.4)
AWAY_MM = 46.0  #: further than any thing here shades: 65 degrees off the plumb line, and so far as snow spreads


def fence() -> shapely.Geometry:
    """A rail with pickets and a twig on it, one outline from end to end, over uneven ground."""
    pickets = [shapely.box(x, 3, x + 4, top) for x, top in ((8, 26), (27, 31), (49, 25), (70, 29))]
    twig = shapely.LineString([(12, 17), (20, 21), (24, 33)]).buffer(0.6)
    ground = shapely.Polygon([(-5, -5), (-5, 4), (20, 5.5), (60, 3.5), (100, 5), (135, 4), (135, -5)])
    return shapely.union_all([shapely.box(-5, 14, 135, 17), ground, twig, *pickets])


def grow(on: shapely.Geometry, preset: str, seed: int) -> tuple[set[bytes], set[bytes]]:
    """The heaps and the patches of fringe that lie far to the left of the change, vertex by vertex."""
    lying = snowload.Settings(**snowload.PRESETS[preset])
    grown = snowload.grow(lying, Place(area=FACE, shapes=shapes(*geometry.parts(on))), LIMITS, stream(seed, "law"))
    left, right = (shapely.normalize(pieces) for pieces in (grown.cuts, grown.free))
    return {it.wkb for it in left}, {it.wkb for it in right}


@settings(examples(1), phases=[Phase.explicit, *([Phase.generate] if MANY else [])])
@given(
    preset=st.sampled_from(sorted(snowload.PRESETS)),
    seed=st.integers(0, 99),
    x=st.floats(90, 120),
    high=st.floats(18, 26),
    wide=st.floats(1, 6),
    lean=st.floats(-4, 4),
)
@example(preset="deep", seed=33, x=92.704, high=20.0235, wide=5.986049678946055, lean=3.8466827102098406)
def test_a_branch_drawn_anew_changes_what_lies_on_it_and_below_it(preset, seed, x, high, wide, lean) -> None:
    """On the same outline, far away: shapes elsewhere are the same vertex by vertex, there and when it goes again."""
    branch = shapely.LineString([(x, 15), (x + lean, high)]).buffer(wide / 2)
    before, after = grow(fence(), preset, seed), grow(shapely.union(fence(), branch), preset, seed)
    for old, new in zip(before, after, strict=True):
        changed = shapely.from_wkb(list(old ^ new))
        far = [it for it in changed if it.bounds[2] < branch.bounds[0] - AWAY_MM]
        assert far == [], [it.bounds for it in far]
    kept = [it for it in shapely.from_wkb(list(before[0])) if it.bounds[2] < branch.bounds[0] - AWAY_MM]
    assert kept
