"""Snow that lies where a mark lowers it or takes it: by its share inside the mark; what lies elsewhere is left."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.marking.applying import Bed, _Hand, habit_of, marked
from carvegen.marking.ends import Habit, left_alone, lowered, with_above
from carvegen.marking.marks import Mark, Meaning
from carvegen.motifs import motif
from carvegen.motifs.growth import Growth, Place
from carvegen.motifs.snowload.settings import PRESETS
from tests.cases import box, limits
from tests.strategies import few


def test_a_heap_is_half_as_high_inside_a_mark_and_as_it_was_outside() -> None:
    """3 mm high and level: half of that in the mark's middle, and at the rim no step."""
    habit = habit_of("snowload", motif("snowload").Settings())
    left = shapely.union_all(lowered(box(0, 0, 40, 3), box(10, -1, 20, 5), 0.5, habit, limits(0.5, 0.3)))
    x = np.array([5.0, 9.9, 11.0, 20.0, 30.1, 35.0])
    high = shapely.length(shapely.intersection(left, [shapely.LineString([(at, -1), (at, 9)]) for at in x]))
    assert np.allclose(high[[0, 1, 4, 5]], 3, atol=0.01)
    assert np.isclose(high[3], 1.5, atol=0.01)
    assert 1.6 < high[2] < 2.9


def strip(width: float = 1.6):
    """Snow down the flank of a fir, 14 mm high and steep, as a bed of deep snow has it."""
    return shapely.Polygon([(10, 10), (10 + width, 10), (6 + width, 24), (6, 24)])


def test_snow_down_a_flank_goes_on_above_a_mark_that_stays() -> None:
    """Of deep snow, whose reach is 14 mm and a land: 5 mm from the mark all is as it was, point by point."""
    settings = motif("snowload").Settings(**PRESETS["deep"])
    growth, area = Growth(cuts=geometry.polygon_array([strip()])), box(0, 0, 40, 40)
    bed = Bed(motif="snowload", name="snowload 1", settings=settings, place=Place(area=area), limits=limits(0.5, 0.3),
              seed=1)  # fmt: skip
    stays = box(0, 6, 40, 11)
    mark = Mark(meaning=Meaning.STAYS, shape=stays, key="a")
    left = shapely.union_all(marked(growth, [mark], bed).cuts)
    assert shapely.area(shapely.intersection(left, stays)) == 0
    changed = shapely.symmetric_difference(left, strip())
    assert shapely.area(shapely.difference(changed, shapely.buffer(stays, 5))) == 0


def test_above_what_is_taken_is_no_more_than_lies_on_it() -> None:
    """A heap's top goes with it, the snow on a bough above does not, nor does a flake in the air go upwards."""
    habit = habit_of("snowload", motif("snowload").Settings(**PRESETS["deep"]))
    heap, region = shapely.union_all([box(0, 0, 6, 4), box(0, 4.3, 6, 2), box(-1, 0, 1, 7)]), box(-5, -1, 20, 3.5)
    over = shapely.intersection(with_above(region, heap, habit), heap)
    assert shapely.covers(over, box(1, 0, 4, 4))
    assert shapely.area(shapely.intersection(over, box(0.1, 4.3, 6, 2))) == 0
    assert with_above(region, heap, habit_of("snowfall", motif("snowfall").Settings())) is region


def test_a_little_just_over_or_under_what_goes_goes_with_it() -> None:
    habit = habit_of("snowload", motif("snowload").Settings())
    heap, rest = box(0, 0, 10, 6), geometry.polygon_array([box(2, 5, 3, 1), box(2, 0, 3, 1), box(9.5, 0, 0.5, 6)])
    assert left_alone(rest, heap, box(0, 1, 9.4, 4), habit).tolist() == [True, True, False]
    assert not left_alone(rest, heap, box(0, 1, 9.4, 4), habit_of("snowfall", motif("snowfall").Settings())).any()


@pytest.mark.parametrize(
    ("taken", "high", "goes"),
    [(8.0, 2.9, True), (8.0, 3.1, False), (1.0, 0.9, True), (1.0, 1.1, False)],
)
@pytest.mark.parametrize("side", [1, -1])
def test_what_goes_with_what_is_taken_is_no_higher_than_that_is_thick_nor_than_0_6_of_a_flake(
    taken, high, goes, side
) -> None:
    """Of flakes of 5 mm: 3 mm over or under it."""
    bottom = 10 + taken if side > 0 else 10 - high
    heap, rest = box(0, 0, 40, 30), geometry.polygon_array([box(2, bottom, 3, high)])
    habit = Habit(flake_mm=5.0, settles=True)
    assert left_alone(rest, heap, box(-1, 10, 42, taken), habit).tolist() == [goes]


@pytest.mark.parametrize(("share", "goes"), [(0.34, True), (0.36, False)])
def test_what_goes_with_what_is_taken_is_less_than_0_35_of_the_heap(share, goes) -> None:
    high = 8 * (1 - share)
    rest = geometry.polygon_array([box(0, high, 10, 8 * share)])
    habit = Habit(flake_mm=5.0, settles=True)
    assert left_alone(rest, box(0, 0, 10, 8), box(-1, -1, 12, high + 1), habit).tolist() == [goes]


def deep_bed() -> Bed:
    settings = motif("snowload").Settings(**PRESETS["deep"])
    return Bed(motif="snowload", name="snowload 1", settings=settings, place=Place(area=box(0, 0, 60, 40)),
               limits=limits(0.5, 0.3), seed=1)  # fmt: skip


@pytest.mark.parametrize(("foot", "left"), few([(6, False), (9, True), (4, False)], 2))
def test_a_heaps_foot_under_a_mark_that_stays_goes_with_it_unless_it_is_much_of_it(foot, left) -> None:
    """Of deep snow, a heap 16 mm high, all but its foot in the mark."""
    growth = Growth(cuts=geometry.polygon_array([box(10, 2, 20, 16)]))
    mark = Mark(meaning=Meaning.STAYS, shape=box(0, 2 + foot, 40, 30), key="a")
    assert (len(marked(growth, [mark], deep_bed()).cuts) > 0) == left


@pytest.mark.parametrize(("thick", "least", "most"), [(0.4, 0.6, 1.0), (3.9, 0.6, 1.0), (6.0, 1.01, 1.5)])
@pytest.mark.parametrize("key", ["a", "b"])
def test_thin_snow_ends_as_ragged_as_if_it_were_4_mm_thick(key, thick, least, most) -> None:
    """A rim swells by at most a quarter of the thickness: here to the left, where no snow is above what is taken."""
    strip, mark = box(2, 5, 30, thick), Mark(meaning=Meaning.STAYS, shape=box(10, 0, 10, 20), key=key)
    bite = _Hand(Growth(cuts=geometry.polygon_array([strip])), mark, deep_bed())._bite(strip, mark.shape)
    assert least < 10 - shapely.bounds(bite)[0] <= most
