"""A finished print laid by what its inks print on one another: snow of its own says nothing of where it lies."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image
from scipy import ndimage

from carvegen.artwork.on_plan.plan import ImagePyramid, TonePlan, resized
from carvegen.artwork.on_plan.plan_fit import judged
from carvegen.artwork.on_plan.plan_place import is_mirrored, refined
from carvegen.artwork.on_plan.tones import drawn_tone, ranged
from carvegen.artwork.scan.inks import by_model

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from carvegen.artwork.on_plan.laid_picture import Laid
    from carvegen.artwork.on_plan.plan import Tone
    from carvegen.artwork.on_plan.plan_fit import PlanFit
    from carvegen.base.colour import Ink, Rgb
    from carvegen.geometry import Mask

__all__ = ["laid_by_inks"]

_PX_PER_MM, _ROUNDS = 5.0, 2  #: inks are told apart so fine, and so often as the place gets better
_WHITE = 0.02  #: of the plan's tone, by which paper is told from ink
_ROOM_MM = 0.5  #: a white place is left out with so much about it: edges are blurred, and not quite in place
_INKED = 0.4  #: of a cell that is not left out, from which on it tells; our own choice


def laid_by_inks(laid: Laid, plan: TonePlan, coats: Mapping[str, Ink], paper: Rgb) -> Laid | None:
    """A picture on the plan of a print, from a place that is nearly right; None if it does not fit.

    What is bare on the plan is filled with the nearest ink, and so, by itself, what is bare in the picture: what is
    left is where inks meet. That snow was cut elsewhere then neither moves the place nor speaks against it. Were both
    filled where either is bare, the rims of that would agree wherever the picture lies.
    """
    for _ in range(_ROUNDS):
        scale = min(laid.px_per_mm, _PX_PER_MM)
        image = laid.seen_at(scale).image.convert("RGB")
        drawn = resized(plan.tone, image.size)
        bare = [_wide(mask, _ROOM_MM * scale) for mask in (_bare(image, coats, paper), drawn > drawn.max() - _WHITE)]
        if any(mask.all() for mask in bare):
            return None
        seen = ImagePyramid(_filled(ranged(drawn_tone(image)), bare[0]))
        rest = TonePlan(_filled(drawn, bare[1]), image.width / plan.size_mm[0], is_print=True)
        there = refined(rest, seen, np.diag([scale, scale, 1.0]))
        fit = judged(rest, seen, there)
        inked = _share_in(~(bare[0] | bare[1]), fit, scale) > _INKED
        fit = replace(fit, drawn=fit.drawn & inked)
        step = np.diag([1 / scale, 1 / scale, 1.0]) @ there
        laid = replace(
            laid, plan=plan, fit=fit, place=laid.place @ step, part_place=laid.part_place @ step,
            mirrored=is_mirrored(laid.place @ step, plan),
        )  # fmt: skip
    return None if laid.fault else laid


def _share_in(mask: Mask, fit: PlanFit, scale: float) -> NDArray[np.float64]:
    """The share of each of a fit's cells that is in a mask; (n,)."""
    side = max(round(fit.cell_mm * scale), 1)
    share = ndimage.uniform_filter(mask.astype(np.float32), side)
    x, y = np.clip((fit.middle * scale).astype(int), 0, np.array(mask.shape)[::-1] - 1).T
    return np.asarray(share[y, x], dtype=np.float64)


def _bare(image: Image.Image, coats: Mapping[str, Ink], paper: Rgb) -> Mask:
    """Where a picture shows no ink."""
    colour = np.stack([ndimage.gaussian_filter(channel, 1.0) for channel in np.moveaxis(np.asarray(image), -1, 0)])
    return np.asarray(~np.any(by_model(colour, tuple(coats.values()), paper).on, axis=0))


def _wide(mask: Mask, by_px: float) -> Mask:
    return np.asarray(ndimage.distance_transform_edt(~mask) <= by_px) if mask.any() else mask


def _filled(tone: Tone, bare: Mask) -> Tone:
    """A tone, where it is bare that of the nearest ink."""
    nearest = ndimage.distance_transform_edt(bare, return_distances=False, return_indices=True)
    return np.asarray(tone[tuple(nearest)], dtype=np.float32)
