"""Register marks in the waste of a board: stops or pin holes, the groove round the picture, arrow, name and letters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import reportlab
import shapely
from fontTools.pens.basePen import BasePen
from fontTools.ttLib import TTFont

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.facts.register import APART, PINS_AT

if TYPE_CHECKING:
    from carvegen.facts.register import RegisterPlan
    from carvegen.geometry import PolygonArray

__all__ = ["Register", "die_register", "edge_stop_mm", "name_mark", "register_for", "sheet_of", "with_moat"]

_FONT = Path(reportlab.__file__).parent / "fonts" / "Vera.ttf"  # comes with reportlab
_CAPITAL = 0.729  #: height of its capitals, of the em
_BENDS = 4  #: chords of a curve: a letter is a few millimetres high


class _Outline(BasePen):  # type: ignore[misc]
    """Gathers a glyph's rings, curves as chords."""

    def __init__(self, glyphs: Any) -> None:  # noqa: ANN401
        super().__init__(glyphs)
        self.rings: list[list[tuple[float, float]]] = []

    def _moveTo(self, pt: tuple[float, float]) -> None:  # noqa: N802 - the name is fontTools'
        self.rings.append([pt])

    def _lineTo(self, pt: tuple[float, float]) -> None:  # noqa: N802
        self.rings[-1].append(pt)

    def _qCurveToOne(self, pt1: tuple[float, float], pt2: tuple[float, float]) -> None:  # noqa: N802
        start = np.array(self.rings[-1][-1])
        for t in np.linspace(0, 1, _BENDS + 1)[1:]:
            x, y = (1 - t) ** 2 * start + 2 * t * (1 - t) * np.array(pt1) + t**2 * np.array(pt2)
            self.rings[-1].append((float(x), float(y)))


@lru_cache(maxsize=1)
def _font() -> tuple[Any, dict[int, str], float]:
    font = TTFont(_FONT)
    return font.getGlyphSet(), font.getBestCmap(), _CAPITAL * font["head"].unitsPerEm


@lru_cache(maxsize=256)
def _glyph(letter: str) -> tuple[PolygonArray, float]:
    """The outlines of a letter, capitals 1 high, and how far the next one stands off; "?" for one that is not there."""
    glyphs, names, height = _font()
    glyph = glyphs[names.get(ord(letter), names[ord("?")])]
    pen = _Outline(glyphs)
    glyph.draw(pen)
    rings = [shapely.linearrings(ring) for ring in pen.rings if len(ring) > 2]
    shape = shapely.build_area(shapely.geometrycollections(rings)) if rings else shapely.Polygon()
    return geometry.moved(geometry.parts(shape), (0.0, 0.0), scale=1 / height), float(glyph.width) / height


def lettered(text: str) -> PolygonArray:
    """A line of words as outlines: capitals 1 high, from the origin to the right along the base line."""
    shapes, x = [], 0.0
    for letter in text:
        outlines, width = _glyph(letter)
        shapes.append(geometry.moved(outlines, (x, 0.0)))
        x += width
    return geometry.stack(shapes)


_LETTER_MM = 3.4  #: height of a capital
_UP_MM = 5.0  #: how far above the picture the name stands
_WALL_MM = 6.0  #: wood that stands behind a stop or a pin; common practice, no source
_LEG_MM = 16.0  #: length of a stop along the sheet's edge
_NOTCH_MM = (2.0, 5.0)  #: how far a stop reaches under the sheet: at least, and where there is room
_TO_NOTCH_MM = 4.0  #: what stays free between picture and stop where there is room: what a roller touches
_STRIP_MM = 3.0  #: waste outside the groove that is narrower is lowered with it; our own choice
_SMALLEST_SIDE_MM = 50.0  #: two stops along a shorter side would stand in each other's way; our own choice
_BESIDE_MM = 7.0  #: from the middle of the upper side, where a cross stands, to the arrow
_ARROW_MM = 7.0
_GAP_MM = 2.0
_SMALLEST_MM = 1.6  #: letters lower than this are left out
_MOST_LETTERS = 40
_OFF_GROOVE_MM = 1.0  #: from the groove to the arrow and the name; our own choice
_ARROW = shapely.Polygon([(0, 1.45), (4, 1.45), (4, 0.2), (7, 1.7), (4, 3.2), (4, 1.95), (0, 1.95)])


@dataclass(frozen=True, kw_only=True, eq=False)
class Register:
    """What a board carries for register, in print view; mm, origin at the picture's lower left corner."""

    method: str = "crosses"
    waste_mm: float = 0.0  #: strip of board outside the picture, on every side
    stops: PolygonArray = field(default_factory=geometry.empty)  #: cut for the sheet to lie against, or bored for pins
    lowered: PolygonArray = field(default_factory=geometry.empty)  #: of the waste: as deep as the cuts
    pads: PolygonArray = field(default_factory=geometry.empty)  #: of a die: what stands in its waste, as stops
    mark: PolygonArray = field(default_factory=geometry.empty)  #: arrow, number and name
    words: tuple[str, ...] = ()  #: how it is used
    moat_mm: float = 0.0  #: width of the groove round the picture


def register_for(plan: RegisterPlan, size: tuple[float, float], label: str) -> Register:
    """The register of one board of a print.

    Raises
    ------
    InputError
        If the strip of waste is too narrow for the stops or the pins, or the picture too small for two of them.
    """
    if plan.method != "crosses" and max(size) < _SMALLEST_SIDE_MM:
        raise InputError(
            f"must be crosses where the picture is smaller than {_SMALLEST_SIDE_MM:g} mm", value=plan.method,
            where="register.method", hint='write method = "crosses"; stops so close together would not hold a turn',
        )  # fmt: skip
    make = {"crosses": _no_stops, "stops": _stops, "pins": _pins}[plan.method]
    least = {
        "crosses": 0.0,
        "stops": plan.paper_margin_mm + _WALL_MM,
        "pins": plan.pin_out_mm + plan.pin_mm / 2 + _WALL_MM,
    }[plan.method]
    waste = max(plan.board_mm, least if plan.waste_mm is None else 0.0)
    if waste < least:
        raise InputError(
            f"must be {least:g} mm or more, to carry the {plan.method}", value=waste, where="register.waste_mm",
            hint="leave it out for what the method needs",
        )  # fmt: skip
    return Register(method=plan.method, waste_mm=waste, stops=make(plan, size), mark=name_mark(size, label),
                    words=_WORDS[plan.method])  # fmt: skip


def with_moat(register: Register, size: tuple[float, float], wide_mm: float) -> Register:
    """The register of a block that is inked: a groove round the picture, so that no roller reaches the waste.

    It leaves the stops as they are. Where only a narrow strip would stand outside it, all of the waste is lowered.
    Arrow and name move off it where the waste has room for them; else they lie on its floor.
    """
    if not register.waste_mm or wide_mm <= 0:
        return register
    face = geometry.box(*size)
    if register.waste_mm - wide_mm >= _STRIP_MM:
        wide, around = wide_mm, face.buffer(wide_mm, quad_segs=64)  # round at its corners, which a cutter then reaches
    else:
        wide, around = register.waste_mm, face.buffer(register.waste_mm, join_style="mitre")
    ring = shapely.difference(around, face)
    groove = geometry.snapped(geometry.parts(shapely.difference(ring, shapely.union_all(register.stops))))
    words = (
        f"A groove {wide:g} mm wide runs round the picture, as deep as the cuts, narrower only at a stop: the roller "
        "leaves the waste clean if its middle stops at the picture's edge.",
    )
    mark = _off_groove(register, size, wide)
    return replace(register, lowered=groove, mark=mark, moat_mm=wide, words=(*register.words, *words))


def _off_groove(register: Register, size: tuple[float, float], wide_mm: float) -> PolygonArray:
    """Arrow and name moved up, clear of a groove above the picture, where the waste has room."""
    if not len(register.mark):
        return register.mark
    _, bottom, _, top = (shapely.total_bounds(register.mark) - size[1]).tolist()
    up = wide_mm + _OFF_GROOVE_MM - bottom
    if up <= 0 or top + up > register.waste_mm:
        return register.mark
    return geometry.snapped(geometry.moved(register.mark, (0.0, up)))


def die_register(register: Register, plan: RegisterPlan, size: tuple[float, float]) -> Register:
    """The register of a die: its floor runs through the waste, and stops stand on it outside the sheet.

    Under the sheet nothing stands but the die's face; the stops are lowered below it, too (`emboss.stop_depth_mm`).
    """
    if not register.waste_mm:
        return register
    face = geometry.box(*size)
    waste = shapely.difference(face.buffer(register.waste_mm, join_style="mitre"), face)
    pads = _pads(plan, size) if plan.method == "stops" else geometry.empty()
    floor = geometry.snapped(geometry.parts(shapely.difference(waste, shapely.union_all(pads))))
    return replace(register, lowered=floor, pads=pads, words=_DIE_WORDS[plan.method])


def _pads(plan: RegisterPlan, size: tuple[float, float]) -> PolygonArray:
    """What stands of a die's waste: walls outside the sheet, at its corner and along its long side."""
    m, thick = plan.paper_margin_mm, _WALL_MM
    leg = min(_LEG_MM, 0.2 * min(size))
    outer = -m - thick
    corner = shapely.union(shapely.box(outer, outer, leg - m, -m), shapely.box(outer, outer, -m, leg - m))
    middle = edge_stop_mm(plan, max(size))
    edge = shapely.box(middle - leg / 2, outer, middle + leg / 2, -m)
    return geometry.snapped(_along_long_side([corner, edge], size))


#: Corner notch and straight notch along one long side, barely deeper than the paper is thick, near the picture but
#: never touching it: source: fletcher-1916; the rest is common practice, no source.
_WORDS = {
    "crosses": ("Register: by the crosses, laid over one another by eye.",),
    "stops": (
        "Register: a corner stop and an edge stop along one long side. Cut them barely deeper than the paper is thick, "
        "their outer walls upright and sharp; the sheet lies in the corner first, then against the edge.",
        "They stand in the waste of the board: do not cut the waste off, and do not ink it.",
        "They are on the layer REGISTER STOP; no path for a machine goes there: they are cut by hand unless the shop "
        "does it. Draw or lightly score the arrow and the name on the waste.",
    ),
    "pins": (
        "Register: two pins. Bore their holes upright through the waste; tabs on the sheet sit on them, one with a "
        "round hole, one with a slot along the sheet.",
        "They stand in the waste of the board: do not cut the waste off, and do not ink it.",
        "They are on the layer REGISTER STOP; no path for a machine goes there: they are cut by hand unless the shop "
        "does it. Draw or lightly score the arrow and the name on the waste.",
    ),
}
_DIE_WORDS = {
    "crosses": ("Register: by the crosses, laid over one another by eye.", "The floor runs through the waste."),
    "stops": (
        "Register: a corner stop and an edge stop stand in the waste, just outside the sheet; the sheet lies against "
        "their upright inner walls, in the corner first. The floor runs through all the rest of the waste: under the "
        "sheet nothing stands but the die's face.",
        "Lower the stops themselves to the depth that the layer STOPS of die/wall.svg says: the press must bear on the "
        "die's face alone. Lightly score the arrow and the name on the floor.",
    ),
    "pins": (
        "Register: two pins. Bore their holes upright through the floor, which runs through all of the waste; tabs on "
        "the sheet sit on them. Take pins that end below the die's face, or take them out before you press.",
        "Their holes are on the layer REGISTER STOP; no path for a machine goes there. Lightly score the arrow and the "
        "name on the floor.",
    ),
}


def _no_stops(plan: RegisterPlan, size: tuple[float, float]) -> PolygonArray:
    return geometry.empty()


def _stops(plan: RegisterPlan, size: tuple[float, float]) -> PolygonArray:
    """A corner stop at the lower left corner of the sheet, and an edge stop along the same long side."""
    long, short = max(size), min(size)
    m = plan.paper_margin_mm
    least, most = _NOTCH_MM
    leg, deep = min(_LEG_MM, 0.2 * short), min(most, max(least, m - _TO_NOTCH_MM))
    corner = shapely.union(shapely.box(-m, -m, leg - m, deep - m), shapely.box(-m, -m, deep - m, leg - m))
    middle = edge_stop_mm(plan, long)
    edge = shapely.box(middle - leg / 2, -m, middle + leg / 2, deep - m)
    return geometry.snapped(_along_long_side([corner, edge], size))


def edge_stop_mm(plan: RegisterPlan, long_side_mm: float) -> float:
    """How far along the long side the middle of the edge stop lies."""
    return APART * long_side_mm - plan.paper_margin_mm


def _pins(plan: RegisterPlan, size: tuple[float, float]) -> PolygonArray:
    holes = [
        shapely.Point(share * max(size), -plan.pin_out_mm).buffer(plan.pin_mm / 2, quad_segs=16) for share in PINS_AT
    ]
    return geometry.snapped(_along_long_side(holes, size))


def _along_long_side(shapes: Sequence[Any], size: tuple[float, float]) -> PolygonArray:
    """What is drawn along the lower side; along the left side where that is the long one."""
    result = geometry.polygon_array(shapes)
    return result if size[0] >= size[1] else shapely.transform(result, lambda xy: xy[:, ::-1])


def sheet_of(plan: RegisterPlan, size: tuple[float, float]) -> Any:  # noqa: ANN401
    """The smallest sheet: the picture, and the margin with which it lies against the stops, all round."""
    m = plan.paper_margin_mm
    return shapely.box(-m, -m, size[0] + m, size[1] + m)


def name_mark(size: tuple[float, float], label: str) -> PolygonArray:
    """An arrow to the right and a label, above the right half of the picture: it tells a wrong flip at a glance.

    On a block it points to the left and reads backwards. Where there is no room the label is left out, then the arrow.
    """
    left, room = size[0] / 2 + _BESIDE_MM, size[0] / 2 - _BESIDE_MM
    if room < _ARROW_MM:
        return geometry.empty()
    y = size[1] + _UP_MM
    arrow = geometry.moved(geometry.polygon_array([_ARROW]), (left, y))
    letters = lettered(label[:_MOST_LETTERS])
    wide = float(shapely.total_bounds(letters)[2]) if len(letters) else 1.0
    height = min(_LETTER_MM, (room - _ARROW_MM - _GAP_MM) / wide)
    if height < _SMALLEST_MM:
        return geometry.snapped(arrow)
    words = geometry.moved(letters, (left + _ARROW_MM + _GAP_MM, y), scale=height)
    return geometry.snapped(geometry.stack([arrow, words]))
