"""Plans broken on purpose, one for each clause of the promises: each is refused, and its whole twin is not."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest
import shapely

from carvegen.base.errors import CarvegenError
from carvegen.delivery.block_folder import Style, deliver
from carvegen.toolpaths import plan_for, promises
from carvegen.toolpaths.paths import (
    Operation,
    Paths,
    Plan,
    Work,
    joined,
    picked,
)
from carvegen.toolpaths.promises import (
    CLAUSES,
    broken,
    doubled,
    hold,
)
from carvegen.toolpaths.settings import PathSettings
from tests.cases import SHELF, block, box, disc, setup, shapes
from tests.strategies import MANY, few

ROUTER = SHELF.machine("router-bed")
OPENING = box(29, 18, 8, 8)
CUTS = (box(5, 4, 20, 0.8), box(5, 8, 20, 12))


def job_of(cutter: str = "flat-1", material: str = "cherry", *, cuts=CUTS, cut_outs=(OPENING,), **changed):
    machine = SHELF.machine("laser-bed") if cutter.startswith("laser") else ROUTER
    return setup(material, cutter, machine=changed.pop("machine", machine), **changed).on(
        block(*cuts, cut_outs=cut_outs)
    )


def planned(settings: PathSettings, *words, **more) -> Plan:
    plan = plan_for(job_of(*words, **more), settings)
    assert plan is not None
    assert plan.operations
    assert broken(plan, settings) == ()
    return plan


def changed(plan: Plan, work: Work, **more) -> Plan:
    """The plan with every operation of this kind changed."""
    return dataclasses.replace(
        plan,
        operations=tuple(dataclasses.replace(step, **more) if step.work is work else step for step in plan.operations),
    )


def moved(plan: Plan, work: Work, by: tuple[float, float, float]) -> Plan:
    result = []
    for step in plan.operations:
        paths = dataclasses.replace(step.paths, xyz=step.paths.xyz + np.array(by)) if step.work is work else step.paths
        result.append(dataclasses.replace(step, paths=paths))
    return dataclasses.replace(plan, operations=tuple(result))


def kept(clause: str, plan: Plan, settings: PathSettings) -> list[str]:
    return list(CLAUSES[clause](plan, settings))


USUAL = PathSettings()


def test_floor() -> None:
    """A plan to 16.1 mm in cherry of 19.1 mm, which must keep 6 mm; and one deeper than it says."""
    plan = planned(USUAL)
    deep = moved(plan, Work.CLEAR, (0, 0, -14.6))
    assert "below the floor at 1.50 mm" in " ".join(kept("floor", deep, USUAL))
    assert kept("floor", changed(plan, Work.WALL, depth_mm=16.1), USUAL)
    assert "says" in " ".join(kept("floor", moved(plan, Work.CUT_THROUGH, (0, 0, -0.5)), USUAL))
    laser = planned(USUAL, "laser-fine", "birch-plywood")
    assert kept("floor", changed(laser, Work.LOWER, depth_mm=5.9), USUAL)


def test_the_floor_that_the_material_keeps_holds_however_deep_the_block_is_asked() -> None:
    """Cherry of 19.1 mm keeps 6 mm: 13.1 mm are the most, of a block that asks for 16 too; both sides of the limit."""
    plan = planned(USUAL, cut_outs=())
    plan = dataclasses.replace(plan, job=dataclasses.replace(plan.job, depth_mm=16.0))
    for deep, said in ((13.0, ""), (13.2, "13.20 mm deep, below the floor at 13.10 mm")):
        assert said in " ".join(kept("floor", changed(plan, Work.WALL, depth_mm=deep), USUAL))
        assert bool(kept("floor", changed(plan, Work.WALL, depth_mm=deep), USUAL)) == bool(said)


def test_bed() -> None:
    """A block of 40 x 30 mm on a bed of 30 x 20 mm; and a path far outside the block."""
    plan = planned(USUAL)
    small = dataclasses.replace(ROUTER, bed_width_mm=30.0, bed_height_mm=20.0)
    job = dataclasses.replace(plan.job, machine=small)
    assert "on a bed of 30 x 20 mm" in " ".join(kept("bed", dataclasses.replace(plan, job=job), USUAL))
    assert "outside the block" in " ".join(kept("bed", moved(plan, Work.CLEAR, (20, 0, 0)), USUAL))
    made = plan_for(job, USUAL)
    assert made.operations == ()
    assert [finding.rule for finding in made.findings] == ["bed-size"]
    assert broken(made, USUAL) == ()


@pytest.mark.parametrize("cutter", ["flat-1", "laser-fine"])
def test_order(cutter: str) -> None:
    settings = PathSettings(cut_edge=True)
    plan = planned(settings, cutter, "birch-plywood")
    assert plan.operations[-1].work is Work.CUT_BLOCK
    for k in range(len(plan.operations) - 1):
        order = [*plan.operations[:k], plan.operations[k + 1], plan.operations[k], *plan.operations[k + 2 :]]
        assert kept("order", dataclasses.replace(plan, operations=tuple(order)), settings), plan.operations[k].name


RING = disc(20, 15, 12).difference(disc(20, 15, 9))


@pytest.mark.parametrize("cutter", ["flat-1", "laser-fine"])
def test_what_lies_in_a_part_that_falls_out_is_cut_before_it(cutter: str) -> None:
    also = () if cutter == "laser-fine" else (SHELF.cutter("flat-3"),)
    settings = PathSettings(also_cutters=also, tabs=False)
    plan = planned(settings, cutter, "birch-plywood", cuts=(), cut_outs=(RING, box(18, 13, 5, 5)))
    through = [step for step in plan.operations if step.work is Work.CUT_THROUGH]
    assert len(through) > 1
    back = dataclasses.replace(plan, operations=tuple(through[::-1]))
    assert "loose by then" in " ".join(kept("order", back, settings))


@pytest.mark.parametrize("cutter", ["flat-1", "v-60"])
def test_pass_depth(cutter: str) -> None:
    plan = planned(USUAL, cutter, depth=2.5)
    work = Work.CLEAR
    assert "mm is the most" in " ".join(kept("pass depth", changed(plan, work, pass_mm=2.4), USUAL))
    assert kept("pass depth", plan, PathSettings(pass_mm=0.1))
    for step in plan.operations:  # only the last pass of each: nothing has made room for it
        if step.work is work:
            low = step.paths.xyz[:, 2] < -2.4
            last = Paths(step.paths.xyz[low], np.array([0, low.sum()]), np.array([False]))
            alone = dataclasses.replace(plan, operations=(dataclasses.replace(step, paths=last),))
            assert "at once" in " ".join(kept("pass depth", alone, USUAL))
    ramp = np.array([[6, 14, 0], [24, 14, -0.4], [6, 14, -0.8], [24, 14, -2.5], [6, 14, -2.5]], dtype=float)
    steep = Paths(ramp, np.array([0, len(ramp)]), np.array([False]))
    alone = dataclasses.replace(its_of(plan, work), paths=steep)
    assert kept("pass depth", dataclasses.replace(plan, operations=(alone,)), USUAL)


def its_of(plan: Plan, work: Work) -> Operation:
    return next(step for step in plan.operations if step.work is work)


def test_a_laser_s_passes() -> None:
    plan = planned(USUAL, "laser-fine", "linoleum", thickness=3.2)
    assert its_of(plan, Work.LOWER).passes == 3
    assert "1 passes for 1.5 mm, not 3" in " ".join(kept("pass depth", changed(plan, Work.LOWER, passes=1), USUAL))


@pytest.mark.parametrize(("cutter", "work"), [("flat-1", Work.WALL), ("v-60", Work.CENTRE_LINE), ("v-60", Work.WALL),
                                              ("laser-fine", Work.SHOULDER)])  # fmt: skip
def test_land(cutter: str, work: Work) -> None:
    plan = planned(USUAL, cutter, "birch-plywood")
    for by in ((0.05, 0, 0), (-0.05, 0, 0), (0, 0.05, 0)):
        assert "enters the land by 0.0" in " ".join(kept("land and kerf side", moved(plan, work, by), USUAL))
    # wholly in the land, farther from its edge than the groove is wide
    away = np.array([[33, 3, -0.5], [36, 3, -0.5]])
    lost = changed(plan, work, paths=Paths(away, np.array([0, 2]), np.array([False])))
    assert "enters the land" in " ".join(kept("land and kerf side", lost, USUAL))


@pytest.mark.parametrize("cutter", ["flat-1", "laser-fine"])
def test_kerf_side(cutter: str) -> None:
    """A line on the wrong side of an opening that lies in a cut area touches no land, and is refused all the same."""
    settings = PathSettings(cut_edge=True, tabs=False)
    plan = planned(settings, cutter, "birch-plywood", cuts=(box(3, 3, 34, 8), box(3, 12, 34, 3), ),
                   cut_outs=(box(10, 3, 8, 8),))  # fmt: skip
    half = 0.5 if cutter == "flat-1" else 0.1
    depth = its_of(plan, Work.CUT_THROUGH).depth_mm
    out = np.array(
        [[10 - half, 3 - half, -depth], [18 + half, 3 - half, -depth], [18 + half, 11, -depth], [10, 11, -depth]]
    )
    wrong = Paths(out * ((1, 1, 1) if cutter == "flat-1" else (1, 1, 0)), np.array([0, 4]), np.array([True]))
    said = " ".join(kept("land and kerf side", changed(plan, Work.CUT_THROUGH, paths=wrong), settings))
    assert "CUT THROUGH" in said or "CUT-OUT" in said
    assert "wrong side of its kerf" in said
    beside = np.array([[10 - half, 4, -depth], [10 - half, 10, -depth]]) * (
        (1, 1, 1) if cutter == "flat-1" else (1, 1, 0)
    )
    lowered = Paths(beside, np.array([0, 2]), np.array([False]))  # wholly in the cut area, outside the opening
    said = " ".join(kept("land and kerf side", changed(plan, Work.CUT_THROUGH, paths=lowered), settings))
    assert "wrong side of its kerf" in said
    edge = its_of(plan, Work.CUT_BLOCK).paths
    inwards = dataclasses.replace(edge, xyz=np.clip(edge.xyz, (half, half, -99), (40 - half, 30 - half, 0)))
    said = " ".join(kept("land and kerf side", changed(plan, Work.CUT_BLOCK, paths=inwards), settings))
    assert f"wrong side of its kerf by {2 * half:.3f} mm" in said


@pytest.mark.parametrize("cutter", ["flat-1", "v-60", "laser-fine"])
def test_clamps(cutter: str) -> None:
    """A clamp that nothing was told of lies on the cut; one that was is kept clear by half the groove."""
    plan = planned(USUAL, cutter, "birch-plywood")
    clamped = PathSettings(no_go=shapes(box(12, 3, 4, 9)))
    assert "goes where nothing may go" in " ".join(kept("clamps", plan, clamped))
    whole = planned(clamped, cutter, "birch-plywood")
    nearer = PathSettings(no_go=shapes(box(11.9, 2.9, 4.2, 9.2)))
    assert kept("clamps", whole, nearer)


@pytest.mark.parametrize(("cutter", "work"), [("flat-1", Work.WALL), ("flat-1", Work.CLEAR), ("laser-fine", Work.LOWER),
                                              ("v-60", Work.CENTRE_LINE)])  # fmt: skip
def test_doubled_lines(cutter: str, work: Work) -> None:
    plan = planned(USUAL, cutter, "birch-plywood")
    each = its_of(plan, work)
    twice = changed(plan, work, paths=joined([each.paths, picked(each.paths, np.array([each.paths.lengths.argmax()]))]))
    assert "followed twice" in " ".join(kept("doubled lines", twice, USUAL))
    back = Paths(each.paths.xyz[::-1], np.array([0, len(each.paths.xyz)]), np.array([False]))
    assert doubled(joined([each.paths, back])) > 0


def test_doubled_agrees_with_a_plain_count() -> None:
    rng = np.random.default_rng(3)
    xyz = rng.integers(0, 4, (400, 3)).astype(float)
    paths = Paths(xyz, np.arange(0, 401, 20), rng.random(20) < 0.5)
    pieces = []
    for k in range(20):
        side = [tuple(point) for point in xyz[20 * k : 20 * k + 20]]
        side += side[:1] if paths.closed[k] else []
        pieces += [frozenset(pair) for pair in itertools.pairwise(side) if pair[0] != pair[1]]
    assert doubled(paths) == len(pieces) - len(set(pieces)) > 0


def test_closed_paths() -> None:
    settings = PathSettings(tabs=False)
    plan = planned(settings, "laser-fine", "birch-plywood")
    for work, said in ((Work.LOWER, "outline is open"), (Work.CUT_THROUGH, "does not come free")):
        paths = its_of(plan, work).paths
        opened = dataclasses.replace(paths, closed=np.zeros(len(paths), dtype=bool))
        assert said in " ".join(kept("closed paths", changed(plan, work, paths=opened), settings))
    two = Paths(np.array([[6.0, 9, 0], [8, 9, 0]]), np.array([0, 2]), np.array([True]))
    assert "fewer than three" in " ".join(kept("closed paths", changed(plan, Work.LOWER, paths=two), settings))
    nowhere = Paths(np.array([[6.0, 9, 0], [8, np.nan, 0], [9, 9, 0]]), np.array([0, 3]), np.array([True]))
    assert "no place" in " ".join(kept("closed paths", changed(plan, Work.LOWER, paths=nowhere), settings))


def test_names() -> None:
    plan = planned(USUAL)
    same = tuple(dataclasses.replace(step, name="A") for step in plan.operations)
    assert kept("names", dataclasses.replace(plan, operations=same), USUAL)


def test_every_clause_has_its_test_here() -> None:
    named = {"floor", "bed", "order", "pass depth", "land and kerf side", "clamps", "doubled lines", "closed paths",
             "names"}  # fmt: skip
    assert set(CLAUSES) == named


@pytest.mark.parametrize("cutter", ["flat-1", "laser-fine"])
def test_a_broken_promise_stops_the_files(cutter: str, tmp_path, monkeypatch) -> None:
    job = job_of(cutter, "birch-plywood")
    whole = plan_for(job, USUAL)
    work = Work.WALL if cutter == "flat-1" else Work.SHOULDER
    monkeypatch.setattr("carvegen.delivery.block_folder.plan_for", lambda *_: moved(whole, work, (0.2, 0, 0)))
    with pytest.raises(CarvegenError, match=r"nothing is written: .*enters the land"):
        deliver([job], tmp_path / "out", Style(), say=lambda _: None)
    assert not (tmp_path / "out").exists()
    hold(whole, USUAL)


@pytest.mark.parametrize(("count", "said"), [(5, "p1; p2; p3; p4; p5"), (7, "p1; p2; p3; p4; p5 and 2 more")])
def test_an_error_names_five_broken_promises_and_counts_the_others(count, said, monkeypatch) -> None:
    monkeypatch.setattr(promises, "CLAUSES", {"any": lambda *_: (f"p{k + 1}" for k in range(count))})
    plan = Plan(job=job_of(), operations=(), unreached=shapes())
    with pytest.raises(CarvegenError, match=f"nothing is written: {said}$"):
        hold(plan, USUAL)


CUTTERS = ("flat-1", "flat-3", "v-30", "v-60", "v-90", "ball-1", "taper-0.5", "laser-fine", "laser-wide")
#: Materials take turns; each with every cutter where there is time for many.
PLANNED = [
    (cutter, material)
    for k, cutter in enumerate(CUTTERS)
    for m, material in enumerate(("linoleum", "birch-plywood", "basswood"))
    if MANY or m == k % 3
]


@pytest.mark.parametrize(("cutter", "material"), few(PLANNED, 3))
def test_all_that_is_planned_keeps_its_promises(cutter: str, material: str) -> None:
    """Cuts at the edge, cut-outs beside cuts, with and without clamps and in every way of clearing."""
    cuts = (box(0, 3, 9, 4), box(12, 4, 8, 8), box(20, 4, 6, 8), disc(32, 8, 3), box(4, 14, 30, 0.9), disc(9, 21, 4))
    for k, more in few(enumerate((
        {}, {"cleared": "lines", "lowered": "lines"}, {"plunge": True, "lowered": "contours", "tabs": False},
        {"no_go": shapes(box(14, 6, 8, 3)), "pass_mm": 0.4},
    )), 2):  # fmt: skip
        settings = PathSettings(
            cut_edge=k % 2 == 0, also_cutters=(SHELF.cutter("flat-3"),), line_spacing_mm=0.3, **more
        )
        job = job_of(cutter, material, cuts=cuts, cut_outs=(box(30, 16, 8, 8), box(16, 18, 7, 7)))
        plan = plan_for(job, settings)
        assert broken(plan, settings) == ()


@pytest.mark.parametrize("cutter", ["laser-fine", "flat-1", "flat-3", "v-60", "v-90"])
@pytest.mark.parametrize("clamp", [box(20, 0, 20, 30), box(19, 14, 2, 2), box(10, 5, 20, 20)])
def test_what_a_clamp_covers_of_a_round_cut_is_a_finding_and_a_remark_of_every_planner(cutter, clamp):
    """By shapely: half of the disc, a place in its midst, all of it; there is no corner that a V follows by a line."""
    plan = plan_for(job_of(cutter, cuts=(disc(20, 15, 6),), cut_outs=()), PathSettings(no_go=shapes(clamp)))
    assert plan is not None
    assert shapely.difference(disc(20, 15, 6).intersection(clamp), shapely.union_all(plan.covered)).area < 0.01
    assert [finding.kind for finding in plan.findings] == ["clamp-on-cut"]
    assert sum("uncut under or beside a clamp" in said for said in plan.remarks) == 1


def test_an_operation_that_names_no_pass_goes_down_to_its_whole_depth_at_once() -> None:
    settings = PathSettings()
    plan = planned(settings)
    deep = dataclasses.replace(
        plan, operations=tuple(dataclasses.replace(step, pass_mm=None) for step in plan.operations)
    )
    assert any("mm a pass where" in fault for fault in promises._passes(deep, settings))
    assert list(promises._unprepared(deep)) == []


def test_what_is_scored_stays_on_the_face() -> None:
    settings = PathSettings()
    plan = planned(settings)
    scored = dataclasses.replace(plan.operations[0], work=Work.SCORE, depth_mm=0.2)
    said = list(promises._floor(dataclasses.replace(plan, operations=(scored,)), settings))
    assert any("below the floor at 0.00 mm" in fault for fault in said)
