"""A kept motif on a drawing that has changed: what lay on what has changed, and nothing else."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from carvegen import geometry
from carvegen.base.streams import stream
from carvegen.geometry.necks import necks
from carvegen.marking.adapting import adapted
from carvegen.marking.kept_file import Kept, MotifOrigin, Surroundings, marks_of
from carvegen.motifs.growth import Growth, Place, plain
from carvegen.motifs.snowload import PRESETS, Settings, grow
from tests.cases import box, disc, limits, shapes
from tests.strategies import SEEDS, examples

LIMITS = limits(0.5, 0.3)
FACE = shapely.box(0, 0, 44, 24)
NOTHING = shapely.Polygon()


def kept_as(growth: Growth, around: Surroundings) -> Kept:
    memory = MotifOrigin(motif="snowload", settings={}, surroundings=around)
    return Kept(growth=growth, names={}, ids=(), edited=geometry.empty(), memory=memory)


def snow_on(bears, seed: int, preset: str = "deep") -> Growth:
    place = Place(area=FACE, shapes=geometry.parts(bears))
    return plain(grow(Settings(**PRESETS[preset]), place, LIMITS, stream(seed, "sky", "snowload")))


def around(bears, clear=NOTHING) -> Surroundings:
    return Surroundings.of(bears=bears, clear=clear)


POSTS = [box(4, 0, 5, 10), box(16, 0, 6, 12), box(30, 0, 7, 8)]


@examples(2)
@given(
    seed=SEEDS, which=st.integers(0, 2), side=st.floats(0.3, 3), preset=st.sampled_from(["deep", "fresh", "wet"]),
    board=st.booleans(),
)  # fmt: skip
def test_law_only_heaps_on_what_has_changed_grow_again(seed, which, side, preset, board):
    """A post is made wider, or gets a board at its side: the heaps on the others stay, vertex by vertex.

    What grows again does so from another seed here, so that none stays by being grown alike.
    """
    before, now = shapely.union_all(POSTS), list(POSTS)
    *_, right, top = now[which].bounds
    added = box(right, top - 2, side, 0.8) if board else box(right, 0, side, top)
    now[which] = shapely.union(now[which], added)
    after = shapely.union_all(now)
    old = snow_on(before, seed, preset)
    kept, room = kept_as(old, around(before)), lambda: FACE
    done = adapted(kept, around(after), LIMITS, room=room, again=lambda: snow_on(after, seed + 1, preset))
    reach = shapely.buffer(added, LIMITS.land_mm)
    far = old.cuts[~shapely.intersects(old.cuts, reach)]
    there = set(marks_of(done.growth.cuts))
    assert set(marks_of(far)) <= there
    assert there - set(marks_of(far)) == set(marks_of(done.come))
    assert set(marks_of(done.gone)) == set(marks_of(old.cuts)) - set(marks_of(far))
    assert len(geometry.close_pairs(done.growth.cuts, LIMITS.land_mm - 0.002)[0]) == 0
    ground = geometry.parts(shapely.difference(FACE, shapely.union_all(done.come)))
    assert len(necks(geometry.rings(ground), LIMITS.land_mm - 0.01)) == 0


def test_nothing_changes_where_nothing_was_drawn_and_nothing_is_grown():
    before = shapely.union_all(POSTS)
    old = snow_on(before, 3)

    def never() -> Growth:
        raise AssertionError("is not to be grown")

    same = shapely.union_all([shapely.segmentize(post, 1.0) for post in reversed(POSTS)])  # drawn in another way
    done = adapted(kept_as(old, around(before)), around(same), LIMITS, room=lambda: FACE, again=never)
    assert done.growth is old
    assert done.lines("snow") == []


def test_what_she_moved_and_took_away_stays_so():
    """A heap that is gone comes back only where its bearer has changed."""
    before = shapely.union_all(POSTS)
    old = snow_on(before, 3)
    edited = Growth(cuts=old.cuts[1:], free=geometry.empty())
    after = shapely.union_all([*POSTS, box(39, 0, 4, 6)])
    done = adapted(
        kept_as(edited, around(before)), around(after), LIMITS, room=lambda: FACE, again=lambda: snow_on(after, 3)
    )
    assert set(marks_of(edited.cuts)) <= set(marks_of(done.growth.cuts))
    assert len(done.growth.cuts) == len(edited.cuts) + 1
    assert done.come[0].bounds[0] > 38


def test_what_grows_again_keeps_a_land_from_what_stays():
    """A heap that she moved to where the new one will be: the new one is cut back; what lies behind it is left out."""
    bears = shapely.union_all(POSTS)
    stays = shapes(disc(28, 13, 1.0))
    wider = shapely.union(bears, box(22, 0, 4, 12))
    fresh = Growth(cuts=shapes(box(22, 11.5, 9, 2)))
    done = adapted(
        kept_as(Growth(cuts=stays), around(bears)), around(wider), LIMITS, room=lambda: FACE, again=lambda: fresh
    )
    assert marks_of(done.growth.cuts[:1]) == marks_of(stays)
    assert len(done.come) == 1
    assert done.come[0].bounds[2] < 27.5
    assert shapely.distance(shapely.union_all(done.come), stays[0]) >= LIMITS.land_mm - 0.002


BOARDS, IN_FRONT = box(2, -1, 40, 19), [box(x, -1, 6, 10) for x in (9, 24, 32)]


@cache
def _as_posts_stand(*posts: int) -> Growth:
    """Grown on the boards with some of the posts before them."""
    fronts = geometry.parts(shapely.union_all([IN_FRONT[k] for k in posts]))
    place = Place(area=FACE, shapes=shapes(BOARDS), fronts=fronts)
    return plain(grow(Settings(patchy=0), place, LIMITS, stream(3, "sky", "snowload")))


@pytest.mark.parametrize("known", [True, False])
def test_a_post_that_moved_before_boards_takes_its_cap_along(known):
    """Boards and posts are one silhouette; a file kept before posts were told apart leaves all as it is."""
    fronts = [shapely.union_all(IN_FRONT[:2]), shapely.union_all(IN_FRONT[::2])]
    old, new = _as_posts_stand(0, 1), _as_posts_stand(0, 2)
    before, now = (
        Surroundings.of(bears=BOARDS, clear=NOTHING, fronts=each) for each in (fronts[0] if known else None, fronts[1])
    )
    done = adapted(kept_as(old, before), now, LIMITS, room=lambda: FACE, again=lambda: new)
    white = shapely.union_all(done.growth.cuts)
    assert [white.intersects(box(x + 2, 9, 2, 2)) for x in (9, 24, 32)] == [True, not known, known]
    assert (len(done.gone), len(done.come)) == (known, known)


@pytest.mark.parametrize(("clear", "left"), [(box(9, 9, 4, 4), 2), (box(20, 20, 3, 3), 3), (box(6.9, 5, 3, 0.005), 3)])
def test_other_motifs_lose_what_meets_what_is_kept_clear_now(clear, left):
    """Whole; but not for a hair, and not what was kept clear before."""
    flakes = Growth(cuts=shapes(disc(5, 5, 2), disc(12, 12, 2), disc(30, 8, 3)))
    was = around(NOTHING, box(29, 7, 2, 2))
    now = around(NOTHING, shapely.union(clear, box(29, 7, 2, 2)))
    done = adapted(kept_as(flakes, was), now, LIMITS, room=lambda: FACE, again=None)
    assert len(done.growth.cuts) == left
    assert set(marks_of(done.growth.cuts)) | set(marks_of(done.gone)) == set(marks_of(flakes.cuts))
    assert bool(done.lines("snow")) == (left < 3)
    assert np.array_equal(done.come, geometry.empty())
