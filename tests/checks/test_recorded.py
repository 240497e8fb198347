"""What is found on blocks with faults, and what mending makes of them, in figures (`tests/recorded.py`)."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import pytest
import shapely

from carvegen.blocks.block import Block
from carvegen.blocks.job import Job
from carvegen.blocks.register_marks import register_for
from carvegen.checks import checked
from carvegen.checks.mending import lost_pieces, mended, mended_for_all
from carvegen.facts.register import RegisterPlan
from tests.cases import block, box, disc, setup, shapes
from tests.recorded import Parts, Scenes, compare, of_findings, of_shapes, telling


def blob(x: float, y: float, size: float, turn: float = 0.0) -> shapely.Polygon:
    """A lumpy outline of 20 points."""
    angle = np.linspace(0, 2 * np.pi, 20, endpoint=False)
    reach = size / 2 * (1 + 0.25 * np.sin(2 * angle + turn) + 0.12 * np.sin(5 * angle + 2 * turn))
    return shapely.Polygon(np.column_stack([x + reach * np.cos(angle), y + reach * np.sin(angle)]))


def comb(x: float, y: float, gap: float, teeth: int = 5) -> shapely.Polygon:
    pitch = 1.2 + gap
    return shapely.union_all([box(x, y, teeth * pitch, 1.5), *(box(x + k * pitch, y, 1.2, 7) for k in range(teeth))])


RING = box(2, 18, 12, 9).difference(box(4.5, 20, 5, 4))
#: Narrow land, tips, islands, fine cuts, in one block.
FAULTS: dict[str, list[shapely.Polygon]] = {
    "combs": [comb(3, 2, 0.4), comb(14, 2, 0.47), comb(25, 2, 0.12, 4), comb(3, 12, 0.3, 4)],
    "islands": [
        disc(8, 8, 5).difference(disc(8, 8, 0.2)), disc(22, 8, 5).difference(disc(21, 9, 0.45)),
        disc(34, 8, 4).difference(box(32, 7, 3, 0.4)), RING, box(16, 18, 0.3, 6), box(18, 18, 0.15, 6),
    ],
    "tips": [
        shapely.Polygon([(2, 2), (20, 2), (20, 6.8), (8, 7), (20, 7.2), (20, 12), (2, 12)]),
        shapely.Polygon([(25, 0), (39, 0), (39, 10), (22, 10)]), shapely.Polygon([(4, 16), (18, 18), (4, 18.5)]),
        shapely.Polygon([(22, 14), (36, 13), (36, 20), (22, 14.4)]), box(20.3, 24, 10, 5.8),
    ],
    "blobs": [blob(4 + 4.4 * k + 0.5 * (row % 2), 4 + 4.1 * row, 3.2 + 0.4 * np.sin(k + 2 * row), k + row)
              for k in range(8) for row in range(6)],
}  # fmt: skip


def job_of(name: str, material: str = "linoleum", cutter: str = "v-60", **changed: Any) -> Job:
    cut_outs = changed.pop("cut_outs", ())
    return setup(material, cutter, **changed).on(block(*FAULTS.get(name, ()), cut_outs=cut_outs))


def found(name: str, *how: Any, **changed: Any) -> Parts:
    return of_findings(checked(job_of(name, *how, **changed)))


def found_cut_out() -> Parts:
    outs = shapes(RING, box(20, 0, 1, 30), box(25, 0, 4, 0.8), box(33, 26, 7, 1))
    return found("", "cherry", "laser-fine", cut_outs=outs)


def found_even() -> Parts:
    """Squares in rows; slanting bars that all point one way; cut with a waste that takes ink."""
    cuts = [box(5 + 6 * k, 5 + 6 * row, 2, 2) for k in range(20) for row in range(9)]
    cuts += [
        shapely.Polygon([(x, 70), (x + 2.5, 74.5), (x + 3, 74.2), (x + 0.5, 69.7)]) for x in np.arange(5, 120, 4.3)
    ]
    face = Block(
        name="sky", width_mm=140, height_mm=90, cuts=shapes(*cuts),
        register=register_for(RegisterPlan(method="stops"), (140.0, 90.0), "1 sky"),
    )  # fmt: skip
    return of_findings(checked(setup(cutter="flat-3", depth=0.5).on(face)))


def changed(before: Block, after: Block, changes: Any) -> Parts:
    kinds = sorted({each.what for each in changes})
    parts: dict[str, Any] = {"cuts": of_shapes(after.cuts)}
    for kind in kinds:
        some = [each for each in changes if each.what == kind]
        x, y = np.sum([each.at for each in some], axis=0)
        parts[kind] = {"count": len(some), "white": sum(each.white_mm2 for each in some), "x": x, "y": y}
    lost = lost_pieces(before, after, changes)
    return parts | {"lost": {"count": len(lost), "area": sum(each.area_mm2 for each in lost)}}


def mends(name: str, *how: Any, **more: Any) -> Parts:
    job = job_of(name, *how, **more)
    done = mended(job)
    return changed(job.block, done.job.block, done.changes) | of_findings(done.left)


def mends_beside(name: str, fixed: range, *outs: shapely.Polygon) -> Parts:
    """Beside cuts that stay as they are, and cut-outs."""
    job = job_of(name, cut_outs=outs)
    job = replace(job, block=replace(job.block, fixed=frozenset(fixed)))
    done = mended(job)
    return changed(job.block, done.job.block, done.changes) | of_findings(done.left)


def mends_for_two(name: str, white: shapely.Geometry | None = None) -> Parts:
    jobs = [job_of(name), job_of(name, "linoleum", "laser-fine")]
    done, changes = mended_for_all(jobs, white=white)
    return changed(jobs[0].block, done[0].block, changes)


JOBS: Scenes = {
    **{f"found: {name}": partial(found, name) for name in FAULTS},
    **{f"found: {name}, side grain": partial(found, name, "cherry", "v-30", depth=3.0) for name in FAULTS},
    "found: tips by a laser": partial(found, "tips", "basswood", "laser-fine"),
    "found: combs by a router": partial(found, "combs", "birch-plywood", "flat-1"),
    "found: cut out": found_cut_out,
    "found: even": found_even,
    **{f"mended: {name}": partial(mends, name) for name in FAULTS},
    "mended: combs, side grain": partial(mends, "combs", "cherry", "v-30", depth=2.0),
    "mended: islands by a laser": partial(mends, "islands", "birch-plywood", "laser-fine"),
    "mended: combs for two": partial(mends_for_two, "combs"),
    "mended: blobs, some fixed": partial(mends_beside, "blobs", range(0, 48, 5), box(35.4, 0, 4.6, 30)),
    "mended: combs, some fixed": partial(mends_beside, "combs", range(1, 3), box(3, 9.3, 30, 1.5)),
    "mended: tips beside cut-outs": partial(mends_beside, "tips", range(2), box(24, 20.2, 12, 3), disc(10, 14, 1.6)),
    "mended: islands for two, white kept": partial(mends_for_two, "islands", shapely.box(0, 0, 22, 24)),
    "mended: combs for two, white kept": partial(mends_for_two, "combs", shapely.box(0, 0, 17, 20)),
    "mended: blobs for two, white kept": partial(mends_for_two, "blobs", shapely.box(0, 0, 20, 14)),
    "mended: tips for two, white kept": partial(mends_for_two, "tips", shapely.box(0, 0, 40, 13)),
}
SCENES: Scenes = {name: partial(telling, job) for name, job in JOBS.items()}


@pytest.mark.parametrize("scene", SCENES)
def test_the_same_is_found_and_mended(scene: str) -> None:
    compare("checks", scene, SCENES[scene]())
