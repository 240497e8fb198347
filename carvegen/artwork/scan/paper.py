"""What colours tell: whether bare paper is seen, and what is neither paper nor ink, as a hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from carvegen.artwork.scan.sampling import blurred
from carvegen.base.colour import cielab

if TYPE_CHECKING:
    from collections.abc import Sequence

    from carvegen.artwork.scan.pixels import Bytes
    from carvegen.geometry import Floats, Mask

__all__ = ["is_bright", "neither", "paper_seen"]

_LOOK_PX = 1000  #: longer side of the picture in which it is looked for
_BRIGHT, _DUSK = 90.0, 50.0  #: CIELAB lightness of paper in good light, and the least of any; our own choice
_NEUTRAL_BRIGHT, _NEUTRAL, _TINTED = 7.0, 3.0, 18.0  #: the most chroma of paper: bright, else, all round; the same
_WARM, _NIGHT = 45.0, 25.0  #: the most chroma of cream, kraft, or any paper in a lamp's light, and how dark; the same
_MARGIN = 0.95  #: of a picture's side that shows paper where there is a margin
_GREY, _ASIDE = 0.08, 0.06  #: shares of red, green, blue: of a ground that is grey, and off all blends; our own choice
_DARKER = 0.7  #: an ink's tone beside its ground's; else the two may be the wrong way round; our own choice
_TOO_DARK = 40  #: a tone whose colour is mostly noise
_LARGE, _BROAD = 0.005, 0.03  #: of the face, and of its shorter side; our own choice


def is_bright(lab: Floats) -> bool:
    """Whether a colour is as bright and neutral as paper in good light."""
    return bool(lab[0] > _BRIGHT and np.hypot(lab[1], lab[2]) < _NEUTRAL_BRIGHT)


def paper_seen(colour: Sequence[Bytes], bare: Mask, *, creamy: bool = False) -> bool:
    """Whether what counts as bare is as bright and neutral as paper, or a margin all round; a pale sky is neither.

    Parameters
    ----------
    colour
        Red, green, blue as they were pictured, before light is evened, which makes any light colour white.
    creamy
        Whether paper in a lamp's light or of a warm colour counts, which looks like a yellow ink, and grey paper in
        little light.
    """
    step = max(1, max(bare.shape) // _LOOK_PX)
    here = bare[::step, ::step]
    if not here.any():
        return False
    lab = cielab(np.array([np.median(channel[::step, ::step][here]) for channel in colour]))
    lightness, chroma = float(lab[0]), float(np.hypot(lab[1], lab[2]))
    margin = all(side.mean() > _MARGIN for side in (bare[0], bare[-1], bare[:, 0], bare[:, -1]))
    warm = creamy and lab[2] > abs(lab[1])
    dim = lightness > (_NIGHT if creamy else _DUSK) and chroma < (_WARM if warm else _NEUTRAL)
    return is_bright(lab) or dim or (margin and chroma < _TINTED)


def neither(colour: Sequence[Bytes], bare: Mask) -> Mask | None:
    """Where a face shows what is no blend of its ink and its ground, broad and from a side inwards; None if nowhere.

    A hand or a glove in colour. What light does to a picture leaves the shares of red, green and blue: they are
    compared, and only on a ground that is near grey: skin on wood, a grey cloth, or skin beside a red or a pale ink is
    not seen.

    Parameters
    ----------
    colour
        Red, green, blue as they were pictured, of the face alone and coarse.
    """
    seen = np.stack([blurred(channel, 1.0) for channel in colour], axis=-1)
    shares = seen / np.maximum(seen.sum(axis=-1, keepdims=True), 1)
    clear = seen.mean(axis=-1) > _TOO_DARK
    parts = (bare & clear, ~bare & clear)
    if not all(part.any() for part in parts):
        return None
    ground, ink = (np.median(shares[part], axis=0) for part in parts)
    if np.count_nonzero(~bare & clear) < np.count_nonzero(~bare) / 2:
        ink = ground  # so dark that the little that is clear is something else
    light, dark = (float(np.median(seen[part], axis=0).sum()) for part in (bare & clear, ~bare))
    if np.linalg.norm(ground - 1 / 3) > _GREY or dark > _DARKER * light:
        return None
    course = ink - ground
    along = np.clip((shares - ground) @ course / max(float(course @ course), 1e-9), 0, 1)
    aside = clear & (np.linalg.norm(shares - ground - along[..., None] * course, axis=-1) > _ASIDE)
    if aside.mean() < _LARGE:
        return None
    from scipy.ndimage import binary_dilation, binary_fill_holes, label, maximum_filter, minimum_filter

    broad = max(3, round(_BROAD * min(bare.shape)))
    places, count = label(maximum_filter(minimum_filter(aside.view(np.uint8), broad, mode="nearest"), broad))
    rim = np.unique(np.concatenate([places[0], places[-1], places[:, 0], places[:, -1]]))
    large = np.flatnonzero(np.bincount(places.ravel(), minlength=count + 1) >= _LARGE * bare.size)
    kept = np.isin(places, np.intersect1d(rim, large)) & (places > 0)
    return np.asarray(binary_dilation(binary_fill_holes(kept), iterations=2)) if kept.any() else None
