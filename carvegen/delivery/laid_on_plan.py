"""Laying a scan or photograph on what is planned: a land, a build's blocks, or the print of them all."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from carvegen.base.errors import InputError
from carvegen.base.words import shortened

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.artwork.on_plan import Laid, LaidError, TonePlan
    from carvegen.base.colour import Ink, Rgb

__all__ = ["PRINT", "Planned", "laid_file", "planned_in"]

PRINT = "the print"  #: what a picture of several inks shows
_LANDS = "lands"  #: folder of a build's lands
_CORNERS_OFF_MM = 0.5  #: marked corners that lie farther off are told of
_OLDER = (
    "; or if it is a stencil, whose openings show what is behind: build the print again, for this build is older than "
    "what tells stencils from other blocks"
)
_OTHER_SNOW = "much of what is bare in it is not the plan's: it is laid by where its inks meet"
_NO_INKS = (
    "this build does not tell its inks: if the picture shows a print in several, give them or "
    "their print file, or build it again into another folder"
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Planned:
    """What a picture may show: one of some lands, or the print of them all."""

    lands: dict[str, BaseGeometry]
    size_mm: tuple[float, float]
    only: str = ""  #: the block that is asked for, if one is
    stencils: frozenset[str] | None = frozenset()  #: which may be lighter than what is behind; None if none tells
    coats: Mapping[str, Ink] = field(default_factory=dict)  #: in printing order, if the print has several
    tells_inks: bool = True  #: whether that is known
    paper: Rgb = (255, 255, 255)

    def in_inks(self, coats: Mapping[str, Ink], paper: Rgb) -> Planned:
        """The print of them alone, in the inks that are asked for.

        Raises
        ------
        InputError
            If there is no such block.
        """
        missing = [name for name in coats if name not in self.lands]
        if missing:
            known = f"known: {', '.join(self.lands)}"
            raise InputError("has no such block", value=missing[0], where="the plan", hint=known)
        return replace(self, coats=coats, tells_inks=True, paper=paper)

    def plans(self, *, alone: bool) -> dict[str, TonePlan]:
        """The plans by name: of the print if its inks are known, and of each block alone; or of the one asked for."""
        from carvegen.artwork.on_plan import plan_of

        plans = {}
        if alone:
            lands = {self.only: self.lands[self.only]} if self.only else self.lands
            plans = {name: plan_of(land, self.size_mm) for name, land in lands.items() if not land.is_empty}
        if self.coats and not (alone and self.only):
            plans[PRINT] = self.print_plan()
        return plans

    def print_plan(self) -> TonePlan:
        """The plan of the print in all its inks."""
        from carvegen.artwork.on_plan import plan_of_inks

        return plan_of_inks(self.lands, self.coats, self.paper, self.size_mm)


def planned_in(path: Path, settings: Mapping[str, Any]) -> Planned:
    """What is planned in a folder of a build, a land in one, or a drawing of a block.

    The print in all inks with it if these are settings, or if the build tells them.

    Raises
    ------
    InputError
        If there is no such block.
    """
    from carvegen.artwork.scan import ScanOptions

    planned = _planned_in(path, settings["block"])
    if not settings.get("coats"):
        return planned
    coats = dict(zip(settings["inks"], settings["coats"], strict=True))
    return planned.in_inks(coats, settings.get("paper") or ScanOptions().paper)


def _planned_in(path: Path, block: str | None) -> Planned:
    from carvegen.blocks.comparison import face_in, land_in, stencils_in
    from carvegen.blocks.from_drawing import drawn_land

    if path.is_dir():
        return _planned_by(path, block or "")
    if path.suffix.lower() != ".wkb":
        land, size = drawn_land(path)
        return Planned(lands={shortened(path.stem, 60): land}, size_mm=size)
    land, built = land_in(path), path.parent.parent
    if path.parent.name != _LANDS:
        return Planned(lands={path.stem: land}, size_mm=face_in(built, [land]), stencils=stencils_in(built))
    return _planned_by(built, path.stem, {path.stem: land})


def _planned_by(built: Path, block: str, own: Mapping[str, BaseGeometry] | None = None) -> Planned:
    """What a build has written, and a land of one's own; nothing of its inks for a block that prints none."""
    from carvegen.artwork.scan import ScanOptions
    from carvegen.blocks.comparison import coats_in, face_in, lands_in, stencils_in

    lands = lands_in(built) | dict(own or {})
    if block and block not in lands:
        raise InputError("has no such block", value=block, where=str(built), hint=f"known: {', '.join(lands)}")
    inks = coats_in(built)
    coats, paper = inks or ({}, ScanOptions().paper)
    if len(coats) < 2 or not coats.keys() <= lands.keys() or block not in ("", *coats):  # one ink's shows its block
        coats = {}
    return Planned(
        lands=lands, size_mm=face_in(built, lands.values()), only=block, stencils=stencils_in(built), coats=coats,
        tells_inks=inks is not None, paper=paper,
    )  # fmt: skip


def laid_file(
    path: Path, planned: Planned, picture: Path, settings: Mapping[str, Any]
) -> tuple[str, Laid, tuple[str, ...]] | None:  # fmt: skip
    """A picture file laid on the plan that it shows, a block or `PRINT`; None if too little is drawn to tell.

    A poor fit is drawn.

    Parameters
    ----------
    picture
        Where a fit that is refused is drawn.
    """
    from carvegen.artwork.on_plan import LaidError
    from carvegen.artwork.scan import corners_from
    from carvegen.base.files import save_file
    from carvegen.writers.whole_print.ringed_png import fit_png

    corners = settings["corners"]
    if isinstance(corners, str) and corners != "auto":
        corners = corners_from(corners)
    plans, stencils = planned.plans(alone=not settings.get("coats")), planned.stencils
    either_tone = stencils is not None and stencils.issuperset(plans)
    how = {"corners": corners, "dpi": settings["dpi"], "view": settings["view"], "either_tone": either_tone}
    try:
        match = _laid(path, planned, plans, how)
    except LaidError as error:
        whole = _by_inks(planned, error.laid) if settings["view"] != "block" else None
        if whole is None:
            save_file(picture, fit_png(error.laid))
            _add_hints(error, picture, several=len(plans) > 1, older=stencils is None)
            raise
        return PRINT, whole, (_OTHER_SNOW, *_placing_notes(planned, PRINT, whole, corners))
    if match is None:
        return None
    name, laid, other_snow = _shown(planned, *match)
    return name, laid, (*other_snow, *_placing_notes(planned, name, laid, corners))


def _add_hints(error: LaidError, picture: Path, *, several: bool, older: bool) -> None:
    """Say in a refusal what to look at and to do."""
    from carvegen.artwork.on_plan import PoorFitError

    if error.laid.negative:
        error.hint = error.hint_template + _OLDER * older
        return
    error.names += ("block",)
    one_block = "if it shows one block only, name it: {block} NAME. "
    error.look_at(picture, one_block * (several and isinstance(error, PoorFitError)))


def _may_be_print(planned: Planned, name: str, laid: Laid) -> bool:
    return name != PRINT and not laid.mirrored and len(planned.lands) > 1


def _shown(planned: Planned, name: str, laid: Laid) -> tuple[str, Laid, tuple[str, ...]]:
    """The block that a picture shows, or the print where that fits better; and what is to be said of it."""
    from carvegen.artwork.on_plan import better_fit

    if not (_may_be_print(planned, name, laid) and planned.coats):
        return name, laid, ()
    if whole := better_fit(laid, planned.print_plan()):
        return PRINT, whole, ()
    if whole := _by_inks(planned, laid):
        return PRINT, whole, (_OTHER_SNOW,)
    return name, laid, ()


def _by_inks(planned: Planned, laid: Laid) -> Laid | None:
    """A picture as a print whose snow need not be the plan's; None if it is none, or its inks are not known."""
    from carvegen.artwork.on_plan import laid_by_inks

    if not planned.coats or laid.mirrored or laid.negative:
        return None
    return laid_by_inks(laid, planned.print_plan(), planned.coats, planned.paper)


def _placing_notes(planned: Planned, name: str, laid: Laid, corners: Any) -> Iterator[str]:  # noqa: ANN401
    """What there is to say of how a picture lies on its plan."""
    from carvegen.artwork.on_plan import BY_OLD_CUTS, board_sides, marked_off_mm

    off = 0.0 if corners is None or isinstance(corners, str) else marked_off_mm(laid, corners)
    if off > _CORNERS_OFF_MM:
        yield f"the corners that were marked lie up to {off:.1f} mm off: the drawing's own place holds"
    if _may_be_print(planned, name, laid) and not planned.tells_inks and not planned.only:
        yield _NO_INKS
        return
    if name == PRINT and planned.only:
        yield "it shows the print in all its inks, not one block alone"
    board = board_sides(laid)
    if board is not None and board.words:
        yield f"{board.words}: {BY_OLD_CUTS}"


def _laid(
    path: Path, planned: Planned, plans: Mapping[str, TonePlan], how: Mapping[str, Any]
) -> tuple[str, Laid] | None:
    """A picture on one of the plans; on the print's where the one block that is named isn't what it shows."""
    from carvegen.artwork.on_plan import LaidError, PoorFitError, lay_file, shown_alone, shows_other_inks

    poor: PoorFitError | None = None
    try:
        match = lay_file(path, plans, **how)
    except PoorFitError as error:
        match, poor = None, error
    if match is None and planned.coats and PRINT not in plans:
        with contextlib.suppress(PoorFitError):
            match = lay_file(path, {PRINT: planned.print_plan()}, **how)
    if match is None and poor is not None:
        raise poor
    if match is None:
        return None
    shown, laid = match
    other = shown_alone(laid, {name: planned.lands[name] for name in planned.coats if planned.only})
    if other not in (None, planned.only):
        raise LaidError(
            f"shows {other} alone, and not {planned.only}", laid, path, names=("block",),
            hint=f"name that block, {{block}} {other}, or give a picture of {planned.only} or of the whole print",
        )  # fmt: skip
    if len(plans) > 1 and shown != PRINT and not laid.mirrored and shows_other_inks(laid):
        raise LaidError(
            f"shows more inks than that of {shown}, and the plan has several blocks", laid, path,
            hint="if it is a print in all inks, give them: {print} PRINT.toml; if of one block, name it: {block} "
            f"{shown}", names=("print", "block"),
        )  # fmt: skip
    return match
