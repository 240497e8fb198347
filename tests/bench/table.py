"""The table of stages: what each costs in units, beside what is asked and beside the plain way.

The unit is the time in which the raw text of the same block's DXF is written by string formatting, just before and
just after the stage, so that figures of different machines, and of a machine whose speed swings, compare. Stages run as
in a command: the memory of arrays that are gone is kept, the collector rests. A new stage is a line in `STAGES`.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import shapely

from carvegen import geometry
from carvegen.base.collector import collector_at_rest
from carvegen.base.findings import Report
from carvegen.base.single_run import single_run
from carvegen.blocks.job import Job, setups_for
from carvegen.checks import checked
from carvegen.facts.profiles import Library
from carvegen.toolpaths.paths import Plan
from carvegen.writers.block.block_drawing import machine_dxf, machine_svg
from tests.bench.working_size import (
    FLAKES,
    HEIGHT,
    WIDTH,
    block_of,
    flakes,
    frost,
    plain_darts,
    plain_dxf,
    plain_opening,
    plain_svg,
    raw_dxf,
    setup,
    timed,
)

__all__ = ["STAGES", "Case", "Stage", "of_one_size", "of_sizes"]

SIZES = (5_000, 50_000, 200_000)
_UNITS = 2  #: times that the unit is measured before a stage and after it; the least of each counts
_DARTS, _DRAWN, _OPENED = 1500, 2000, 0.1  #: the parts on which plain ways are run


@dataclass
class Case:
    """A block of so many flakes, grown when it is first asked for, and what was measured."""

    count: int = FLAKES
    seconds: dict[str, float] = field(default_factory=dict)

    @property
    def share(self) -> float:
        """Its area over that of the working size."""
        return self.count / FLAKES

    @cached_property
    def job(self) -> Job:
        """The block with what it is cut from and with."""
        _warm()
        self.seconds["grow"], cuts = timed(lambda: flakes(setup(), share=self.share))
        return setup().on(block_of(cuts, share=self.share))

    def unit(self) -> float:
        """CPU seconds of the unit, now."""
        rings = geometry.rings(self.job.block.cuts)
        return min(timed(lambda: raw_dxf(rings))[0] for _ in range(_UNITS))

    def measured(self, stage: Stage) -> float:
        """CPU seconds of a stage; what grows the block is measured while it does."""
        job = self.job
        if stage.name not in self.seconds and stage.work is not None:
            self.seconds[stage.name] = timed(lambda: stage.work(job))[0]
        return self.seconds[stage.name] if stage.name in self.seconds else sum(self.seconds[k] for k in stage.sum_of)


@dataclass(frozen=True, kw_only=True)
class Stage:
    """A line of the table."""

    name: str
    asked: float  #: units at most
    work: Callable[[Job], Any] | None = None  #: none: it is measured as the block grows, or is a sum
    plain: Callable[[Job], float] | None = None  #: CPU seconds of the plain way, scaled to the same number of shapes
    beside: str = ""  #: what the plain way is
    sum_of: Sequence[str] = ()


def _darts(job: Job) -> float:
    return timed(lambda: plain_darts(setup(), _DARTS))[0] * len(job.block.cuts) / _DARTS


def _opening(job: Job) -> float:
    part = flakes(setup(), share=_OPENED)
    seconds, _ = timed(lambda: plain_opening(block_of(part, share=_OPENED), job.limits.land_mm))
    return seconds * len(job.block.cuts) / len(part)


def _documents(job: Job) -> float:
    few = job.block.cuts[:_DRAWN]
    with tempfile.TemporaryDirectory() as folder:
        seconds = timed(lambda: plain_svg(few))[0] + timed(lambda: plain_dxf(few, Path(folder)))[0]
    return seconds * len(job.block.cuts) / len(few)


def _proof(job: Job) -> None:
    from carvegen.writers.block.block_drawing import proof_svg
    from carvegen.writers.block.block_png import proof_png, proof_raster
    from carvegen.writers.proof.proof_pages import block_sheet
    from carvegen.writers.proof.proof_sheet import proof_sheet_html

    report = Report(())
    raster = proof_raster(job.block, 10.0)
    proof_png(job.block, raster=raster)
    proof_svg(job.block, report)
    proof_sheet_html(block_sheet([job], {"hand": report}, {}, [], pixels=raster.land))


def _guide(job: Job) -> None:
    from carvegen.writers.guide.guide_pdf import guide_pdf
    from carvegen.writers.guide.guide_svg import guide_svg
    from carvegen.writers.guide.hand_guide import hand_guide

    guide = hand_guide(job, "carbon", Report(()))
    guide_pdf(guide)
    guide_svg(guide)


def _laser(job: Job) -> None:
    from carvegen.writers.plan.plan_drawing import plan_dxf, plan_svg
    from carvegen.writers.plan.plan_png import plan_png

    plan = _plan(job, "laser-fine", "laser")
    for write in (plan_dxf, plan_svg, plan_png):
        write(plan)


def _plan(job: Job, cutter: str, machine: str) -> Plan:
    from carvegen.toolpaths import plan_for
    from carvegen.toolpaths.settings import PathSettings

    setup_ = setups_for(Library(), material="maple-end-grain", cutter=cutter, kinds=[machine], depth_mm=0.5)[0]
    plan = plan_for(setup_.on(job.block), PathSettings())
    assert plan is not None
    return plan


def _laser_twin(job: Job) -> float:
    from tests.bench.laser_paths import plain

    few = job.block.cuts[:_DRAWN]
    return timed(lambda: plain(few, 0.05))[0] * len(job.block.cuts) / len(few)


def _raster_twin(job: Job) -> float:
    from tests.bench.v_paths import plain_centre_lines

    few = job.block.cuts[:_DRAWN]
    return timed(lambda: plain_centre_lines(few))[0] * len(job.block.cuts) / len(few)


def _large_cuts(job: Job) -> None:
    """Two cuts of needles, one from below and one from above, with as many points together as two for each flake."""
    (below,) = frost(max(len(job.block.cuts), 400))
    low = shapely.transform(below, lambda xy: xy * (1, 0.48))
    high = shapely.transform(below, lambda xy: (WIDTH, HEIGHT) - xy * (1, 0.48))
    checked(setup().on(block_of(geometry.polygon_array([low, high]))))


def _warm() -> None:
    """Import what is imported late, and what only a first run takes."""
    few = setup().on(block_of(flakes(setup(), share=0.002), share=0.002))
    for stage in STAGES:
        if stage.work is not None:
            stage.work(few)


STAGES = (
    Stage(name="grow", asked=4, plain=_darts, beside=f"dart throwing, {_DARTS} flakes, scaled"),
    Stage(name="all checks", asked=4, work=checked, plain=_opening, beside="opening of the plate, a tenth, scaled"),
    Stage(
        name="SVG + DXF", asked=2, work=lambda job: (machine_svg(job), machine_dxf(job)), plain=_documents,
        beside=f"svgwrite and ezdxf, {_DRAWN} flakes, scaled",
    ),
    Stage(name="whole case", asked=10, sum_of=("grow", "all checks", "SVG + DXF")),
    Stage(name="proof png + svg + html", asked=4, work=_proof),
    Stage(name="guide: make, PDF, SVG", asked=8, work=_guide),
    Stage(
        name="laser plan + 3 files", asked=5, work=_laser, plain=_laser_twin,
        beside=f"inset and nearest next, {_DRAWN} flakes, scaled",
    ),
    Stage(
        name="V plan", asked=18, work=lambda job: _plan(job, "v-30", "router"), plain=_raster_twin,
        beside=f"rasters of 0.02 mm thinned, axis alone, {_DRAWN} flakes, scaled",
    ),
    Stage(name="check of two cuts", asked=8, work=_large_cuts),
)  # fmt: skip


@single_run()
def of_one_size(stages: Sequence[Stage] = STAGES) -> None:
    """Print each stage at the working size: seconds, units, whether those asked are met, how slow the plain way is."""
    case = Case()
    print(f"{len(case.job.block.cuts):,} flakes; land {case.job.limits.land_mm:g} mm\n")
    head = f"{'':<22}{'CPU s':>7}{'unit s':>8}{'units':>8}{'asked':>7}{'met':>5}{'plain s':>10}{'ratio':>8}"
    print(f"{head}   the plain way")
    plain: dict[str, float] = {}
    units: dict[str, float] = {}
    for stage in stages:
        before, seconds, after = case.unit(), case.measured(stage), case.unit()
        unit = (before + after) / 2
        units[stage.name] = sum(units[name] for name in stage.sum_of) or seconds / unit
        if stage.plain:
            plain[stage.name] = stage.plain(case.job)
        slow = plain[stage.name] if stage.plain else sum(plain[name] for name in stage.sum_of)
        report = f"{slow:10.1f}{slow / seconds:7.1f}x" if slow else f"{'':18}"
        row = f"{stage.name:<22}{seconds:7.2f}{unit:8.2f}{units[stage.name]:8.1f}{stage.asked:7g}"
        print(f"{row}{_met(units[stage.name], stage.asked)}{report}   {stage.beside}", flush=True)
    print(f"\n{sum(units[stage.name] <= stage.asked for stage in stages)} of {len(stages)} met")


def _met(measured: float, asked: float) -> str:
    return f"{'yes' if measured <= asked else 'NO':>5}"


def of_sizes(sizes: Sequence[int] = SIZES, stages: Sequence[Stage] = STAGES) -> None:
    """Print each stage at several sizes, each size in a process of its own: seconds, multiples of the first, memory."""
    result = []
    for size in sizes:
        run = [sys.executable, "-m", "tests.bench.table", str(size), *(item.name for item in stages)]
        result.append(json.loads(subprocess.run(run, check=True, capture_output=True, text=True).stdout))
    print(f"\n{'flakes':<22}" + "".join(f"{entry['flakes']:>28,}" for entry in result))
    for stage in stages:
        row = [each["seconds"][stage.name] for each in result]
        peaks = [one["memory_gb"].get(stage.name) for one in result]
        report = [f"{peak:7.2f} GB" if peak else " " * 10 for peak in peaks]
        print(
            f"{stage.name:<22}" + "".join(f"{s:9.2f} s{s / row[0]:6.1f}x{p}" for s, p in zip(row, report, strict=True))
        )


def beside_base(base: Path) -> None:
    """Print the sample's build and README's command: CPU seconds here, in an earlier state, and how they compare."""
    here = Path(__file__).parents[2]
    landing = str(here / "gallery" / "ferry-landing" / "landing.svg")
    snowfall = [
        "snowfall", "--size", "200x150", "--material", "linoleum", "--cutter", "laser-fine", "--seed", "7",
        "--keep-clear", landing, "--opening", "circle 152 88 16", "--out", "sky",
    ]  # fmt: skip
    print(f"\n{'':<22}{'CPU s':>7}{'base':>8}{'share':>7}{'asked':>7}{'met':>5}")
    for name, asked, arguments in (("sample build", 0.5, None), ("README's command", 0.6, snowfall)):
        own, other = (_command(tree, arguments) for tree in (here, base))
        print(f"{name:<22}{own:7.1f}{other:8.1f}{own / other:7.2f}{asked:7g}{_met(own / other, asked)}", flush=True)


def _command(tree: Path, arguments: Sequence[str] | None) -> float:
    """CPU seconds of a command of a worktree, in this environment; none: the build of the sample print."""
    carvegen = [sys.executable, "-c", "from carvegen.interfaces.cli import main; main()"]
    where = {**os.environ, "PYTHONPATH": str(tree)}
    with tempfile.TemporaryDirectory() as folder:

        def run(*words: str) -> None:
            done = subprocess.run([*carvegen, *words], cwd=folder, env=where, check=False, capture_output=True)
            assert done.returncode in (0, 1), done.stderr.decode()

        if arguments is None:
            run("new", "landing")
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        run(*(arguments or ("build", "landing/print.toml", "--out", "built")))
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


@collector_at_rest()  # arrays that are gone are handed back: what is kept would count as a stage's memory
def _measured(size: int, names: Sequence[str]) -> dict[str, Any]:
    case = Case(size)
    flakes, memory = len(case.job.block.cuts), dict[str, float]()
    memory["grow"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    for stage in STAGES:
        if stage.name in names and stage.work is not None:
            case.seconds[stage.name], memory[stage.name] = _alone(stage, case.job)
    return {
        "flakes": flakes, "seconds": {each.name: case.measured(each) for each in STAGES if each.name in names},
        "memory_gb": memory,
    }  # fmt: skip


def _alone(stage: Stage, job: Job) -> tuple[float, float]:
    """CPU seconds and peak memory, GB, of a stage in a copy of this process, which begins with no peak of another."""
    assert stage.work is not None
    child = os.fork()
    if child == 0:
        stage.work(job)
        os._exit(0)
    _, status, used = os.wait4(child, 0)
    assert status == 0, stage.name
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1e6


if __name__ == "__main__":
    print(json.dumps(_measured(int(sys.argv[1]), sys.argv[2:])))
