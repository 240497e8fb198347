"""What is handed over: one folder with a proof and, for each machine and the hand, its files and note."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from functools import partial
from importlib import import_module
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from PIL import Image

from carvegen.base.files import staged_folder, write_file
from carvegen.base.previous_run import (
    Earlier,
    earlier,
    keep_edited,
    write_record,
)
from carvegen.base.progress import reached
from carvegen.base.words import shortened
from carvegen.blocks.from_motif import strictest
from carvegen.checks import checked
from carvegen.checks.mending import left_over, lost_pieces, mended_for_all, mending_words
from carvegen.delivery.delivery_files import OWNED, contents, contents_for
from carvegen.delivery.side_by_side import side_by_side
from carvegen.facts.profiles import Verdict
from carvegen.prints.tasks import Later
from carvegen.toolpaths import plan_for
from carvegen.toolpaths.promises import hold
from carvegen.toolpaths.settings import FileSettings, PathSettings
from carvegen.toolpaths.unmade.shortfalls import with_plan
from carvegen.writers.block.block_drawing import machine_dxf, machine_svg, proof_svg
from carvegen.writers.block.block_png import change_png, old_cuts_png, proof_png, proof_raster
from carvegen.writers.block.width_map import land_widths, width_map_png, width_map_svg
from carvegen.writers.file_names import CUT_PICTURE
from carvegen.writers.guide.guide_pdf import guide_pdf
from carvegen.writers.guide.guide_svg import guide_svg
from carvegen.writers.guide.hand_guide import hand_guide
from carvegen.writers.note.block_note import machine_note
from carvegen.writers.plan.plan_drawing import plan_dxf, plan_svg
from carvegen.writers.plan.plan_files import PlanExtras, extras
from carvegen.writers.plan.plan_png import plan_png
from carvegen.writers.proof.proof_pages import block_sheet
from carvegen.writers.proof.proof_sheet import proof_sheet_html

if TYPE_CHECKING:
    from carvegen.base.findings import Report
    from carvegen.base.limits import Limits
    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Job, Setup
    from carvegen.checks.mending import CutChange, LostPiece
    from carvegen.delivery.side_by_side import Say, Task
    from carvegen.geometry import Mask
    from carvegen.toolpaths.paths import Plan

__all__ = ["Delivery", "Style", "deliver", "load_writers", "question", "style_of"]

_PROOF_PX_PER_MM = 10.0
_PROOF_PX = 50_000_000  #: pixels in a proof at most: a larger block is shown more coarsely

_OVERLAP_MM = 1.0  #: a router runs so far into old cuts beside new ones, so that no ridge is left; our own choice
_NOTE = 1000  #: letters of a note, in which names of others may stand
_MOST_BESIDE = 50_000  #: shapes for which a router that is not the main machine is planned, too


@dataclass(frozen=True, kw_only=True)
class Style(FileSettings):
    """How the files are written, where there is a choice."""

    mend: bool = False  #: mend the cuts first where a limit breaks
    paths: PathSettings | None = field(default_factory=PathSettings)  #: how paths are made; None: no paths
    notes: tuple[str, ...] = ()  #: what was understood of the drawings that were read, and where they lie


def style_of(files: Mapping[str, Any]) -> Style:
    """The style that a print file's table [files] asks for; choices about toolpaths lie among the others."""
    own = {spec.name for spec in fields(PathSettings)}
    plain = {name: value for name, value in files.items() if name not in own and name != "paths"}
    chosen = {name: value for name, value in files.items() if name in own}
    return Style(**plain, paths=PathSettings(**chosen) if files.get("paths", True) else None)


@dataclass(frozen=True, kw_only=True)
class Delivery:
    """What was handed over."""

    files: Mapping[str, str]  #: relative name to what it is for, in the order to look at them
    reports: Mapping[str, Report]  #: by kind of machine, the main one first
    open_questions: tuple[str, ...]  #: what the shop must be asked
    block: Block  #: as it was written
    changes: tuple[CutChange, ...] = ()  #: what was mended
    lost: tuple[LostPiece, ...] = ()  #: the land that mending took away whole
    limits: Limits | None = None  #: that mending went by
    notes: tuple[str, ...] = ()  #: on the drawings that were read
    simulated: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)  #: figures by kind of machine
    earlier: Earlier = field(default_factory=Earlier)  #: what the folder held of an earlier run; not in the report

    def to_dict(self) -> dict[str, Any]:
        """The delivery as plain values, for JSON."""
        return {
            "files": dict(self.files),
            "open_questions": list(self.open_questions),
            "notes": list(self.notes),
            "changes": [asdict(change) for change in self.changes],
            "lost": [asdict(piece) for piece in self.lost],
            "reports": {kind: report.to_dict() for kind, report in self.reports.items()},
            "simulated": dict(self.simulated),
        }


def load_writers(kinds: Sequence[str]) -> None:
    """Import now what files for these kinds of machine take, while others work: copies of this process share it.

    What only some settings ask for, such as the simulation, is left to whoever is asked for it.
    """
    Image.preinit()  # else each copy of this process loads what writes pictures
    for name in dict.fromkeys(name for kind in kinds for name in _LOADED.get(kind, ())):
        import_module(name)


#: What is imported late otherwise, by kind of machine: of DXF, of the ways between paths, of their planners.
_LOADED: Mapping[str, Sequence[str]] = MappingProxyType({
    "laser": ("ezdxf", "scipy.spatial", "carvegen.toolpaths.laser.planner"),
    "router": ("ezdxf", "scipy.spatial", "carvegen.toolpaths.v_carving.planner"),
})  # fmt: skip


def deliver(
    jobs: Sequence[Job], out: Path, style: Style, *, say: Callable[[str], None], processes: int = 1,
    mended: tuple[CutChange, ...] | None = None, lost: tuple[LostPiece, ...] = (),
) -> Delivery:  # fmt: skip
    """Check the jobs of one block and write their files into the folder `out`, all or none.

    Parameters
    ----------
    jobs
        One for each kind of machine, the main one first.
    say
        Told at the start of each stage.
    processes
        How many may work at once, each for another machine. The files are the same with any number.
    mended, lost
        What was mended on the block before and which land went with it, to be told; None: nobody asked to mend it.

    Raises
    ------
    InputError
        If the folder can't be written, or holds files of another origin under the same names.
    CarvegenError
        If a plan breaks what is promised of every plan.
    """
    before = jobs[0].block
    own: tuple[CutChange, ...] = ()
    if style.mend:
        jobs, own = mended_for_all(jobs, say=say)
        lost += lost_pieces(before, jobs[0].block, own)
    changes, asked = (*(mended or ()), *own), style.mend or mended is not None
    untold = {
        job.machine.kind: why for job in jobs if style.paths is not None and (why := _left_out(job, jobs[0], style))
    }
    unused = _unused(jobs, style)
    for note in (*untold.values(), *unused):
        say(note)
    limits = strictest(job.limits for job in jobs)
    block, questions = jobs[0].block, tuple(filter(None, map(question, jobs)))
    scale = _px_per_mm(block.width_mm, block.height_mm)
    with staged_folder(out, owned=OWNED) as stage:
        words = mending_words(changes, lost, limits)
        works = {
            job.machine.kind: _Work(
                stage=stage, job=job, style=style, untold=untold.get(job.machine.kind, ""), several=len(jobs) > 1,
                asked=asked, mended=words,
            )
            for job in jobs
        }  # fmt: skip
        tasks: dict[str, Task | Later] = {}
        longest: list[str] = []
        for work in works.values():
            steps = _in_steps(work) if processes > 1 and work.takes_longest else {work.kind: partial(_made, work)}
            longest += steps if work.takes_longest else []
            tasks |= steps
        tasks[_PROOF] = partial(_draw_proof, stage, block, scale)
        done = side_by_side(tasks, jobs=processes, say=say, slight=[_PROOF], longest=longest)
        made: dict[str, _Made] = {kind: done[kind] for kind in works}
        reports = {kind: each.report for kind, each in made.items()}
        planned = {kind: each.planned for kind, each in made.items() if each.planned is not None}
        recut = len(block.cut_before) > 0
        files = contents(reports, planned, changed=bool(own), width_map=style.width_map, recut=recut)
        delivery = Delivery(
            files=files, reports=reports, open_questions=questions, block=block, changes=changes, lost=lost,
            limits=limits,
            notes=(*style.notes, *(f"WARNING: {note}" for note in (*untold.values(), *unused))),
            simulated={kind: each.simulated for kind, each in made.items() if each.simulated is not None},
            earlier=earlier(out, owned=OWNED, made=files, sign="report.json"),
        )  # fmt: skip
        _write_whole(stage, delivery, jobs, style, done[_PROOF])
        if own:
            write_file(stage / "changes.png", change_png(before, block, px_per_mm=scale))
        write_record(stage, files)
        keep_edited(delivery.earlier, out, stage)
    return delivery


def _write_whole(stage: Path, delivery: Delivery, jobs: Sequence[Job], style: Style, pixels: Mask) -> None:
    """The files that are not of one job alone: proof, report, and on request how wide the land is."""
    block, reports = delivery.block, delivery.reports
    write_file(stage / "proof.svg", proof_svg(block, reports[jobs[0].machine.kind]))
    widths = land_widths(block, max(job.limits.land_mm for job in jobs)) if style.width_map else None
    sheet = block_sheet(jobs, reports, delivery.files, delivery.open_questions, widths=widths, pixels=pixels)
    write_file(stage / "proof.html", proof_sheet_html(sheet))
    write_file(stage / "report.json", json.dumps(delivery.to_dict(), indent=1) + "\n")
    if widths is not None:
        write_file(stage / "land-width.png", width_map_png(block, widths))
        write_file(stage / "land-width.svg", width_map_svg(block, widths))


_PROOF = " proof"  #: among the tasks of machines, whose names don't begin with a space
_PATHS, _PROMISES = " paths of the ", " promises of the "  #: steps of a machine's task; its name follows


@dataclass(frozen=True, kw_only=True, eq=False)
class _Work:
    """What is to be done for one machine, or the hand."""

    stage: Path
    job: Job
    style: Style
    untold: str  #: why it gets no paths
    several: bool  #: whether it is one of several
    asked: bool  #: whether the block was to be mended
    mended: str  #: in words

    @property
    def kind(self) -> str:
        return self.job.machine.kind

    @property
    def settings(self) -> PathSettings | None:
        """How its paths are made; None: it has none."""
        return None if self.untold else self.style.paths

    @property
    def takes_longest(self) -> bool:
        """Whether its paths take as long as all that is done for others: a router's."""
        return self.kind == "router" and self.settings is not None


@dataclass(frozen=True, kw_only=True)
class _Made:
    """What was found on a job, and which files its plan has."""

    report: Report
    planned: tuple[str, ...] | None  #: none without a plan
    simulated: Mapping[str, Any] | None


def _made(work: _Work, say: Say) -> _Made:
    """Check one job, plan it and write its files."""
    report, plan = _report(work, say), _plan(work, say)
    _hold(work, plan, say)
    return _written(work, report, plan, say)


def _in_steps(work: _Work) -> dict[str, Task | Later]:
    """The same as tasks: what a plan promises is looked at while the files are written, and others work beside it.

    Nothing is handed over before both are done.
    """
    paths = _PATHS + work.kind
    return {
        paths: partial(_plan_sent, work),
        work.kind: Later(needs=[paths], make=lambda done: partial(_checked_and_written, work, done[paths].of(work))),
        _PROMISES + work.kind: Later(needs=[paths], make=lambda done: partial(_hold, work, done[paths].of(work))),
    }


@dataclass(frozen=True, eq=False)
class _Sent:
    """A plan as one process sends it to another that knows the block: without its job."""

    plan: Mapping[str, Any] | None

    def of(self, work: _Work) -> Plan | None:
        from carvegen.toolpaths.paths import Plan

        return None if self.plan is None else Plan(job=_machined(work.job), **self.plan)


def _plan_sent(work: _Work, say: Say) -> _Sent:
    plan = _plan(work, say)
    names = [each.name for each in fields(plan) if each.name != "job"] if plan is not None else []
    return _Sent(None if plan is None else {name: getattr(plan, name) for name in names})


def _report(work: _Work, say: Say) -> Report:
    say(f"checking for the {work.kind}" if work.several else "checking")
    return left_over(checked(work.job)) if work.asked else checked(work.job)


def _checked_and_written(work: _Work, plan: Plan | None, say: Say) -> _Made:
    return _written(work, _report(work, say), plan, say)


def _written(work: _Work, report: Report, plan: Plan | None, say: Say) -> _Made:
    """Write the files of one job."""
    kind, settings = work.kind, work.settings
    more = None
    if plan is not None and settings is not None:
        report = with_plan(report, plan)
        if settings.simulated:
            say(f"simulating the {kind}")
        more = extras(plan, settings)
    say(f"writing for the {kind}")
    _write_job(work, report, plan, more or PlanExtras())
    if more is None:
        return _Made(report=report, planned=None, simulated=None)
    return _Made(report=report, planned=more.names, simulated=more.to_dict() if more.simulated else None)


def _draw_proof(stage: Path, block: Block, px_per_mm: float, say: Say) -> Mask:
    """Draw the proof, and hand on which of its pixels are land: the page shows the same ones."""
    say("drawing the proof")
    raster = proof_raster(block, px_per_mm)
    write_file(stage / "proof.png", proof_png(block, px_per_mm=px_per_mm, raster=raster))
    return raster.land


def _router_only(style: Style) -> list[str]:
    """The options asked for that only a router's paths have a use for."""
    paths = style.paths
    if paths is None:
        return []
    return ["--program"] * paths.program + [f"--also-cutter {cutter.key}" for cutter in paths.also_cutters]


def _unused(jobs: Sequence[Job], style: Style) -> list[str]:
    """What was asked for a router where none is among the machines that files are written for."""
    asked = _router_only(style)
    if not asked or any(job.machine.kind == "router" for job in jobs):
        return []
    if jobs[0].material.permits["router"].verdict is Verdict.NEVER:
        remedy = "This material must not meet a router."
    else:
        remedy = "Add --for router to have them."
    return [f"No router's files are written here, so nothing came of {', '.join(asked)}. {remedy}"]


def _left_out(job: Job, main: Job, style: Style) -> str:
    """Why a further router's paths are not computed, or nothing: of very many shapes they take minutes."""
    count = len(job.block.cuts)
    asked_for = job is main or job.cutter.key == main.cutter.key or bool(_router_only(style))
    if asked_for or job.machine.kind != "router" or count <= _MOST_BESIDE:
        return ""
    return (
        f"The router's paths for {count:,} shapes take minutes to compute and are left out, as no cutter of "
        "it was asked for. Name one of its cutters (--cutter, or cutter in a print file) to have them."
    )


def _plan(work: _Work, say: Say) -> Plan | None:
    """The plan of a job, if it has something to follow or to say."""
    if work.settings is None:
        return None
    if work.kind != "hand":
        say(f"planning the paths of the {work.kind}")
    return _planned(_machined(work.job), work.settings)


def _hold(work: _Work, plan: Plan | None, say: Say) -> None:
    """Hold a plan to what is promised of every plan."""
    if plan is not None and work.settings is not None:
        say(f"checking the paths of the {work.kind}")
        hold(plan, work.settings)


def _is_recut(job: Job) -> bool:
    """Whether a machine works on a block that is cut already."""
    return job.machine.kind != "hand" and len(job.block.cut_before) > 0


def _machined(job: Job) -> Job:
    """The job as a machine does it: of a block that is cut already what is new alone."""
    if not _is_recut(job):
        return job
    return replace(job, block=job.block.left_to_cut(_OVERLAP_MM if job.machine.kind == "router" else 0.0))


def _planned(job: Job, settings: PathSettings) -> Plan | None:
    """The plan of a job; none where nothing is left to cut. A block that is cut already is its own piece."""
    if len(job.block.cut_before) == 0:
        return plan_for(job, settings)
    if len(job.block.lowered) + len(job.block.cut_outs) == 0:
        return None
    return plan_for(job, replace(settings, cut_edge=False))


def _write_job(work: _Work, report: Report, plan: Plan | None, more: PlanExtras) -> None:
    """The files of one job; `more`: what comes with its plan."""
    whole, recut, style = work.job, _is_recut(work.job), work.style
    job, folder, guide = _machined(whole), work.stage / work.kind, None
    untold = f"\n## No paths\n\n- {work.untold}\n" if work.untold else ""
    if job.machine.kind == "hand":
        guide = hand_guide(job, style.transfer, report, saving=style.pale_guide)
        write_file(folder / "guide.pdf", guide_pdf(guide, style.paper))
        write_file(folder / "guide.svg", guide_svg(guide))
    else:
        write_file(folder / "block.svg", machine_svg(job))
        reached(0.1)
        write_file(folder / "block.dxf", machine_dxf(job, style.dxf))
        reached(0.2)
        if recut:
            scale = _px_per_mm(whole.block.width_mm, whole.block.height_mm)
            write_file(folder / CUT_PICTURE, old_cuts_png(whole.block, px_per_mm=scale))
    if plan is not None:
        write_file(folder / "paths.png", plan_png(plan))
        reached(0.5)
        write_file(folder / "paths.svg", plan_svg(plan))
        reached(0.7)
        write_file(folder / "paths.dxf", plan_dxf(plan, style.dxf))
    for name, content in more.files().items():
        write_file(folder / name, content)
    files = contents_for(job.machine.kind, None if plan is None else more.names, recut=recut)
    note = machine_note(job, report, files, plan, guide) + more.note() + untold
    note += _mending(work.mended) + _drawings(style.notes)
    write_file(folder / "note.md", note)


def _mending(words: str) -> str:
    """The note's section on what was mended."""
    return f"\n## Mended\n\n- {words}; report.json lists each change\n" if words else ""


def _drawings(notes: Sequence[str]) -> str:
    """The note's last section: what was understood of the drawings."""
    lines = "".join(f"- {shortened(note, _NOTE)}\n" for note in notes)
    return f"\n## Drawings that were read\n\n{lines}" if notes else ""


def _px_per_mm(width_mm: float, height_mm: float) -> float:
    return min(_PROOF_PX_PER_MM, math.sqrt(_PROOF_PX / (width_mm * height_mm)))


def question(job: Job | Setup) -> str:
    """What must be asked before a job, or nothing."""
    if job.permit.verdict is not Verdict.ASK:
        return ""
    declared = job.declared or "NOT DECLARED"
    return f"{job.machine.kind}: {job.permit.why} (composition: {declared})"
