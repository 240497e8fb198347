"""The whole print as shapes: lands that overlap, only touch, or of which nothing is left."""

from __future__ import annotations

import shapely

from carvegen.base.colour import Ink
from carvegen.writers.whole_print.print_png import Coat
from carvegen.writers.whole_print.print_svg import outlines_svg, print_svg

FACE = (0.0, 0.0, 36.0, 24.0)


def test_lands_that_overlap_here_and_only_touch_there_are_drawn() -> None:
    """A tone in a hole of the sky, over its rim at one place: overlays hold polygons and lines. The key is hidden."""
    hole = shapely.box(0, 0, 1, 1)
    lands = [
        shapely.box(*FACE).difference(hole),
        hole.union(shapely.box(0.9, 0.2, 1.2, 0.4)),
        shapely.GeometryCollection(),
    ]
    colours = [(169, 191, 203), (106, 135, 153), (31, 43, 61)]
    coats = [Coat(ink=Ink(colour=colour), land=land) for colour, land in zip(colours, lands, strict=True)]
    assert shapely.intersection(lands[0], lands[1]).geom_type == "GeometryCollection"
    text = print_svg((251, 250, 246), coats, FACE)
    assert "printed by block 1, then 2" in text
    assert outlines_svg(dict(zip("abc", coats, strict=True)), FACE, pressed={})
