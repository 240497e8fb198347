"""Photographs or scans of marking sheets to marks: each page on its own, then joined in the print."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork.drawing import Notes
from carvegen.artwork.kinds import picture_bytes
from carvegen.artwork.scan.pixels import opened
from carvegen.base.colour import hex_of, screen
from carvegen.base.errors import InputError
from carvegen.marking.marks import Mark, Meaning
from carvegen.marking.pencil.areas import areas, covered, share_of_deepest
from carvegen.marking.pencil.corner_marks import placed
from carvegen.marking.pencil.evened import PX_PER_MM, evened, straightened
from carvegen.marking.pencil.pencils import check_apart, learnt, nearest_pencil

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from carvegen.artwork.scan.pixels import ScanPicture
    from carvegen.geometry import Mask, PolygonArray
    from carvegen.marking.pencil.areas import PencilArea
    from carvegen.marking.pencil.corner_marks import Placed
    from carvegen.marking.pencil.evened import Evened, Light
    from carvegen.marking.pencil.layout import MarkingSheet, SheetPage
    from carvegen.marking.pencil.pencils import Pencil

__all__ = ["GRADES", "PageRead", "SheetsRead", "joined_marks", "read_page", "read_sheets"]

GRADES = (0.33, 0.67, 1.0)  #: strengths of "more" and "less": light, middle, firm
_BETWEEN_GRADES = (0.2, 0.6)  #: of the way from light to firm; boxes are scribbled fuller than areas are hatched
_GRID_MM = 0.01  #: of a mark's corners
_TELL_MM2 = 6.0
_STRIP_MM = 1.6  #: as wide as hatching may run over


@dataclass(frozen=True, kw_only=True, eq=False)
class PageRead:
    """One page as a picture shows it, and what was understood of it."""

    page: SheetPage
    off_mm: float  #: how far its marks lie from their places, root mean square
    seen: Light  #: the piece of the print straightened, in even light; (height, width, 3), `PX_PER_MM` a millimetre
    areas: tuple[tuple[Meaning, float, shapely.Polygon], ...]  #: meaning, strength and shape in mm of the print
    pencils: tuple[Pencil, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class SheetsRead:
    """What was understood of all pages."""

    marks: tuple[Mark, ...]
    pages: tuple[PageRead, ...]
    notes: tuple[str, ...]


def read_sheets(paths: Iterable[Path], sheet: MarkingSheet) -> SheetsRead:
    """What is understood of photographs or scans of a print's marking sheet.

    Parameters
    ----------
    paths
        PNG, JPEG, TIFF or WebP files, one page each, in any order and whichever way up.
    sheet
        The print's sheet.

    Raises
    ------
    InputError
        If one can't be read, shows no sheet or another print's, or its pencils can't be told apart; with the file.
    """
    pages, notes = [], []
    for path in paths:
        try:
            picture = opened(picture_bytes(path), Notes())
            page = read_page(picture, sheet)
        except InputError as error:
            raise error.within(str(path)) from None
        pages.append(page)
        notes += [f"{path.name}: {note}" for note in page.notes]
    notes += _read_twice(pages)
    return SheetsRead(marks=joined_marks(pages), pages=tuple(pages), notes=tuple(notes))


def _read_twice(pages: Sequence[PageRead]) -> Iterator[str]:
    for number, count in sorted(Counter(page.page.number for page in pages).items()):
        if count > 1:
            yield f"page {number} was read {count} times: its marks are put together"


def read_page(picture: ScanPicture, sheet: MarkingSheet) -> PageRead:
    """One page.

    Raises
    ------
    InputError
        As `read_sheets`, without the file.
    """
    result = placed(picture.tone)
    page = _page(result, sheet)
    flat = evened(straightened(picture, result.paper), result.paper.scale())
    pencils = learnt(flat, result.form)
    notes = check_apart(pencils)
    rows, columns = _window(result, page)
    hue, depth = flat.hue[rows, columns], flat.depth[rows, columns]
    which = nearest_pencil(hue, flat.coloured[rows, columns], pencils, flat.floor[rows, columns])
    share = share_of_deepest(depth)
    corner = _corner(result, page, rows, columns)
    marked = [
        (pencil.meaning, _strength(area, pencil), shape)
        for k, pencil in enumerate(pencils)
        for area in areas(covered(share, which == k, flat.blur_mm), depth)
        for shape in _in_print(area.shape, corner, page)
    ]
    notes += _unknown(areas(which == len(pencils), depth), corner, page, flat, (rows, columns))
    return PageRead(
        page=page, off_mm=result.off_mm, seen=flat.light[rows, columns], areas=tuple(marked), pencils=pencils,
        notes=tuple(notes),
    )  # fmt: skip


def _page(placed: Placed, sheet: MarkingSheet) -> SheetPage:
    pages = sheet.pages(placed.form)
    if placed.sign != sheet.sign or placed.number > len(pages) or placed.form != sheet.best(placed.form.paper):
        raise InputError(
            "is the marking sheet of another print, or of this one when its name or size was another",
            hint="print this print's sheet: carvegen sheet",
        )  # fmt: skip
    return pages[placed.number - 1]


def _window(placed: Placed, page: SheetPage) -> tuple[slice, slice]:
    """The pixels of the straightened sheet that show the print."""
    (left, bottom, right, top), (x, y) = page.shown, page.origin
    high = placed.form.size[1]
    return (
        slice(int((high - top - y) * PX_PER_MM), round((high - bottom - y) * PX_PER_MM)),
        slice(int((left + x) * PX_PER_MM), round((right + x) * PX_PER_MM)),
    )


def _corner(placed: Placed, page: SheetPage, rows: slice, columns: slice) -> tuple[float, float]:
    """Where the lower left corner of those pixels lies in the print."""
    return columns.start / PX_PER_MM - page.origin[0], placed.form.size[1] - rows.stop / PX_PER_MM - page.origin[1]


def _in_print(shape: shapely.Polygon, corner: tuple[float, float], page: SheetPage) -> PolygonArray:
    """An area in mm of the print, as far as the page shows it, on a coarse grid."""
    there = geometry.moved(geometry.polygon_array([shape]), corner)
    cut = shapely.intersection(there, shapely.box(*page.shown))
    return geometry.parts(shapely.set_precision(cut, _GRID_MM))


def _strength(area: PencilArea, pencil: Pencil) -> float:
    """One of the grades for "more" and "less", by how deep the area is between the box's two halves."""
    if not pencil.meaning.graded:
        return 1.0
    share = (area.depth - pencil.light) / max(pencil.firm - pencil.light, 1e-6)
    return GRADES[int(np.searchsorted(_BETWEEN_GRADES, share))]


def _unknown(
    areas: Sequence[PencilArea], corner: tuple[float, float], page: SheetPage, flat: Evened, window: tuple[slice, slice]
) -> Iterator[str]:
    """What is to be said of colours that are in no box."""
    light = flat.light[window]
    coloured = flat.coloured[window]
    for area in areas:
        for shape in _in_print(area.shape, corner, page):
            if shape.area < _TELL_MM2:
                continue
            at = shape.representative_point()
            yield (
                f"a colour ({hex_of(_colour(area.shape, light, coloured))}) near {at.x:.0f}, {at.y:.0f} mm "
                f"({shape.area:.0f} mm²) is in no box of the strip: it marks nothing"
            )


def _colour(shape: shapely.Polygon, light: Light, coloured: Mask) -> tuple[int, int, int]:
    rows, columns = np.nonzero(coloured)
    inside = shapely.contains_xy(shape, (columns + 0.5) / PX_PER_MM, (len(light) - rows - 0.5) / PX_PER_MM)
    mean = light[rows[inside], columns[inside]].mean(axis=0, dtype=np.float64)
    red, green, blue = np.round(screen(mean)).astype(int).tolist()
    return red, green, blue


def joined_marks(pages: Sequence[PageRead]) -> tuple[Mark, ...]:
    """The areas of all pages as marks; those of one meaning that lie over one another on two pages are one."""
    marks: list[Mark] = []
    keys: Counter[str] = Counter()
    for meaning in Meaning:
        areas = [(strength, shape) for page in pages for what, strength, shape in page.areas if what is meaning]
        shapes = geometry.polygon_array([shape for _, shape in areas])
        strength = np.array([strength for strength, _ in areas])
        for whole in sorted(geometry.joined(shapes), key=lambda shape: shape.bounds):
            weight = shapely.area(shapely.intersection(shapes, whole))
            mean = float(strength @ weight / weight.sum())
            key = _key(meaning, whole)
            keys[key] += 1
            marks.append(
                Mark(
                    meaning=meaning, shape=whole, key=key if keys[key] == 1 else f"{key}-{keys[key]}",
                    strength=min(GRADES, key=lambda grade: abs(grade - mean)),
                )
            )  # fmt: skip
    return tuple(_side_by_side(marks))


def _side_by_side(marks: Sequence[Mark]) -> list[Mark]:
    """The marks without the narrow strips that neighbours of two meanings share: hatching runs over a little.

    What they share more broadly is hers to decide, and stays.
    """
    done: list[Mark] = []
    for mark in marks:
        shape = mark.shape
        for other in done:
            if other.meaning is not mark.meaning:
                shared = shapely.intersection(shape, other.shape)
                if shapely.area(shared) and shapely.is_empty(shapely.buffer(shared, -_STRIP_MM / 2)):
                    shape = shapely.difference(shape, other.shape)
        pieces = geometry.parts(shapely.set_precision(shape, _GRID_MM))
        done.append(replace(mark, shape=shapely.union_all(pieces)))
    return done


def _key(meaning: Meaning, shape: shapely.Polygon) -> str:
    """A name for a mark that says what and where: the same whenever the same scan is read."""
    at = shape.centroid
    return f"{meaning.replace(' ', '-')}-at-{at.x:.0f}-{at.y:.0f}"
