"""Pictures laid on a plan by the drawing itself: where it lies in them, and how well it fits."""

from __future__ import annotations

from carvegen.artwork.on_plan.laid_picture import Laid
from carvegen.artwork.on_plan.other_snow import laid_by_inks
from carvegen.artwork.on_plan.plan import ImagePyramid, TonePlan, laid, plan_of, plan_of_inks
from carvegen.artwork.on_plan.plan_file import LaidError, PoorFitError, lay_file, marked_off_mm
from carvegen.artwork.on_plan.plan_fit import PlanFit, judged
from carvegen.artwork.on_plan.plan_place import best_place, is_mirrored
from carvegen.artwork.on_plan.plan_scan import better_fit, laid_on, shown_alone
from carvegen.artwork.on_plan.shapes_seen import InkSeen, covered, read_block, read_inks, read_laid, shows_other_inks
from carvegen.artwork.on_plan.sides import BY_OLD_CUTS, BoardSides, board_sides

__all__ = [
    "BY_OLD_CUTS",
    "BoardSides",
    "ImagePyramid",
    "InkSeen",
    "Laid",
    "LaidError",
    "PlanFit",
    "PoorFitError",
    "TonePlan",
    "best_place",
    "better_fit",
    "board_sides",
    "covered",
    "is_mirrored",
    "judged",
    "laid",
    "laid_by_inks",
    "laid_on",
    "lay_file",
    "marked_off_mm",
    "plan_of",
    "plan_of_inks",
    "read_block",
    "read_inks",
    "read_laid",
    "shown_alone",
    "shows_other_inks",
]  # fmt: skip
