"""Marks of a board by themselves: knots, cracks, rays, ring widths, ends led out. Ends, means and shares of many.

What is drawn at random is held to the law that it is drawn by; of a gamma law of shape k and scale s the mean is k s.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.motifs.grain import cracks_and_rays, knots
from carvegen.motifs.grain.boards import BoardFrame, boards
from carvegen.motifs.grain.edge_exits import squared
from carvegen.motifs.grain.knots import Knot, Look, hard_years, knot_strokes, random_knots, ring_widths
from carvegen.motifs.grain.log import Log, Saw
from carvegen.motifs.shared.points import Window
from carvegen.motifs.shared.strokes import Strokes, drawn, gathered, spans
from tests.cases import box, shapes

WINDOW = Window(0.0, 0.0, 400.0, 300.0)


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def lines(strokes: Strokes) -> np.ndarray:
    """One stroke a row; (n, points, 2)."""
    return strokes.xy.reshape(strokes.line.max() + 1, -1, 2)


def halves(strokes: Strokes) -> np.ndarray:
    return strokes.half.reshape(strokes.line.max() + 1, -1)


# ── rings ────────────────────────────────────────────────────────────────────────────────────────────────────────


def test_ring_widths_have_the_spread_and_memory_of_measured_beech() -> None:
    """A spread of 36 % of the mean, each like the one before it by 0.61 (source: silva-fennica-1255)."""
    every = np.array([ring_widths(60, 2.8, rng(k)) for k in range(150)])
    assert every.mean() == pytest.approx(2.8, rel=0.02)
    assert every.std() / every.mean() == pytest.approx(0.36, abs=0.02)
    log = np.log(every)
    assert np.corrcoef(log[:, 1:].ravel(), log[:, :-1].ravel())[0, 1] == pytest.approx(0.61, abs=0.03)
    assert np.corrcoef(log[:, 0], log[:, 1])[0, 1] == pytest.approx(0.61, abs=0.12)  # the first are like all others
    assert log[:, 0].std() == pytest.approx(log.std(), rel=0.12)


def test_hard_times_come_every_few_decades_and_end_within_years() -> None:
    """Four to ten years, nine to thirty-one apart; narrower by a third to six tenths. Shares are measured."""
    every = np.array([hard_years(120, rng(k)) for k in range(60)])
    assert every.mean(axis=1) == pytest.approx(1)
    fall = np.diff(np.log(every), axis=1)
    assert (fall < -0.3).sum() / fall.size == pytest.approx(0.036, abs=0.004)
    assert -1.2 < fall.min() < -0.85
    assert fall.max() < 0.6  # it recovers step by step
    assert np.quantile(every, [0.05, 0.5, 0.95]) == pytest.approx([0.52, 1.03, 1.43], abs=0.05)


# ── knots ────────────────────────────────────────────────────────────────────────────────────────────────────────


def strewn(plane_deg: float, count: int = 400) -> list[Knot]:
    each = rng(3)
    return [knots._random_knot((100.0, 80.0), 8.0, 0.3, plane_deg, each) for _ in range(count)]


def test_knots_are_as_large_as_asked_and_lie_along_the_grain() -> None:
    """Half the width by a log-normal law of 0.42; a quarter longer than wide, quarter-sawn up to 2.2 times that."""
    flat, quarter = strewn(0.0), strewn(90.0)
    across = np.log([each.across_mm for each in flat])
    assert np.median(across) == pytest.approx(np.log(4.0), abs=0.07)
    assert across.std() == pytest.approx(0.42, rel=0.1)
    longer = np.log([one.longer for one in flat])
    assert longer.mean() == pytest.approx(0.25, abs=0.03)
    assert longer.std() == pytest.approx(0.22, rel=0.1)
    assert np.mean([entry.longer for entry in quarter]) == pytest.approx(np.exp(0.25 + 0.22**2 / 2) * 1.6, rel=0.05)
    assert np.std([this.turn_deg for this in flat]) == pytest.approx(16, rel=0.1)
    assert np.mean([its.dead for its in flat]) == pytest.approx(0.3, abs=0.05)
    hearts, places = (np.array([getattr(its, name) for its in flat]) for name in ("heart", "xy"))
    assert np.abs(hearts).max() == pytest.approx(0.3, abs=0.01)
    assert np.abs(places).max(axis=0) == pytest.approx([90, 72], abs=1)
    dents = np.abs([item.dents[0] for item in flat])
    assert dents.max(axis=0) == pytest.approx(0.2 / np.arange(1, 5))
    assert (dents[:, 0] == 0.2).mean() == pytest.approx(0.124, abs=0.04)  # beyond 0.2 of a normal law of 0.13


def test_knots_keep_apart_and_come_as_often_as_asked() -> None:
    counts = []
    for k in range(60):
        some = random_knots(2.5, (60.0, 60.0), width_mm=4, dead=0.5, plane_deg=0, rng=rng(k))
        counts.append(len(some))
        for i, one in enumerate(some):
            for other in some[:i]:
                assert np.hypot(*(one.xy - other.xy)) > 1.6 * (one.size_mm + other.size_mm)
    assert set(counts) == {2, 3}
    assert np.mean(counts) == pytest.approx(2.5, abs=0.2)
    assert len(random_knots(40, (20.0, 20.0), width_mm=8, dead=0, plane_deg=0, rng=rng())) < 12


def plain_knot(**changed) -> Knot:
    values = {"xy": np.array([10.0, 5.0]), "across_mm": 4.0, "longer": 1.5, "turn_deg": 20.0, "dead": False,
              "dents": np.zeros((2, 4)), "heart": np.array([0.2, -0.1])}  # fmt: skip
    return Knot(**(values | changed))


def test_a_plain_knot_is_a_turned_ellipse_with_its_rings_about_the_heart() -> None:
    each, turn = plain_knot(), np.linspace(0, 2 * np.pi, 30)
    unit = np.column_stack([np.cos(turn), np.sin(turn)])
    rim = each.point(unit)
    assert each.size_mm == 6
    assert plain_knot(longer=0.5).size_mm == 4
    axis = np.radians(20 + 90)
    assert np.abs((rim - each.xy) @ [np.cos(axis), np.sin(axis)]).max() == pytest.approx(6, rel=0.01)
    assert each.reach(rim) == pytest.approx(np.ones(30))
    assert each.rings(rim) == pytest.approx(np.ones(30))
    assert each.rings(each.point(each.heart[None])) == pytest.approx([0], abs=1e-9)
    half = each.point(each.heart * 0.5 + 0.5 * unit)  # a circle of half the size, half as far towards the heart
    assert each.rings(half) == pytest.approx(np.full(30, 0.5))
    assert each.holds(each.point(0.99 * unit)).all()
    assert not each.holds(each.point(1.01 * unit)).any()
    dented = plain_knot(dents=np.array([[0.2, 0, 0, 0], [0.0, 0, 0, 0]]))
    assert dented.reach(rim).max() == pytest.approx(1 / 0.8, rel=0.01)
    assert dented.reach(rim).min() == pytest.approx(1 / 1.2, rel=0.01)


@pytest.mark.parametrize(("dead", "rays", "reach"), [(False, (1, 1), (0.3, 0.5)), (True, (2, 3), (0.45, 0.85))])
def test_a_heart_is_cracked_once_and_in_a_star_if_it_is_dead(dead: bool, rays, reach) -> None:
    """From the heart outwards, four tenths of the rim's width there and pointed at the end."""
    each, counts, far = plain_knot(dead=dead, longer=1.0, turn_deg=0.0), [], []
    for k in range(40):
        heart = knots._heart(each, rng(k))
        out = lines(heart) - each.point(each.heart[None])
        counts.append(len(out))
        far += np.hypot(*np.moveaxis(out[:, -1], -1, 0)).tolist()
        assert np.abs(out[:, 0]).max() < 1e-9
        assert heart.half[[0, 11]].tolist() == [0.4, 0]
    assert (min(counts), max(counts)) == rays
    assert min(far) / 4 == pytest.approx(reach[0], abs=0.03)
    assert max(far) / 4 == pytest.approx(reach[1], abs=0.03)


def test_a_knots_rings_run_within_its_rim_which_is_the_broadest_and_ranks_above_them() -> None:
    look = Look(pitch_mm=0.8, line_mm=0.5, rim_mm=0.9, least_mm=0.3)
    each = plain_knot(across_mm=6.0)
    strokes, rank = knot_strokes(each, look, rng(2))
    assert set(np.floor(rank[rank > 36]).tolist()) == {40}
    rim, ring = (rank > 26) & (rank < 36), rank < 26
    assert each.reach(strokes.xy[rim]) == pytest.approx(np.ones(rim.sum()), abs=0.01)
    assert each.rings(strokes.xy[ring]).max() < 0.99
    assert 2 * strokes.half[rim].max() == pytest.approx(0.9, rel=0.02)
    assert strokes.half[rim].max() > strokes.half[ring].max()
    cut = strokes.half > 0
    assert 2 * strokes.half[cut].min() >= 0.3
    levels = np.unique(np.round(each.rings(strokes.xy[ring]), 2))
    assert 4 <= len(levels) <= 9  # 6 mm in rings of 0.8 on average, none nearer to the heart than 0.6 of one
    assert levels.min() * 6 > 0.48 - 0.05


def test_dead_knots_have_the_more_whole_rims() -> None:
    look = Look(pitch_mm=0.8, line_mm=0.5, rim_mm=0.9, least_mm=0.3)
    share = []
    for dead in (False, True):
        parts = [knot_strokes(plain_knot(dead=dead), look, rng(k)) for k in range(5)]
        rims = [strokes.half[(rank > 26) & (rank < 36)] for strokes, rank in parts]
        share.append(np.mean(np.concatenate(rims) > 0))
    assert 0.5 < share[0] < 0.8  # vigour is 1 and a normal law, above 0
    assert share[1] > 0.9  # and 1.7


# ── rays, cracks ─────────────────────────────────────────────────────────────────────────────────────────────────


def test_spindles_are_short_marks_along_the_grain() -> None:
    """One to two of the shortest strokes long; 90 degrees, give or take two."""
    each = cracks_and_rays.spindles(WINDOW, 0.005, rng(), shortest_mm=2.0, least_mm=0.4)
    out = lines(each)[:, -1] - lines(each)[:, 0]
    long = np.hypot(*out.T)
    assert len(long) == pytest.approx(600, rel=0.12)
    assert (long.min(), long.max()) == (pytest.approx(2.1, abs=0.02), pytest.approx(4.0, abs=0.02))
    lean = np.degrees(np.arctan2(out[:, 1], out[:, 0]))
    assert (lean.mean(), lean.std()) == (pytest.approx(90, abs=0.3), pytest.approx(2, rel=0.1))
    assert halves(each)[0].min() == 0.2
    assert halves(each)[0].max() == pytest.approx(0.9 * 0.4, rel=0.02)


def test_rays_on_a_quarter_sawn_face_lie_across_the_grain_in_flocks() -> None:
    """2.4 to 11.4 mm long, of a gamma law; about two in five of the places asked, as they come in flocks (measured)."""
    spine, share = cracks_and_rays._spines(WINDOW, 0.02, rng())
    out = spine[:, -1] - spine[:, 0]
    half = np.abs(spine[:, -1, 0] - spine[:, 0, 0]) / 2
    lean = np.degrees(np.arctan2(out[:, 1], out[:, 0]))
    long = half / np.cos(np.radians(lean))
    assert len(spine) == pytest.approx(0.39 * 2400, rel=0.15)
    assert (share[0], share[-1]) == (-1, 1)
    assert long.min() == pytest.approx(1.25, abs=0.12)
    assert np.median(long) == pytest.approx(1.2 + 1.678 * 1.6, rel=0.06)  # the median of a gamma law of shape 2
    assert long.max() == pytest.approx(5.7, rel=0.06)
    assert (long > 5.6).mean() == pytest.approx(0.24, abs=0.05)
    assert lean.std() == pytest.approx(24, rel=0.3)
    bowed = spine - (spine[:, :1] + (share[:, None] + 1) / 2 * out[:, None])
    assert np.abs(bowed[..., 1] / half[:, None]).max() < 0.27
    assert np.median(np.abs(bowed[..., 1]).max(axis=1) / half) == pytest.approx(0.12, abs=0.03)


def test_rays_lean_by_five_degrees_where_no_waves_turn_them(monkeypatch) -> None:
    """And stand where waves and 0.35 by chance are above 0.3."""
    for high in (1.0, 0.3, 0.0):
        monkeypatch.setattr(
            cracks_and_rays, "waves_at", lambda xy, _, patch_mm, high=high: np.full(len(xy), high * (patch_mm[0] < 20))
        )
        spine, _ = cracks_and_rays._spines(WINDOW, 0.02, rng())
        if high == 1:
            out = spine[:, -1] - spine[:, 0]
            half = np.abs(out[:, 0]) / 2
            bow = 0.09 * 2 * np.sin(2.2)  # from one end to the other, where it is bowed the most
            off = out[:, 1] / half / 2
            assert off.std() == pytest.approx(np.hypot(np.tan(np.radians(5)), bow / 2 / 2**0.5), rel=0.07)
        share = {1.0: 0.977, 0.3: 0.5, 0.0: 0.196}[high]
        assert len(spine) == pytest.approx(share * 2400, rel=0.12)


def test_flecks_and_silver_are_as_thick_as_rays_are() -> None:
    flecks = cracks_and_rays.flecks(WINDOW, 0.01, rng(), least_mm=0.4)
    assert len(cracks_and_rays.flecks(WINDOW, 0.0, rng(), least_mm=0.4)) == 0
    spine, _ = cracks_and_rays._spines(WINDOW, 0.01, rng())
    reach = np.abs(spine[:, -1, 0] - spine[:, 0, 0])
    thick = shapely.area(flecks) / reach / (4 / 3)  # of a lens: two thirds of its height on both sides
    assert thick.mean() == pytest.approx(3 * 0.15 + 0.32, rel=0.08)
    assert thick.std() == pytest.approx(3**0.5 * 0.15, rel=0.2)
    silver = cracks_and_rays.silver(WINDOW, 0.02, rng(), widest_mm=2.0, least_mm=0.1)
    half = halves(silver)
    assert half.min() == 0.05
    assert half.max() == pytest.approx(1.4, rel=0.04)
    assert half.max(axis=1).min() == pytest.approx(0.5, rel=0.12)
    widest = half.argmax(axis=1)
    assert (widest.min(), widest.max()) == (pytest.approx(4, abs=1), pytest.approx(11, abs=1))


def test_cracks_run_in_from_both_ends_of_a_board_widest_there() -> None:
    each = cracks_and_rays.end_checks(WINDOW, 0.4, rng(), widest_mm=2.0, least_mm=0.1)
    side, half = lines(each), halves(each)
    assert len(side) == pytest.approx(2 * 0.4 * 400, rel=0.15)
    upper = side[:, -1, 1] < side[:, 0, 1]
    assert upper.mean() == pytest.approx(0.5, abs=0.08)
    inward = np.where(upper, 300 - side[:, -1, 1], side[:, -1, 1])
    assert inward.min() >= 5
    assert inward.mean() == pytest.approx(5 + 18, rel=0.08)
    outside = np.where(upper, side[:, 0, 1] - 300, -side[:, 0, 1])
    assert outside / inward == pytest.approx(np.full(len(side), 0.2))
    at_side = half.max(axis=1) / 2.0
    assert (at_side.min(), at_side.max()) == (pytest.approx(0.2, abs=0.03), pytest.approx(0.6, abs=0.03))
    assert half.min() == 0.05
    short = Window(0.0, 0.0, 400.0, 20.0)
    side = lines(cracks_and_rays.end_checks(short, 0.4, rng(), widest_mm=2.0, least_mm=0.1))
    assert np.abs(side[:, -1, 1] - np.where(side[:, 0, 1] > 10, 20, 0)).max() == pytest.approx(10)
    wobble = side[..., 0] - side[..., 0].mean(axis=1, keepdims=True)
    assert 0.1 < wobble.std() < 0.6
    assert cracks_and_rays.in_any(shapes(box(0, 0, 2, 2)), np.array([(1, 1), (3, 1.0)])).tolist() == [True, False]


def test_cracks_rays_and_spindles_are_so_broad_along_their_way() -> None:
    """A crack as the 0.7th power of what is left of it, a ray as the 0.8th, a spindle as a parabola; none too thin."""
    least, left = 0.01, 1 - np.linspace(-0.2, 1, 40)
    crack = halves(cracks_and_rays.end_checks(WINDOW, 0.1, rng(), widest_mm=2.0, least_mm=least))
    widest = crack.max(axis=1, keepdims=True)
    assert crack == pytest.approx(np.maximum(widest * np.clip(left, 0, 1) ** 0.7, least / 2))
    for side in (1, -1):  # beyond the middle half, where the broadest place lies
        ray = halves(cracks_and_rays.silver(WINDOW, 0.01, rng(), widest_mm=2.0, least_mm=least))[:, ::side]
        toward = (1 - np.linspace(-1, 1, 16))[12:]
        assert len(ray) > 50
        assert ray[:, 12:] / ray[:, 12:13] == pytest.approx(
            np.maximum(np.tile((toward / toward[0]) ** 0.8, (len(ray), 1)), least / 2 / ray[:, 12:13])
        )
    spindle = halves(cracks_and_rays.spindles(WINDOW, 0.001, rng(), shortest_mm=3.0, least_mm=0.4))
    share = np.linspace(0, 1, 16)
    assert spindle == pytest.approx(np.tile(np.maximum(0.36 * 4 * share * (1 - share), 0.2), (len(spindle), 1)))


# ── boards, ends ─────────────────────────────────────────────────────────────────────────────────────────────────


def test_boards_nearer_than_the_gap_draw_back_from_one_another() -> None:
    result = boards(box(0, 0, 100, 50), shapes(box(0, 0, 20, 50), box(21, 0, 20, 50), box(60, -9, 10, 30)), 3.0)
    assert sorted(shapely.area(result).tolist()) == pytest.approx([210, 900, 900])
    assert shapely.distance(result[0], result[1]) == pytest.approx(5)
    assert shapely.area(boards(box(0, 0, 100, 50), geometry.empty(), 3.0)).tolist() == [5000]


@pytest.mark.parametrize("direction", [90.0, 0.0, 30.0])
def test_a_boards_frame_covers_it_and_is_shifted_by_no_more_than_asked(direction: float) -> None:
    area = box(10, 20, 80, 40)
    for k in range(8):
        frame = BoardFrame(area, direction, shift_mm=5.0, rng=rng(k))
        each = frame.window
        corners = np.array([(u, v) for u in (each.left, each.right) for v in (each.bottom, each.top)])
        placed = shapely.MultiPoint(frame.placed(corners)).convex_hull
        assert placed.buffer(1e-6).covers(area)
        assert (np.abs(corners) <= frame.reach + 1e-9).all()
        up = frame.placed(np.array([(0, 1.0)])) - frame.placed(np.array([(0, 0.0)]))
        assert abs(up[0] @ [np.cos(np.radians(direction)), np.sin(np.radians(direction))]) == pytest.approx(1)
        middle = np.array([each.left + each.right, each.bottom + each.top]) / 2
        half = np.array([each.right - each.left, each.top - each.bottom]) / 2
        assert np.abs(middle[0]) <= half[0] / 4 + 1e-9
        assert np.abs(middle[1]) <= 5 + 1e-9


@pytest.mark.parametrize(("lean_deg", "led"), [(0.0, True), (40.0, True), (50.0, False)])
def test_a_line_that_heads_for_the_edge_is_led_out_square_to_it(lean_deg: float, led: bool) -> None:
    """Within 45 degrees of square; from 2 mm before the edge, a millimetre beyond it."""
    direction = np.array([np.sin(np.radians(lean_deg)), np.cos(np.radians(lean_deg))])
    xy = np.array([50.0, 10.0]) + np.arange(-5, 40, 0.5)[:, None] * direction
    each = Strokes(xy, np.zeros(len(xy), dtype=np.int64), np.full(len(xy), 0.3))
    out, source = squared(each, box(0, 0, 200, 20), before_mm=2.0, beyond_mm=1.0)
    upper = out.xy[out.xy[:, 1] > 18]
    assert (len(upper) > 0) == led
    assert (out.half == 0.3).all()
    assert (out.xy[source == 20][0] == xy[20]).all() or lean_deg
    if led:
        end, before = out.xy[-1], out.xy[-2]
        assert end[1] == pytest.approx(21)
        assert end[0] == pytest.approx(before[0], abs=1e-6)  # straight up
        turned_by = end[0] - upper[0, 0]
        assert abs(turned_by) <= 2 * np.tan(np.radians(lean_deg)) + 1e-9
    assert squared(each, box(0, 0, 200, 90), before_mm=2.0, beyond_mm=1.0)[0].xy[-1].tolist() == xy[-1].tolist()


def test_rings_are_numbered_from_the_pith_and_back() -> None:
    saw = Saw(ring_mm=2.0, pith_mm=15.0, plane_deg=30.0, arch_mm=17.0, waviness=0.0)
    log = Log(saw, (), half=(40.0, 60.0), rng=rng())
    radius = np.linspace(0, 60, 50)
    assert log.radius_of(log.numbered(radius)) == pytest.approx(radius)
    assert log.numbered(log.radius_of(np.array([3.25]))) == pytest.approx([3.25])
    assert len(log.width) * 2.0 > 2 * 1.3 * 15
    at_pith = np.array([[15 * np.sin(np.radians(30)), -17 / 2 * 15 * np.cos(np.radians(30))]])
    assert log.from_pith(at_pith) == pytest.approx([0.15 * 2.0])  # no nearer is told
    corner = np.array([[40.0, 60.0], [-40, 60], [40, -60]])
    assert log.from_pith(corner).max() < 0.9 * log.width.sum()


# ── strokes ──────────────────────────────────────────────────────────────────────────────────────────────────────


def test_strokes_have_sides_at_their_half_width_and_round_ends() -> None:
    """A bar 6 mm long and 1 mm wide with half-discs, drawn by five points each, is smaller than whole ones by 2 %."""
    xy = np.column_stack([np.arange(7.0), np.zeros(7)])
    one = Strokes(xy, np.zeros(7, dtype=np.int64), np.full(7, 0.5))
    two = gathered(
        [one, Strokes(xy + np.array([0, 5]), np.zeros(7, dtype=np.int64), np.array([0.1, 0.5, 0.5, 0, 0.5, 0.5, 0.1]))]
    )
    assert two.line.tolist() == [0] * 7 + [1] * 7
    assert two.along.tolist() == [*range(7)] * 2
    assert two.linked.tolist() == [True] * 6 + [False] + [True] * 6
    first, last = spans(two, (two.half[:-1] > 0) & (two.half[1:] > 0))
    assert (first.tolist(), last.tolist()) == ([0, 7, 11], [6, 9, 13])
    bar, *_ = drawn(two, first, last)
    assert bar.bounds == pytest.approx((-0.5, -0.5, 6.5, 0.5))
    assert bar.area == pytest.approx(6 + 6 * np.sin(np.pi / 6) / 4, rel=1e-6)  # a regular polygon of 12 corners
    assert len(drawn(two, first[:0], last[:0])) == 0
    hook = np.array([(0, 0), (2, 0), (2.1, 0.1), (2.0, 0.2), (0, 0.2)], dtype=float)
    (swept,) = drawn(Strokes(hook, np.zeros(5, dtype=np.int64), np.full(5, 0.4)), np.array([0]), np.array([4]))
    assert swept.is_valid
    assert swept.area == pytest.approx(shapely.LineString(hook).buffer(0.4).area, rel=0.03)


# ── boards ───────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("direction_deg", [90.0, 0.0, 30.0])
def test_a_boards_frame_lies_on_it_shifted_by_no_more_than_a_quarter_of_its_half(direction_deg: float) -> None:
    """Its window is the board's, all its points lie within its reach, and no length changes."""
    area, seen = box(5, 10, 60, 24), set()
    for seed in range(12):
        frame = BoardFrame(area, direction_deg, shift_mm=2.0, rng=rng(seed))
        left, low, right, high = (getattr(frame.window, each) for each in ("left", "bottom", "right", "top"))
        corners = np.array([(left, low), (right, low), (right, high), (left, high)])
        laid = shapely.Polygon(frame.placed(corners))
        assert shapely.covers(laid.buffer(1e-6), area)
        angle = np.radians(direction_deg)
        along = 60 * abs(np.cos(angle)) + 24 * abs(np.sin(angle))
        across = 60 * abs(np.sin(angle)) + 24 * abs(np.cos(angle))
        assert (right - left, high - low) == (pytest.approx(across), pytest.approx(along))
        assert laid.area == pytest.approx(along * across)
        up = np.diff(frame.placed(np.array([(0.0, 0.0), (0.0, 1.0)])), axis=0)[0]
        assert abs(up @ [np.cos(angle), np.sin(angle)]) == pytest.approx(1)
        shift = np.array([left + right, low + high]) / 2
        assert (np.abs(shift) <= [across / 8, 2.0]).all()
        assert frame.reach == pytest.approx(np.array([across, along]) / 2 + np.abs(shift))
        assert (np.abs(corners) <= frame.reach + 1e-9).all()
        seen.add(tuple(np.sign((frame.placed(np.eye(2) + shift) - frame.placed(shift[None])).sum(axis=0)).tolist()))
    assert len(seen) >= 3, "turned over both ways"


@pytest.mark.parametrize(("plane_deg", "longer"), [(0.0, 1.32), (90.0, 2.1)])
def test_knots_by_chance_are_as_broad_as_asked_lie_about_the_middle_and_differ(plane_deg, longer) -> None:
    every = [
        random_knot for k in range(400)
        for random_knot in random_knots(1.0, (100.0, 50.0), width_mm=10.0, dead=0.25, plane_deg=plane_deg, rng=rng(k))
    ]  # fmt: skip
    assert len(every) == 400
    xy = np.array([each.xy for each in every])
    assert np.abs(xy).max(axis=0) == pytest.approx([90, 45], rel=0.02)
    assert xy.mean(axis=0) == pytest.approx([0, 0], abs=6)
    across = np.log([one.across_mm for one in every])
    assert np.exp(across.mean()) == pytest.approx(5, rel=0.06)
    assert across.std() == pytest.approx(0.42, abs=0.05)
    assert np.mean([entry.longer for entry in every]) == pytest.approx(longer, rel=0.06)
    assert np.std([this.turn_deg for this in every]) == pytest.approx(16, rel=0.12)
    size, phase = np.stack([item.dents for item in every], axis=1)
    assert np.abs(size).max(axis=0) == pytest.approx(0.2 / np.arange(1, 5), rel=0.02)
    assert size.std(axis=0) == pytest.approx(0.118 / np.arange(1, 5), rel=0.12)
    assert phase.min() >= 0
    assert phase.max() == pytest.approx(2 * np.pi, rel=0.02)
    assert np.abs([its.heart for its in every]).max() == pytest.approx(0.3, rel=0.02)
    assert np.mean([its.dead for its in every]) == pytest.approx(0.25, abs=0.06)


def test_no_two_knots_touch_and_none_is_forced_where_there_is_no_room() -> None:
    for k in range(10):
        lots = random_knots(12.5, (30.0, 30.0), width_mm=12.0, dead=0.0, plane_deg=0.0, rng=rng(k))
        assert len(lots) <= 13
        for n, one in enumerate(lots):
            for other in lots[:n]:
                assert np.hypot(*(one.xy - other.xy)) > 1.6 * (one.size_mm + other.size_mm)
    counts = [len(random_knots(1.5, (300.0, 300.0), width_mm=3.0, dead=0, plane_deg=0, rng=rng(k))) for k in range(100)]
    assert set(counts) == {1, 2}
    assert np.mean(counts) == pytest.approx(1.5, abs=0.15)
