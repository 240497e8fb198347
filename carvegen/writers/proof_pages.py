"""What the proof sheet tells of one block, and of a whole print."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from carvegen import geometry
from carvegen.colour import Ink, hex_of
from carvegen.writers.png import INK, PAPER
from carvegen.writers.proof_sheet import Place, Plate, ProofSheet
from carvegen.writers.width_map import width_map_png

if TYPE_CHECKING:
    from carvegen.findings import Finding, Report
    from carvegen.job import Job, Setup
    from carvegen.printfile import Print
    from carvegen.writers.print_png import Coat

__all__ = ["block_sheet", "print_sheet"]


def block_sheet(
    jobs: Sequence[Job], reports: Mapping[str, Report], files: Mapping[str, str], questions: Sequence[str],
    *, width_map: bool,
) -> ProofSheet:  # fmt: skip
    """The sheet of one block; findings that hold for several machines are told once, with their names."""
    block = jobs[0].block
    least = max(job.limits.land_mm for job in jobs)
    return ProofSheet(
        title=block.name,
        summary=f"What the block prints, {block.width_mm:g} × {block.height_mm:g} mm, as the paper will show it. "
        f"{block.white_share:.1%} stays white.",
        width_mm=block.width_mm,
        height_mm=block.height_mm,
        paper=PAPER,
        plates=[Plate(name=block.name, ink=Ink(colour=INK, opacity=1.0), land=block.land_rings)],
        places=[_place(finding, kinds) for finding, kinds in _each_once(reports)],
        settings={k: v for job in jobs for k, v in _setting(job)},
        files=files,
        questions=questions,
        cautions=_cautions(jobs),
        width_map=width_map_png(block, least, px_per_mm=6.0) if width_map else None,
    )


def _each_once(reports: Mapping[str, Report]) -> list[tuple[Finding, list[str]]]:
    found: dict[Finding, list[str]] = {}
    for kind, report in reports.items():
        for finding in report:
            found.setdefault(finding, []).append(kind)
    return sorted(found.items(), key=lambda its: its[0].severity)


def _place(finding: Finding, kinds: Sequence[str]) -> Place:
    return Place(
        at=finding.at,
        to=finding.to,
        severity=finding.severity.label,
        title=f"{finding.rule} {finding.measured:.2f}, limit {finding.limit:.2f} {finding.unit}",
        words=f"For {', '.join(kinds)}. {_sentence(finding.why)} What to do: {_sentence(finding.remedy)}",
    )


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].rstrip('.')}." if text else ""


def _setting(job: Job) -> Iterator[tuple[str, str]]:
    kind = "by hand" if job.machine.kind == "hand" else f"by {job.machine.kind}"
    yield "material", f"{job.material.name}, {job.thickness_mm:g} mm thick"
    yield (
        kind,
        f"{job.cutter.name}, {job.depth_mm:g} mm deep; narrowest land {job.limits.land_mm:.2f} mm, smallest island "
        f"{job.limits.dot_mm:.2f} mm, smallest cut {job.limits.cut_mm:.2f} mm",
    )


def _cautions(ways: Sequence[Setup]) -> list[str]:
    every = [text for job in ways for text in (*job.permit.cautions, *job.machine.cautions)]
    return list(dict.fromkeys(every))


def print_sheet(
    given: Print, coats: Mapping[str, Coat], report: Mapping[str, Any], files: Mapping[str, str],
    ways: Sequence[Setup] = (),
) -> ProofSheet:  # fmt: skip
    """The sheet of a whole print: its inks over one another, each a layer.

    Parameters
    ----------
    coats
        What each block prints, in printing order.
    report
        As `writers.print_report.print_report` gives it.
    """
    inks = {
        f"ink of {name}": f"{hex_of(coat.ink.colour)}, opacity {coat.ink.opacity:g}" for name, coat in coats.items()
    }
    return ProofSheet(
        title=given.name,
        summary=f"The whole print, {given.width_mm:g} × {given.height_mm:g} mm, as the paper will show it.",
        width_mm=given.width_mm,
        height_mm=given.height_mm,
        paper=given.paper,
        plates=[
            Plate(name=name, ink=coat.ink, land=geometry.rings(geometry.parts(coat.land)))
            for name, coat in coats.items()
        ],
        places=[
            Place(
                at=its["at_mm"] and (its["at_mm"][0], its["at_mm"][1]),
                to=its["to_mm"] and (its["to_mm"][0], its["to_mm"][1]),
                severity=its["severity"],
                title=f"{block}: {its['rule']} {its['measured']:.2f}, limit {its['limit']:.2f} {its['unit']}",
                words=f"{_sentence(its['why'])} What to do: {_sentence(its['remedy'])}",
            )
            for severity in ("breaks", "risk", "advice")
            for block, found in report["blocks"].items()
            for its in found
            if its["severity"] == severity
        ],
        settings={
            "trap": f"{given.trap_mm:g} mm",
            "register error allowed for": f"{given.register_error_mm:g} mm",
            **inks,
        },
        files=files,
        questions=report["decide_first"],
        cautions=_cautions(ways),
    )
