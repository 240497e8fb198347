"""While a plan is made and held to its promises, and while a block is mended, it is told which share is done."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from carvegen.base.progress import Stages, TimeLeft, heard
from carvegen.base.streams import stream
from carvegen.blocks.job import USUAL_MACHINES
from carvegen.checks.mending import mended_for_all
from carvegen.toolpaths import plan_for, promises
from carvegen.toolpaths.laser.planner import laser_plan
from carvegen.toolpaths.paths import Paths
from carvegen.toolpaths.router import planner
from carvegen.toolpaths.sequence.order import ordered
from carvegen.toolpaths.settings import PathSettings
from tests.cases import SHELF, block, box, setup

ROUTER = SHELF.machine(USUAL_MACHINES["router"])
CUTS = [box(2 + 6 * k, 2 + 6 * row, 4, 4) for k in range(6) for row in range(4)]


def shares_of(work) -> list[float]:
    shares: list[float] = []
    with heard(shares.append):
        work()
    return shares


@pytest.mark.parametrize("lowered", ["shapes", "lines", "contours"])
def test_a_laser_plan_tells_of_its_steps(lowered):
    """Three steps down: for each where the beam goes and its paths, then what is left; never backwards."""
    job = setup(cutter="laser-fine").on(block(*CUTS))
    shares = shares_of(lambda: laser_plan(job, PathSettings(lowered=lowered)))
    assert len(set(shares)) >= 6
    assert shares == sorted(shares)
    assert shares[0] < 0.2
    assert shares[-1] == pytest.approx(1)


@pytest.mark.parametrize(("cutter", "also", "least"), [("v-60", (), 30), ("v-60", ("flat-3",), 40), ("flat-1", (), 10)])
def test_a_router_s_plan_tells_of_its_steps(cutter, also, least):
    job = setup(cutter=cutter, machine=ROUTER).on(block(*CUTS))
    shares = shares_of(lambda: plan_for(job, PathSettings(also_cutters=tuple(map(SHELF.cutter, also)))))
    assert len(set(shares)) >= least
    assert shares == sorted(shares)
    assert shares[0] <= 0.1
    assert shares[-1] == pytest.approx(1)


def test_what_a_further_cutter_clears_is_looked_for_in_lots_and_is_the_same(monkeypatch):
    settings = PathSettings(also_cutters=(SHELF.cutter("flat-3"),))
    job = setup(cutter="v-60", machine=ROUTER).on(block(*CUTS, box(40, 3, 15, 30)))
    plans = [plan_for(job, settings)]
    whole = shares_of(lambda: plan_for(job, settings))
    monkeypatch.setattr(planner, "_LOT", 3)
    lots = shares_of(lambda: plans.append(plan_for(job, settings)))
    assert len(set(lots)) >= len(set(whole)) + 7
    one, other = plans
    assert len(one.operations) == len(other.operations) > 2
    for a, b in zip(one.operations, other.operations, strict=True):
        assert a.paths.xyz.tobytes() == b.paths.xyz.tobytes()


def test_a_tour_tells_each_of_its_rounds_and_each_rank_has_its_part():
    """Of 300 stops in two ranks: linked in a few rounds, bettered in a dozen or more."""
    xy = stream(5, "tells").uniform(0, 100, (300, 2))
    dots = Paths(np.column_stack([xy, np.zeros(300)]), np.arange(301), np.zeros(300, dtype=bool))
    shares = shares_of(lambda: ordered(dots, rank=np.repeat([0, 1], [240, 60])))
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1)
    first = [share for share in set(shares) if share < 0.79]
    assert len(first) >= 10
    assert len([share for share in set(shares) if share > 0.81]) >= 8


def test_looking_at_the_land_is_told_in_lots_and_finds_the_last_path_that_enters_it(monkeypatch):
    job, lines = setup(cutter="laser-fine").on(block(*CUTS)), PathSettings(lowered="lines")
    plan = laser_plan(job, lines)
    monkeypatch.setattr(promises, "_CHUNK", 50)
    shares = shares_of(lambda: promises.hold(plan, lines))
    assert len({round(share, 3) for share in shares}) > 20
    assert max(shares) == pytest.approx(1)
    assert min(shares) < 0.05
    monkeypatch.setattr(promises, "_LOT", 3)
    assert len(set(shares_of(lambda: promises.hold(plan, lines)))) > len(set(shares)) + 20
    operation = max(plan.operations, key=lambda each: len(each.paths))
    sampled = shares_of(lambda: list(promises._in_chunks(operation.paths, (0.3, 1))))
    assert len(sampled) > 5
    assert 0.3 == min(sampled) < max(sampled) < 1
    xyz = operation.paths.xyz.copy()
    xyz[operation.paths.start[-2] :, 0] += 0.5
    moved = replace(operation, paths=replace(operation.paths, xyz=xyz))
    assert promises.into_land_mm(plan, moved) > 0.4 > 0.02 > promises.into_land_mm(plan, operation)


def test_mending_tells_of_each_machine_and_of_each_round():
    """Land of 0.2 mm is widened in the first round; each round's share is told under the round's own words."""
    jobs = [
        setup(cutter=cutter).on(block(box(5, 5, 10, 10), box(15.2, 5, 10, 10))) for cutter in ("v-60", "laser-fine")
    ]
    said: list[str] = []
    clock = iter(range(0, 10_000, 3))
    stages = Stages(said.append, clock=lambda: float(next(clock)))
    with heard(stages.hear):
        mended_for_all(jobs, say=stages)
    begun = [line for line in said if not isinstance(line, TimeLeft)]
    kinds = {job.machine.kind for job in jobs}
    assert {line for line in begun if line.startswith("looking")} == {
        f"looking for thin places for the {k}" for k in kinds
    }
    assert "making thin places wider, round 1" in begun
    assert any(line.startswith("looking for thin places for the") and "% done" in line for line in said)
