"""The shapes in a picture that lies on a plan, and where it can't tell them: what lies over the face, or glares."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from PIL import Image
from scipy import ndimage

from carvegen import geometry
from carvegen.artwork.bounds import SEEN_MM
from carvegen.artwork.on_plan.plan import resized
from carvegen.artwork.on_plan.shadows import evenly_lit, light_over
from carvegen.artwork.on_plan.tones import COLOUR_PX, PARTING, above_cut, colour_tells, cut_share, parted, toned
from carvegen.artwork.scan.description import ScanOptions
from carvegen.artwork.scan.inks import hidden_by
from carvegen.artwork.scan.planes import UNSURE
from carvegen.artwork.scan.reader import read_straight
from carvegen.base.colour import cielab

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from carvegen.artwork.drawing import Artwork
    from carvegen.artwork.on_plan.laid_picture import Laid
    from carvegen.artwork.on_plan.plan import TonePlan
    from carvegen.base.colour import Ink, Rgb
    from carvegen.geometry import Mask

__all__ = ["InkSeen", "covered", "read_block", "read_inks", "read_laid", "shows_other_inks"]

_BLURRED_MM = 0.3  #: so far beside an ink that hides another nothing is told of that: edges are blurred


def read_laid(laid: Laid, options: ScanOptions) -> Artwork:
    """The shapes in a picture that lies on a plan, in print view, light and perspective taken out.

    Raises
    ------
    InputError
        If it shows no shape.
    """
    options = replace(options, deskew=False, corners=None, size_mm=None, view="print")
    if len(options.inks) == 1 and not options.coats:
        scale = min(laid.px_per_mm, COLOUR_PX / max(laid.plan.size_mm))
        one = toned(laid.part.image, laid.seen_at(scale).image)  # one channel: a third of the time
        picture = laid.seen_at(laid.px_per_mm, part=replace(laid.part, image=one))
        seen = np.asarray(evenly_lit(picture.image, light_over(laid)), dtype=np.float32)
        lighter = above_cut(seen, laid.plan) > 0 and (laid.pale or colour_tells(laid))
        tone = parted(255 - seen if lighter else seen, laid.plan)
        picture = replace(picture, image=Image.fromarray(tone))
        options = replace(options, even=False, threshold=options.threshold or PARTING / 255)
    else:
        picture = replace(laid.picture, image=evenly_lit(laid.picture.image.convert("RGB"), light_over(laid)))
    return replace(read_straight(picture, laid.plan.size_mm, options), known_mm=SEEN_MM)


@dataclass(frozen=True, kw_only=True, eq=False)
class InkSeen:
    """One ink of a print, or a block alone, as a picture shows it; print view, mm."""

    land: BaseGeometry  #: where it lies
    hidden: BaseGeometry  #: where that can't be told: another ink hides it, the colour is unsure, something lies there

    def as_planned_where_hidden(self, planned: BaseGeometry) -> BaseGeometry:
        """The land, and where that can't be told what is planned there."""
        return geometry.union(geometry.difference(self.land, self.hidden), geometry.intersection(planned, self.hidden))


def read_block(laid: Laid) -> InkSeen:
    """What stands of a block that lies on its plan, and what something lies over, or glares."""
    return InkSeen(land=geometry.union(*read_laid(laid, ScanOptions()).layers.values()), hidden=covered(laid))


def read_inks(laid: Laid, coats: Mapping[str, Ink], paper: Rgb) -> dict[str, InkSeen]:
    """The inks of a print that lies on its plan, taken apart by their own model; `coats` in printing order."""
    options = ScanOptions(inks=tuple(coats), coats=tuple(coats.values()), paper=paper)
    layers = read_laid(laid, options).layers
    lands = [geometry.union(layers.get(name, geometry.empty())) for name in coats]
    unsure = geometry.union(layers.get(UNSURE, geometry.empty()))
    hiding, wide = hidden_by(options.coats, paper), [shapely.buffer(land, _BLURRED_MM) for land in lands]
    seen = {}
    for k, (name, land) in enumerate(zip(coats, lands, strict=True)):
        # where an ink hides others these are what is unsure, not the ink itself
        doubt = geometry.difference(unsure, wide[k]) if any(k in by for by in hiding) else unsure
        seen[name] = InkSeen(land=land, hidden=geometry.union(doubt, *(wide[other] for other in hiding[k])))
    return seen


_COVER_PX_PER_MM, _COVER_BLUR_MM = 2.0, 0.5
_COVERS, _FADES = 18.0, 8.0  #: a* and b* of what lies over the face, and of its soft edge; our own choice
_TINTED = 10.0  #: the same of what hides the drawing as well; our own choice
_LEAST_COVER_MM, _MOST_COVERED = 2.0, 0.2  #: a smaller spot may be drawn; a share of the face
_UNLIKE, _AS_CUT = 0.25, (0.85, 1.5)  #: of the step from land to cut: off land, and about cut; our own choice
_BLIND = 3  #: cells; our own choice
_COLOURS_PX, _OTHER_INK, _MUCH = 300, 12.0, 0.05  #: pixels along a look at its colours; a* and b*; a share of it
_PURE = 0.02
_SAME = 8.0  #: L*, a* and b* within one thing that lies over the face; our own choice


def covered(laid: Laid) -> BaseGeometry:
    """Where something else lies over the face, or glares; print view, mm.

    Its colour is no blend of land's and cut's; where that is much of the face and the drawing shows there, it is
    another ink. Or some places together show no drawing, which in a shadow shows, and do not look like land in the
    light there: what is not cut yet does. What looks like cut may be a sheet of paper, or took no ink.
    """
    size = laid.plan.size_mm
    scale = min(laid.px_per_mm, _COVER_PX_PER_MM)
    picture = laid.seen_at(scale)
    seen = _blots(laid.fit.locked, laid, scale, (picture.width, picture.height))
    aside = _aside(picture.image, laid.plan, blur_px=_COVER_BLUR_MM * scale, where=seen)
    least = max(round(_LEAST_COVER_MM * scale), 1)
    over = ndimage.binary_opening(aside > _COVERS, iterations=max(least // 2, 1))
    if over.any():
        over = ndimage.binary_propagation(over, mask=aside > _FADES)  # glare ends softly
    if over.mean() > _MOST_COVERED:
        over = _hiding(over, laid, scale)
    tone = ndimage.gaussian_filter(picture.tone.astype(np.float32), _COVER_BLUR_MM * scale)
    share = cut_share(tone, laid.plan, where=seen)
    blind = _blots(~laid.fit.locked, laid, scale, (picture.width, picture.height))
    blind = ndimage.maximum_filter(blind, round(1.5 * laid.fit.cell_mm * scale))
    unlike = (aside > _TINTED) | (share > _UNLIKE) | (cut_share(tone, laid.plan) < -_UNLIKE)  # a shadow is no glove
    other = (aside > _TINTED) | (unlike & ((share < _AS_CUT[0]) | (share > _AS_CUT[1])))
    for mask in (other, unlike & blind):  # what looks like cut is part of the cuts beside it
        over |= _hiding(ndimage.binary_opening(mask, iterations=max(least // 2, 1)), laid, scale, fewest=_BLIND)
    if not over.any():
        return geometry.union(geometry.empty())
    over = _onwards(over, picture.image, (unlike | blind) & ~seen, _COVER_BLUR_MM * scale)
    over = ndimage.binary_dilation(over, iterations=least)
    dark = replace(picture, image=Image.fromarray(np.where(over, np.uint8(0), np.uint8(255))), dpi=None)
    plain = ScanOptions(deskew=False, even=False, threshold=0.5)
    return geometry.union(*read_straight(dark, size, plain).layers.values())


def shows_other_inks(laid: Laid) -> bool:
    """Whether much of a picture has a colour that is no blend of what the plan has as land and as cut."""
    wide, high = (max(round(side * _COLOURS_PX / max(laid.plan.size_mm)), 8) for side in laid.plan.size_mm)
    seen = laid.seen_at(2 * _COLOURS_PX / max(laid.plan.size_mm)).image.convert("RGB")
    seen = seen.resize((wide, high), Image.Resampling.BOX)
    drawn, aside = resized(laid.plan.tone, (wide, high)), _aside(seen, laid.plan)
    pure = (drawn < _PURE) | (drawn > 1 - _PURE)
    return bool(pure.any() and (aside[pure] > _OTHER_INK).mean() > _MUCH)


def _blots(which: Mask, laid: Laid, scale: float, size: tuple[int, int]) -> Mask:
    """The pixels of some of a fit's cells."""
    blots, half = np.zeros(size[::-1], dtype=bool), laid.fit.cell_mm / 2
    middle = laid.fit.middle[which]
    for left, top, right, bottom in np.round(np.hstack([middle - half, middle + half]) * scale).astype(int):
        blots[top:bottom, left:right] = True
    return blots


def _hiding(over: Mask, laid: Laid, scale: float, *, fewest: int = 0) -> Mask:
    """Of what may lie over the face the parts in which most cells, and no fewer than so many, show no drawing."""
    blobs, count = ndimage.label(over)
    wide = ndimage.maximum_filter(blobs, max(round(laid.fit.cell_mm * scale / 2), 1))  # a drawn line is no part of it
    x, y = np.clip((laid.fit.middle * scale).astype(int), 0, np.array(over.shape)[::-1] - 1).T
    within = wide[y, x]
    shown, blind = (np.bincount(within[cells], minlength=count + 1) for cells in (laid.fit.locked, ~laid.fit.locked))
    kept = (blind >= np.maximum(shown, fewest)) & (np.arange(count + 1) > 0)
    return np.asarray(kept[blobs])


def _onwards(over: Mask, image: Image.Image, mask: Mask, blur_px: float) -> Mask:
    """What covers the face, and within a mask what is joined to it in its colour: where nothing is drawn, say."""
    lab = ndimage.gaussian_filter(cielab(np.asarray(image.convert("RGB"), dtype=np.float64)), (blur_px, blur_px, 0))
    joined, blobs, over = ndimage.label(over | mask)[0], ndimage.label(over)[0], over.copy()
    boxes = ndimage.find_objects(joined)
    for k, place in enumerate(ndimage.find_objects(blobs), start=1):
        box = boxes[joined[place][blobs[place] == k][0] - 1]
        blob = blobs[box] == k
        alike = np.linalg.norm(lab[box] - np.median(lab[box][blob], axis=0), axis=-1) < _SAME
        over[box] |= ndimage.binary_propagation(blob, mask=blob | (alike & mask[box]))
    return over


def _aside(
    image: Image.Image, plan: TonePlan, *, blur_px: float = 0.0, where: Mask | None = None
) -> NDArray[np.float64]:
    """How far each pixel's colour lies aside of the line from land's colour to cut's, in a* and b*.

    Land's colour and cut's are those `where` the drawing shows, if it shows both. Not numbers if the plan has no land
    or no cut.
    """
    lab = cielab(np.asarray(image.convert("RGB"), dtype=np.float64))
    if blur_px:
        lab = ndimage.gaussian_filter(lab, (blur_px, blur_px, 0))
    drawn = resized(plan.tone, (image.width, image.height))
    on, off = drawn < _PURE, drawn > 1 - _PURE
    if where is not None and (on & where).any() and (off & where).any():
        on, off = on & where, off & where
    if not (on.any() and off.any()):
        return np.full(drawn.shape, np.nan)
    ink, paper = (np.median(lab[mask], axis=0) for mask in (on, off))
    step = paper - ink
    along = np.clip((lab - ink) @ step / max(float(step @ step), 1e-9), 0, 1)
    return np.asarray(np.linalg.norm((lab - ink - along[..., None] * step)[..., 1:], axis=-1))
