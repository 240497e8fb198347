"""SVG read here against SVG rendered by resvg, on icons and strokes drawn by others.

Icons: Font Awesome Free (PyPI `fontawesomefree`), solid style, CC BY 4.0; no brand icons.
"""

from __future__ import annotations

import io
from pathlib import Path

import fontawesomefree
import numpy as np
import pytest
import resvg_py
import shapely
from PIL import Image

from carvegen.artwork import read
from tests.strategies import MANY, few

ICONS = Path(fontawesomefree.__file__).parent / "static/fontawesomefree/svgs/solid"
#: Each 60th; each 24th where there is time for many.
NAMES = sorted(path.stem for path in ICONS.glob("*.svg"))[:: 24 if MANY else 60]
#: Whole multiples of the drawing: resvg rounds the size of a page to whole px before it scales.
ZOOM = 4 if MANY else 1


def coverage(svg: str, zoom: int) -> np.ndarray:
    """How black each pixel is, 0 to 255, rows from the top."""
    png = resvg_py.svg_to_bytes(svg_string=svg, zoom=zoom, dpi=96)
    return np.asarray(Image.open(io.BytesIO(bytes(png))).convert("RGBA").getchannel("A"))


def compare(path: Path, *, share: float, width_mm: float, height_mm: float, zoom: int = ZOOM) -> None:
    ink = coverage(path.read_text(), zoom)
    mm = width_mm / ink.shape[1]
    shapes = read(path).shapes
    assert shapely.is_valid(shapes).all()
    area = shapely.area(shapes)
    rows, columns = ink.sum(axis=1, dtype=np.int64) / 255, ink.sum(axis=0, dtype=np.int64) / 255
    assert area.sum() == pytest.approx(rows.sum() * mm**2, rel=share)
    x = np.average(np.arange(ink.shape[1]) + 0.5, weights=columns) * mm
    y = height_mm - np.average(np.arange(ink.shape[0]) + 0.5, weights=rows) * mm
    centre = (shapely.get_coordinates(shapely.centroid(shapes)) * area[:, None]).sum(axis=0) / area.sum()
    assert centre == pytest.approx((x, y), abs=width_mm * 2e-4)
    dark = ink > 0.02 * 255
    seen = (
        np.flatnonzero(dark.any(axis=0))[[0, -1]] + [0, 1],
        height_mm / mm - np.flatnonzero(dark.any(axis=1))[[-1, 0]] - [1, 0],
    )
    x0, y0, x1, y1 = shapely.total_bounds(shapes)
    assert (x0, x1) == pytest.approx(tuple(seen[0] * mm), abs=1.1 * mm)
    assert (y0, y1) == pytest.approx(tuple(seen[1] * mm), abs=1.1 * mm)


@pytest.mark.parametrize("name", few(NAMES, 3))
def test_icon_has_the_area_and_place_that_resvg_paints(name: str) -> None:
    path = ICONS / f"{name}.svg"
    text = path.read_text()
    _, _, width, height = map(float, text.partition('viewBox="')[2].partition('"')[0].split())
    scale = 1000 / max(width, height)  # a drawing without true size is laid out 1000 mm long
    compare(path, share=1e-3, width_mm=width * scale, height_mm=height * scale)


PAGE = '<svg xmlns="http://www.w3.org/2000/svg" width="127mm" height="95.25mm" viewBox="0 0 80 60">{}</svg>'
DRAWN = {
    "miters": '<path d="M10 50L20 10 30 50 60 45 40 30" fill="none" stroke="black" stroke-width="4"/>',
    "sharp corner past the limit": '<path d="M10 50L15 10 20 50" fill="none" stroke="black" stroke-width="4"/>',
    "round": '<path d="M10 50L20 10 30 50 60 45" fill="none" stroke="black" stroke-width="5" '
    'stroke-linecap="round" stroke-linejoin="round"/>',
    "open, ends on its start": '<path d="M40 10V50L10 30 40 10" fill="none" stroke="black" stroke-width="6" '
    'stroke-linecap="square"/><path d="M60 10h15v20z" stroke="black" stroke-width="2" stroke-linejoin="round"/>',
    "closed, flat": '<path d="M20 20C30 20 50 20 60 20Z" stroke="black" stroke-width="6"/>',
    "bevel and square": '<path d="M15 50L25 15 35 50" fill="none" stroke="black" stroke-width="5" '
    'stroke-linecap="square" stroke-linejoin="bevel"/>',
    "closed": '<path d="M15 50L25 15 65 20Z" fill="none" stroke="black" stroke-width="3"/>',
    "skewed line": '<g transform="skewX(-20) scale(2 0.7)"><path d="M22 12h10v50" fill="none" stroke="black" '
    'stroke-width="3"/></g>',
    "fill and line": '<circle cx="40" cy="30" r="15" stroke="black" stroke-width="4"/>',
    "pentagram nonzero": '<path d="M40 5L55 50 15 22H65L25 50Z"/>',
    "pentagram evenodd": '<path fill-rule="evenodd" d="M40 5L55 50 15 22H65L25 50Z"/>',
    "rings the same way": '<path d="M10 10H60V50H10ZM20 20H40V40H20Z"/>',
    "rings the other way": '<path d="M10 10H60V50H10ZM20 20V40H40V20Z"/>',
    "three rings, even": '<path fill-rule="evenodd" d="M5 5H70V55H5ZM15 15H60V45H15ZM20 20H50V40H20Z"/>',
    "arcs": '<path d="M20 30a18 10 30 1 1 20 5A9 9 0 0 1 20 30zM55 20a5 8-20 0 0 10 10z"/>',
    "smooth behind another kind": '<path d="M5 20Q30 50 50 20S70 50 75 20zM10 10C20 0 30 0 40 10T60 12z"/>',
    "curves": '<path d="M5 30C5 0 40 0 40 30S75 60 75 30Q60 20 50 30T30 40z"/>',
    "round box": '<rect x="10" y="12" width="50" height="30" rx="12" ry="6"/>',
    "ellipse, turned": '<ellipse cx="40" cy="30" rx="25" ry="8" transform="rotate(25 40 30)"/>',
    "use and symbol": '<symbol id="s" viewBox="0 0 10 20"><path d="M0 0h10l-5 20z"/></symbol>'
    '<use href="#s" x="10" y="5" width="20" height="30"/><use href="#s" x="40" y="20" width="30" height="20"/>',
    "nested svg": '<svg x="20" y="10" width="40" height="40" viewBox="0 0 20 10"><circle cx="10" cy="5" r="4"/></svg>',
    "style sheet": '<style>.a{fill:none} #b{stroke:#000;stroke-width:3px} rect.a{stroke:black}</style>'
    '<rect class="a" x="10" y="10" width="20" height="20"/><path class="a" id="b" d="M40 10v40"/>'
    '<path class="a" d="M0 0h9v9"/>',
    "dashes": '<path d="M10 50L20 10 60 30" fill="none" stroke="black" stroke-width="3" stroke-dasharray="7 3 1" '
    'stroke-dashoffset="4"/><circle cx="60" cy="45" r="9" fill="none" stroke="black" stroke-width="2" '
    'stroke-dasharray="5" stroke-linecap="round"/>',
    "clip path": '<clipPath id="c"><circle cx="40" cy="30" r="20"/><path clip-rule="evenodd" '
    'd="M5 5H70V15H5ZM10 7H60V12H10Z"/></clipPath><g clip-path="url(#c)"><rect x="8" y="6" width="50" height="30"/>'
    '<path d="M10 40H70" stroke="black" stroke-width="4"/></g>',
    "clip path by shares": '<clipPath id="c" clipPathUnits="objectBoundingBox"><path d="M0 0H1L.5 1z"/></clipPath>'
    '<rect x="20" y="10" width="40" height="30" rx="5" clip-path="url(#c)" transform="rotate(10)"/>',
    "symbol past its box": '<symbol id="s" viewBox="0 0 10 10"><circle cx="8" cy="5" r="5"/></symbol>'
    '<use href="#s" x="10" y="5" width="40" height="40"/>',
    "numbers run together": '<path d="M05 1.e1.5.5h3e1v020.L9+6.e-1Zm30 30a10 10 0 0120.5.5 5 5 0 10-9 9z"/>',
    "selectors": '<style>g > .a, g rect + rect {fill:none} .a {fill:red !important} @font-face {src:x}</style>'
    '<g><path class="a" style="fill:none" d="M5 5h30v30z"/><rect width="9" height="9" x="50" y="9"/>'
    '<rect width="19" height="9" x="50" y="40"/></g>',
    "hidden by less than nothing": '<rect width="9" height="9"/><path d="M5 5h50v50z" fill-opacity="-.1" '
    'stroke="red" stroke-opacity="-20%" stroke-width="3"/>',
    "hidden": '<g display="none"><rect width="80" height="60"/></g><rect opacity="0" width="80" height="60"/>'
    '<g visibility="hidden"><rect width="80" height="60"/>'
    '<rect visibility="visible" x="9" y="9" width="9" height="20"/></g>',
}  # fmt: skip
#: Lines so thin that resvg's pixels of a quarter of a millimetre have another area.
FINE = ("skewed line", "dashes")


@pytest.mark.parametrize("name", DRAWN)
def test_drawing_has_the_area_and_place_that_resvg_paints(name: str, tmp_path: Path) -> None:
    path = tmp_path / "drawn.svg"
    path.write_text(PAGE.format(DRAWN[name]))
    compare(path, share=2e-3, width_mm=127, height_mm=95.25, zoom=2 * ZOOM if name in FINE else ZOOM)
