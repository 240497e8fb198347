"""Blocks and proofs as a phone shows them, on backgrounds that are photographs by others; laid on their plan.

The backgrounds, light fields and wrong pictures are those that scikit-image's wheel brings (`skimage.data`). The blocks
themselves are drawn: of a real block no photograph was there.
"""

from __future__ import annotations

import io

import numpy as np
from PIL import Image, ImageFilter
from scipy import ndimage
from skimage import data, transform

from carvegen.artwork.on_plan import laid_on, plan_of
from carvegen.artwork.scan.pixels import ScanPicture
from tests.artwork.scan import on_plan_pictures as made

__all__ = ["photographs"]

SKY = made.sky()
SIZE = (2000, 1500)
WOOD = {"ink": (176, 138, 96), "paper": (206, 176, 134)}
BLOCK = {"mirrored": True, "margin": 0.0, "table": (0, 0, 0)}
ROWS, COLUMNS = np.indices(SIZE[::-1])


def _behind(seen: np.ndarray, picture: np.ndarray) -> np.ndarray:
    """A photograph in place of a black table."""
    other = transform.resize(
        picture if picture.ndim == 3 else np.dstack([picture] * 3), seen.shape, preserve_range=True
    )
    table = ndimage.gaussian_filter((seen.max(axis=2) < 24).astype(float), 1)[..., None] > 0.5
    return np.where(table, other, seen)


def _jpeg(seen: np.ndarray, quality: int = 60, *, sharpened: int = 0) -> np.ndarray:
    image, out = Image.fromarray(np.clip(seen, 0, 255).astype(np.uint8)), io.BytesIO()
    if sharpened:
        image = image.filter(ImageFilter.UnsharpMask(2, sharpened, 0))
    image.save(out, "JPEG", quality=quality)
    return np.asarray(Image.open(out), dtype=float)


def _noisy(seen: np.ndarray, by: float = 18.0) -> np.ndarray:
    """Coarse noise, as of a high sensitivity."""
    noise = ndimage.gaussian_filter(np.random.default_rng(5).normal(size=seen.shape), (0.7, 0.7, 0))
    return seen + by * noise / noise.std()


def _vignetted(seen: np.ndarray) -> np.ndarray:
    r2 = ((COLUMNS / SIZE[0] - 0.5) ** 2 + (ROWS / SIZE[1] - 0.5) ** 2) * 2
    return seen * (1 - 0.55 * r2[..., None])


def _screen(seen: np.ndarray) -> np.ndarray:
    """Two rasters that beat."""
    return seen * (1 + 0.12 * np.sin(COLUMNS * 0.11 + ROWS * 0.02) * np.sin(ROWS * 0.093))[..., None]


def _lit_by(seen: np.ndarray, picture: np.ndarray) -> np.ndarray:
    """A photograph, blurred, as an uneven lamp."""
    field = transform.resize(ndimage.gaussian_filter(picture.astype(float), 40), SIZE[::-1])
    return seen * (0.45 + 0.55 * field / field.max())[..., None]


#: Name: how it is photographed, what the phone makes of it.
RIGHT = {
    "block on bricks, JPEG 60": (BLOCK | {"turn": 9.0}, lambda seen: _jpeg(_behind(seen, data.brick()))),
    "block on gravel, bare wood": (BLOCK | WOOD | {"turn": -12.0}, lambda seen: _behind(seen, data.gravel())),
    "block on grass, turned over": (BLOCK | {"turn": 178.0}, lambda seen: _behind(seen, data.grass())),
    "proof on a desk with a cup": ({"table": (0, 0, 0), "fill": 0.5}, lambda seen: _behind(seen, data.coffee())),
    "sharpened twice, JPEG 60": ({}, lambda seen: _jpeg(seen, sharpened=200)),
    "noise": ({}, _noisy),
    "warm lamp": ({}, lambda seen: seen * (1.0, 0.8, 0.5)),
    "cold shade, vignette": ({}, lambda seen: _vignetted(seen * (0.7, 0.85, 1.0))),
    "lens, 3 %": ({"lens": -0.03}, lambda seen: seen),
    "15 degrees aslant": ({"aslant": 0.12, "fill": 0.7}, lambda seen: seen),
    "hand and its shadow": ({"hand": True, "shadow": 0.6}, lambda seen: seen),
    "uneven lamp (the moon)": ({}, lambda seen: _lit_by(seen, data.moon())),
    "screen's raster": ({}, _screen),
    "all at once": (
        BLOCK | {"turn": 6.0, "aslant": 0.08, "lens": -0.02, "shadow": 0.4},
        lambda seen: _jpeg(_noisy(_vignetted(_behind(seen, data.brick()) * (1.0, 0.85, 0.65)), 10), sharpened=120),
    ),
}  # fmt: skip
WRONG = (
    "astronaut", "brick", "camera", "cell", "chelsea", "clock", "coffee", "coins", "grass", "gravel",
    "hubble_deep_field", "immunohistochemistry", "moon", "page", "retina", "rocket", "text",
)  # fmt: skip


def photographs(only: str = "") -> int:
    """Print a row for each; how many right ones are refused or lie more than 0.6 mm off, or wrong ones are taken."""
    faults, plan = 0, plan_of(SKY, made.SIZE)
    cover = made.cut_by_hand(made.painted(SKY, 12.0), px=12.0)
    for name, (how, phone) in RIGHT.items():
        if only in name:
            seen, true = made.photographed(cover, px=12.0, size=SIZE, **how)
            image = Image.fromarray(np.clip(phone(seen.astype(float)), 0, 255).astype(np.uint8))
            result = laid_on(plan, ScanPicture(image, None))
            off = made.off_mm_through(result, true, SIZE, how.get("lens", 0.0))
            bad = bool(result.fault) or off.max() > 0.6
            faults += bad
            print(f"{name:32s}{np.median(off):7.3f}{off.max():7.3f}  {result.fault or 'taken'}", flush=True)
    for name in WRONG:
        if only in name:
            seen = getattr(data, name)()
            result = laid_on(plan, ScanPicture(Image.fromarray(seen).convert("RGB"), None), pale=True)
            faults += not result.fault
            print(f"wrong: {name:25s}{'':14s}  {result.fault or 'TAKEN'}", flush=True)
    return faults
