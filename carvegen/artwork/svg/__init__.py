"""SVG drawings: XML by expat, styles by tinycss2 and cssselect2, path data by fontTools, shapes by shapely."""

from __future__ import annotations

from carvegen.artwork.svg.reader import read_svg

__all__ = ["read_svg"]
