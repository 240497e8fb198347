"""What the proof sheet tells of one block, and of a whole print."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.colour import Ink, hex_of
from carvegen.base.finding_groups import grouped
from carvegen.facts.cautions import PRINTING, caution
from carvegen.writers.block.block_png import INK, PAPER
from carvegen.writers.block.width_map import width_key, width_layer_png
from carvegen.writers.proof.proof_cards import Card, card
from carvegen.writers.proof.proof_sheet import Impression, ProofSheet

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.findings import Finding, Report
    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Job, Setup
    from carvegen.geometry import Mask, Rings
    from carvegen.prints.file.print_file import Print
    from carvegen.writers.block.width_map import LandWidths
    from carvegen.writers.whole_print.print_png import Coat
    from carvegen.writers.whole_print.print_report import PrintReport

__all__ = ["block_sheet", "print_sheet"]


def block_sheet(
    jobs: Sequence[Job], reports: Mapping[str, Report], files: Mapping[str, str], questions: Sequence[str],
    *, widths: LandWidths | None = None, pixels: Mask | None = None,
) -> ProofSheet:  # fmt: skip
    """The sheet of one block; findings that hold for several machines are told once, with their names.

    `pixels`: those of its proof of which land takes the most (`ProofRaster.land`), if they are computed already.
    """
    block = jobs[0].block
    least = max(job.limits.land_mm for job in jobs)
    return ProofSheet(
        title=block.name,
        summary=f"What the block prints, {block.width_mm:g} × {block.height_mm:g} mm, as the paper will show it. "
        f"{block.white_share:.1%} stays white.",
        width_mm=block.width_mm,
        height_mm=block.height_mm,
        paper=PAPER,
        plates=[Impression(
            name=block.name, ink=Ink(colour=INK, opacity=1.0), land=block.land_rings,
            to_decide=geometry.rings(block.free) if len(block.free) else None, pixels=pixels,
        )],
        cut_before=geometry.rings(block.cut_before) if len(block.cut_before) else None,
        cards=_cards(reports),
        kept=_kept(block),
        settings={k: v for job in jobs for k, v in _setting(job)},
        files=files,
        questions=questions,
        cautions=_cautions(jobs),
        width_map=width_layer_png(block, widths, px_per_mm=6.0) if widths else None,
        width_key=width_key(least),
    )  # fmt: skip


def _cards(reports: Mapping[str, Report]) -> list[Card]:
    """Every finding once, grouped, with the machines that it holds for; those of the first numbered as in proof.svg."""
    kinds_of: dict[Finding, list[str]] = {}
    for kind, report in reports.items():
        for finding in report:
            kinds_of.setdefault(finding, []).append(kind)
    groups = grouped(kinds_of, apart=[tuple(kinds) for kinds in kinds_of.values()])
    return [card(group, kinds=kinds_of[group.worst]) for group in groups]


def _kept(block: Block) -> Rings | None:
    """What is kept clear and stands."""
    if not len(block.kept):
        return None
    cut = shapely.union_all(np.concatenate([block.cuts, block.cut_outs]))
    return geometry.rings(geometry.parts(shapely.difference(shapely.union_all(block.kept), cut)))


def _setting(job: Job) -> Iterator[tuple[str, str]]:
    kind = "by hand" if job.machine.kind == "hand" else f"by {job.machine.kind}"
    yield "material", f"{job.material.name}, {job.thickness_mm:g} mm thick"
    yield (
        kind,
        f"{job.cutter.name}, {job.depth_mm:g} mm deep; narrowest land {job.limits.land_mm:.2f} mm, smallest island "
        f"{job.limits.dot_mm:.2f} mm, smallest cut {job.limits.cut_mm:.2f} mm",
    )


def _cautions(setups: Sequence[Setup]) -> list[str]:
    """Every caution once: whom to ask first, of the machines, of the materials, of printing."""
    first = [text for job in setups for text in job.machine.cautions[:1]]
    machines = [text for job in setups for text in job.machine.cautions[1:]]
    materials = [text for job in setups for text in job.permit.cautions]
    return list(dict.fromkeys([*first, *machines, *materials, *map(caution, PRINTING)]))


def print_sheet(
    print_: Print, coats: Mapping[str, Coat], report: PrintReport, files: Mapping[str, str],
    setups: Sequence[Setup] = (), *, to_decide: Mapping[str, BaseGeometry] | None = None,
) -> ProofSheet:  # fmt: skip
    """The sheet of a whole print: its inks over one another, each a layer.

    Parameters
    ----------
    coats
        What each block prints, in printing order.
    report
        All findings of the print.
    to_decide
        By block what marks leave to the carver; it is shown pale.
    """
    inks = {
        f"ink of {name}": f"{hex_of(coat.ink.colour)}, opacity {coat.ink.opacity:g}" for name, coat in coats.items()
    }
    return ProofSheet(
        title=print_.name,
        summary=f"The whole print, {print_.width_mm:g} × {print_.height_mm:g} mm, as the paper will show it.",
        width_mm=print_.width_mm,
        height_mm=print_.height_mm,
        paper=print_.paper,
        plates=[
            Impression(
                name=name, ink=coat.ink, land=geometry.rings(geometry.parts(coat.land)),
                to_decide=geometry.rings(geometry.parts(open_)) if (open_ := (to_decide or {}).get(name)) else None,
            )
            for name, coat in coats.items()
        ],
        cards=[card(group, block=block, kinds=kinds) for group, block, kinds in report.groups],
        settings={
            "trap": f"{print_.trap_mm:g} mm",
            "register error allowed for": f"{print_.register_error_mm:g} mm",
            **inks,
        },
        files=files,
        questions=report.questions,
        cautions=_cautions(setups),
    )  # fmt: skip
