"""The shapes in a picture that lies on a plan, and where it can't tell them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from PIL import Image

from carvegen import geometry
from carvegen.artwork.bounds import SEEN_MM
from carvegen.artwork.on_plan.covering import covered
from carvegen.artwork.on_plan.shadows import evenly_lit, light_over
from carvegen.artwork.on_plan.tones import COLOUR_PX, PARTING, above_cut, colour_tells, parted, toned
from carvegen.artwork.scan.description import ScanOptions
from carvegen.artwork.scan.inks import hidden_by
from carvegen.artwork.scan.planes import UNSURE
from carvegen.artwork.scan.reader import read_straight

if TYPE_CHECKING:
    from collections.abc import Mapping

    from shapely.geometry.base import BaseGeometry

    from carvegen.artwork.drawing import Artwork
    from carvegen.artwork.on_plan.laid_picture import Laid
    from carvegen.base.colour import Ink, Rgb

__all__ = ["InkSeen", "read_block", "read_inks", "read_laid"]

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
