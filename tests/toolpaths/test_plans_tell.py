"""While a plan is made and held to its promises, and while a block is mended, it is told which share is done."""

from __future__ import annotations

from dataclasses import replace

import pytest

from carvegen.base.progress import Stages, TimeLeft, heard
from carvegen.checks.mending import mended_for_all
from carvegen.toolpaths import promises
from carvegen.toolpaths.laser.planner import laser_plan
from carvegen.toolpaths.settings import PathSettings
from tests.cases import block, box, setup

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
