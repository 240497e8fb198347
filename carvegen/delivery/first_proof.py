"""A scan or photograph against a plan, for `compare`, `read` and the page: laid, judged, said, drawn."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import reduce
from pathlib import Path
from typing import TYPE_CHECKING, Any

from carvegen.base.errors import InputError
from carvegen.base.words import shortened

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.artwork.on_plan import InkSeen, Laid, LaidError, Plan
    from carvegen.base.colour import Ink, Rgb
    from carvegen.blocks.comparison import Kind, Spot

__all__ = [
    "PRINT", "Planned", "Proof", "cover_words", "first_proof", "laid_file", "planned_in", "side_words",
    "unsure_places", "unsure_words",
]  # fmt: skip

PRINT = "the print"  #: what a picture of several inks shows
_LANDS = "lands"  #: folder of a build's lands
_MOST_LINES = 12  #: of one kind
_LARGE = 3e-3  #: share of the face from which on a place may be a shadow, a sheet or a glove; our own choice
_CORNERS_OFF_MM = 0.5  #: marked corners that lie farther off are told of
_MAY_BE_ANYTHING = (
    "a shadow, or a thing on it of the colour of ink, land or cut, looks the same over so large a place; look at the "
    "picture, and photograph it again in even light, with nothing on it, before you cut"
)
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

        plans = {}
        if alone:
            lands = {self.only: self.lands[self.only]} if self.only else self.lands
            plans = {name: plan_of(land, self.size_mm) for name, land in lands.items() if not land.is_empty}
        if self.coats and not (alone and self.only):
            plans[PRINT] = self.print_plan()
        return plans

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
        spots = [spot for spot in self.spots if spot.block == name]
        return {
            "block": name, "differs": bool(spots),
            "newly_cut_mm2": round(sum(spot.shape.area for spot in spots if not spot.kind.stands), 3),
            "newly_land_mm2": round(sum(spot.shape.area for spot in spots if spot.kind.stands), 3),
            "places": [spot.to_dict() for spot in spots],
        }  # fmt: skip

    def lines(self) -> Iterator[str]:
        """What is said."""
        yield from (f"note: {note}" for note in self.notes)
        yield f"{self.shows}: {side_words(self.laid)}; laid on the plan by the drawing: {self.laid.fit.words}"
        differ = {spot.block for spot in self.spots}
        yield from (f"{name}: as planned, within {self.tolerance_mm:g} mm" for name in self.names if name not in differ)
        numbered = list(enumerate(self.spots, start=1))
        for kind in dict.fromkeys(spot.kind for spot in self.spots):
            yield from self._lines_of(kind, [(number, spot) for number, spot in numbered if spot.kind is kind])
        yield from (f"Carving sheet at 1:1: {sheet}" for sheet in self.sheets)

    def _lines_of(self, kind: Kind, spots: Sequence[tuple[int, Spot]]) -> Iterator[str]:
        """The places of one kind, each with its number in the picture."""
        places = f"{len(spots)} place{'s' * (len(spots) > 1)}"
        yield f"{kind.value}: {places}, {sum(spot.shape.area for _, spot in spots):.2f} mm²; {kind.remedy}"
        for number, spot in spots[:_MOST_LINES]:
            x, y = spot.at
            block = f"{spot.block}, " * (len(self.names) > 1)
            yield (
                f"  {number}: {block}{spot.shape.area:.2f} mm² at x {x:.1f}, y {y:.1f} mm, "
                f"up to {spot.width_mm:.1f} mm wide"
            )
        if len(spots) > _MOST_LINES:
            yield f"  and {len(spots) - _MOST_LINES} smaller ones"


def side_words(laid: Laid) -> str:
    """Which side a picture shows."""
    return "the picture shows the block itself, mirrored" if laid.mirrored else "the picture shows a print"


def cover_words(over: BaseGeometry, so: str) -> tuple[str, ...]:
    """That something lies over a block in its picture, and what follows; nothing if it is hardly any of it."""
    return (f"something lies over {over.area:.0f} mm² of it, or glares: {so}",) * (over.area >= _LEAST_MM2)


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
        save_file(picture, fit_png(error.laid))
        _add_hints(error, picture, several=len(plans) > 1, older=stencils is None)
        raise
    if match is None:
        return None
    name, laid = _shown(planned, *match)
    return name, laid, tuple(_placing_notes(planned, name, laid, corners))


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


def _shown(planned: Planned, name: str, laid: Laid) -> tuple[str, Laid]:
    """The block that a picture shows, or the print where that fits better."""
    from carvegen.artwork.on_plan import better_fit

    if not (_may_be_print(planned, name, laid) and planned.coats):
        return name, laid
    whole = better_fit(laid, planned.print_plan())
    return (name, laid) if whole is None else (PRINT, whole)


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


def _laid(path: Path, planned: Planned, plans: Mapping[str, Plan], how: Mapping[str, Any]) -> tuple[str, Laid] | None:
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


def _is_large(spot: Spot, size_mm: tuple[float, float]) -> bool:
    """Whether a place may be none of the block: by its colour alone some of it can't be told."""
    return spot.shape.area > _LARGE * size_mm[0] * size_mm[1]


def _large_words(places: Sequence[Spot], size_mm: tuple[float, float]) -> tuple[str, ...]:
    large = [str(number) for number, spot in enumerate(places, 1) if _is_large(spot, size_mm)]
    if not large:
        return ()
    listed = ", ".join(large[:_MOST_LINES]) + f" and {len(large) - _MOST_LINES} more" * (len(large) > _MOST_LINES)
    return (f"not sure at {listed}: {_MAY_BE_ANYTHING}",)


def unsure_places(planned: Planned, name: str, seen: InkSeen) -> list[Spot]:
    """Where a picture shows a block unlike its plan over so large a place that it may be none of the block."""
    from carvegen.blocks.comparison import SCAN_TOLERANCE_MM

    return [spot for spot in _differing(planned, name, seen, SCAN_TOLERANCE_MM) if _is_large(spot, planned.size_mm)]


def unsure_words(places: Sequence[Spot], layer: str) -> str:
    """What `read` says of them."""
    listed = "; ".join(f"x {spot.at[0]:.1f}, y {spot.at[1]:.1f} mm" for spot in places[:_MOST_LINES])
    listed += f" and {len(places) - _MOST_LINES} more" * (len(places) > _MOST_LINES)
    return f"not sure at {listed}: {_MAY_BE_ANYTHING}; it is read as it looks; these parts are on the layer {layer}"


def _differing(planned: Planned, name: str, seen: InkSeen, tolerance_mm: float) -> list[Spot]:
    """Where what is seen of a block, and is not hidden, differs from its plan."""
    from carvegen import geometry
    from carvegen.blocks.comparison import difference, spots

    face = geometry.difference(geometry.box(*planned.size_mm), seen.hidden)
    wanted, land = (geometry.intersection(shape, face) for shape in (planned.lands[name], seen.land))
    return spots(difference(name, wanted, land, tolerance_mm), face)


def _seen(planned: Planned, shown: str, laid: Laid) -> tuple[Laid, dict[str, InkSeen]]:
    """What a picture shows of each block, and the picture with as many pixels as that takes."""
    from carvegen.artwork.on_plan import read_block, read_inks

    if shown != PRINT:
        laid = replace(laid, px_per_mm=min(laid.px_per_mm, _ENOUGH_PX_PER_MM))
        return laid, {shown: read_block(laid)}
    # in all its pixels: between dark lines a narrow one of a lighter ink is a few of them
    inks = read_inks(laid, planned.coats, planned.paper)
    return laid, {name: ink for name, ink in inks.items() if planned.only in ("", name)}


def _hidden_words(planned: Planned, shown: str, inks: Mapping[str, InkSeen]) -> Iterator[str]:
    """What a picture can't tell of."""
    from carvegen import geometry

    if shown != PRINT:
        yield from cover_words(inks[shown].hidden, "nothing is said of these parts")
        return
    for name, ink in inks.items():
        hidden = geometry.intersection(planned.lands[name], ink.hidden).area
        if hidden >= _LEAST_MM2:
            yield f"{name}: other inks hide {hidden:.0f} mm² of it, or it fades: nothing is said of these parts"


def _saved_sheets(sheet: Path, planned: Planned, names: Sequence[str], places: Sequence[Spot]) -> tuple[Path, ...]:
    """The file of each block's carving sheet: the one that is asked for, with the block's name if there are several."""
    from carvegen.base.files import save_file
    from carvegen.writers.whole_print.templates import carving_sheet

    paths = [sheet if len(names) == 1 else sheet.with_stem(f"{sheet.stem}-{name}") for name in names]
    for name, path in zip(names, paths, strict=True):
        own = [spot for spot in places if spot.block == name]
        save_file(path, carving_sheet(name, planned.lands[name], own, planned.size_mm))
    return tuple(paths)


def first_proof(
    plan: Path, seen: Path, picture: Path | None, sheet: Path | None, settings: Mapping[str, Any]
) -> Proof | None:
    """A picture file against its plan, drawn; None if too little is drawn on the plan to lay it there.

    Of a print in several inks, if these are known, each block is told of; nothing where inks hide one another.
    """
    from carvegen import geometry
    from carvegen.base.files import save_file
    from carvegen.blocks.comparison import SCAN_TOLERANCE_MM, in_order
    from carvegen.writers.whole_print.ringed_png import ringed_png

    planned = planned_in(plan, settings)
    picture = picture or Path(f"{seen.stem}-on-plan.png")
    match = laid_file(seen, planned, picture, settings)
    if match is None:
        return None
    shown, laid, notes = match
    laid, inks = _seen(planned, shown, laid)
    tolerance = settings["tolerance"] or SCAN_TOLERANCE_MM
    places = in_order(spot for name, ink in inks.items() for spot in _differing(planned, name, ink, tolerance))
    unsure = reduce(geometry.intersection, (ink.hidden for ink in inks.values()))
    save_file(picture, ringed_png(laid, places, unsure))
    return Proof(
        names=tuple(inks), laid=laid, spots=places, tolerance_mm=tolerance, picture=picture,
        notes=(*notes, *_hidden_words(planned, shown, inks), *_large_words(places, planned.size_mm)),
        sheets=() if sheet is None else _saved_sheets(sheet, planned, tuple(inks), places),
    )  # fmt: skip
