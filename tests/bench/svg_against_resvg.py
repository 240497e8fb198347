"""SVG files read here against resvg's picture of them: area, centre and bounds; run by hand.

python -m tests.bench.svg_against_resvg icons        # Font Awesome Free, solid style
python -m tests.bench.svg_against_resvg FOLDER       # the W3C's SVG 1.1 tests, say, from Debian's librsvg2-tests
python -m tests.bench.svg_against_resvg FOLDER bare  # the same without text and pictures made of dots
"""

from __future__ import annotations

import collections
import io
import re
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import resvg_py
import shapely
from PIL import Image

from carvegen.artwork import Artwork, read
from carvegen.base.errors import InputError

LONGER_PX = 1600
_TEXT = re.compile(r"<(text|image)\b(?:[^>]*/>|.*?</\1\s*>)", re.DOTALL)


def main(folder: str, bare: bool) -> None:
    paths = sorted(_folder(folder).glob("*.svg"))
    start = time.process_time()
    said = {path.name: _verdict(path, bare) for path in paths}
    for name, verdict in said.items():
        if verdict != "agrees":
            print(f"{name}: {verdict}")
    kinds = collections.Counter(verdict.partition(":")[0] for verdict in said.values())
    print(f"{len(paths)} files in {time.process_time() - start:.0f} s: {dict(kinds.most_common())}")


def _folder(name: str) -> Path:
    if name != "icons":
        return Path(name)
    import fontawesomefree

    return Path(fontawesomefree.__file__).parent / "static/fontawesomefree/svgs/solid"


def _verdict(path: Path, bare: bool) -> str:
    text = path.read_text(encoding="utf-8")
    text = _TEXT.sub("", text) if bare else text
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / path.name
        copy.write_text(text, encoding="utf-8")
        try:
            artwork = read(copy)
        except InputError as error:
            return f"refused: {error.message}"
    try:
        ink = _coverage(text)
    except ValueError as error:
        return f"resvg can't: {error}"
    return _compared(artwork, ink)


def _coverage(text: str) -> np.ndarray:
    """How black each pixel is, 0 to 1, rows from the top."""
    small = _picture(text, 1)
    return _picture(text, max(1, LONGER_PX // max(small.shape)))


def _picture(text: str, zoom: int) -> np.ndarray:
    png = resvg_py.svg_to_bytes(svg_string=text, zoom=zoom, dpi=96)
    return np.asarray(Image.open(io.BytesIO(bytes(png))).convert("RGBA"), dtype=float)[:, :, 3] / 255


def _compared(artwork: Artwork, ink: np.ndarray) -> str:
    if any("see-through" in note for note in artwork.notes):
        ink = (ink > 0.05).astype(float)
    high, wide = ink.shape
    width = artwork.width_mm or 1000.0 * wide / max(wide, high)
    mm = width / wide
    page = shapely.box(0, 0, width, artwork.height_mm or high * mm)
    shape = shapely.intersection(shapely.union_all(artwork.shapes), page)
    if not shape.area or not ink.sum():
        return "agrees" if not shape.area and not ink.sum() else "differs: one of the two is empty"
    area = shape.area / (ink.sum() * mm**2) - 1
    rows, columns = np.indices(ink.shape)
    centre = np.array([(ink * (columns + 0.5)).sum(), (ink * (high - rows - 0.5)).sum()]) / ink.sum() * mm
    off = np.abs(centre - shapely.get_coordinates(shape.centroid)[0]).max() / width
    if (abs(area) < 3e-3 and off < 5e-4) or not (far := _far(shape, ink, mm)):
        return "agrees"
    return f"differs: area by {area:+.2%}, centre by {off:.2%}, {far} pixels further than one from an edge"


def _far(shape: shapely.Geometry, ink: np.ndarray, mm: float) -> int:
    """Pixels that are black in one only, and not because edges that meet are painted twice."""
    shapely.prepare(shape)
    rows, columns = np.indices(ink.shape)
    x, y = (columns + 0.5) * mm, (len(ink) - rows - 0.5) * mm
    wrong = shapely.contains_xy(shape, x, y) != (ink > 0.5)
    return int((shapely.distance(shapely.points(x[wrong], y[wrong]), shape.boundary) > 1.1 * mm).sum())


if __name__ == "__main__":
    main(sys.argv[1], "bare" in sys.argv[2:])
