"""A scan or photograph against a plan, for `compare`, `read` and the page: laid, judged, said, drawn."""

from __future__ import annotations

import contextlib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import reduce
from pathlib import Path
from typing import TYPE_CHECKING, Any

from carvegen.base.errors import InputError
from carvegen.base.words import shortened

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.artwork.on_plan import Laid, Plan
    from carvegen.base.colour import Ink, Rgb
    from carvegen.blocks.comparison import Spot

__all__ = ["PRINT", "Planned", "Proof", "cover_words", "first_proof", "laid_file", "planned_in", "side_words"]

PRINT = "the print"  #: what a picture of several inks shows
_LANDS = "lands"  #: folder of a build's lands
_MOST_LINES = 12  #: of one kind
_LARGE = 3e-3  #: share of the face from which on a place may be a shadow, a sheet or a glove; our own choice
_LEAST_MM2 = 1.0  #: less that is hidden is not worth a word
_OLDER = (
    "; or if it is a stencil, whose openings show what is behind: build the print again, for this build is older than "
    "what tells stencils from other blocks"
)
_NO_INKS = (
    "this build does not tell its inks: if the picture shows a print in several, give them or "
    "their print file, or build it again into another folder"
)
_ENOUGH_PX_PER_MM = 6.0  #: what differs by less than some tenths of a millimetre is not told; our own choice


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

    def plans(self, *, alone: bool) -> dict[str, Plan]:
        """The plans by name: of the print if its inks are known, and of each block alone; or of the one asked for."""
        from carvegen.artwork.on_plan import plan_of

        found = {}
        if alone:
            lands = {self.only: self.lands[self.only]} if self.only else self.lands
            found = {name: plan_of(land, self.size_mm) for name, land in lands.items() if not land.is_empty}
        if self.coats and not (alone and self.only):
            found[PRINT] = self.print_plan()
        return found

    def print_plan(self) -> Plan:
        """The plan of the print in all its inks."""
        from carvegen.artwork.on_plan import plan_of_inks

        return plan_of_inks(self.lands, self.coats, self.paper, self.size_mm)


@dataclass(frozen=True, kw_only=True, eq=False)
class Proof:
    """A block or its proof against the plan."""

    names: tuple[str, ...]  #: of the blocks that are told of
    laid: Laid
    spots: list[Spot]  #: of all of them, what can still be done first
    tolerance_mm: float
    notes: tuple[str, ...]
    picture: Path
    sheets: tuple[Path, ...]

    @property
    def shows(self) -> str:
        """What the picture shows: a block, or the print of several."""
        return self.names[0] if len(self.names) == 1 else PRINT

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        fit = self.laid.fit
        return {
            "tolerance_mm": self.tolerance_mm,
            "fit": {
                "places_agree": int(fit.locked.sum()), "places_seen": int(fit.drawn.sum()),
                "off_mm": round(fit.off_mm, 3), "mirrored": self.laid.mirrored,
            },
            "blocks": [self._block(name) for name in self.names],
            "picture": str(self.picture), "notes": list(self.notes),
        }  # fmt: skip

    def _block(self, name: str) -> dict[str, Any]:
        spots = [its for its in self.spots if its.block == name]
        return {
            "block": name, "differs": bool(spots),
            "newly_cut_mm2": round(sum(its.shape.area for its in spots if not its.kind.stands), 3),
            "newly_land_mm2": round(sum(its.shape.area for its in spots if its.kind.stands), 3),
            "places": [its.to_dict() for its in spots],
        }  # fmt: skip

    def lines(self) -> Iterator[str]:
        """What is said."""
        yield from (f"note: {note}" for note in self.notes)
        yield f"{self.shows}: {side_words(self.laid)}; laid on the plan by the drawing: {self.laid.fit.words}"
        for name in self.names:
            if not any(its.block == name for its in self.spots):
                yield f"{name}: as planned, within {self.tolerance_mm:g} mm"
        total = Counter(its.kind for its in self.spots)
        said: Counter[Any] = Counter()
        for number, its in enumerate(self.spots, start=1):
            if not said[its.kind]:
                area = sum(other.shape.area for other in self.spots if other.kind is its.kind)
                places = f"{total[its.kind]} place{'s' * (total[its.kind] > 1)}"
                yield f"{its.kind.value}: {places}, {area:.2f} mm²; {its.kind.remedy}"
            said[its.kind] += 1
            if said[its.kind] <= _MOST_LINES:
                x, y = its.at
                block = f"{its.block}, " * (len(self.names) > 1)
                yield (
                    f"  {number}: {block}{its.shape.area:.2f} mm² at x {x:.1f}, y {y:.1f} mm, "
                    f"up to {its.width_mm:.1f} mm wide"
                )
            elif said[its.kind] == _MOST_LINES + 1:
                yield f"  and {total[its.kind] - _MOST_LINES} smaller ones"
        yield from (f"Carving sheet at 1:1: {sheet}" for sheet in self.sheets)


def side_words(laid: Laid) -> str:
    """Which side a picture shows."""
    return "the picture shows the block itself, mirrored" if laid.mirrored else "the picture shows a print"


def cover_words(over: BaseGeometry, so: str) -> tuple[str, ...]:
    """That something lies over a block in its picture, and what follows; nothing if it is hardly any of it."""
    return (f"something lies over {over.area:.0f} mm² of it, or glares: {so}",) * (over.area >= _LEAST_MM2)


def planned_in(path: Path, given: Mapping[str, Any]) -> Planned:
    """What is planned in a folder of a build, a land in one, or a drawing of a block.

    The print in all inks with it if these are given, or if the build tells them.

    Raises
    ------
    InputError
        If there is no such block.
    """
    from carvegen.artwork.scan import ScanOptions

    planned = _planned_in(path, given["block"])
    if not given.get("coats"):
        return planned
    coats = dict(zip(given["inks"], given["coats"], strict=True))
    return planned.in_inks(coats, given.get("paper") or ScanOptions().paper)


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
    told = coats_in(built)
    coats, paper = told or ({}, ScanOptions().paper)
    if len(coats) < 2 or not coats.keys() <= lands.keys() or block not in ("", *coats):  # one ink's shows its block
        coats = {}
    return Planned(
        lands=lands, size_mm=face_in(built, lands.values()), only=block, stencils=stencils_in(built), coats=coats,
        tells_inks=told is not None, paper=paper,
    )  # fmt: skip


def laid_file(
    path: Path, planned: Planned, picture: Path, given: Mapping[str, Any]
) -> tuple[str, Laid, tuple[str, ...]] | None:  # fmt: skip
    """A picture file laid on the plan that it shows, a block or `PRINT`; None if too little is drawn to tell.

    A poor fit is drawn.

    Parameters
    ----------
    picture
        Where a fit that is refused is drawn.
    """
    from carvegen.artwork.on_plan import (
        BY_OLD_CUTS,
        LaidError,
        PoorFitError,
        better_fit,
        board_sides,
        marked_off_mm,
    )
    from carvegen.artwork.scan import corners_from
    from carvegen.base.files import save_file
    from carvegen.writers.whole_print.ringed_png import fit_png

    corners = given["corners"]
    if isinstance(corners, str) and corners != "auto":
        corners = corners_from(corners)
    plans, stencils = planned.plans(alone=not given.get("coats")), planned.stencils
    try:
        either_tone = stencils is not None and stencils.issuperset(plans)
        how = {"corners": corners, "dpi": given["dpi"], "view": given["view"], "either_tone": either_tone}
        found = _laid(path, planned, plans, how)
    except LaidError as error:
        save_file(picture, fit_png(error.laid))
        if error.laid.negative:
            error.hint = error.hint_template + _OLDER * (stencils is None)
            raise
        several = len(plans) > 1 and isinstance(error, PoorFitError)
        error.names += ("block",)
        error.look_at(picture, "if it shows one block only, name it: {block} NAME. " * several)
        raise
    if found is None:
        return None
    name, laid = found
    off = 0.0 if corners is None or isinstance(corners, str) else marked_off_mm(laid, corners)
    notes = (f"the corners that were marked lie up to {off:.1f} mm off: the drawing's own place holds",) * (off > 0.5)
    if name != PRINT and not laid.mirrored and len(planned.lands) > 1:
        if not planned.tells_inks and not planned.only:
            return name, laid, (*notes, _NO_INKS)
        whole = better_fit(laid, planned.print_plan()) if planned.coats else None
        name, laid = (PRINT, whole) if whole is not None else (name, laid)
    notes += ("it shows the print in all its inks, not one block alone",) * (name == PRINT and bool(planned.only))
    board = board_sides(laid)
    if board is not None and board.words:
        notes += (f"{board.words}: {BY_OLD_CUTS}",)
    return name, laid, notes


def _laid(path: Path, planned: Planned, plans: Mapping[str, Plan], how: Mapping[str, Any]) -> tuple[str, Laid] | None:
    """A picture on one of the plans; on the print's where the one block that is named isn't what it shows."""
    from carvegen.artwork.on_plan import LaidError, PoorFitError, lay_file, shown_alone, shows_other_inks

    poor: PoorFitError | None = None
    try:
        found = lay_file(path, plans, **how)
    except PoorFitError as error:
        found, poor = None, error
    if found is None and planned.coats and PRINT not in plans:
        with contextlib.suppress(PoorFitError):
            found = lay_file(path, {PRINT: planned.print_plan()}, **how)
    if found is None and poor is not None:
        raise poor
    if found is None:
        return None
    shown, laid = found
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
    return found


def _large_words(told: list[Spot], size_mm: tuple[float, float]) -> tuple[str, ...]:
    """That what is large may be none of the block: by its colour alone some of it can't be told."""
    large = [str(k) for k, its in enumerate(told, 1) if its.shape.area > _LARGE * size_mm[0] * size_mm[1]]
    if not large:
        return ()
    shown = ", ".join(large[:_MOST_LINES]) + f" and {len(large) - _MOST_LINES} more" * (len(large) > _MOST_LINES)
    return (
        f"not sure at {shown}: a shadow, or a thing on it of the colour of ink, land or cut, looks the same over so "
        "large a place; look at the picture, and photograph it again in even light, with nothing on it, before you cut",
    )


def _sheet_of(sheet: Path, name: str, count: int) -> Path:
    """The file of a block's carving sheet: the one that is asked for, with the block's name if there are several."""
    return sheet if count == 1 else sheet.with_stem(f"{sheet.stem}-{name}")


def first_proof(
    plan: Path, seen: Path, picture: Path | None, sheet: Path | None, given: Mapping[str, Any]
) -> Proof | None:
    """A picture file against its plan, drawn; None if too little is drawn on the plan to lay it there.

    Of a print in several inks, if these are known, each block is told of; nothing where inks hide one another.
    """
    from carvegen import geometry
    from carvegen.artwork.on_plan import read_block, read_inks
    from carvegen.base.files import save_file
    from carvegen.blocks.comparison import SCAN_TOLERANCE_MM, difference, in_order, spots
    from carvegen.writers.whole_print.ringed_png import ringed_png

    planned = planned_in(plan, given)
    lands, size = planned.lands, planned.size_mm
    picture = picture or Path(f"{seen.stem}-on-plan.png")
    found = laid_file(seen, planned, picture, given)
    if found is None:
        return None
    shown, laid, notes = found
    if shown == PRINT:  # in all its pixels: between dark lines a narrow one of a lighter ink is a few of them
        inks = read_inks(laid, planned.coats, planned.paper)
        inks = {name: its for name, its in inks.items() if planned.only in ("", name)}
    else:
        laid = replace(laid, px_per_mm=min(laid.px_per_mm, _ENOUGH_PX_PER_MM))
        inks = {shown: read_block(laid)}
        notes += cover_words(inks[shown].hidden, "nothing is said of these parts")
    names, tolerance, told = tuple(inks), given["tolerance"] or SCAN_TOLERANCE_MM, []
    for name, its in inks.items():
        face = geometry.difference(geometry.box(*size), its.hidden)
        wanted, land = (geometry.intersection(shape, face) for shape in (lands[name], its.land))
        told += spots(difference(name, wanted, land, tolerance), face)
        hidden = geometry.intersection(lands[name], its.hidden).area
        if shown == PRINT and hidden >= _LEAST_MM2:
            notes += (f"{name}: other inks hide {hidden:.0f} mm² of it, or it fades: nothing is said of these parts",)
    told = in_order(told)
    notes += _large_words(told, size)
    unsure = reduce(geometry.intersection, (its.hidden for its in inks.values()))
    save_file(picture, ringed_png(laid, told, unsure))
    sheets = {} if sheet is None else {name: _sheet_of(sheet, name, len(names)) for name in names}
    if sheets:
        from carvegen.writers.whole_print.templates import carving_sheet
    for name, own in sheets.items():
        save_file(own, carving_sheet(name, lands[name], [its for its in told if its.block == name], size))
    return Proof(
        names=names, laid=laid, spots=told, tolerance_mm=tolerance, notes=notes, picture=picture,
        sheets=tuple(sheets.values()),
    )  # fmt: skip
