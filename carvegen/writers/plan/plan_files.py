"""What is written of a plan beside its drawings, if it is wanted: the simulated block, and a router's programs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from PIL import Image

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.findings import Severity
from carvegen.geometry.coverage import coverage
from carvegen.writers.block.block_png import NOW_CUT, NOW_LAND
from carvegen.writers.file_names import MOST_PROGRAMS, PICTURE, program_name
from carvegen.writers.formats.png_bytes import SMALL, png_bytes
from carvegen.writers.plan.rs274 import programs

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from carvegen.geometry import Floats, PolygonArray
    from carvegen.toolpaths.paths import Plan
    from carvegen.toolpaths.settings import PathSettings
    from carvegen.toolpaths.simulation.simulated_block import Deviation, Simulated
    from carvegen.writers.plan.rs274 import Program

__all__ = ["PlanExtras", "extras", "simulated_png"]


@dataclass(frozen=True, kw_only=True, eq=False)
class PlanExtras:
    """What belongs to a plan and costs time to make."""

    simulated: Simulated | None = None
    programs: tuple[Program, ...] = ()

    def files(self) -> Mapping[str, str | bytes]:
        """Contents by the name of the file, in the order to look at them."""
        pictures: dict[str, str | bytes] = {PICTURE: simulated_png(self.simulated)} if self.simulated else {}
        return pictures | {program_name(k): program.text for k, program in enumerate(self.programs, start=1)}

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


def extras(plan: Plan, settings: PathSettings) -> PlanExtras:
    """What is wanted beside the drawings.

    Raises
    ------
    InputError
        If programs are wanted for a machine whose profile names no safe height, or for too many cutters.
    """
    router = plan.job.machine.kind == "router"
    return PlanExtras(
        simulated=_simulated(plan) if settings.simulated and plan.operations else None,
        programs=_programs(plan) if settings.program and router else (),
    )


def _simulated(plan: Plan) -> Simulated:
    from carvegen.toolpaths.simulation.simulated_block import simulated

    return simulated(plan)


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
    yield f"- Land lost: {_deviation_words(of.lost)}"
    yield f"- Cut missed, which stays standing and prints: {_deviation_words(of.missed)}"
    breaks, risks = of.report.breaks, of.report.risks
    if breaks or risks:
        worst = next(finding for finding in of.report if finding.severity is not Severity.ADVICE)
        at = "" if worst.at is None else f", the first at x {worst.at[0]:.1f} y {worst.at[1]:.1f} mm in print view"
        yield f"- Checked as it would be: {breaks} places break and {risks} may break that hold in the plan{at}."
    else:
        yield "- Checked as it would be: all land that holds in the plan holds here."
    yield (
        f"- Computed on a raster of {of.relief.px_mm:.3f} mm; differences narrower than {of.noise_mm:.3f} mm are left "
        "out. A true cutter is worn, a true block is not level: cut a test piece."
    )


def _deviation_words(deviation: Deviation) -> str:
    if deviation.worst_at is None:
        return "none."
    x, y = deviation.worst_at
    return (
        f"{len(deviation.places)} places, {deviation.area_mm2:.2f} mm² together; at the worst "
        f"{deviation.worst_mm:.2f} mm from where the edge should be, at x {x:.1f} y {y:.1f} mm in print view."
    )


_FACE, _FLOOR, _THROUGH = (214, 203, 186), (146, 132, 122), (247, 246, 242)  #: planed wood, its shade, the table
_LIGHT = (-0.55, 0.62, 0.56)  #: from the upper left, towards the light
_STEEPEST = 3.0  #: slopes are shown no steeper, so that walls keep a tone
_SHADE = 0.55  #: how dark the side away from the light gets
_PIXELS = 12_000_000  #: at most; a larger picture is made smaller


def simulated_png(of: Simulated) -> bytes:
    """The block as it lies, face up, after the last cut: lost land in ochre, missed cut in teal."""
    relief, block = of.relief, of.block
    beyond = round(0.5 - relief.corner[0] / relief.px_mm)
    rows, columns = (round(side / relief.px_mm) for side in (block.height_mm, block.width_mm))
    height = relief.height[beyond : beyond + rows, beyond : beyond + columns]
    picture = _toned(height, of.plan.job.thickness_mm) * _shaded(height, relief.px_mm)[:, :, None]
    for places, colour in ((of.lost.places, NOW_CUT), (of.missed.places, NOW_LAND)):
        if len(places):
            share = _covered(places, relief.px_mm, (columns, rows))
            met = share > 0
            share = share[met][:, None]
            picture[met] = picture[met] * (1 - share) + np.array(colour) * share
    seen = Image.fromarray(np.clip(np.rint(picture[::-1, ::-1]), 0, 255).astype(np.uint8))
    scale = min(1.0, math.sqrt(_PIXELS / (rows * columns)))
    if scale < 1:
        seen = seen.resize((round(columns * scale), round(rows * scale)), Image.Resampling.LANCZOS)
    return png_bytes(seen, px_per_mm=scale / relief.px_mm, level=SMALL)


def _toned(height: NDArray[np.float32], thickness_mm: float) -> NDArray[np.float32]:
    """The colour of each place before the light falls on it: the deeper, the darker; (rows, columns, 3)."""
    through = height <= -thickness_mm + 1e-6
    deepest = max(float(-height[~through].min(initial=0)), 1e-9)
    share = np.sqrt(np.clip(-height / deepest, 0, 1))[:, :, None]
    face, floor = (np.array(colour, dtype=np.float32) for colour in (_FACE, _FLOOR))
    tone: NDArray[np.float32] = face + (floor - face) * share
    tone[through] = _THROUGH
    return tone


def _shaded(height: NDArray[np.float32], px_mm: float) -> NDArray[np.float32]:
    """How light each place is: 1 on the level."""
    up, right = np.gradient(height, px_mm)
    up, right = (np.clip(slope, -_STEEPEST, _STEEPEST) for slope in (up, right))
    x, y, z = -right, -up, np.ones_like(up)
    lit = (-x * _LIGHT[0] + y * _LIGHT[1] + z * _LIGHT[2]) / np.sqrt(x**2 + y**2 + z**2)  # x is mirrored in the end
    return np.asarray(np.clip(1 + _SHADE * (lit - _LIGHT[2]), 1 - _SHADE, 1.25))


def _covered(shapes: PolygonArray, px_mm: float, size: tuple[int, int]) -> Floats:
    """The share of each pixel that lies in shapes; the first row is the lowest."""
    return coverage(geometry.moved(shapes, (0.0, 0.0), scale=1 / px_mm), size)[::-1]
