"""Sheets of lying snow to look at: every preset on nine kinds of bearer by two seeds, whole and one piece enlarged.

python -m tests.lying_sheet FOLDER                  a picture of each bearer
python -m tests.lying_sheet FOLDER birch fence      of these alone
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import shapely
from PIL import Image, ImageDraw

from carvegen import geometry
from carvegen.base.limits import Limits
from carvegen.base.streams import stream
from carvegen.motifs import snowload
from carvegen.motifs.growth import Place
from tests.robustness.lying import drawn

WIDTH = 90  #: mm
PAGE = shapely.box(0, 0, WIDTH, WIDTH)
LIMITS = Limits(land_along_mm=0.5, land_across_mm=0.5, cut_mm=0.4, dot_mm=0.8)
SEEDS = (3, 8)
#: What bears the snow, by which numbers it is drawn, and the lower left corner of the piece that is enlarged.
BEARERS = {
    "bare tree": (1, (38, 40)), "fir": (4, (18, 20)), "willow": (2, (30, 50)), "birch": (5, (30, 45)),
    "roofs": (3, (20, 30)), "fence": (6, (8, 25)), "bridge": (0, (10, 40)), "sailboat": (0, (45, 10)),
    "peaks": (9, (25, 30)),
}  # fmt: skip
PIECE_MM, WHOLE_PX, PIECE_PX, GAP = 30, 4, 12, 8
SKY, DARK, SNOW = (150, 160, 170), (30, 33, 40), (255, 255, 255)


def bearer(name: str) -> geometry.PolygonArray:
    shapes = drawn(name, WIDTH, np.random.default_rng(BEARERS[name][0]))
    return geometry.parts(shapely.intersection(shapely.union_all(shapes), PAGE))


def snow(on: geometry.PolygonArray, preset: str, seed: int) -> geometry.PolygonArray:
    settings = snowload.Settings(**snowload.PRESETS[preset])
    return snowload.grow(settings, Place(area=PAGE, shapes=on), LIMITS, stream(seed, "sheet")).cuts


def picture(
    layers: list[tuple[geometry.PolygonArray, tuple[int, int, int]]], window: tuple[float, ...], px: int
) -> Image.Image:
    """The layers' shapes one over another, at so many pixels for a millimetre."""
    left, bottom, right, top = window
    fine = 2 * px
    image = Image.new("RGB", (round((right - left) * fine), round((top - bottom) * fine)), SKY)
    for shapes, colour in layers:
        mask = Image.new("1", image.size)
        pen = ImageDraw.Draw(mask)
        for shape in shapes[np.argsort(-shapely.area(shapely.envelope(shapes)))]:
            for ring, on in [(shape.exterior, 1), *((hole, 0) for hole in shape.interiors)]:
                pen.polygon([((x - left) * fine, (top - y) * fine) for x, y in ring.coords], fill=on)
        image.paste(colour, mask=mask)
    return image.resize((image.width // 2, image.height // 2), Image.Resampling.LANCZOS)


def sheet(name: str, cuts: dict[tuple[str, int], geometry.PolygonArray]) -> Image.Image:
    """A row for each seed: every preset whole, and below it one piece."""
    on, (x, y) = bearer(name), BEARERS[name][1]
    rows = []
    for seed in SEEDS:
        looks = [[(on, DARK), (cuts[preset, seed], SNOW)] for preset in snowload.PRESETS]
        rows.append([picture(look, PAGE.bounds, WHOLE_PX) for look in looks])
        rows.append([picture(look, (x, y, x + PIECE_MM, y + PIECE_MM), PIECE_PX) for look in looks])
    wide, high = rows[0][0].size
    whole = Image.new("RGB", ((wide + GAP) * len(rows[0]), (high + GAP) * len(rows)), "white")
    for i, row in enumerate(rows):
        for k, each in enumerate(row):
            whole.paste(each, (k * (wide + GAP), i * (high + GAP)))
    return whole


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    for name in sys.argv[2:] or BEARERS:
        on = bearer(name)
        cuts = {(preset, seed): snow(on, preset, seed) for preset in snowload.PRESETS for seed in SEEDS}
        sheet(name, cuts).save(folder / f"{name}.png")
        print(folder / f"{name}.png")
