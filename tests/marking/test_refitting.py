"""Locked snow where others come to cut it: what holds stays the same object, what does not is mended or goes."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.limits import Limits
from carvegen.marking.near_land import weak_places
from carvegen.marking.refitting import grew_entry, grew_in, refitted
from carvegen.motifs.growth import Place

FACE = shapely.box(0, 0, 40, 30)
PLACE = Place(area=FACE)
NONE = geometry.empty()


def limits(land: float, cut: float = 0.4) -> Limits:
    return Limits(land_along_mm=land, land_across_mm=land, cut_mm=cut, dot_mm=1.0)


def disc(x: float, y: float, r: float) -> shapely.Polygon:
    return shapely.Point(x, y).buffer(r, quad_segs=16)


def mended(*shapes: shapely.Polygon, land: float = 0.75, cut: float = 0.4) -> np.ndarray:
    by = limits(land, cut)
    done = refitted(geometry.polygon_array(shapes), NONE, zone=FACE, place=PLACE, limits=by)
    assert len(weak_places(done, NONE, PLACE, by)) == 0
    return done


def test_what_holds_is_the_same_object_and_of_two_too_near_the_smaller_gives_the_land() -> None:
    """Gap 0.5 between radii 3 and 2: the smaller loses 0.25 where they are nearest; a third far off stays itself."""
    large, small, far = disc(10, 10, 3), disc(15.5, 10, 2), disc(30, 20, 2)
    done = mended(large, small, far)
    assert done[0] is large
    assert done[2] is far
    assert done[1].within(small.buffer(0.01))
    assert large.distance(done[1]) == pytest.approx(0.77, abs=0.01)
    assert done[1].area > 0.95 * small.area


def test_what_would_be_little_goes_and_nothing_comes() -> None:
    """A speck of radius 0.3, 0.2 beside a large one: 0.55 more land leaves less than a third of it."""
    large, speck = disc(10, 10, 3), disc(13.5, 10, 0.3)
    assert [shape is large for shape in mended(large, speck)] == [True]


def test_a_bay_that_is_too_narrow_is_filled() -> None:
    """Two arms 0.6 apart, of one shape: by a land of 0.75 no land stands between them."""
    arms = shapely.union_all([shapely.box(5, 5, 7, 15), shapely.box(7.6, 5, 9.6, 15), shapely.box(5, 5, 9.6, 7)])
    (one,) = mended(arms)
    assert one.contains(shapely.box(7.1, 8, 7.5, 13))
    assert one.area < shapely.box(5, 5, 9.6, 15).area + 0.03


def test_what_is_slim_is_widened_to_a_larger_cutter_or_goes() -> None:
    """Radius 0.8 to a cut of 2: widened; 0.4, less than half of it: gone; radius 3 stays itself."""
    slim, speck, large = disc(10, 10, 0.8), disc(20, 10, 0.4), disc(30, 20, 3)
    done = mended(slim, speck, large, cut=2.0)
    assert len(done) == 2
    assert done[1] is large
    assert done[0].contains(slim)
    assert not done[0].buffer(-0.995).is_empty


def test_nothing_changes_outside_the_zone_nor_of_what_comes_out() -> None:
    large, small = disc(10, 10, 3), disc(15.5, 10, 2)
    both = geometry.polygon_array([large, small])
    for more in ({"zone": shapely.box(20, 0, 40, 30)}, {"zone": FACE, "white": shapely.union(large, small)}):
        done = refitted(both, NONE, place=PLACE, limits=limits(0.75), **more)
        assert [a is b for a, b in zip(done, both, strict=True)] == [True, True]


def test_what_is_too_near_to_the_edge_of_the_face_is_cut_back_from_it() -> None:
    (one,) = mended(disc(2.4, 10, 2))
    assert one.bounds[0] == pytest.approx(0.77, abs=0.01)
    assert one.area > 0.85 * disc(2.4, 10, 2).area


def test_what_is_slim_across_the_rim_of_the_zone_is_widened_inside_it_alone_or_goes() -> None:
    """By a cut of 2: a bar 1.6 wide, most of it inside; a disc of radius 0.8, cut in two by the rim."""
    for slim, zone in (
        (shapely.box(5, 9.2, 12, 10.8), shapely.box(0, 0, 10, 30)),
        (disc(10, 10, 0.8), shapely.box(0, 0, 10.2, 30)),
    ):
        done = refitted(geometry.polygon_array([slim]), NONE, zone=zone, place=PLACE, limits=limits(0.75, 2.0))
        assert len(done) == (slim.area > 5)
        for one in done:
            assert one.difference(zone).symmetric_difference(slim.difference(zone)).area < 0.01
            assert not one.buffer(-0.995).is_empty


def test_what_is_slim_across_the_rim_of_the_zone_stays_where_it_lies_mostly_outside() -> None:
    """By a cut of 2 a bar 1.6 wide, its end inside, where no widening would let the cutter in."""
    bar, zone = shapely.box(9.5, 9.2, 20, 10.8), shapely.box(0, 0, 10, 30)
    done = refitted(geometry.polygon_array([bar]), NONE, zone=zone, place=PLACE, limits=limits(0.75, 2.0))
    assert [shape is bar for shape in done] == [True]


def test_of_a_speck_of_which_less_than_a_third_would_be_left_nothing_is() -> None:
    """Radius 1, 0.2 beside a bar, by a land of 1.5: 1.32 of its 2 mm go, which leaves 30 %."""
    bar, speck = shapely.box(5, 5, 8, 25), disc(9.2, 15, 1)
    assert [shape is bar for shape in mended(bar, speck, land=1.5)] == [True]


BY = {"land_along_mm": 0.5, "land_across_mm": 0.6, "cut_mm": 0.4, "dot_mm": 1.0, "grain_deg": 0.0}


def test_limits_that_marks_were_done_by_come_back_as_written_each_by_its_name() -> None:
    by = Limits(**{**BY, "land_along_mm": 0.7265625, "grain_deg": 30.0})
    key = "at 12.5 4.0 mm, 3fa2c1"
    entry = grew_entry(key, 3, by)
    assert entry == {"mark": key, "try": 3, **BY, "land_along_mm": 0.7265625, "grain_deg": 30.0}
    assert grew_in([entry]) == grew_in([tuple(entry.items())]) == {(key, 3): by}
    assert grew_in([f"0.7265625 0.6 0.4 1.0 30.0 3 {key}"]) == {(key, 3): by}, "as it was written once"
    with pytest.raises(InputError, match="five limits"):
        grew_in(["0.5 0.5 mark-0001"])


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"cut_mm": None}, "cut_mm is missing"), ({"mark": None}, "mark is missing"),
        ({"cut_m": 1}, "cut_m is not known"),
        ({"cut_mm": "0.4"}, "cut_mm must be a number"), ({"try": -1}, "a try"), ({"try": 1.5}, "a try"),
        ({"mark": ""}, "by its key"),
    ],
)  # fmt: skip
def test_an_entry_that_names_no_mark_s_limits_is_refused_with_its_key(wrong, said) -> None:
    entry = {name: value for name, value in ({"mark": "a", "try": 1} | BY | wrong).items() if value is not None}
    with pytest.raises(InputError, match=f"motifs.1.marks_grew_by: .*{said}"):
        grew_in([entry], "motifs.1.marks_grew_by")


@pytest.mark.parametrize("k", range(5))
@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "-1", "0", "500"])
def test_a_limit_that_no_block_has_is_refused_with_its_key(k: int, value: str) -> None:
    """Of the grain's direction 0, -1 and a number of degrees that is no direction, 500."""
    name = [*BY][k]
    by = {**BY, name: float(value)}
    line = " ".join(map(str, by.values()))
    for entry in ({"mark": "mark-0001", "try": 1, **by}, f"{line} 1 mark-0001"):
        if k == 4 and value in ("0", "-1"):
            assert grew_in([entry])["mark-0001", 1].grain_deg == float(value)
            continue
        with pytest.raises(InputError, match=f"motifs.1.marks_grew_by: {name} must be ") as error:
            grew_in([entry], "motifs.1.marks_grew_by")
        assert "take this line out" in error.value.hint


@pytest.mark.parametrize("text", ["", "0.5 0.5 0.4 1 0 1 ", "0.5 0.5 0.4 1 0 -5 a", "0.5  0.5 0.4 1 0 1 a"])
def test_a_line_that_is_no_mark_s_limits_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="five limits"):
        grew_in([text])


MASS = shapely.box(5, 5, 15, 10)
OWN = shapely.Polygon([(8, 9.5), (15, 10.4), (15, 13), (8, 13)])  # a wedge of land up to 0.4 wide between the two


def test_what_other_white_lies_over_stays_joined_to_it() -> None:
    """Own snow over the edge of a mass: both are white, so the notches close and no strip of land parts them."""
    own = geometry.polygon_array([OWN])
    (left,) = done = refitted(geometry.polygon_array([MASS]), own, zone=FACE, place=PLACE, limits=limits(0.75))
    assert left.covers(MASS.buffer(-0.01))
    assert shapely.union(left, OWN).geom_type == "Polygon"
    assert len(weak_places(done, own, PLACE, limits(0.75))) == 0


@pytest.mark.parametrize(
    ("mass", "foot", "left"),
    [
        (MASS, 10.0, 50.2), (shapely.box(3, 3, 15, 10), 10.0, 84.2), (shapely.box(3, 3, 15, 10), 10.2, 83.1),
        (shapely.box(3, 3, 15, 10), 9.0, 84.0),
    ],
)  # fmt: skip
def test_a_third_shape_beside_a_notch_takes_a_land_of_what_was_filled_and_no_more(mass, foot: float, left) -> None:
    """0.4 off the corner of a mass of 50 or 84 mm² under own snow; at 10.2 the notch stays, and is cut wider."""
    others = geometry.polygon_array([OWN, shapely.box(15.4, foot, 17, foot + 0.5)])
    done = refitted(geometry.polygon_array([mass]), others, zone=FACE, place=PLACE, limits=limits(0.75))
    assert shapely.area(done).sum() == pytest.approx(left, abs=0.15)
    assert len(weak_places(done, others, PLACE, limits(0.75))) == 0
    assert shapely.distance(done, others[1]).min() >= 0.75


def test_where_what_is_filled_and_cut_undo_one_another_land_is_left_around_the_weak_places_and_the_mass_stays() -> None:
    """Own snow over the tip of a mass, a speck 0.2 off it, by a land of 1.1: bays come anew with each cut."""
    mass = shapely.Polygon([(17.1, 10.4), (8.9, 11.5), (7.8, 7.6), (9.1, 7.8), (10.9, 6.8), (14.4, 6.3)])
    own = shapely.Polygon([(16.3, 12.9), (15.4, 11.8), (15.4, 11.2), (15.2, 10.2), (18.8, 9.2), (19.9, 11.2)])
    speck = shapely.Polygon([(16.5, 9.5), (16.6, 9.3), (16.4, 9.2), (16.5, 9.1), (16.6, 9.1), (17.3, 8.8)])
    others = geometry.polygon_array([own, speck])
    done = refitted(geometry.polygon_array([mass]), others, zone=FACE, place=PLACE, limits=limits(1.1))
    assert 0.75 * mass.area < shapely.area(done).sum() < mass.area
    assert len(weak_places(done, others, PLACE, limits(1.1))) == 0
