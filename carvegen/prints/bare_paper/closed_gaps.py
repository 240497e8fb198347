"""Where mending has closed gaps between things that are drawn apart: told with the gap that would stay open."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Severity
from carvegen.blocks.from_motif import strictest

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.job import Setup
    from carvegen.prints.cut_blocks import Cut

__all__ = ["closed_gaps"]

_CRUMB_MM2 = 0.05  #: of less nothing is to be seen
_MUCH_MM2 = 2.0  #: less of a gap is not told: our own choice
_ONE_PLACE_MM = 2.0  #: gaps no further apart are one place, as between the blades of a tuft: our own choice


def closed_gaps(
    cut: Cut, before: BaseGeometry, setups: Sequence[Setup], darker: Iterable[BaseGeometry] = ()
) -> Iterator[Finding]:
    """Each place where what a block prints was apart as drawn, and is one now that thin land is wider.

    Lines that are too thin get as wide as the land, half of what they lack on either side: a gap as wide as the land
    and the smallest cut stays open in any case.

    Parameters
    ----------
    cut
        The block as it is mended.
    before
        What stood of it before.
    darker
        What of the picture is in darker inks: a gap there is not seen.
    """
    if not any(change.white_mm2 < 0 for change in cut.changes):
        return
    drawn = [cut.picture, *darker]
    limits = strictest(setup.limits for setup in setups)
    open_mm = limits.land_mm + limits.cut_mm
    by_hand = [setup.limits.land_mm for setup in setups if setup.machine.kind == "hand"]
    alone = bool(by_hand) and limits.land_mm > min(by_hand)
    added = geometry.parts(shapely.difference(geometry.gone(cut.land, before), shapely.union_all(drawn)))
    added = added[shapely.area(added) > _CRUMB_MM2]
    if len(added) == 0:
        return
    window = shapely.union_all(geometry.offset(added, 2 * open_mm, quad_segs=1))
    things = shapely.intersection(geometry.solid(before), window)
    closed = shapely.buffer(shapely.buffer(things, open_mm / 2, quad_segs=8), -open_mm / 2, quad_segs=8)
    gaps = geometry.parts(shapely.intersection(shapely.union_all(added), closed))
    gaps = gaps[shapely.area(gaps) > _CRUMB_MM2]
    group = geometry.touching_groups(geometry.offset(gaps, _ONE_PLACE_MM / 2, quad_segs=2))
    for number in np.unique(group).tolist():
        place = gaps[group == number]
        if shapely.area(place).sum() > _MUCH_MM2:
            yield _finding(place[np.argmax(shapely.area(place))], float(shapely.area(place).sum()), open_mm, alone)


def _finding(gap: BaseGeometry, area_mm2: float, open_mm: float, by_hand_alone: bool) -> Finding:
    x, y = shapely.get_coordinates(shapely.point_on_surface(gap))[0].round(3).tolist()
    wide = math.ceil(10 * open_mm) / 10
    return Finding(
        rule="mended-joined", severity=Severity.ADVICE, at=(x, y), measured=area_mm2, limit=_MUCH_MM2, unit="mm²",
        why="thin things are drawn close together here: mending made them as wide as they must be, which closed gaps "
        "between them",
        remedy=f"draw the gaps {wide:g} mm wide" + (", or have this block cut by hand alone" if by_hand_alone else ""),
    )  # fmt: skip
