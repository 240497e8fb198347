"""Lying snow's rasters and chains beside plain twins."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy import ndimage

from carvegen.motifs.snowload.ledges import diffused
from carvegen.motifs.snowload.open_sky import TWIG_MM, WIDEST_DEG, hill_behind, sky_before, sky_seen, water_before
from carvegen.motifs.snowload.scene import Grid, _boards, columns_of, run_lengths, spread
from carvegen.motifs.snowload.snow_shapes import Canvas, _without_specks, without_holes_far_from


def test_a_canvas_covers_what_its_strokes_say() -> None:
    """Cells by half, to the page's edges and past them; nothing beyond a stroke."""
    page = Grid(left=0.0, bottom=0.0, wide=6, high=5, step=1.0, beyond=0)
    assert not Canvas.blank(page).cover.any()
    for low, high, said in (
        (1.5, 3.0, [0, 0.5, 1, 0, 0]),
        (-2.0, 0.5, [0.5, 0, 0, 0, 0]),
        (3.5, 9.0, [0, 0, 0, 0.5, 1]),
        (-1.0, 9.0, [1, 1, 1, 1, 1]),
    ):
        canvas = Canvas.blank(page)
        canvas.stroke(np.array([2]), np.array([low]), np.array([high]))
        assert canvas.cover.shape == (5, 6)
        np.testing.assert_allclose(canvas.cover[:, 2], said, atol=1e-12)
        assert not np.delete(canvas.cover, 2, axis=1).any()


@pytest.mark.parametrize("driven", [False, True])
def test_diffusion_solves_its_equation(driven) -> None:
    """``v' + D^T k (D v' + d) = v`` by a matrix that is written out."""
    rng = np.random.default_rng(3)
    values, along = rng.random(9), rng.random(8) * (rng.random(8) < 0.7)
    drive = rng.random(8) if driven else None
    steps = np.diff(np.eye(9), axis=0)
    right = values if drive is None else values - steps.T @ (along * drive)
    report = np.linalg.solve(np.eye(9) + steps.T @ (along[:, None] * steps), right)
    before = values.copy(), along.copy()
    np.testing.assert_allclose(diffused(values, along, drive), report, atol=1e-12)
    assert np.array_equal(values, before[0])
    assert np.array_equal(along, before[1])


def test_a_straight_run_is_a_board_wherever_it_lies_on_the_page() -> None:
    """25 mm and more, level or leaning; two shorter ones with a gap between them are none."""
    page = np.zeros((60, 160), dtype=bool)
    column = np.arange(160)
    for low, left, long, slope, board in (
        (10, 20, 60, 0.0, True),
        (55, 90, 66, 0.0, True),
        (57, 2, 56, 0.0, True),
        (10, 40, 80, 0.35, True),
        (10, 40, 40, 0.0, False),
        (58, 118, 40, 0.0, False),
    ):
        mask = page.copy()
        at = column[left : left + long]
        row = low + np.rint(slope * (at - left)).astype(int)
        mask[row, at] = mask[row + 1, at] = True
        seen = _boards(mask, 0.5)
        assert not (seen & ~mask).any()
        assert seen.any() == board
        assert seen.sum() >= (0.4 if slope else 1.0) * mask.sum() * board
    two = page.copy()
    two[30, 10:50] = two[30, 56:96] = True
    assert not _boards(two, 0.5).any()


def plain_sky(broad: np.ndarray, twigs: np.ndarray, lean_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """Ray by ray and row by row, with each cell's dark from the one above it along the ray; cells of 1 mm."""
    off = ((np.arange(25) + 0.5) / 25 * 2 - 1) * np.radians(WIDEST_DEG)
    weight = np.cos(off) ** 2 / (np.cos(off) ** 2).sum()
    past_broad, past_all = np.zeros(broad.shape), np.zeros(broad.shape)
    rows, columns = broad.shape
    for turn, share in zip(np.clip(off + np.radians(lean_deg), -1.4, 1.4), weight, strict=True):
        dark, gone = np.zeros(columns), 0
        for row in reversed(range(rows)):
            to = round(np.tan(turn) * (rows - row))
            dark = np.maximum(dark[np.clip(np.arange(columns) - (to - gone), 0, columns - 1)] - 1, 0)
            dark = np.maximum(dark, max(round(TWIG_MM * np.cos(turn)), 1) * twigs[row])
            dark[broad[row]] = np.inf
            gone = to
            past_broad[row] += share * (dark < np.inf)
            past_all[row] += share * (dark == 0)
    return past_broad, past_all


@pytest.mark.parametrize("lean_deg", [0.0, 25.0])
@pytest.mark.parametrize("highest", ["broad", "twig", "neither"])
def test_the_sky_that_is_seen_below_empty_rows(highest, lean_deg) -> None:
    broad, twigs = np.zeros((30, 40), dtype=bool), np.zeros((30, 40), dtype=bool)
    if highest != "neither":
        broad[12 + 4 * (highest == "broad"), 10:20] = twigs[14, 24:27] = True
    for seen, plain in zip(sky_seen(broad, twigs, lean_deg=lean_deg), plain_sky(broad, twigs, lean_deg), strict=True):
        np.testing.assert_allclose(seen, plain, atol=1e-5)
    assert np.array_equal(sky_seen(broad, None, lean_deg=lean_deg)[0], sky_seen(broad, twigs, lean_deg=lean_deg)[0])


def test_a_slit_of_sky_between_two_heaps_is_white_where_nothing_else_shuts_sky_in() -> None:
    """One no wider than 0.6 mm, open at both ends; a wider one stays."""
    cover = np.zeros((40, 60))
    cover[10:30, 5:20] = cover[10:30, 23:40] = cover[10:30, 48:55] = 1.0
    white = _without_specks(cover, np.zeros(cover.shape, dtype=bool), 0.15)
    assert (white[12:28, 20:23] == 1).all()
    assert np.array_equal(np.delete(white, np.s_[20:23], axis=1), np.delete(cover, np.s_[20:23], axis=1))


def test_holes_far_from_others_are_filled_and_those_near_or_touched_stay() -> None:
    holes = shapely.box([1, 7, 21], [1, 7, 1], [2, 8, 22], [2, 8, 2])
    plates = shapely.difference(
        shapely.union_all([shapely.box(0, 0, 10, 10), shapely.box(20, 0, 30, 10)]), shapely.union_all(holes)
    )
    others = np.array([shapely.box(0, 0, 0.95, 3), shapely.box(21.5, 1.5, 25, 5)])
    left = without_holes_far_from(plates, others, 0.1)
    assert left.equals(shapely.difference(shapely.union(plates, holes[1]), holes[0]))
    assert without_holes_far_from(shapely.Polygon(), others, 0.1).is_empty
    frame = shapely.difference(shapely.box(40, 0, 60, 20), shapely.box(42, 2, 58, 18))
    framed = shapely.union(frame, shapely.box(45, 5, 50, 10))  # a frame with a thing in it
    assert without_holes_far_from(framed, others, 0.1).equals(framed)


@pytest.mark.parametrize("size", [3, 5, 7])
def test_a_mask_spreads_as_the_largest_of_each_square_says(size: int) -> None:
    mask = np.random.default_rng(size).random((60, 41)) < 0.02
    assert np.array_equal(spread(mask, size), ndimage.maximum_filter(mask, size))
    shut = ~spread(~spread(mask, size), size)
    assert np.array_equal(shut, ndimage.grey_closing(mask.view(np.uint8), (size, size)).astype(bool))


def test_runs_are_as_long_as_they_are_counted_cell_by_cell() -> None:
    mask = np.random.default_rng(4).random((30, 25)) < 0.7
    mask[0], mask[1, :] = True, False
    mask[2, -1] = mask[3, 0] = True  # one ends where the next row's begins
    expected = np.zeros(mask.shape, dtype=int)
    for row, line in zip(expected, mask, strict=True):
        for k in np.flatnonzero(line).tolist():
            before, after = line[:k][::-1], line[k:]
            row[k] = np.argmin(np.append(before, False)) + np.argmin(np.append(after, False))
    assert np.array_equal(run_lengths(mask), expected)


def _standing(line, foot=80, *, rows: int = 200) -> np.ndarray:
    """What stands from side to side, from row `foot` on so many cells high: (rows, 400); a page's side is 283."""
    above = np.arange(rows)[:, None] - foot
    return (above >= 0) & (above < np.broadcast_to(line, 400))


def _ridge(*heights: float, at=(0, 100, 200, 300, 400)) -> np.ndarray:
    return np.interp(np.arange(400), at, heights)


_HILL = _ridge(24, 60, 30, 50, 16)


def _peaks(wide: int) -> np.ndarray:
    """A deck in three steps with two uprights of such a breadth on it."""
    line = np.repeat([30.0, 36.0, 42.0], [120, 150, 130])
    line[60 : 60 + wide] = line[200 : 200 + wide] = 80
    return line


@pytest.mark.parametrize(
    ("line", "hill"),
    [
        (_HILL, True),
        (_HILL * 0.55, True),
        (_HILL * 0.45, False),  # too low
        (40 + 0.75 * (_HILL - 40), True),
        (40 + 0.55 * (_HILL - 40), False),  # too even
        (np.full(400, 60.0), False),
        (_ridge(20, 60, 50, 60, 20), True),
        (_ridge(20, 60, 55, 60, 20), False),  # it sags hardly
        (_ridge(20, 60, 90, 60, 20), False),  # nowhere: a hipped roof, a vault
        (_ridge(20, 60, 26, 60, 20), True),
        (_ridge(20, 60, 23, 60, 20), False),  # a row of gables
        (_peaks(42), True),
        (_peaks(32), False),  # parapets, chimneys
        (_ridge(24, 60, 30, 50, 9), True),
        (_ridge(24, 60, 30, 50, 3), False),  # it ends within the page
        (np.where(np.arange(400) < 80, 120, _HILL), True),
        (np.where(np.arange(400) < 115, 120, _HILL), False),  # no sky above so much of it
    ],
)
def test_a_hill_behind_is_high_and_its_line_uneven_and_a_roof_is_neither(line, hill) -> None:
    """By shares of the page: twice as large it is the same. Below its shore it hides nothing, above it all."""
    solid = _standing(line)
    cells, shore = hill_behind(solid)
    assert shore == (80 if hill else 0)
    assert np.array_equal(cells, solid if hill else np.zeros_like(solid))
    twice, far = hill_behind(solid.repeat(2, axis=0).repeat(2, axis=1))
    assert far == 2 * shore
    assert np.array_equal(twice[::2, ::2], cells)


@pytest.mark.parametrize("hill", [True, False])
def test_a_hill_hides_no_sky_below_its_shore_and_all_of_it_above(hill) -> None:
    solid = np.pad(_standing(_HILL if hill else np.full(400, 60.0)), ((0, 0), (10, 10)), mode="edge")
    seen = sky_before(solid, np.zeros_like(solid), *hill_behind(solid[:, 10:-10]), beyond=10, step=0.5, lean_deg=0.0)
    under = seen[0][:79]
    assert (under > 0.99).all() if hill else (under < 0.05).all()
    np.testing.assert_array_equal(seen[0][80:], sky_seen(solid, step=0.5)[0][80:])


def _before(solid: np.ndarray, *spans: tuple[int, int], low: int = 0, high: int = 200) -> np.ndarray:
    """With posts before it in such columns, from row `low` up to row `high`."""
    solid = solid.copy()
    for first, last in spans:
        solid[low:high, first:last] = True
    return solid


def _notched(piece: int, notch: int) -> np.ndarray:
    foot = np.where((np.arange(400) + piece + notch // 2) % (piece + notch) < piece, 80, 100)
    return _standing(_HILL + 80 - foot, foot)


@pytest.mark.parametrize(
    ("solid", "shore"),
    [
        (_standing(_HILL, 80 + np.arange(400) * 5 // 400), 82),
        (_standing(_HILL, 80 + np.arange(400) * 8 // 400), 0),  # it leans, as an arch or a bough does
        (_standing(np.where(np.arange(400) < 3, 0, _HILL)), 80),
        (_standing(np.where(np.arange(400) < 6, 0, _HILL)), 0),  # it ends within the page
        (_standing(_HILL + 40, 0), 0),  # ground
        (_standing(np.full(400, 120)), 0),  # up to the page's upper edge
        (_notched(16, 4), 80),
        (_notched(8, 2), 0),  # needles, shingles
        (_before(_standing(_HILL), (186, 214)), 80),
        (_before(_standing(_HILL), (182, 218)), 0),  # what runs on on both sides of a tower may be two roofs
        (_before(_standing(_HILL), (40, 68), (120, 148), (240, 268)), 80),
        (_before(_standing(_HILL), (40, 68), (120, 148), (240, 268), (320, 348)), 0),
        (_before(_standing(_HILL), (195, 205), high=80 + 30 + 12), 80),
        (_before(_standing(_HILL), (195, 205), high=80 + 30 + 7), 0),  # it holds up what it does not pass
        (_before(_standing(_HILL), (195, 205), high=90), 0),
        (_before(_standing(_HILL), (195, 205), low=74, high=90), 80),  # a hut at the shore
        (_before(_standing(_HILL), (195, 205), low=69, high=90), 0),  # it hangs down
    ],
)
def test_a_far_shore_is_level_from_side_to_side_and_nothing_holds_up_what_ends_there(solid, shore) -> None:
    cells, row = hill_behind(solid)
    assert row == shore
    assert cells.any() == (shore > 0)
    assert hill_behind(solid.repeat(2, axis=0).repeat(2, axis=1))[1] == pytest.approx(2 * shore, abs=1)
    if shore:
        behind = np.pad(solid, ((1, 0), (0, 0)))[:-1]
        free = (solid & ~behind)[shore - 3 : shore + 6].any(axis=0)
        assert (cells <= solid).all()
        assert not cells[:, solid[shore - 4 : shore].any(axis=0) & ~free].any()


def _streak(thick: float, long: float, rise: float = 0.0, *, low: float = 10.0) -> shapely.Polygon:
    """A level stroke 30 mm from the left, whose middle lies so much higher than its ends."""
    xy = [(30 + thick / 2, low + thick / 2), (30 + long / 2, low + thick / 2 + rise)]
    xy.append((30 + long - thick / 2, low + thick / 2))
    return shapely.LineString(xy).buffer(thick / 2)


@pytest.mark.parametrize(
    ("thing", "water"),
    [
        (_streak(1.0, 20), True),
        (_streak(1.45, 20), True),
        (_streak(1.55, 20), False),  # a plank
        (_streak(1.0, 8.5), True),
        (_streak(1.0, 7.5), False),
        (_streak(1.0, 20, 1.4), True),
        (_streak(1.0, 20, 1.8), False),  # a slack rope, a gunwale
        (_streak(1.0, 20).union(shapely.box(44, 9.6, 50, 11.6)), False),  # an oar with its blade
        (_streak(1.0, 20, low=43.4), False),  # at the far shore, which lies at 45 mm
        (_streak(1.0, 20, low=42.2), True),
    ],
)
def test_a_streak_of_water_is_thin_long_and_level(thing, water) -> None:
    hill = shapely.box(0, 45, 100, 60)
    found = water_before(np.array([hill, thing], dtype=object), 45.0)
    assert shapely.equals(found, thing).tolist() == [True] * water


@pytest.mark.parametrize(
    ("other", "water"),
    [
        (shapely.box(40, 14.1, 60, 15), True),
        (shapely.box(40, 13.9, 60, 15), False),  # a rail over another, a boat over its shadow
        (shapely.box(40, 2, 60, 6.9), True),
        (shapely.box(40, 2, 60, 7.1), False),
        (shapely.box(51.6, 0, 54, 30), True),
        (shapely.box(51.4, 0, 54, 30), False),  # a post to which a rope is tied
    ],
)
def test_a_streak_of_water_is_alone(other, water) -> None:
    """A stroke from 30 to 50 mm across, from 10 to 11 mm up; the other thing may be as thin itself."""
    thing = _streak(1.0, 20)
    found = water_before(np.array([other, thing, shapely.box(0, 45, 100, 60)], dtype=object), 45.0)
    assert shapely.equals(found, thing).any() == water


@pytest.mark.parametrize("seed", range(3))
def test_columns_stand_where_a_plumb_line_through_their_middle_meets_the_shapes(seed: int) -> None:
    """Shapes overlap, have holes, and run out over all sides of the page; beside it they go on as at its rim."""
    rng, page = np.random.default_rng(seed), Grid(2.0, 3.0, 60, 200, 0.1, 8)  # from 2.8 to 7.2 mm
    drawn = []
    for _ in range(7):
        turn = np.sort(rng.uniform(0, 2 * np.pi, 9))
        xy = rng.uniform((2, 3), (8, 23)) + rng.uniform(1, 3, (9, 1)) * np.column_stack([np.cos(turn), np.sin(turn)])
        drawn.append(shapely.Polygon(xy).buffer(0).difference(shapely.Point(xy.mean(axis=0)).buffer(0.5)))
    parts = [part for each in drawn for part in getattr(each, "geoms", [each])]
    made, whole = columns_of(np.array(parts, dtype=object), page), shapely.union_all(parts)
    for column in range(page.wide):
        x = page.x[np.clip(column, page.beyond, page.wide - page.beyond - 1)]
        met = shapely.intersection(whole, shapely.LineString([(x, -50), (x, 90)]))
        spans = sorted(each.bounds[1::2] for each in getattr(met, "geoms", [met]) if each.length > 1e-6)
        spans = [(low, high) for low, high in spans if high > page.bottom and low < page.top]
        own = made.column == column
        low = [page.bottom if low < page.bottom + 0.05 else low for low, _ in spans]
        high = [np.inf if high > page.top - 0.05 else high for _, high in spans]
        assert made.low[own] == pytest.approx(low, abs=1e-6)
        assert made.high[own] == pytest.approx(high, abs=1e-6)


@pytest.mark.parametrize("side", [10.0, 1000.0])
def test_the_cells_of_a_page_lie_on_it_from_its_lower_left_corner_on(side: float) -> None:
    page = Grid.of((5.0, 7.0, 5.0 + side, 7.0 + side / 2))
    inner = page.wide - 2 * page.beyond
    assert inner * page.step == pytest.approx(side, abs=page.step / 2)
    assert page.high * page.step == pytest.approx(side / 2, abs=page.step / 2)
    assert page.x[page.beyond] == pytest.approx(5 + page.step / 2)
    assert page.bottom == 7.0
