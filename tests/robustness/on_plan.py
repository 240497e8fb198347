"""Photographs and scans laid on their plans by the drawing alone: how far off, and how well right is told from wrong.

A face of 300 x 200 mm. Scans have 300 dots per inch, photographs 12 megapixels; perspective by scikit-image, edges cut
by hand wander by 0.3 mm, and all of it is synthetic: no camera or paper was ever before it.
"""

from __future__ import annotations

import time

import numpy as np
import shapely
from PIL import Image
from scipy import ndimage
from skimage import data

from carvegen.artwork.on_plan import laid_on, plan_of
from carvegen.artwork.scan.pixels import ScanPicture
from tests.artwork.scan import on_plan_pictures as made

__all__ = ["on_plan"]

SIZE = (300.0, 200.0)
PX = 8.0
PHOTO, SCAN = (4000, 3000), (3730, 2550)
TABLE, WOOD, CUT_WOOD = (150, 120, 80), (176, 138, 96), (206, 176, 134)
FACE = shapely.box(0, 0, *SIZE)
POST = shapely.box(180, 0, 194, 110)


def _sky(count: int, seed: int = 1) -> shapely.Geometry:
    return shapely.difference(FACE, shapely.union(made.blots(seed, count, SIZE), POST))


def _third(cover: np.ndarray) -> np.ndarray:
    cover = cover.copy()
    cover[:, : cover.shape[1] // 3] = 1.0
    return cover


def _part(cover: np.ndarray) -> np.ndarray:
    """A proof that took ink on two thirds only."""
    cover = cover.copy()
    cover[:, 2 * cover.shape[1] // 3 :] = 0.0
    return cover


def _by_hand(cover: np.ndarray) -> np.ndarray:
    return made.cut_by_hand(cover, px=PX)


def _glaring(seen: np.ndarray) -> np.ndarray:
    """A window shines back from wet ink."""
    y, x = np.mgrid[-1 : 1 : seen.shape[0] * 1j, -1 : 1 : seen.shape[1] * 1j]
    glare = np.exp(-((x - 0.3) ** 2 + (y + 0.2) ** 2) / 0.03)[..., None]
    return np.asarray(seen + (255 - seen.astype(float)) * 0.8 * glare, dtype=np.uint8)


FULL, SPARSE, VERY = _sky(450), _sky(40, 5), _sky(14, 6)
KEY = shapely.intersection(shapely.union_all([made.blots(2, 400, SIZE), POST, shapely.box(20, 50, 280, 55)]), FACE)
SCANNED = {"size": SCAN, "fill": 0.95, "aslant": 0.0, "turn": 1.2}
PHOTOGRAPHED = {"size": PHOTO, "aslant": 0.05}
BLOCK = {**PHOTOGRAPHED, "mirrored": True, "margin": 0.0, "table": TABLE, "fill": 0.75}

#: Name: plan, what is done to what it prints, how it is photographed.
RIGHT = {
    "scan, clean": (FULL, (), SCANNED),
    "scan, cut by hand, a third not cut": (FULL, (_by_hand, _third), SCANNED),
    "photo, clean": (FULL, (), PHOTOGRAPHED),
    "photo, cut by hand, a third not cut": (FULL, (_by_hand, _third), {**PHOTOGRAPHED, "turn": -7.0}),
    "block on a table, inked": (FULL, (_by_hand, _third), {**BLOCK, "turn": 184.0}),
    "carved sky block, no ink": (FULL, (_by_hand,), {**BLOCK, "ink": WOOD, "paper": CUT_WOOD, "turn": 5.0}),
    "key block's print": (KEY, (_by_hand,), {**PHOTOGRAPHED, "turn": 92.0, "fill": 0.7}),
    "pale yellow on white": (FULL, (_by_hand,), {**PHOTOGRAPHED, "ink": (250, 236, 160), "paper": (244, 242, 236)}),
    "partial proof": (FULL, (_by_hand, _part), PHOTOGRAPHED),
    "hand in the corner, shadow": (FULL, (_by_hand,), {**PHOTOGRAPHED, "hand": True, "shadow": 0.5}),
    "glare": (FULL, (_by_hand,), PHOTOGRAPHED),
    "small and aslant": (FULL, (_by_hand,), {**PHOTOGRAPHED, "fill": 0.3, "aslant": 0.12, "table": TABLE}),
    "40 cuts only": (SPARSE, (_by_hand,), PHOTOGRAPHED),
    "40 cuts, a third not cut": (SPARSE, (_by_hand, _third), PHOTOGRAPHED),
    "14 cuts only": (VERY, (_by_hand,), PHOTOGRAPHED),
    "lens -0.01": (FULL, (_by_hand,), {**PHOTOGRAPHED, "lens": -0.01}),
    "lens -0.05": (FULL, (_by_hand,), {**PHOTOGRAPHED, "lens": -0.05}),
    "lens +0.02": (FULL, (_by_hand,), {**PHOTOGRAPHED, "lens": 0.02}),
}  # fmt: skip
WRONG = {
    "another block": (KEY, FULL),
    "other snow": (FULL, _sky(450, 9)),
    "other snow, 40 cuts": (SPARSE, _sky(40, 8)),
    "nothing cut": (KEY, FACE),
}  # fmt: skip


def _row(name: str, expected, seconds: float, off: np.ndarray | None, mirrored: bool | None) -> str:
    """A line of the table."""
    fit = expected.fit
    verdict = "refused: " + expected.fault if expected.fault else "taken"
    side = "" if mirrored is None or expected.mirrored is mirrored else " WRONG SIDE"
    far = "      -      -" if off is None else f"{np.median(off):7.3f}{off.max():7.3f}"
    said = f"{fit.share:7.0%}{int(fit.drawn.sum()):5d}{min(fit.off_mm, 9.99):7.2f}"
    return f"{name:36s}{far}{said}{seconds:6.1f}  {verdict}{side}"


def on_plan(only: str = "") -> int:
    """Print a row for each case; how many right ones lie more than 0.6 mm off and are taken, or wrong ones are."""
    print(f"{'':36s} median  worst  agree cells    off CPU s")
    faults = 0
    for name, (plan, done, how) in RIGHT.items():
        if only not in name:
            continue
        cover = made.painted(plan, PX, SIZE)
        for step in done:
            cover = step(cover)
        seen, true = made.photographed(cover, px=PX, **how)
        if name == "glare":
            seen = _glaring(seen)
        result, seconds = _laid(plan, seen)
        off = made.off_mm_through(result, true, how["size"], how.get("lens", 0.0), SIZE)
        faults += bool(not result.fit.fault and (off.max() > 0.6 or result.mirrored is not how.get("mirrored", False)))
        print(_row(name, result, seconds, off, how.get("mirrored", False)), flush=True)
    for name, (plan, shown) in WRONG.items():
        if only in name:
            seen, _ = made.photographed(made.painted(shown, PX, SIZE), px=PX, **PHOTOGRAPHED)
            faults += _told(name, plan, seen)
    if only in "negative":
        seen, _ = made.photographed(made.painted(FULL, PX, SIZE), px=PX, **PHOTOGRAPHED)
        faults += _told("the plan's negative", FULL, 255 - seen)
    if only in "coins":
        faults += _told("scikit-image's coins", FULL, np.asarray(ndimage.zoom(data.coins(), 6, order=1)))
    return faults


def _told(name: str, plan: shapely.Geometry, seen: np.ndarray) -> bool:
    result, seconds = _laid(plan, seen)
    if result.fault:  # as a file is: then for an ink as light as its paper
        result, more = _laid(plan, seen, pale=True)
        seconds += more
    print(_row(f"wrong: {name}", result, seconds, None, None), flush=True)
    return not result.fault


def _laid(plan: shapely.Geometry, seen: np.ndarray, *, pale: bool = False):
    drawn, start = plan_of(plan, SIZE), time.process_time()
    return laid_on(drawn, ScanPicture(Image.fromarray(seen), None), pale=pale), time.process_time() - start
