"""Grain: what its settings do, and that the lines hold by measures that aren't ours."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.findings import Severity
from carvegen.base.parameters import parameters
from carvegen.base.streams import stream
from carvegen.checks import checked
from carvegen.geometry.necks import necks
from carvegen.motifs.grain import PRESETS, Settings, grow, growing
from carvegen.motifs.growth import Place
from tests.cases import box, disc, grown, limits, setup, shapes
from tests.strategies import MANY, few, takes_long

SMALL = (60.0, 70.0) if MANY else (42.0, 50.0)
BOARDS = shapes(*(box(0, y, 80, 14) for y in (0, 15, 30, 45)))


def grain(seed: int = 1, *, size=SMALL, its_limits=None, ground=None, **settings):
    settings = {"direction_deg": 90.0, **settings}
    return grown("grain", Settings(**settings), its_limits or limits(), seed, size=size, **(ground or {}))


def heading(shape) -> float:
    """Direction in which a shape is longest, 0…180 degrees, by its turned box."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shape))
    sides = np.diff(corners, axis=0)[:2]
    x, y = sides[np.argmax(np.hypot(*sides.T))]
    return float(np.degrees(np.arctan2(y, x)) % 180)


@pytest.mark.parametrize(
    "each", [parameter for parameter in parameters(Settings) if parameter.unit != "flag"], ids=lambda each: each.name
)
def test_out_of_range_is_refused(each) -> None:
    for value in (each.at_least - 0.01, each.at_most + 0.01, float("nan")):
        with pytest.raises(InputError) as caught:
            Settings(**{each.name: value})
        assert caught.value.fields == (each.name,)


#: Each preset on one of two materials, in turn; on both where there is time for many.
ON = [
    (preset, m + 1, material)
    for k, preset in enumerate(PRESETS)
    for m, material in enumerate(("linoleum", "cherry"))
    if MANY or m == k % 2
]


@takes_long  # laws/test_motifs.py says it of every motif
@pytest.mark.parametrize(("preset", "seed", "material"), few(ON, 2))
def test_no_preset_breaks_a_limit(preset, seed, material) -> None:
    setup_ = setup(material, "v-60")
    block = grain(seed, its_limits=setup_.limits, **PRESETS[preset])
    assert len(block.cuts) > 20
    report = checked(setup_.on(block))
    assert [each for each in report if each.severity is Severity.BREAKS or each.rule == "land-width"] == []


@takes_long  # laws/test_motifs.py, by shapely's distances
@pytest.mark.parametrize("preset", few(PRESETS, 2))
def test_lines_never_cross_and_keep_the_land_point_by_point(preset) -> None:
    """Independent of shapely's distances: points 0.04 mm apart on every outline, in a k-d tree."""
    from scipy.spatial import cKDTree

    land = 0.6
    cuts = grain(4, its_limits=limits(land, 0.4), **PRESETS[preset]).cuts
    xy, owner = shapely.get_coordinates(shapely.segmentize(cuts, 0.04), return_index=True)
    pairs = cKDTree(xy).query_pairs(land, output_type="ndarray")
    assert (owner[pairs[:, 0]] == owner[pairs[:, 1]]).all()


@pytest.mark.parametrize("preset", few(PRESETS, 1))
def test_no_inlet_is_narrower_than_the_land_and_no_part_than_the_cut(preset) -> None:
    cuts = grain(4, its_limits=limits(0.6, 0.4), **PRESETS[preset]).cuts
    assert len(necks(geometry.reversed_rings(geometry.rings(cuts)), 0.6 - geometry.GRID_MM)) == 0
    assert len(necks(geometry.rings(cuts), 0.4 - 0.01)) == 0
    opened = shapely.buffer(shapely.buffer(cuts, -0.198), 0.2)
    assert (shapely.area(shapely.difference(cuts, opened)) < 0.08).all()  # square ends at the edge lose their corners


def test_cuts_are_whole_strokes_without_islands() -> None:
    for preset in few(PRESETS, 2):
        cuts = grain(4, its_limits=limits(0.6, 0.4), **PRESETS[preset]).cuts
        assert shapely.is_valid(cuts).all()
        assert (shapely.get_num_interior_rings(cuts) == 0).all()


def test_lines_that_leave_do_so_square_to_the_edge() -> None:
    """No land beside a cut that runs out ends in a corner sharper than a right angle."""
    block = grain(7, waviness=0.8)
    rim = shapely.box(0, 0, *SMALL).exterior
    over = [cut for cut in block.cuts if cut.intersection(rim).length > 0.1]
    assert len(over) > 5
    for cut in over:
        xy = shapely.get_coordinates(cut)[:-1]
        on = shapely.distance(rim, shapely.points(xy)) < 1e-9
        for k in np.flatnonzero(on):
            before, after = xy[k - 1] - xy[k], xy[(k + 1) % len(xy)] - xy[k]
            cosine = before @ after / np.hypot(*before) / np.hypot(*after)
            assert cosine > -0.02, "the cut's own corner is at most square, so the land's is at least"


def test_lines_that_may_not_leave_keep_a_land_from_the_edge() -> None:
    block = grain(8, cut_at_edge=False, its_limits=limits(0.6, 0.4))
    assert (shapely.distance(block.cuts, shapely.box(0, 0, *SMALL).exterior) >= 0.6 - geometry.GRID_MM).all()


@pytest.mark.parametrize("direction", [0.0, 30.0, 90.0, -60.0] if MANY else [-60.0])
def test_grain_runs_as_it_is_told(direction) -> None:
    cuts = grain(9, direction_deg=direction, **{**PRESETS["quarter-sawn"], "waviness": 0.1}).cuts
    long = cuts[shapely.length(cuts) > 20]
    away = np.array([(heading(cut) - direction + 90) % 180 - 90 for cut in long])
    assert len(long) > 10
    assert np.median(np.abs(away)) < 8


def test_a_flat_sawn_board_has_arches_and_a_quarter_sawn_one_has_none() -> None:
    """An arch's legs run back: its outline reaches far across for its length."""

    def bent(preset: str) -> int:
        cuts = grain(2, size=(80.0, 120.0) if MANY else (48.0, 72.0), **{**PRESETS[preset], "knots": 0.0}).cuts
        low, high = shapely.bounds(cuts)[:, 0], shapely.bounds(cuts)[:, 2]
        return int((high - low > 12).sum())

    assert bent("flat-sawn") >= 3
    assert bent("quarter-sawn") == 0


@takes_long  # a measure of looks; test_recorded.py has its figures
def test_lines_swell_and_differ_in_weight() -> None:
    """Widths along and between lines: the widest inner disc of a stroke is no constant."""
    cuts = grain(3).cuts
    widest = 2 * shapely.length(shapely.maximum_inscribed_circle(cuts))
    assert widest.max() > 2 * widest.min()
    assert np.std(widest) / np.mean(widest) > 0.2
    long = cuts[np.argmax(shapely.area(cuts))]
    assert shapely.area(shapely.buffer(long, -0.25)) < 0.7 * shapely.area(long)


def test_no_two_boards_are_alike() -> None:
    """Moved onto one another, plainly or turned over, the cuts of two boards hardly cover one another."""
    cuts = grow(Settings(), Place(area=shapely.union_all(BOARDS)), limits(), stream(3, "jetty")).cuts
    whole = []
    for board in BOARDS:
        inside = cuts[shapely.covers(board, cuts)]
        assert len(inside) > 3
        whole.append(shapely.transform(shapely.union_all(inside), lambda xy, low=board.bounds[1]: xy - [0, low]))
    turns = [(1, 1), (-1, 1), (1, -1), (-1, -1)]
    for one in range(4):
        for other in range(one):
            for sx, sy in turns:
                turned = shapely.transform(whole[other], lambda xy, s=(sx, sy): (xy - [40, 7]) * s + [40, 7])
                shared = shapely.intersection(whole[one], turned).area
                assert shared < 0.5 * min(whole[one].area, turned.area)


def test_boards_that_touch_keep_a_land_between() -> None:
    boards = shapes(box(0, 0, 60, 20), box(0, 20, 60, 20))
    cuts = grain(1, size=(60.0, 40.0), direction_deg=30.0, ground={"grow_from": boards}).cuts
    lower = shapely.centroid(cuts)
    below = shapely.get_y(lower) < 20
    assert below.any() and (~below).any()
    i, _, apart = geometry.close_pairs(cuts, 0.7)
    assert not len(i), apart


def test_density_thins_the_lines_out() -> None:
    area = shapely.box(0, 0, *SMALL)

    def half(xy):
        return np.where(xy[:, 0] < SMALL[0] / 2, 1.0, 0.25)

    cuts = grow(Settings(direction_deg=90), Place(area=area, density=half), limits(), stream(1, "thin")).cuts
    left = shapely.area(shapely.intersection(cuts, shapely.box(0, 0, SMALL[0] / 2, SMALL[1]))).sum()
    assert shapely.area(cuts).sum() - left < 0.6 * left
    none = grow(Settings(), Place(area=area, density=lambda xy: np.zeros(len(xy))), limits(), stream(1, "thin")).cuts
    assert len(none) == 0


@takes_long  # test_recorded.py has a knotty board
def test_knots_take_room_and_are_ringed() -> None:
    """More knots, more short lines: rings of knots are far shorter than grain."""

    def short(knots: float) -> float:
        return float(np.median(shapely.length(grain(5, knots=knots, knot_mm=12.0, pores=0.0).cuts)))

    assert short(8.0) < short(0.0)


def test_holes_in_the_area_stay_clear() -> None:
    lamp = disc(30, 40, 9)
    cuts = grain(2, ground={"keep_clear": shapes(lamp)}).cuts
    assert (shapely.distance(cuts, lamp) >= 0.995 * 0.35).all()


def test_no_room_is_an_error() -> None:
    with pytest.raises(InputError, match="room"):
        grow(Settings(), Place(area=shapely.Polygon()), limits(), stream(1, "none"))


def test_lines_cut_off_by_a_small_hole_leave_the_land_across_it() -> None:
    """Found by drawing settings at random: the chord that a line leaves in a small round hole may be short."""
    area = shapely.box(0, 0, *SMALL).difference(shapely.union_all([disc(6 * k, 7 * k, 1.0) for k in range(1, 10)]))
    for seed in range(3 if MANY else 1):
        cuts = grow(Settings(direction_deg=90), Place(area=area), limits(1.2, 0.4), stream(seed, "holes")).cuts
        assert len(cuts) > 10
        assert len(geometry.close_pairs(cuts, 1.2 - geometry.GRID_MM)[0]) == 0


def test_cracks_go_before_silver_rays_these_before_the_rings_and_spindles_after_most(monkeypatch) -> None:
    """Of two lines too near to one another that of the lower rank gives way."""
    ranks: list[list[np.ndarray]] = []
    for name in ("_grain", "_marks"):
        plain = getattr(growing, name)

        def noted(board, plain=plain):
            lots = plain(board)
            ranks.append([rank for _, rank in (lots if isinstance(lots, list) else [lots])])
            return lots

        monkeypatch.setattr(growing, name, noted)
    settings = Settings(plane_deg=45.0, rays=1.0, end_checks=1.0)
    grow(settings, Place(area=shapely.box(0, 0, 60, 40)), limits(), stream(3, "rank"))
    (grain_rank,), (spindles, silver, cracks) = ranks
    assert min(map(len, (grain_rank, spindles, silver, cracks))) > 0
    assert spindles.max() < np.median(grain_rank)
    assert grain_rank.max() < silver.min() and silver.max() < cracks.min()
    assert len(np.unique(cracks)) > 1
