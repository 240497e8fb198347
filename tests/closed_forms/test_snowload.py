"""Snow on surfaces against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.motifs.snowload.open_sky import WIDEST_DEG, clear_upwind, sky_seen
from carvegen.motifs.snowload.scene import Grid, columns_of, hiding
from carvegen.motifs.snowload.snowpack import cap_mm, clinging_mm
from tests.motifs.test_snowload import PLAIN, depth_over, grow, shapes
from tests.strategies import few

PAGE = Grid.of((0.0, 0.0, 120.0, 60.0))


def cells(*values) -> np.ndarray:
    return columns_of(shapes(*values), PAGE).raster


def seen(hidden: np.ndarray, x: float, y: float) -> float:
    """The sky seen from the cell over a point."""
    field, _ = sky_seen(hidden)
    return float(field[int(np.ceil((y - PAGE.bottom) / PAGE.step)), int((x - PAGE.left) / PAGE.step)])


def within(left_deg: float, right_deg: float) -> float:
    """The share of the weight cos² between two directions off the plumb line, within the widest of 65 degrees."""

    def f(t: float) -> float:
        return t / 2 + np.sin(2 * t) / 4

    widest = np.radians(65)
    low, high = (np.clip(np.radians(angle), -widest, widest) for angle in (left_deg, right_deg))
    return float((f(high) - f(low)) / (2 * f(widest)))


def test_widest_is_that_of_the_closed_form() -> None:
    assert WIDEST_DEG == 65


@pytest.mark.parametrize(("away", "share"), [(5.0, 0.658), (3.0, 0.597), (1.0, 0.533)])
def test_sky_beside_a_wall(away, share) -> None:
    """1 - (f(T) - f(t1)) / 2 f(T), f(t) = t/2 + sin(2t)/4, t1 = atan(x / H): a wall 20 mm high, T = 65 degrees.

    The integral of cos² over the open directions (own integration): the view factor of a half plane.
    """
    assert within(-np.degrees(np.arctan(away / 20)), 90) == pytest.approx(share, abs=6e-4)
    step = cells(shapely.box(-60, -10, 50, 30), shapely.box(50, -10, 160, 10))
    assert seen(step, 50 + away, 10) == pytest.approx(share, abs=0.03)


def test_sky_beside_a_wall_from_which_snow_is_driven() -> None:
    """10 mm beside a wall 20 mm high, 20 degrees to the right: directions up to its rim (own integration)."""
    rim = np.degrees(np.arctan(10 / 20))
    field, _ = sky_seen(cells(shapely.box(-9, -10, 140, 10), shapely.box(55, 9, 65, 30)), lean_deg=20.0)
    row = int(np.ceil((10 - PAGE.bottom) / PAGE.step))
    left, right = (float(field[row, int((x - PAGE.left) / PAGE.step)]) for x in (45, 75))
    assert (left, right) == pytest.approx((within(-90, rim + 20), within(-90, rim - 20)), abs=0.03)


@pytest.mark.parametrize("wide", [4.0, 10.0, 30.0])
def test_sky_in_the_middle_of_a_slot(wide) -> None:
    """Two walls 20 mm high: the directions between their rims (own integration)."""
    slot = cells(shapely.box(-9, -9, 60 - wide / 2, 30), shapely.box(60 + wide / 2, -9, 130, 30),
                 shapely.box(0, -9, 120, 10))  # fmt: skip
    rim = np.degrees(np.arctan(wide / 2 / 20))
    assert seen(slot, 60, 10) == pytest.approx(within(-rim, rim), abs=0.05)


@pytest.mark.parametrize("high", [5.0, 10.0, 20.0, 40.0])
def test_sky_in_the_middle_of_a_shelf_under_a_roof(high) -> None:
    """What is seen past both ends of a roof as wide as the shelf; not faded with its height."""
    shelf = cells(shapely.box(38, 5, 82, 8), shapely.box(38, 8 + high, 82, 12 + high))
    past = np.degrees(np.arctan(22 / high))
    assert seen(shelf, 60, 8) == pytest.approx(within(-90, -past) + within(past, 90), abs=0.04)


def test_what_hides_runs_on_past_the_page() -> None:
    roof = cells(shapely.box(-5, 40, 60, 44), shapely.box(-5, 0, 125, 5))
    assert seen(roof, 1.0, 5) < 0.05
    assert seen(roof, 119.0, 5) > 0.9


def test_boards_hide_and_twigs_hide_half() -> None:
    thin = [shapely.box(20, 40, 60, 41.5), shapely.Polygon([(70, 30), (110, 45), (110, 46.5), (70, 31.5)])]
    twig = shapely.box(90, 10, 98, 11)
    mask = cells(*thin, twig)
    hides = hiding(mask, np.zeros_like(mask), PAGE)
    assert min(hides[cells(board)].mean() for board in thin) > 0.6
    assert not hides[cells(twig)].any()


def _stepped(rise: float, thick: float = 1.5) -> shapely.Geometry:
    """Two level lines, the second higher; a mast stands before the gap between them."""
    left, right = shapely.box(-20, 40, 59, 40 + thick), shapely.box(67, 40 + rise, 200, 40 + rise + thick)
    return shapely.union(left, right)


@pytest.mark.parametrize(
    ("line", "hidden"),
    [
        (shapely.box(-20, 40, 200, 41.5), False),
        (shapely.LineString([(-20, 39), (40, 41), (90, 39.5), (200, 42)]).buffer(0.7), False),
        (shapely.box(-20, 40, 95, 41.5), True),
        (shapely.box(-20, 40, 200, 43.5), True),
        (shapely.LineString([(-20, 5), (200, 120)]).buffer(0.7), True),
        (_stepped(1.1), False),
        (_stepped(1.9), True),
        (_stepped(1.1, thick=2.0), False),
        (_stepped(1.9, thick=2.0), True),
    ],
    ids=[
        "a shore",
        "a wavy one",
        "a jetty that ends",
        "a deck",
        "a slope",
        "a shore past a mast",
        "two jetties",
        "a broad shore past a mast",
        "two broad jetties",
    ],
)
def test_a_thin_level_line_from_side_to_side_is_no_roof(line, hidden) -> None:
    """Before it stands a mast 6 mm broad, which parts it."""
    mast = shapely.box(60, -5, 66, 70)
    mask = cells(*geometry.parts(line), mast)
    hides = hiding(mask, np.zeros_like(mask), PAGE)
    seen = shapely.difference(shapely.intersection(line, shapely.box(5, -5, 90, 200)), shapely.box(55, -5, 71, 200))
    on_line = cells(*geometry.parts(seen))
    assert (hides[on_line].mean() > 0.5) == hidden
    assert hides[cells(shapely.box(62, 5, 64, 36))].all()


def test_a_rope_between_posts_is_no_board() -> None:
    """Slack, 20 mm from post to post: with the posts it would be a run of 30."""
    posts = [shapely.box(x, 5, x + 6, 60) for x in (30, 56)]
    rope = shapely.box(36, 40, 56, 41.5)
    mask = cells(*posts, rope)
    hides = hiding(mask, np.zeros_like(mask), PAGE)
    middle = cells(shapely.box(40, 40, 52, 41.5))
    assert not hides[middle].any()
    assert hides[cells(shapely.box(32, 10, 34, 50))].all()


def test_the_wind_comes_freely_up_to_what_stands_there() -> None:
    """Ten millimetres behind a post the lowest ray is clear for ten millimetres; before it, without end."""
    post = cells(shapely.box(50, 0, 54, 40))
    row, columns = int(2 / PAGE.step), [int((x - PAGE.left) / PAGE.step) for x in (64.0, 40.0)]
    behind, before = clear_upwind(post, PAGE.step, to_right=True)[0, row, columns]
    assert behind == pytest.approx(10, abs=0.4)
    assert before > 500
    assert clear_upwind(post, PAGE.step, to_right=False)[0, row, columns[1]] == pytest.approx(10, abs=0.4)


@pytest.mark.parametrize("high", few([6.0, 3.0, 10.0], 1))
def test_little_lies_in_the_middle_of_a_sheltered_shelf(high) -> None:
    """A shelf 44 mm wide under a roof nearer than a quarter of that: at most 15 % of the depth in the open."""
    shelf, roof = shapely.box(50, 30, 94, 33), shapely.box(50, 33 + high, 94, 37 + high)
    room, mouth = shapely.box(64, 33, 80, 33 + high), shapely.box(50, 33, 54, 33 + high)
    lies = grow(shapes(shelf, roof)).cuts
    under, open_end = (shapely.area(shapely.intersection(lies, at)).sum() for at in (room, mouth))
    assert under <= 0.15 * shapely.area(shapely.intersection(grow(shapes(shelf)).cuts, room)).sum()
    assert open_end > 0.5


@pytest.mark.parametrize(
    ("breadth", "sticky", "cap"), [(10, 0.0, 4.049), (10, 0.3, 5.959), (20, 0.3, 11.918), (20, 0.0, 8.098)]
)
def test_cap_on_a_branch(breadth, sticky, cap) -> None:
    """The cap h = (b / 2) tan A (own derivation), and for clinging snow a quarter more at stickiness 1."""
    assert cap_mm(np.array([breadth]), sticky)[0] == pytest.approx(cap * (1 + 0.25 * sticky), rel=1e-3)


def test_the_steeper_the_less_clings() -> None:
    """An endless slope of cohesion c stays to c / (w cos²a (tan a - tan A)) (from memory); the wetter the more."""
    slope = np.tan(np.radians([60.0, 70.0, 80.0]))
    angle, cohesion = np.radians([60.0, 70.0, 80.0]), 0.02 + 0.55 * 0.3**2.5
    stays = cohesion / (np.cos(angle) ** 2 * (np.tan(angle) - np.tan(np.radians(50.0))))
    np.testing.assert_allclose(clinging_mm(slope, 0.3, 50.0), stays, rtol=1e-9)
    assert (clinging_mm(slope, 0.9, 50.0) > clinging_mm(slope, 0.3, 50.0)).all()


@pytest.mark.parametrize(("sticky", "stands"), [(0.0, 0.294), (0.5, 0.42), (1.0, 0.546)])
def test_a_layer_that_stands_upright_is_less_than_half_of_what_has_fallen(sticky, stands) -> None:
    """0.42 of it, by stickiness three tenths less or more (common practice, no source), on a level base or nearly."""
    assert clinging_mm(np.array([0.0, 0.1]), sticky, 6.0) == pytest.approx(6 * stands)


def test_narrow_things_bear_less_of_much_snow() -> None:
    """A cap on a post grows with the post's breadth: (b / 2) tan A, from either end at repose."""
    deep = [
        depth_over(grow(shapes(shapely.box(75 - b / 2, 60, 75 + b / 2, 90)), fallen_mm=12, **PLAIN), 75, 90)
        for b in (3, 8, 20)
    ]
    assert deep[0] < deep[1] < deep[2]


def test_marks_and_the_page_bear_none() -> None:
    """In a door's window nothing lies; a post that runs past the page bears no cap there."""
    window = shapely.box(14, 16, 26, 28)
    door, past, post = shapely.box(8, 4, 32, 34).difference(window), (44, -5, 54, 65), (64, 4, 74, 40)
    cuts = grow(shapes(door, shapely.box(*past), shapely.box(*post)), face=shapely.box(0, 0, 90, 60)).cuts
    assert shapely.area(shapely.intersection(cuts, window)).sum() == 0
    assert not shapely.intersects(cuts, shapely.box(43, 45, 55, 60)).any()
    assert geometry.parts(shapely.intersection(cuts, shapely.box(64, 38, 74, 50))).size


def test_shapes_that_overlap_stand_in_each_column_as_their_union_does() -> None:
    some = [shapely.box(20, 5, 40, 20), shapely.box(30, 10, 60, 30), shapely.box(30, 25, 35, 26)]
    own = columns_of(geometry.polygon_array(some), PAGE)
    united = columns_of(geometry.parts(shapely.union_all(some)), PAGE)
    for name in ("column", "low", "high"):
        assert np.array_equal(getattr(own, name), getattr(united, name))
