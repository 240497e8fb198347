"""Clumps of snow that crossing twigs bear together: on the densest of them, under open air, limbs before them."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.streams import stream
from carvegen.motifs import snowload
from carvegen.motifs.growth import Place
from carvegen.motifs.snowload.crowns import _bearing, _bears, _on, _under, in_crowns
from carvegen.motifs.snowload.scene import Grid, columns_of, tangled
from tests.cases import limits, shapes
from tests.strategies import MANY

FACE = shapely.box(0, 0, 40, 30)
LIMITS = limits(0.5, 0.4)


def twigs(left: float, right: float, low: float, high: float) -> list[shapely.Polygon]:
    """Twigs of 0.5 mm that cross one another at a right angle, a millimetre and a half apart."""
    rise = high - low
    lines = [((x + dx, low), (x + rise - dx, high)) for x in np.arange(left, right - rise, 1.5) for dx in (0, rise)]
    return [shapely.LineString(line).buffer(0.25) for line in lines]


def clumps(*drawn: shapely.Geometry, preset: str = "deep", seed: int = 1, share=1.0, open_sky=1.0, **changed):
    """What must come out and what may, with the sky as open everywhere."""
    page = Grid.of(FACE.bounds)
    on = shapes(*geometry.parts(shapely.union_all(drawn)))
    cells = columns_of(on, page).raster
    solid = columns_of(shapes(*geometry.parts(shapely.union_all(drawn).buffer(0.6).buffer(-0.6))), page).raster
    cross, needles = tangled(cells, solid, page)
    sky = np.full(((page.high + 1) // 2, (page.wide + 1) // 2), open_sky)
    return in_crowns(
        cells, cross * (1 - needles), page, snowload.Settings(**{**snowload.PRESETS[preset], **changed}), limits=LIMITS,
        sky=sky, share=lambda where: np.full(len(where), share), rng=stream(seed, "crowns"),
    )  # fmt: skip


@cache
def crown() -> tuple[shapely.Polygon, ...]:
    return tuple(twigs(6, 34, 8, 14))


def test_twigs_that_cross_bear_clumps_together_and_more_where_more_has_fallen() -> None:
    """None of them alone does; what may come out holds what must; where none is wanted there is none."""
    white = {
        preset: [shapely.area(lot).sum() for lot in clumps(*crown(), preset=preset)] for preset in ("deep", "dusting")
    }
    assert white["deep"][0] > 15
    assert white["deep"][1] > 1.05 * white["deep"][0]
    assert white["dusting"][0] < 0.4 * white["deep"][0]
    assert len(clumps(crown()[0])[0]) == 0
    assert len(clumps(*crown(), twigs=0.0)[0]) == len(clumps(*crown(), share=0.0)[0]) == 0


def test_where_no_sky_is_seen_lies_less_and_no_clump_is_small() -> None:
    shut, wide = (clumps(*crown(), open_sky=share)[0] for share in (0.0, 1.0))
    assert 0 < shapely.area(shut).sum() < 0.6 * shapely.area(wide).sum()
    every = np.concatenate([clumps(*crown(), preset="fresh", seed=seed)[0] for seed in range(12 if MANY else 6)])
    assert len(every) > (15 if MANY else 7)
    assert shapely.area(every).min() > 2.5


def test_they_lie_at_the_top_and_none_under_a_limb() -> None:
    """The lowest third of a crown bears none; over it a limb of 2 mm keeps 3 mm of air."""
    must = shapely.union_all(clumps(*crown())[0])
    assert shapely.intersection(must, shapely.box(0, 0, 40, 10)).area < 0.1 * must.area
    limb = shapely.box(4, 13, 36, 15)
    assert shapely.intersection(shapely.union_all(clumps(*crown(), limb)[0]), shapely.box(0, 10.5, 40, 13)).area < 0.1


def test_a_limb_stays_before_them() -> None:
    """Two millimetres broad it parts them; of a twig as long half a millimetre broad much is buried."""
    for broad, buried in ((2.0, False), (0.5, True)):
        upright = shapely.box(20 - broad / 2, 2, 20 + broad / 2, 20)
        on_it = [
            shapely.intersection(shapely.union_all(clumps(*crown(), upright, seed=seed)[0]), upright)
            for seed in range(4)
        ]
        assert (max(piece.area for piece in on_it) > 0.3) == buried


def test_what_hangs_upright_bears_none() -> None:
    """A level twig bears a little over itself, by its length; upright ones only their tips."""
    page = Grid.of(FACE.bounds)
    level, upright = (
        _bearing(columns_of(shapes(box), page).raster, page)
        for box in (shapely.box(5, 10, 35, 10.5), shapely.box(19, 2, 19.5, 28))
    )
    row, column = int(11.2 / page.step) // 2, (page.beyond + int(20 / page.step)) // 2
    assert level[row, column] == pytest.approx(1 / 1.6, rel=0.1), "a millimetre for each, in a box 1.6 mm high"
    assert upright[row, column] == 0


def test_under_a_mask_by_a_brute_force_twin() -> None:
    mask = stream(3, "masks").random((9, 7)) < 0.2
    wanted = np.array([[mask[row : row + 3, k].any() for k in range(7)] for row in range(9)])
    assert (_under(mask, 2) == wanted).all()


def test_of_a_clump_none_hangs_below_what_bears_it_by_a_brute_force_twin() -> None:
    random = stream(4, "clumps")
    white, bears = random.random((12, 30)) < 0.8, random.random((12, 30)) < 0.3
    wanted = np.zeros_like(white)
    for row, column in np.argwhere(white):
        gaps = np.flatnonzero(~white[:row, column])
        wanted[row, column] = bears[gaps[-1] + 1 if len(gaps) else 0 : row + 1, column].any()
    assert (_on(white, bears) == wanted).all()


def test_a_twig_bears_over_its_lower_side_and_a_little_beside_it() -> None:
    """A level twig of 1.5 mm, 3 mm long, in cells of 0.3 mm: not its lowest 0.6 mm; gaps of 2.4 mm are bridged."""
    page = Grid(0.0, 0.0, 40, 40, 0.3, 0)
    twig = np.zeros((40, 40), dtype=bool)
    twig[10:15, 20:30] = True
    rows, columns = np.nonzero(_bears(twig, 2.4, page))
    assert (rows.min(), rows.max(), columns.min(), columns.max()) == (12, 14, 18, 31)


def test_a_crown_further_off_changes_nothing() -> None:
    """Twigs drawn 12 mm beside it."""
    one, far, here = twigs(4, 18, 8, 13), twigs(31, 38, 8, 13), shapely.box(0, 0, 22, 30)
    for before, after in zip(clumps(*one), clumps(*one, *far), strict=True):
        left = shapely.intersection(shapely.union_all(after), here)
        assert left.area > 10
        assert shapely.symmetric_difference(shapely.union_all(before), left).area < 1e-6


def test_what_is_grown_bears_them_in_air_that_the_drawing_leaves() -> None:
    """Nothing of the crown's lower half is white but lines a cut thick; kept bare by a mask it bears none there."""
    settings = snowload.Settings(**{**snowload.PRESETS["deep"], "patchy": 0.0})
    place = Place(
        area=shapely.box(0, 0, 22, 30), shapes=shapes(*geometry.parts(shapely.union_all(twigs(4, 18, 8, 13))))
    )
    cuts = snowload.grow(settings, place, LIMITS, stream(1, "crowns")).cuts
    assert shapely.area(cuts).max() > 6
    assert shapely.area(shapely.intersection(cuts, shapely.box(0, 0, 22, 9.5))).sum() < 2


@pytest.mark.parametrize("step", [0.15, 0.7, 0.9, 2.0])
def test_on_a_large_page_cells_are_coarse_and_the_shift_is_none(step) -> None:
    """Of a level twig a little is borne over it, nothing where the box has passed; in cells up to 2 mm."""
    page = Grid(0.0, 0.0, 60, 80, step, 0)
    drawn = np.zeros((80, 60), dtype=bool)
    drawn[30] = True
    bears = _bearing(drawn, page)
    assert bears.shape == (40, 30)
    assert bears.max() > 0
    high = (2 * bears.argmax(axis=0) - 30) * step
    assert (np.abs(high) <= max(1.6, 2 * step)).all()


def test_clumps_lie_no_nearer_to_a_limbs_left_side_than_to_its_right() -> None:
    """Over limbs at twelve places hardly any white on either half; half a cell off it is 0.33 mm² on one of them."""
    on_halves = np.zeros(2)
    for x in np.linspace(16, 22, 12 if MANY else 4):
        must = shapely.union_all(clumps(*crown(), shapely.box(x, 2, x + 2, 22))[0])
        on_halves += [shapely.intersection(must, shapely.box(at, 0, at + 1, 30)).area for at in (x, x + 1)]
    assert on_halves.max() < 0.25


def test_lines_on_twigs_do_not_ask_whether_anything_elsewhere_bears_a_heap() -> None:
    """A post broad enough for a heap, 25 mm beside five twigs that are not."""
    thin = [shapely.LineString([(3, y), (12, y + 1.5)]).buffer(0.25) for y in (5, 9, 13, 17, 21)]
    settings = snowload.Settings(**{**snowload.PRESETS["deep"], "patchy": 0.0})

    def grown(*drawn: shapely.Geometry) -> shapely.Geometry:
        place = Place(area=FACE, shapes=shapes(*geometry.parts(shapely.union_all(drawn))))
        return shapely.union_all(snowload.grow(settings, place, LIMITS, stream(1, "crowns")).cuts)

    alone, beside = grown(*thin), grown(*thin, shapely.box(37, -5, 38.2, 20))
    assert alone.area > 10
    assert shapely.symmetric_difference(alone, shapely.intersection(beside, shapely.box(0, 0, 25, 30))).area < 1e-6
