"""A scan or photograph against a plan, for `compare`, `read` and the page: judged, told in words, drawn."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from pathlib import Path
from typing import TYPE_CHECKING, Any

from carvegen.base.progress import each_part
from carvegen.delivery.laid_on_plan import PRINT, Planned, laid_file, planned_in

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.artwork.on_plan import InkSeen, Laid
    from carvegen.blocks.comparison import DifferenceKind, DifferentPlace

__all__ = ["Proof", "cover_words", "first_proof", "is_large", "large_differences", "side_words"]

_MOST_LINES = 12  #: of one kind
_TIMES = (0.7, 0.2, 0.1)  #: shares of the time, estimated: a picture is laid on its plan, read, and compared
_LARGE = 3e-3  #: share of the face from which on a place may be a shadow, a sheet or a glove; our own choice
_MAY_BE_ANYTHING = (
    "a shadow, or a thing on it of the colour of ink, land or cut, looks the same over so large a place; look at the "
    "picture, and photograph it again in even light, with nothing on it, before you cut"
)
_ON_IT = "a hair, dust or paper on the print? Look at the blocks there before you change any"
_MOST_HAIRS = 12  #: on one print, or they are none; our own choice
_LEAST_MM2 = 1.0  #: less that is hidden is not worth a word
_ENOUGH_PX_PER_MM = 6.0  #: what differs by less than some tenths of a millimetre is not told; our own choice


@dataclass(frozen=True, kw_only=True, eq=False)
class Proof:
    """A block or its proof against the plan."""

    names: tuple[str, ...]  #: of the blocks that are told of
    laid: Laid
    spots: list[DifferentPlace]  #: of all of them, what can still be done first
    tolerance_mm: float
    notes: tuple[str, ...]
    picture: Path
    sheets: tuple[Path, ...]
    together: tuple[tuple[int, ...], ...] = ()  #: numbers of places gone at once from every block that prints there

    @property
    def sure_spots(self) -> list[DifferentPlace]:
        """The places that no thing on the print is likely to make: neither large nor in every block at once."""
        odd = {number for numbers in self.together for number in numbers}
        size = self.laid.plan.size_mm
        return [spot for k, spot in enumerate(self.spots, 1) if k not in odd and not is_large(spot, size)]

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
        side = f"{side_words(self.laid)}{', and is drawn as it prints' * self.laid.mirrored}"
        yield f"{self.shows}: {side}; laid on the plan by the drawing: {self.laid.fit.words}"
        differ = {spot.block for spot in self.spots}
        yield from (f"{name}: as planned, within {self.tolerance_mm:g} mm" for name in self.names if name not in differ)
        numbered = list(enumerate(self.spots, start=1))
        for kind in dict.fromkeys(spot.kind for spot in self.spots):
            yield from self._lines_of(kind, [(number, spot) for number, spot in numbered if spot.kind is kind])
        yield from (f"Carving sheet at 1:1: {sheet}" for sheet in self.sheets)

    def _lines_of(self, kind: DifferenceKind, spots: Sequence[tuple[int, DifferentPlace]]) -> Iterator[str]:
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


def is_large(spot: DifferentPlace, size_mm: tuple[float, float]) -> bool:
    """Whether a place may be none of the block: by its colour alone some of it can't be told."""
    return spot.shape.area > _LARGE * size_mm[0] * size_mm[1]


def _large_words(places: Sequence[DifferentPlace], size_mm: tuple[float, float]) -> tuple[str, ...]:
    large = [str(number) for number, spot in enumerate(places, 1) if is_large(spot, size_mm)]
    if not large:
        return ()
    listed = ", ".join(large[:_MOST_LINES]) + f" and {len(large) - _MOST_LINES} more" * (len(large) > _MOST_LINES)
    return (f"look twice at {listed}: {_MAY_BE_ANYTHING}",)


def _together(planned: Planned, places: Sequence[DifferentPlace]) -> tuple[tuple[int, ...], ...]:
    """Numbers of small places that are gone at once from every block that prints there, as under a hair.

    None where they are many: more was cut through all blocks then, and lies on none.
    """
    import shapely

    from carvegen import geometry

    gone = [spot for spot in places if not spot.kind.stands and not is_large(spot, planned.size_mm)]
    number = {id(spot): k for k, spot in enumerate(places, 1)}
    shapes = geometry.polygon_array(spot.shape for spot in gone)
    near = shapely.STRtree(shapes).query(shapes, predicate="intersects").T.tolist() if gone else []
    beside: dict[int, list[DifferentPlace]] = {}
    for k, other in near:
        if _meet(gone[k], gone[other]):
            beside.setdefault(k, []).append(gone[other])
    groups = dict[tuple[int, ...], None]()
    for k, others in beside.items():
        inked = {name for name in planned.coats or planned.lands if _prints_on(planned.lands[name], gone[k])}
        if len(inked) > 1 and inked <= {gone[k].block, *(other.block for other in others)}:
            groups[tuple(sorted(number[id(spot)] for spot in (gone[k], *others)))] = None
    return tuple(groups) if len(groups) <= _MOST_HAIRS else ()


def _meet(one: DifferentPlace, other: DifferentPlace) -> bool:
    """Whether places on two blocks are one place: the smaller lies in the larger, more than half of it."""
    if one.block == other.block:
        return False
    common = one.shape.intersection(other.shape).area
    return bool(common > min(one.shape.area, other.shape.area) / 2)


def _prints_on(land: BaseGeometry, spot: DifferentPlace) -> bool:
    """Whether a block is to print on most of a place."""
    return bool(land.intersection(spot.shape).area > spot.shape.area / 2)


def large_differences(planned: Planned, name: str, seen: InkSeen) -> tuple[str, ...]:
    """What `read` says where a picture shows a block unlike its plan over places so large as a glove; if anywhere."""
    from carvegen.blocks.comparison import SCAN_TOLERANCE_MM

    spots = _differing(planned, name, seen, SCAN_TOLERANCE_MM)
    places = [spot for spot in spots if is_large(spot, planned.size_mm)]
    if not places:
        return ()
    listed = "; ".join(f"x {spot.at[0]:.1f}, y {spot.at[1]:.1f} mm" for spot in places[:_MOST_LINES])
    listed += f" and {len(places) - _MOST_LINES} more" * (len(places) > _MOST_LINES)
    return (f"unlike the plan over a large place at {listed}: read as it looks; {_MAY_BE_ANYTHING}",)


def _differing(planned: Planned, name: str, seen: InkSeen, tolerance_mm: float) -> list[DifferentPlace]:
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


def _coarse_words(pixel_mm: float, tolerance_mm: float) -> tuple[str, ...]:
    """That a picture has too few pixels for what is looked for in larger ones; nothing if it has enough."""
    from carvegen.blocks.comparison import SCAN_TOLERANCE_MM

    coarse = f"its pixels are {pixel_mm:.1f} mm large: only what differs by more than {2 * tolerance_mm:.1f} mm is told"
    return (f"{coarse}; a larger picture shows more",) * (pixel_mm > SCAN_TOLERANCE_MM)


def _saved_sheets(
    sheet: Path, planned: Planned, inks: Mapping[str, InkSeen], places: Sequence[DifferentPlace]
) -> tuple[Path, ...]:
    """The file of each block's carving sheet: the one that is asked for, with the block's name if there are several."""
    from carvegen.base.files import save_file
    from carvegen.writers.whole_print.templates import carving_sheet

    paths = [sheet if len(inks) == 1 else sheet.with_stem(f"{sheet.stem}-{name}") for name in inks]
    for (name, ink), path in zip(inks.items(), paths, strict=True):
        own = [spot for spot in places if spot.block == name]
        save_file(path, carving_sheet(name, planned.lands[name], own, planned.size_mm, ink.hidden.area))
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
    laying, seeing, comparing = each_part(_TIMES)
    with laying:
        match = laid_file(seen, planned, picture, settings)
    if match is None:
        return None
    shown, laid, notes = match
    with seeing:
        laid, inks = _seen(planned, shown, laid)
    pixel = 1 / laid.px_per_mm
    tolerance = settings["tolerance"] or round(max(SCAN_TOLERANCE_MM, pixel), 2)
    places: list[DifferentPlace] = []
    with comparing:
        for (name, ink), differing in zip(inks.items(), each_part([1.0] * len(inks)), strict=True):
            with differing:
                places += _differing(planned, name, ink, tolerance)
    places = in_order(places)
    together = _together(planned, places) if shown == PRINT else ()
    listed = "; ".join(" and ".join(map(str, numbers)) for numbers in together)
    odd = (f"{listed}: in every block at one place: {_ON_IT}",) * bool(together)
    unsure = reduce(geometry.intersection, (ink.hidden for ink in inks.values()))
    save_file(picture, ringed_png(laid, places, unsure))
    return Proof(
        names=tuple(inks), laid=laid, spots=places, tolerance_mm=tolerance, picture=picture,
        notes=(
            *notes, *_coarse_words(pixel, tolerance), *_hidden_words(planned, shown, inks),
            *_large_words(places, planned.size_mm), *odd,
        ),
        together=together,
        sheets=() if sheet is None else _saved_sheets(sheet, planned, inks, places),
    )  # fmt: skip
