"""How far apart two colours are for eyes of several kinds: CIEDE2000 by skimage, on colours as those eyes see them."""

from __future__ import annotations

import numpy as np
from PIL import ImageColor
from skimage.color import deltaE_ciede2000, rgb2lab

#: What eyes see of linear RGB: matrices for full strength after Machado, Oliveira and Fernandes (2009), from memory.
EYES = {
    "usual": np.eye(3),
    "without red": np.array([[0.152, 1.053, -0.205], [0.115, 0.786, 0.099], [-0.004, -0.048, 1.052]]),
    "without green": np.array([[0.367, 0.861, -0.228], [0.280, 0.673, 0.047], [-0.012, 0.043, 0.969]]),
    "without blue": np.array([[1.256, -0.077, -0.179], [-0.078, 0.931, 0.148], [0.005, 0.691, 0.304]]),
}


def apart(one: str, other: str, eyes: str) -> float:
    """The difference of two colours, such as "#5291a5", for one of `EYES`."""
    return float(deltaE_ciede2000(_seen(one, eyes), _seen(other, eyes)))


def _seen(colour: str, eyes: str) -> np.ndarray:
    share = np.array(ImageColor.getrgb(colour)) / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    seen = np.clip(EYES[eyes] @ linear, 0, 1)
    return rgb2lab(np.where(seen <= 0.0031308, seen * 12.92, 1.055 * seen ** (1 / 2.4) - 0.055))
