"""What is said of a mark that is drawn: why little came of it, and what of the snow went beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import shapely

from carvegen.interfaces.page.gestures import Area, Stroke
from carvegen.interfaces.page.table import own_marks
from carvegen.interfaces.page.table.desk import most_gone
from carvegen.interfaces.page.table.doing import not_growing
from carvegen.interfaces.page.wording import beside_words, more_words, moved_words
from carvegen.marking.marks import Meaning

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.interfaces.page.gestures import Gesture
    from carvegen.interfaces.page.table.desk import Desk

__all__ = ["DrawnMark", "place_of"]


def place_of(gesture: Area | Stroke, desk: Desk) -> BaseGeometry:
    """Where on the print a mark is drawn."""
    if isinstance(gesture, Stroke):
        shape = own_marks.line_of(gesture.points, gesture.breadth_mm)
    else:
        shape = own_marks.area_of(gesture.points)
    return shapely.intersection(shape, shapely.box(0, 0, *desk.size))


@dataclass(frozen=True, kw_only=True, eq=False)
class DrawnMark:
    """A mark of which something is to be said, and what lay there before it."""

    gesture: Area | Stroke
    place: BaseGeometry
    white: float = 0.0  #: how much of the place is snow, 0…1; of a mark that asks for more
    lay: Mapping[str, BaseGeometry] = field(default_factory=dict)  #: snow in its reach by block; of one that stays

    @classmethod
    def of(cls, gesture: Gesture, desk: Desk) -> DrawnMark | None:
        """The mark that a gesture draws, before it is done; None of all of which nothing is said."""
        if not isinstance(gesture, (Area, Stroke)):
            return None
        place = place_of(gesture, desk)
        if gesture.meaning == Meaning.MORE:
            return cls(gesture=gesture, place=place, white=desk.white_in(place))
        if gesture.meaning == Meaning.STAYS:
            return cls(gesture=gesture, place=place, lay=desk.snow_on(desk.reach_of(place)))
        return None

    def notes(self, desk: Desk, went: BaseGeometry) -> tuple[str, ...]:
        """What is said of it once it is done; `went` is where snow lay and lies no more."""
        words = self._more(desk, went) if self.gesture.meaning == Meaning.MORE else self._beside(desk)
        return (words,) if words else ()

    def _more(self, desk: Desk, went: BaseGeometry) -> str:
        none = not_growing(desk, self.gesture.motifs)
        asked = [each for each in desk.print_.motifs if not self.gesture.motifs or each.name in self.gesture.motifs]
        lies = all(desk.lies(each.name) for each in asked if each.called not in none)
        why = more_words(self.white, desk.white_in(self.place), self.gesture.strength, lies=lies, none=none)
        moved = moved_words(float(shapely.area(shapely.difference(went, self.place))))
        return "; ".join(filter(None, [why, moved]))

    def _beside(self, desk: Desk) -> str:
        painted = (shapely.area(shapely.intersection(snow, self.place)) for snow in self.lay.values())
        return beside_words(max(painted, default=0.0), most_gone(self.lay, desk.snow_on(desk.reach_of(self.place))))
