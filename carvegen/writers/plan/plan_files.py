"""What is written of a plan beside its drawings, if it is wanted: the simulated block, and a router's programs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from carvegen.base.errors import InputError
from carvegen.base.findings import Severity
from carvegen.writers.plan.rs274 import programs
from carvegen.writers.plan.simulated_png import simulated_png

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from carvegen.toolpaths.paths import Plan
    from carvegen.toolpaths.settings import PathSettings
    from carvegen.toolpaths.simulation.simulated_block import Deviation, Simulated
    from carvegen.writers.plan.rs274 import Program

__all__ = ["MOST_PROGRAMS", "PICTURE", "PlanExtras", "extras", "program_name"]

PICTURE = "simulated.png"
MOST_PROGRAMS = 12  #: cutters of a plan one after another, at most


@dataclass(frozen=True, kw_only=True, eq=False)
class PlanExtras:
    """What belongs to a plan and costs time to make."""

    simulated: Simulated | None = None
    programs: tuple[Program, ...] = ()

    def files(self) -> Mapping[str, str | bytes]:
        """Contents by the name of the file, in the order to look at them."""
        found: dict[str, str | bytes] = {PICTURE: simulated_png(self.simulated)} if self.simulated else {}
        return found | {program_name(k): its.text for k, its in enumerate(self.programs, start=1)}

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the files."""
        shown = (PICTURE,) if self.simulated else ()
        return (*shown, *(program_name(k) for k in range(1, len(self.programs) + 1)))

    def note(self) -> str:
        """A part of the note, in Markdown; empty if nothing is to be said."""
        lines = [*_simulation(self.simulated)] if self.simulated else []
        return "\n".join(["", *lines, ""]) if lines else ""

    def to_dict(self) -> dict[str, Any]:
        """Figures for other programs."""
        return self.simulated.to_dict() if self.simulated else {}


def program_name(number: int) -> str:
    """The name of the file of a program; the first has number 1."""
    return f"program-{number}.nc"


def extras(plan: Plan, settings: PathSettings) -> PlanExtras:
    """What is wanted beside the drawings.

    Raises
    ------
    InputError
        If programs are wanted for a machine whose profile names no safe height, or for too many cutters.
    """
    from carvegen.toolpaths.simulation.simulated_block import simulated

    router = plan.job.machine.kind == "router"
    return PlanExtras(
        simulated=simulated(plan) if settings.simulated and plan.operations else None,
        programs=_programs(plan) if settings.program and router else (),
    )


def _programs(plan: Plan) -> tuple[Program, ...]:
    made = programs(plan)
    if len(made) > MOST_PROGRAMS:
        raise InputError(
            f"gives at most {MOST_PROGRAMS} programs", value=len(made), field="also_cutters", hint="name fewer cutters"
        )
    return made


def _simulation(of: Simulated) -> Iterator[str]:
    yield "## What the cutter really leaves (simulated)"
    yield ""
    yield f"- Land lost: {_told(of.lost)}"
    yield f"- Cut missed, which stays standing and prints: {_told(of.missed)}"
    breaks, risks = of.report.breaks, of.report.risks
    if breaks or risks:
        worst = next(its for its in of.report if its.severity is not Severity.ADVICE)
        at = "" if worst.at is None else f", the first at x {worst.at[0]:.1f} y {worst.at[1]:.1f} mm in print view"
        yield f"- Checked as it would be: {breaks} places break and {risks} may break that hold in the plan{at}."
    else:
        yield "- Checked as it would be: all land that holds in the plan holds here."
    yield (
        f"- Computed on a raster of {of.relief.px_mm:.3f} mm; differences narrower than {of.noise_mm:.3f} mm are left "
        "out. A true cutter is worn, a true block is not level: cut a test piece."
    )


def _told(its: Deviation) -> str:
    if its.worst_at is None:
        return "none."
    x, y = its.worst_at
    return (
        f"{len(its.places)} places, {its.area_mm2:.2f} mm² together; at the worst {its.worst_mm:.2f} mm from where the "
        f"edge should be, at x {x:.1f} y {y:.1f} mm in print view."
    )
