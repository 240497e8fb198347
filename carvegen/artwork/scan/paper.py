"""Whether bare paper is seen in a picture, or only a light ink that prints over all."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from carvegen.base.colour import cielab

if TYPE_CHECKING:
    from collections.abc import Sequence

    from carvegen.artwork.scan.pixels import Bytes
    from carvegen.geometry import Floats, Mask

__all__ = ["is_bright", "paper_seen"]

_LOOK_PX = 1000  #: longer side of the picture in which it is looked for
_BRIGHT, _DUSK = 90.0, 50.0  #: CIELAB lightness of paper in good light, and the least of any; our own choice
_NEUTRAL_BRIGHT, _NEUTRAL, _TINTED = 7.0, 3.0, 18.0  #: the most chroma of paper: bright, else, all round; the same
_CREAM = 12.0  #: the most chroma of paper in a lamp's light, which is towards yellow; our own choice
_MARGIN = 0.95  #: of a picture's side that shows paper where there is a margin


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
        Whether paper in a lamp's light counts, which looks like a pale yellow ink.
    """
    step = max(1, max(bare.shape) // _LOOK_PX)
    here = bare[::step, ::step]
    if not here.any():
        return False
    lab = cielab(np.array([np.median(channel[::step, ::step][here]) for channel in colour]))
    lightness, chroma = float(lab[0]), float(np.hypot(lab[1], lab[2]))
    margin = all(side.mean() > _MARGIN for side in (bare[0], bare[-1], bare[:, 0], bare[:, -1]))
    warm = creamy and lab[2] > abs(lab[1])
    dim = lightness > _DUSK and chroma < (_CREAM if warm else _NEUTRAL)
    return is_bright(lab) or dim or (margin and chroma < _TINTED)
