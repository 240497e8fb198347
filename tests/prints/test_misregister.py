"""What a register error does: against closed forms, exact geometry and a raster twin that really moves the blocks."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
import shapely
from scipy import integrate, ndimage
from shapely import affinity

from carvegen.base.progress import heard
from carvegen.blocks.register_marks import register_for
from carvegen.facts.register import RegisterPlan
from carvegen.geometry.depth_grid import depths
from carvegen.prints.misregister import trials
from carvegen.prints.misregister.block_placement import Inked, drawn_moves, worst_pull_mm
from carvegen.prints.misregister.trials import STEP_MM, gaps, meetings, outcome
from tests.strategies import few

SIZE = (60.0, 40.0)
TRAP = 0.4
NORMAL = NormalDist()
EXACT = RegisterPlan(method="stops", paper_margin_mm=0.0, tolerance_mm=0.4, turn_deg=0.0, visible_mm=0.0, prints=4000)


def side_by_side(trap=TRAP):
    """A light ink on the left half that runs on under a dark one on the right by the trap."""
    return [
        Inked(name="light", land=shapely.box(0, 0, 30 + trap, 40), lightness=80),
        Inked(name="dark", land=shapely.box(30, 0, 60, 40), lightness=20),
    ]


def share_of(plan, blocks=None, kind=0):
    result = outcome(blocks or side_by_side(), plan, SIZE, seed=11, reach_mm=0.7, full_mm=(0.9 * TRAP, 0.9 * TRAP))
    return result.failed[:, kind].mean(), result


@pytest.mark.parametrize("tolerance", few([0.4, 0.25, 0.8], 2))
def test_normal_shifts_open_a_straight_edge_as_often_as_the_normal_law_says(tolerance):
    """Two blocks, each off by sigma = tolerance / 2, differ by sqrt(2) sigma: 1 - Phi(trap / (sqrt(2) sigma))."""
    plan = replace(EXACT, tolerance_mm=tolerance, spread="normal")
    expected = NORMAL.cdf(-TRAP / (math.sqrt(2) * tolerance / 2))
    assert share_of(plan)[0] == pytest.approx(expected, abs=4 * math.sqrt(expected / plan.prints) + 0.004)


@pytest.mark.parametrize("tolerance", few([0.4, 0.25, 0.8], 2))
def test_even_shifts_open_a_straight_edge_as_often_as_the_disc_says(tolerance):
    """A place even in a disc of radius e has the semicircle law along one axis; the difference of two, integrated."""

    def density(x):
        return 2 / (math.pi * tolerance**2) * math.sqrt(max(tolerance**2 - x**2, 0))

    def beyond(x):  # of the other block's shift
        y = min(max(x / tolerance, -1), 1)
        return 0.5 - (y * math.sqrt(1 - y * y) + math.asin(y)) / math.pi

    expected, _ = integrate.quad(lambda x: density(x) * beyond(x + TRAP), -tolerance, tolerance)
    got, result = share_of(replace(EXACT, tolerance_mm=tolerance))
    assert got == pytest.approx(expected, abs=4 * math.sqrt(expected / EXACT.prints) + 0.004)
    assert result.worst_mm[0].max() == pytest.approx(2 * tolerance - TRAP, abs=0.01)  # two blocks, each off by e: 2 e


@pytest.mark.parametrize("tolerance", few([0.4, 0.25, 0.8], 2))
def test_the_line_a_print_shows_is_as_long_and_wide_as_the_normal_law_says(tolerance):
    """Over a straight edge of l mm: l (1 - Phi(z)) of line in the mean, z = trap / s, s = sqrt(2) tolerance / 2.

    Where it is open, it is s phi(z) / (1 - Phi(z)) - trap wide in the mean (mean of a normal law cut off at z).
    """
    plan = replace(EXACT, tolerance_mm=tolerance, spread="normal")
    s = math.sqrt(2) * tolerance / 2
    share = NORMAL.cdf(-TRAP / s)
    _, result = share_of(plan)
    edge = len(result.places[0].xy) * STEP_MM
    assert edge == pytest.approx(SIZE[1], abs=1.0)
    line, area = result.line_mm[:, 0], result.opened_mm2[:, 0]
    assert line.mean() == pytest.approx(edge * share, abs=edge * (4 * math.sqrt(share / plan.prints) + 0.004))
    assert area.sum() / line.sum() == pytest.approx(s * NORMAL.pdf(TRAP / s) / share - TRAP, rel=0.12, abs=0.01)
    assert line.max() == pytest.approx(edge, abs=1e-6)  # a straight edge opens whole, ends included


def test_lines_are_summed_alike_in_one_go_and_in_many(monkeypatch):
    """Places are tried in pieces for memory's sake: no piece's border adds or takes a millimetre."""
    blocks, plan = scene(), replace(ROUGH, tolerance_mm=0.8, prints=50)
    whole = outcome(blocks, plan, SIZE, seed=5, reach_mm=0.6, full_mm=(0.3, 0.3))
    monkeypatch.setattr(trials, "_CHUNK", 50 * 7)
    pieces = outcome(blocks, plan, SIZE, seed=5, reach_mm=0.6, full_mm=(0.3, 0.3))
    assert whole.line_mm.sum() > 0
    assert pieces.line_mm == pytest.approx(whole.line_mm)
    assert pieces.opened_mm2 == pytest.approx(whole.opened_mm2)


@pytest.mark.parametrize("order", few([(2, 0, 1), (1, 2, 0)], 1))
def test_figures_hang_neither_on_the_order_of_lands_nor_on_where_an_outline_begins(order):
    """The same places by definition, so the same figures; and a land that meets nothing moves no other's places."""
    lands = [shapely.box(x, 5.37 * x - 4, x + 3.3 + TRAP, 5.37 * x + 5).buffer(0.91) for x in (1.0, 3.0, 6.13)]
    dark = shapely.difference(shapely.box(0, 0, 60, 40), shapely.union_all(lands).buffer(-TRAP))

    def tried(pieces):
        light = Inked(name="light", land=shapely.multipolygons(pieces), lightness=80)
        return share_of(ROUGH, [light, Inked(name="dark", land=dark, lightness=20)])[1]

    def begun_elsewhere(land):
        xy = shapely.get_coordinates(land)[:-1]
        return shapely.Polygon(np.roll(xy, 7, axis=0))

    before, after = tried(lands), tried([begun_elsewhere(lands[k]) for k in order])
    assert before.failed.any()
    assert np.array_equal(before.line_mm, after.line_mm)
    assert np.array_equal(before.widest_mm, after.widest_mm)
    assert np.array_equal(before.places[0].xy, after.places[0].xy)
    alone = [tried([land]).places[0].xy for land in lands]
    assert {tuple(xy) for xy in np.concatenate(alone).round(9)} == {tuple(xy) for xy in before.places[0].xy.round(9)}


def test_nothing_shows_when_the_trap_is_the_worst_pair():
    """Trade rule: trap >= worst pair misregister hides all of it."""
    assert share_of(replace(EXACT, tolerance_mm=TRAP / 2 - 0.02))[0] == 0
    assert share_of(replace(EXACT, tolerance_mm=TRAP / 2 + 0.1))[0] > 0


def test_a_turn_and_a_stretch_work_far_from_the_stop():
    """A stretch of s % opens 0.01 s x from the corner stop: at x = 30 mm and 2 %, 0.6 mm at most, less the trap."""
    plan = replace(EXACT, tolerance_mm=0.0, paper_stretch_along_percent=2.0)
    result = share_of(plan)[1]
    assert result.worst_mm[0].max() == pytest.approx(0.6 - TRAP, abs=0.02)
    assert 0.1 < result.widest_mm[:, 0].max() <= 0.6 - TRAP + 0.02
    turned = share_of(replace(EXACT, tolerance_mm=0.0, turn_deg=1.0))[1]
    places, worst = turned.places[0], turned.worst_mm[0]
    expected = 2 * math.radians(1.0) * places.xy[:, 1] - TRAP  # two blocks, the arm across the pull is y
    assert worst == pytest.approx(expected, abs=0.02)


def test_wood_opens_as_the_coefficients_say():
    """Cherry, 0.00248 per percent (Wood Handbook table 13-5): 0.74 mm for 30 mm and 10 %; along the grain, nothing."""
    wooden = [replace(each, moves=(0.00005, 0.00248), grain_deg=90.0) for each in side_by_side()]
    plan = replace(EXACT, tolerance_mm=0.0, moisture_change_percent=10.0)
    assert share_of(plan, wooden)[1].worst_mm[0].max() == pytest.approx(0.00248 * 10 * 30 - TRAP, abs=0.02)
    assert share_of(plan, [replace(one, grain_deg=0.0) for one in wooden])[0] == 0


@pytest.mark.parametrize(
    "errors",
    [
        {"tolerance_mm": 0.4}, {"turn_deg": 1.0}, {"moisture_change_percent": 6.0},
        {"paper_stretch_along_percent": 2.0, "paper_grain_deg": 30.0},
        {"paper_stretch_across_percent": 2.0, "paper_grain_deg": 30.0},
    ],
    ids=lambda each: next(iter(each)),
)  # fmt: skip
def test_no_print_of_many_is_drawn_further_off_than_the_worst_and_some_nearly_as_far(errors):
    """The twin draws the prints, of blocks that lie with their grain askew, and measures how far places part."""
    plan = replace(EXACT, spread="even", **({"tolerance_mm": 0.0} | errors))
    pair = [replace(each, moves=(0.0003, 0.003), grain_deg=20.0) for each in side_by_side()]
    xy, angle = np.array([(5.0, 3.0), (30.0, 20.0), (55.0, 4.0), (8.0, 37.0)]), np.radians([45.0, 80.0, 150.0, 60.0])
    away = np.column_stack([np.cos(angle), np.sin(angle)])
    x, y = drawn_moves(pair, plan, SIZE, 11).between(0, 1, xy)
    pulls = np.abs((x - xy[:, 0]) * away[:, 0] + (y - xy[:, 1]) * away[:, 1]).max(axis=0)
    worst = worst_pull_mm((pair[0], pair[1]), xy, away, plan, SIZE)
    assert (pulls <= worst + 1e-9).all()
    assert (pulls >= 0.85 * worst).all()


def scene():
    """A post and a disc in a dark ink before a light one, snow on both, a light strip between two darks."""
    snow = shapely.union_all([shapely.Point(24, 30).buffer(3), shapely.Point(40, 20).buffer(1.2)])
    dark = shapely.union_all([shapely.box(20, 0, 28, 30), shapely.Point(42, 20).buffer(7)])
    under = shapely.difference(dark, dark.buffer(-TRAP))
    light = shapely.union_all([shapely.difference(shapely.box(0, 0, *SIZE), dark), under])
    cut_back = shapely.intersection(snow.buffer(0.3), dark)
    light = shapely.difference(shapely.difference(light, snow), cut_back)
    return [Inked(name="light", land=light, lightness=80),
            Inked(name="dark", land=shapely.difference(dark, snow), lightness=20)]  # fmt: skip


ROUGH = RegisterPlan(method="stops", tolerance_mm=0.4, turn_deg=0.5, prints=12, paper_stretch_across_percent=0.5)


def printed(blocks, moves, nth):
    """The blocks as one print shows them: each really moved."""
    result = []
    for k, block in enumerate(blocks):
        (a, b), (c, d) = np.eye(2) + moves.turn[nth, k]
        turn = [a, b, c, d]
        off = moves.shift[nth, k] + np.array(moves.datum) - np.array([[a, b], [c, d]]) @ moves.datum
        result.append(affinity.affine_transform(block.land, [*turn, *off]))
    return result


def test_gaps_are_the_distances_that_exact_geometry_measures():
    """Each block really moved, each place measured (shapely): within 0.06 mm at corners, else 0.02."""
    blocks = scene()
    result = [depths(block.land, *SIZE) for block in blocks]
    each = meetings(blocks, 0, result, 0.6)
    moves = drawn_moves(blocks, ROUGH, SIZE, 5)
    got = gaps(each, result, moves)
    assert each.snow.any() and not each.snow.all()
    for nth in range(4):
        _, dark = printed(blocks, moves, nth)
        moved = each.xy + moves.shift[nth, 0] + (each.xy - moves.datum) @ moves.turn[nth, 0].T
        points = shapely.points(moved)
        away = shapely.distance(points, dark) - shapely.distance(points, shapely.boundary(dark)) * shapely.contains(
            dark, points
        )
        off = (moved > 4.5).all(axis=1) & (moved[:, 1] < SIZE[1] - 4.5)  # near the rim lands are taken to go on
        wrong = np.abs(got[nth] - away)[off]
        assert wrong.max() < 0.06
        assert np.quantile(wrong, 0.95) < 0.02


def raster(shape, per_mm=25):
    """The covered pixels of a shape, by asking each."""
    x = (np.arange(int(SIZE[0] * per_mm)) + 0.5) / per_mm
    y = (np.arange(int(SIZE[1] * per_mm)) + 0.5) / per_mm
    return shapely.contains_xy(shape, *np.meshgrid(x, y))


def test_prints_fail_where_a_raster_twin_shows_bare_paper():
    """Each block moved and drawn on pixels: bare paper lies beside places that fail, and beside no others."""
    blocks = scene()
    plan = replace(ROUGH, visible_mm=0.12, tolerance_mm=0.8)
    result = [depths(block.land, *SIZE) for block in blocks]
    each = meetings(blocks, 0, result, 0.6)
    moves = drawn_moves(blocks, plan, SIZE, 5)
    got = gaps(each, result, moves)
    seen = 0
    for nth in range(2):
        light, dark = printed(blocks, moves, nth)
        # seen from the dark block: what the light one's edge lay under, and is bare now
        reference = shapely.union_all([dark, light])
        moved = each.xy + moves.shift[nth, 0] + (each.xy - moves.datum) @ moves.turn[nth, 0].T
        inside = (moved > 1).all(axis=1) & (moved < np.array(SIZE) - 1).all(axis=1)
        outward = shapely.points(moved[inside])
        bare = ~raster(reference)
        wide = ndimage.distance_transform_edt(bare) / 25
        for fails, point in zip(got[nth][inside], outward, strict=True):
            column, row = int(point.x * 25), int(point.y * 25)
            around = wide[max(row - 6, 0) : row + 7, max(column - 6, 0) : column + 7]
            if fails > plan.visible_mm + 0.08:  # a gap of that width: bare pixels right beside the place
                assert around.max() > 0.04
                seen += 1
            elif fails < -0.37:  # covered well beyond the 6 pixels around: none near it
                assert around.max() == 0
    assert seen > 20


def test_another_block_changes_no_draw():
    """Streams are named by block: a third block leaves the others where they lay."""
    two = drawn_moves(side_by_side(), EXACT, SIZE, 3)
    three = drawn_moves([*side_by_side(), replace(side_by_side()[0], name="more")], EXACT, SIZE, 3)
    assert np.array_equal(two.shift, three.shift[:, :2])
    assert np.array_equal(two.turn, three.turn[:, :2])


@pytest.mark.parametrize("size", [(200.0, 150.0), (150.0, 200.0)])
def test_what_grows_grows_from_where_it_is_held(size):
    """The datum is the corner of the corner stop, the middle of the first pin, or the picture's middle."""
    stops = RegisterPlan(method="stops")
    assert register_for(stops, size, "").stops[0].bounds[:2] == stops.datum_mm(size)
    pins = RegisterPlan(method="pins")
    first = register_for(pins, size, "").stops[0].centroid
    assert pins.datum_mm(size) == pytest.approx((first.x, first.y), abs=0.01)
    assert RegisterPlan().datum_mm(size) == (size[0] / 2, size[1] / 2)


def test_trials_tell_how_far_they_are():
    """Depths of each block, places along each, prints in each lot."""
    shares: list[float] = []
    with heard(shares.append):
        share_of(RegisterPlan(prints=50))
    assert len({round(share, 3) for share in shares}) >= 6
    assert shares == sorted(shares)
    assert shares[0] == 0
    assert shares[-1] == pytest.approx(1)
