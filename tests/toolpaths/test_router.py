"""Router plans on random shapes against plain twins: shapely's distances, and discs swept over pixels."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.ndimage import distance_transform_edt

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.facts import cutting
from carvegen.toolpaths import cutter_centre_region
from carvegen.toolpaths.fewer_points import THIN_MM
from carvegen.toolpaths.paths import Operation, Plan, Work
from carvegen.toolpaths.promises import broken
from carvegen.toolpaths.router.planner import router_plan
from carvegen.toolpaths.settings import PathSettings
from tests.cases import SHELF, block, box, disc, setup

SIZE = (24.0, 18.0)


def job(*cuts: shapely.Polygon, cutter: str = "flat-1", material: str = "basswood", **more):
    size, cut_outs = more.pop("size", SIZE), more.pop("cut_outs", ())
    return setup(material, cutter, machine=SHELF.machine("router-bed"), **more).on(
        block(*cuts, size=size, cut_outs=cut_outs)
    )


def settings(*also: str, **more) -> PathSettings:
    return PathSettings(also_cutters=tuple(map(SHELF.cutter, also)), **more)


def land_of(each) -> shapely.Geometry:
    gone = np.concatenate([each.block.cuts, each.block.cut_outs])
    return shapely.difference(each.block.face, shapely.union_all(gone))


def lines_of(operation: Operation) -> np.ndarray:
    """Each step of each path as a line in the plane; (steps,), with the depth of its lower end."""
    xyz, owner = operation.paths.xyz, operation.paths.owner
    same = np.diff(owner) == 0
    same &= np.hypot(*np.diff(xyz[:, :2], axis=0).T) > 1e-9
    lines = shapely.linestrings(np.stack([xyz[:-1][same, :2], xyz[1:][same, :2]], axis=1))
    return lines, np.minimum(xyz[:-1, 2], xyz[1:, 2])[same]


def worst_entered_mm(plan: Plan) -> float:
    """How far any cutter's groove, at its true depth, reaches into the land at the face."""
    land, worst = land_of(plan.job), -math.inf
    for operation in plan.operations:
        lines, z = lines_of(operation)
        half = np.array([cutting.half_width_mm(operation.cutter, np.zeros(1), -deep)[0] for deep in z.tolist()])
        gaps = shapely.distance(lines, land)
        worst = max(worst, float(np.nanmax(half - gaps))) if not land.is_empty else worst
    return worst


@st.composite
def scenes(draw: st.DrawFn) -> list[shapely.Polygon]:
    """A few stars, some with a hole, some over the block's edge; disjoint."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    face = shapely.box(0, 0, *SIZE)
    drawn = []
    for _ in range(draw(st.integers(1, 4))):
        count = int(rng.integers(3, 12))
        angle = np.sort(rng.uniform(0, 2 * np.pi, count))
        radius = rng.uniform(0.5, 6, count)
        centre = rng.uniform(0, 1, 2) * SIZE
        star = shapely.Polygon(centre + np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])).buffer(0)
        if rng.random() < 0.4:
            star = star.difference(disc(*centre, float(rng.uniform(0.2, 1.5)), points=20))
        drawn.append(star)
    whole = shapely.set_precision(shapely.intersection(shapely.union_all(drawn), face), 0.001)
    return [part for part in shapely.get_parts(whole) if part.geom_type == "Polygon" and part.area > 0.01]


CUTTERS = st.sampled_from(["flat-1", "flat-3", "ball-1", "taper-0.5", "v-60", "v-30"])
ALSO = st.lists(st.sampled_from(["flat-1", "flat-3"]), unique=True, max_size=2)


@given(scenes(), CUTTERS, ALSO, st.sampled_from(["rings", "lines"]), st.booleans())
def test_no_cutter_enters_the_land(cuts, cutter, also, cleared, plunge) -> None:
    """The promise is 0.02 mm; nothing is used of it but what thinning takes, and rounding."""
    if not cuts:
        return
    plan = router_plan(job(*cuts, cutter=cutter, depth=1.5), settings(*also, cleared=cleared, plunge=plunge))
    assert worst_entered_mm(plan) < THIN_MM + 1e-5


PX = 0.04


def pixels(each) -> tuple[np.ndarray, np.ndarray]:
    """Middles of the pixels of the face and a strip round it."""
    xs = np.arange(-2, SIZE[0] + 2, PX) + PX / 2
    ys = np.arange(-2, SIZE[1] + 2, PX) + PX / 2
    return np.meshgrid(xs, ys)


def swept(plan: Plan, cutter: str) -> np.ndarray:
    """Pixels within the cutter's radius of a way at full depth: paths sampled far finer than a pixel."""
    x, _ = pixels(plan.job)
    away = np.ones(x.shape, dtype=bool)
    for operation in plan.operations:
        if operation.cutter.key == cutter and operation.work is not Work.CUT_THROUGH:
            lines, z = lines_of(operation)
            dots = shapely.get_coordinates(shapely.segmentize(lines[z < -operation.depth_mm + 1e-9], PX / 4))
            column, row = ((dots + 2) // PX).astype(int).T
            inside = (column >= 0) & (row >= 0) & (column < x.shape[1]) & (row < x.shape[0])
            away[row[inside], column[inside]] = False
    return distance_transform_edt(away) * PX <= SHELF.cutter(cutter).values["diameter_mm"] / 2


@given(scenes(), st.sampled_from(["rings", "lines"]))
def test_what_is_cleared_is_the_opening_of_the_cut_by_the_cutter(cuts, cleared) -> None:
    """By pixels alone: the land worn off by distance, twice; our paths swept by a disc. To 1.5 pixels and the sag."""
    if not cuts:
        return
    plan = router_plan(job(*cuts, cutter="flat-1", depth=0.5), settings(cleared=cleared, plunge=True))
    stands = geometry.parts(shapely.difference(plan.job.block.face, shapely.union_all(plan.job.block.cuts)))
    assume(not shapely.is_empty(shapely.buffer(stands, -2 * PX)).any())  # land that pixels would not see
    x, y = pixels(plan.job)
    on_face = (x > 0) & (y > 0) & (x < SIZE[0]) & (y < SIZE[1])
    white = shapely.contains_xy(shapely.union_all(plan.job.block.cuts), x, y)
    land = on_face & ~white
    if not land.any() or not white.any():
        return
    from_land = distance_transform_edt(~land) * PX
    slack = 1.5 * PX + 0.02
    surely = distance_transform_edt(~(from_land >= 0.5 + slack)) * PX <= 0.5 - slack
    within = distance_transform_edt(~(from_land >= 0.5 - slack)) * PX <= 0.5 + slack
    done = swept(plan, "flat-1")
    wide = from_land >= 0.5 + slack
    assert not (surely & on_face & white & ~done & _near(wide & on_face)).any()
    assert not (done & on_face & ~within).any()


def _near(centres: np.ndarray) -> np.ndarray:
    return distance_transform_edt(~centres) * PX <= 0.5 - 1.5 * PX - 0.02


@given(scenes(), CUTTERS)
def test_what_is_told_as_unreached_is_what_no_groove_touches(cuts, cutter) -> None:
    """By shapely alone: the union of all grooves, against the cuts."""
    if not cuts:
        return
    plan = router_plan(job(*cuts, cutter=cutter, depth=1.0), settings(plunge=True))
    grooves = [shapely.Polygon()]
    for operation in plan.operations:
        lines, z = lines_of(operation)
        half = [float(cutting.half_width_mm(operation.cutter, np.zeros(1), -deep)[0]) for deep in z.tolist()]
        grooves += list(shapely.buffer(lines, np.array(half), quad_segs=32))
    touched = shapely.union_all(grooves)
    report = shapely.union_all(plan.unreached)
    assert (
        shapely.difference(
            shapely.difference(shapely.union_all(plan.job.block.cuts), report), touched.buffer(0.03)
        ).area
        < 1e-3
    )
    assert shapely.intersection(report.buffer(-0.03), touched).area < 1e-6


@given(st.floats(0.05, 3), st.lists(st.floats(0.9, 1.3), min_size=1, max_size=5), st.floats(0.5, 1))
def test_what_is_too_small_to_be_shrunk_is_what_a_buffer_makes_nothing_of(by, sizes, slim) -> None:
    """Twin: GEOS's buffer of every shape; rounds and slim ones, of which some are little larger than what goes."""
    rounds = [shapely.affinity.scale(disc(9 * k, 0, by * size, points=64), 1, slim) for k, size in enumerate(sizes)]
    shrunk = cutter_centre_region.shrunk(geometry.polygon_array(rounds), by)
    quads = cutter_centre_region._quads(by)
    plain = [each.buffer(-by / cutter_centre_region._chord(quads), quad_segs=quads) for each in rounds]
    assert shapely.equals_exact(shapely.normalize(shrunk), shapely.normalize(plain), 1e-9).all()


#: Shapes and the radius of the largest disc that fits into each, in closed form: a box's half side, a triangle's
#: 2 A / P, the mitred corner of two limbs a wide (2 - √2) a, and half the way between the circles of a ring.
_HELD = (
    (box(0, 0, 9, 2), 1.0),
    (box(5, 5, 3, 3), 1.5),
    (shapely.Polygon([(0, 0), (3, 0), (0, 4)]), 1.0),
    (shapely.Polygon([(0, 0), (8, 0), (8, 2), (2, 2), (2, 8), (0, 8)]), 2 * (2 - math.sqrt(2))),
    (shapely.difference(disc(0, 0, 5), disc(0, 0, 3)), 1.0),
    (shapely.affinity.rotate(box(0, 0, 9, 1), 45), 0.5),
)


@pytest.mark.parametrize("share", [0.5, 0.9, 0.98, 1.02, 1.1, 1.5])
def test_which_shapes_hold_a_disc_is_told_as_closed_forms_have_it(share) -> None:
    """Whatever tells it: area and perimeter, bounds, the centroid's own disc, or a buffer."""
    for shape, radius in _HELD:
        both = geometry.polygon_array(
            [shape, shapely.affinity.translate(shape, -60, -80)]
        )  # and where x and y are below 0
        assert cutter_centre_region.holds_disc(both, share * radius, quad_segs=16).tolist() == [share < 1] * 2


@pytest.mark.parametrize(
    ("cutter", "inner_deg", "area"),
    [
        # Plane geometry, area left in one corner: r² (cot(A/2) - (pi - A)/2); at 90 degrees r² (1 - pi/4).
        ("flat-1", 90, 0.0537),
        ("flat-3", 90, 1.5**2 * (1 - math.pi / 4)),
        ("flat-1", 60, 0.25 * (1 / math.tan(math.pi / 6) - math.pi / 3)),
    ],
)
def test_a_round_cutter_leaves_the_corners(cutter, inner_deg, area) -> None:
    shape = box(4, 4, 15, 10) if inner_deg == 90 else shapely.Polygon([(4, 3), (18, 3), (11, 3 + 7 * math.sqrt(3))])
    plan = router_plan(job(shape, cutter=cutter, depth=0.5), settings())
    assert len(plan.unreached) == {90: 4, 60: 3}[inner_deg]
    assert shapely.area(plan.unreached) == pytest.approx(area, rel=0.03)


def test_rest_areas_are_worked_by_the_smaller_cutter_alone() -> None:
    """A square by 3 mm, then 1 mm: the small one goes only into corners, and leaves what it alone would leave."""
    shape = box(2, 2, 20, 14)
    both = router_plan(job(shape, cutter="flat-3", depth=1.0), settings("flat-1"))
    alone = router_plan(job(shape, cutter="flat-1", depth=1.0), settings())
    assert shapely.area(both.unreached).sum() == pytest.approx(shapely.area(alone.unreached).sum(), rel=0.02)
    corners = shapely.multipoints(shapely.get_coordinates(shape)[:4])
    small = [step for step in both.operations if step.cutter.key == "flat-1"]
    assert small
    rest = shapely.difference(shape, shape.buffer(-1.5).buffer(1.5, quad_segs=64))
    rest = shapely.union_all([part for part in shapely.get_parts(rest) if part.area > 0.01])
    beyond = 0.5 + 0.2 * 1  # half its width, and a fifth of it beyond what the large one left
    for operation in small:
        at = shapely.points(operation.paths.xyz[:, :2])
        assert shapely.distance(at, corners).max() < 3.5
        # along the wall the rest runs out: half a thousandth of a mm moves its end by 0.04 mm, sqrt(2 r h)
        assert shapely.distance(at, rest).max() == pytest.approx(beyond, abs=0.05)
    assert [each.cutter.key for each in both.operations] == ["flat-3", "flat-3", *["flat-1"] * len(small)]


@pytest.mark.parametrize(("cutter", "beside"), [("flat-1", 0.5 + 0.1 * 1), ("flat-3", 1.5 + 0.1 * 3)])
@pytest.mark.parametrize("cleared", ["rings", "lines"])
def test_clearing_leaves_a_tenth_of_the_cutters_width_for_the_cut_along_the_wall(cutter, beside, cleared) -> None:
    """Common practice, no source: the last cut along the wall takes little, evenly."""
    each = job(box(3, 3, 18, 12), cutter=cutter, depth=1.0)
    plan = router_plan(each, settings(cleared=cleared))
    nearest = {
        operation.work: shapely.distance(lines_of(operation)[0], land_of(each)).min() for operation in plan.operations
    }
    assert nearest[Work.CLEAR] == pytest.approx(beside, abs=0.01)
    assert nearest[Work.WALL] == pytest.approx(beside / 1.2, abs=0.01)


@given(scenes(), st.sampled_from(["flat-1", "flat-3"]), st.sampled_from(["rings", "lines"]), st.floats(2, 20))
def test_a_flat_cutter_goes_down_on_ramps_and_in_passes(cuts, cutter, cleared, ramp) -> None:
    if not cuts:
        return
    chosen = settings(cleared=cleared, ramp_deg=ramp)
    plan = router_plan(job(*cuts, cutter=cutter, depth=2.0, material="cherry"), chosen)
    for operation in plan.operations:
        xyz, owner = operation.paths.xyz, operation.paths.owner
        same = np.diff(owner) == 0
        step = np.diff(xyz, axis=0)[same]
        assert (step[:, 2] <= 1e-9).all()
        down = step[:, 2] < -1e-9
        slope = np.degrees(np.arctan2(-step[down, 2], np.hypot(step[down, 0], step[down, 1])))
        assert slope.max(initial=0) <= ramp + 0.01
        begins, ends = xyz[operation.paths.start[:-1], 2], xyz[operation.paths.start[1:] - 1, 2]
        assert (begins > ends).all()
        assert begins.max() == pytest.approx(0)
        assert ends.min() == pytest.approx(-operation.depth_mm)
        assert np.isin(np.round(begins[begins < -1e-9], 6), np.round(ends, 6)).all()  # down through what is cleared


@given(scenes(), CUTTERS)
def test_a_way_round_closes_at_its_depth(cuts, cutter) -> None:
    """The last round of a wall comes back to where it began."""
    if not cuts:
        return
    plan = router_plan(job(*cuts, cutter=cutter, depth=1.0), settings())
    for operation in (step for step in plan.operations if step.work is Work.WALL):
        for k in range(len(operation.paths)):
            xyz = operation.paths.xyz[operation.paths.start[k] : operation.paths.start[k + 1]]
            first = np.flatnonzero(xyz[:, 2] < -operation.depth_mm + 1e-9)[0]
            assert np.hypot(*(xyz[first, :2] - xyz[-1, :2])) < 0.002


def test_walls_are_cut_climbing_on_the_block() -> None:
    """On the block, x mirrored, land is on the right of the way: outside a pocket's ring, inside an island's."""
    plan = router_plan(job(box(3, 3, 18, 12).difference(disc(12, 9, 2)), cutter="flat-1", depth=0.5), settings())
    wall = next(step for step in plan.operations if step.work is Work.WALL)
    land = land_of(plan.job)
    for k in range(len(wall.paths)):
        xyz = wall.paths.xyz[wall.paths.start[k] : wall.paths.start[k + 1]]
        on_block = np.column_stack([SIZE[0] - xyz[:, 0], xyz[:, 1]])
        side = np.diff(on_block, axis=0)
        long = np.hypot(*side.T) > 0.05
        right = (
            on_block[:-1] + side / 2 + np.column_stack([side[:, 1], -side[:, 0]]) / np.hypot(*side.T)[:, None] * 0.55
        )[long]
        assert shapely.contains_xy(land, SIZE[0] - right[:, 0], right[:, 1]).all()


@given(scenes(), CUTTERS, ALSO, st.floats(0, 24), st.floats(0, 18))
def test_nothing_comes_near_a_clamp(cuts, cutter, also, x, y) -> None:
    if not cuts:
        return
    clamp = box(x, y, 5, 3)
    chosen = settings(*also, no_go=np.array([clamp]))
    plan = router_plan(job(*cuts, cutter=cutter, depth=1.0), chosen)
    for operation in plan.operations:
        lines, _ = lines_of(operation)
        half = float(cutting.half_width_mm(operation.cutter, np.zeros(1), operation.depth_mm)[0])
        assert shapely.distance(lines, clamp).min(initial=math.inf) >= half - THIN_MM - 1e-6


def test_never_into_what_the_material_keeps() -> None:
    """Lino of 3.2 mm keeps 0.8 mm: a depth of 3 mm is cut 2.4 mm deep, and that is said."""
    each = job(box(3, 3, 10, 10), cutter="flat-1", material="linoleum", depth=3.0)
    plan = router_plan(each, settings())
    assert min(operation.paths.xyz[:, 2].min() for operation in plan.operations) == pytest.approx(-2.4)
    assert any("2.4 mm" in remark for remark in plan.remarks)


def test_a_pointed_cutter_and_a_flat_one_share_a_cut() -> None:
    """The flat one clears the floor and keeps off the flank that the V cuts afterwards."""
    shape = box(3, 3, 18, 12)
    plan = router_plan(job(shape, cutter="v-30", depth=1.5), settings("flat-3"))
    flat = next(each for each in plan.operations if each.cutter.key == "flat-3")
    flank = 1.5 * math.tan(math.radians(15))
    land = land_of(plan.job)
    assert shapely.distance(lines_of(flat)[0], land).min() >= 1.5 + flank - 1e-5
    wall = next(one for one in plan.operations if one.work is Work.WALL)
    assert wall.cutter.key == "v-30"
    assert shapely.distance(lines_of(wall)[0], land).min() == pytest.approx(0.05 + flank, abs=0.003)
    alone = router_plan(job(shape, cutter="v-30", depth=1.5), settings())
    length = {item.cutter.key: 0.0 for item in plan.operations}
    for step in plan.operations:
        length[step.cutter.key] += float(step.paths.lengths.sum())
    assert length["v-30"] < 0.5 * sum(float(entry.paths.lengths.sum()) for entry in alone.operations)


def test_a_cut_out_is_cut_through_and_its_piece_is_held() -> None:
    each = job(cutter="flat-1", material="linoleum", depth=1.0, cut_outs=(disc(12, 9, 6),))
    plan = router_plan(each, settings())
    (side,) = plan.operations
    assert side.work is Work.CUT_THROUGH
    assert side.paths.xyz[:, 2].min() == pytest.approx(-3.4)
    x, y, z = side.paths.xyz.T
    assert np.hypot(x - 12, y - 9) == pytest.approx(5.5, abs=0.02)
    deepest = z > -3.2
    angle = np.degrees(np.arctan2(y - 9, x - 12)) % 360
    last = np.flatnonzero(z < -2.9)
    held = [k for k in range(360) if not (np.abs(angle[last] - k) < 3).any()]
    assert deepest.any()
    assert len(held) > 20
    free = router_plan(each, settings(tabs=False)).operations[0]
    assert free.paths.xyz[-40:, 2] == pytest.approx(-3.4)


@pytest.mark.parametrize(("long", "wide", "tabs"), [(60, 25, 3), (60, 32, 4), (90, 57, 5), (90, 60, 6)])
def test_no_two_tabs_are_farther_apart_than_60_mm_and_there_are_three(long, wide, tabs) -> None:
    """Round a block, by how often the cutter comes up on its last way round; 60 mm is common practice, no source."""
    plan = router_plan(job(size=(long, wide), depth=1.0), settings(cut_edge=True))
    (side,) = plan.operations
    z = side.paths.xyz[:, 2]
    up = z > z.min() + 0.5
    assert np.count_nonzero(up[1:] & ~up[:-1]) == tabs


@pytest.mark.parametrize(("cutter", "waller"), [("ball-1", "v-90"), ("v-90", "ball-1"), ("flat-3", "v-30")])
def test_a_cutter_keeps_off_the_wall_of_another_at_every_depth(cutter, waller) -> None:
    """To 1 um, at 5000 depths: as far as the wall asks for, and no farther."""
    below = np.linspace(0, 3.2, 5000)
    own, wall = (cutting.half_width_mm(SHELF.cutter(key), below, 3.2) for key in (cutter, waller))
    off = cutter_centre_region.fit(SHELF.cutter(cutter), SHELF.cutter(waller), 3.2).inset_mm
    assert off == pytest.approx(float((own + wall[0] - wall).max()), abs=1e-3)


def test_a_pocket_at_the_edge_is_open_there() -> None:
    """The cutter runs out over the edge, so no land is left in the block's corner."""
    plan = router_plan(job(box(0, 10, 8, 8), cutter="flat-3", depth=1.0), settings())
    assert len(plan.unreached) == 1
    assert plan.unreached[0].centroid.distance(shapely.Point(8, 10)) < 0.5


@given(scenes(), st.sampled_from(["flat-1", "flat-3", "ball-1"]), ALSO)
def test_the_plan_keeps_what_every_plan_promises(cuts, cutter, also) -> None:
    """The project's own second look at finished plans, with its own method: samples along every way."""
    each = job(*cuts, cutter=cutter, depth=1.5, cut_outs=())
    plan = router_plan(each, settings(*also))
    assert broken(plan, settings(*also)) == ()


def test_no_cut_no_plan() -> None:
    plan = router_plan(job(cutter="flat-1", depth=1.0), settings("flat-3"))
    assert plan.operations == ()
    assert len(plan.unreached) == 0


@pytest.mark.parametrize("stranger", ["laser-fine", "u-2"])
def test_a_further_cutter_must_go_into_the_machine(stranger) -> None:
    each = job(box(3, 3, 18, 12), cutter="flat-3", depth=1.0)
    with pytest.raises(InputError, match="goes into"):
        router_plan(each, settings(stranger))


def test_a_further_cutter_named_twice_works_once() -> None:
    each = job(box(3, 3, 18, 12), cutter="flat-3", depth=1.0)
    chosen = dataclasses.replace(settings("flat-3", "flat-1", "flat-1"))
    names = [operation.name for operation in router_plan(each, chosen).operations]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("tabs", [True, False])
def test_the_block_is_cut_out_of_its_sheet_by_a_straight_cutter(tabs) -> None:
    """Round the block, outside its edge by half the cutter, on the right of the way on the block; last of all."""
    plan = router_plan(job(box(4, 4, 8, 6), cutter="v-60"), settings("flat-1", "flat-3", cut_edge=True, tabs=tabs))
    last = plan.operations[-1]
    assert (last.work, last.cutter.key) == (Work.CUT_BLOCK, "flat-3")
    lines, _ = lines_of(last)
    face = shapely.box(0, 0, *SIZE)
    assert shapely.distance(lines, face).min() == pytest.approx(1.5, abs=1e-6)
    assert -last.paths.xyz[:, 2].min() == pytest.approx(plan.job.thickness_mm + 0.2)
    xy = last.paths.xyz[:, :2] - np.array(SIZE) / 2
    assert np.concatenate([xy.min(axis=0), xy.max(axis=0)]) == pytest.approx([-13.5, -10.5, 13.5, 10.5])
    around = xy[:-1, 0] * xy[1:, 1] - xy[:-1, 1] * xy[1:, 0]
    assert (around > -1e-9).all()  # against the clock in print view: the block lies on the left
    assert plan.findings == ()


def test_what_is_asked_for_and_not_made_breaks() -> None:
    """An opening and the block's edge without a straight cutter; an opening too narrow; clamps on both."""
    outs = (box(14, 4, 6, 6), box(3, 14, 2, 2))
    each = {"cut_outs": outs}
    plan = router_plan(job(box(4, 4, 6, 6), cutter="v-60", **each), settings(cut_edge=True))
    assert [one.rule for one in plan.findings] == ["not-cut"] * 3
    assert sum(one.at is None for one in plan.findings) == 1
    plan = router_plan(job(box(4, 4, 6, 6), cutter="flat-3", **each), settings())
    assert [shapely.Point(one.at).within(outs[1]) for one in plan.findings] == [True]
    plan = router_plan(job(box(4, 4, 6, 6), cutter="flat-1", **each), settings())
    assert plan.findings == ()
    clamped = settings(cut_edge=True, no_go=geometry.polygon_array([box(16, -2, 3, 8)]))
    plan = router_plan(job(box(4, 4, 6, 6), cutter="flat-1", **each), clamped)
    said = " ".join(one.why for one in plan.findings)
    assert "clamp lies on the cut-out" in said
    assert "clamp lies in the way of its edge" in said
    assert not [one for one in plan.operations if one.work is Work.CUT_BLOCK]


@pytest.mark.parametrize("asked", [True, False])
def test_what_no_cutter_reaches_is_worked_out_where_it_is_asked_for(asked: bool) -> None:
    plan = router_plan(job(box(3, 3, 8, 8), box(14, 3, 0.4, 8)), settings(), compute_left=asked)
    assert shapely.area(plan.unreached).sum() == pytest.approx(3.2 if asked else 0, abs=0.3)
