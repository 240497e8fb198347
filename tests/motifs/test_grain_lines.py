"""Lines of grain before they are drawn: how many, of what kind, how vigorous, and which of them find room.

What is drawn at random is held to the law that it is drawn by.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
import shapely.affinity
from scipy.special import ndtr, ndtri

from carvegen.motifs.grain import Settings, growing
from carvegen.motifs.grain.spacing import Rules, fitted
from carvegen.motifs.growth import Place
from carvegen.motifs.shared.points import Window
from carvegen.motifs.shared.strokes import Strokes
from tests.cases import limits

RULES = Rules(land_mm=0.6, cut_mm=0.4, shortest_mm=2.0, break_mm=1.8, taper=0.05, over_edge=True)


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def board(land: float = 0.6, cut: float = 0.4, **settings: float) -> Any:
    rules = SimpleNamespace(land_mm=land, cut_mm=cut, shortest_mm=2.0)
    return SimpleNamespace(
        settings=Settings(**settings), limits=limits(land, cut), rules=rules, window=Window(0.0, 0.0, 30.0, 20.0),
        weights=rng(2), extras=rng(3), place=Place(area=shapely.box(0, 0, 30, 20)), log=SimpleNamespace(knots=()),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("land", "cut", "rules"),
    [(1.0, 0.4, (1.024, 0.4204, 2.0, 2.2, 0.05)), (0.2, 0.2, (0.219, 0.2192, 1.6, 1.2, 0.05))],
)
def test_strokes_keep_a_little_more_than_the_limits(land: float, cut: float, rules) -> None:
    """What drawing, snapping and running out over the edge take; and no stroke is shorter than five cuts."""
    made = growing._Board.rules.fget(board(land, cut))
    assert (made.land_mm, made.cut_mm, made.shortest_mm, made.break_mm, made.taper) == pytest.approx(rules)


def test_boards_are_sawn_a_little_otherwise_than_the_last() -> None:
    lots, lot = Settings(pith_mm=20, arch_mm=40, plane_deg=45), rng()
    sawn = [growing._sawn(lots, lot) for _ in range(1500)]
    for values, middle, spread in (
        (np.log([each.pith_mm for each in sawn]), np.log(20), 0.15),
        (np.log([each.arch_mm for each in sawn]), np.log(40), 0.12),
        (np.array([each.plane_deg for each in sawn]), 45, 3),
    ):
        assert values.mean() == pytest.approx(middle, abs=spread / 8)
        assert values.std() == pytest.approx(spread, rel=0.08)
    for plane in (0, 90):
        planes = [growing._sawn(Settings(plane_deg=plane), lot).plane_deg for _ in range(50)]
        assert (min(planes) == 0, max(planes) == 90) == (plane == 0, plane == 90)


def test_knots_are_counted_for_a_hundred_square_centimetres(monkeypatch) -> None:
    monkeypatch.setattr(growing, "random_knots", lambda count, reach, **_: (count, reach))
    assert growing._knots(Settings(knots=1.2), np.array([50.0, 100.0]), rng()) == (pytest.approx(2.4), (50.0, 100.0))


@pytest.mark.parametrize(("ring", "stride", "step"), [(2.6, 1, 2.6 / 6), (0.45, 2, 0.15), (0.36, 2, 0.12), (4, 1, 0.5)])
def test_rings_too_narrow_for_all_are_cut_by_turns_and_told_on_a_grid_of_a_sixth(ring, stride, step) -> None:
    one = board(ring_mm=ring)  # 0.7 of a land and a cut, 1 mm, over the ring, rounded
    assert growing._stride(one) == stride
    u, v = growing._grid(one)
    assert np.diff(u) == pytest.approx(step)
    assert (u[0], v[0]) == (-0.6, -0.6)
    assert 30.6 <= u[-1] <= 30.601 + step
    assert 20.6 <= v[-1] <= 20.601 + step


def test_hair_lines_crowd_towards_the_late_wood_and_pores_lie_next_to_the_ring() -> None:
    count = 3000
    number, kind, lively = growing._levels(board(hair_lines=1, pores=1), np.array([0.3, count - 0.7]), rng())
    ring, hair, pore = (number[kind == one] for one in range(3))
    assert ring.tolist() == list(range(count + 1))
    places = hair.reshape(-1, 4) - ring[:, None]
    assert places.min(axis=0) == pytest.approx([0.14, 0.4, 0.6, 0.74], abs=0.003)
    assert places.max(axis=0) == pytest.approx([0.36, 0.56, 0.7, 0.86], abs=0.003)
    assert (pore - ring).min() == pytest.approx(0.1, abs=0.003)
    assert (pore - ring).max() == pytest.approx(0.22, abs=0.003)
    vigour = lively[kind == 1].reshape(-1, 4)
    assert vigour.mean(axis=0) == pytest.approx([-0.35, 0, 0.15, 0.2], abs=0.05)
    assert np.cov(vigour.T)[~np.eye(4, dtype=bool)] == pytest.approx(0.55**2, abs=0.03)  # all of a ring together
    assert vigour.var(axis=0) == pytest.approx(0.55**2 + 0.35**2, abs=0.04)
    assert lively[kind == 0].std() == pytest.approx(0.45, rel=0.06)
    assert not lively[kind == 2].any()
    _, kind, lively = growing._levels(board(hair_lines=0, pores=0), np.array([0.3, 9.0]), rng())
    assert len(kind) == len(lively) == 10
    assert not kind.any()


def test_about_the_share_that_is_set_stays_uncut() -> None:
    """Vigour is about normal with a standard deviation of 1.22."""
    least = growing._least_vigour(Settings(faded=0.25, hair_lines=0.6, pores=0.5))
    assert ndtr(least / 1.22) == pytest.approx([0.25, 0.67, 0.75])
    least = growing._least_vigour(Settings(faded=0.0, hair_lines=0.0, pores=1.0))
    assert ndtr(least / 1.22) == pytest.approx([0.001, 0.999, 0.5])


def test_a_line_swells_from_the_smallest_cut_to_its_full_breadth() -> None:
    above = np.array([-0.1, 0.0, 1e-9, 0.95, 1.9, 3.0])
    assert growing._swelling(above, np.full(6, 2.0), 0.4) == pytest.approx([0, 0, 0.2, 0.2 + 0.8 * 0.5**1.1, 1, 1])
    assert growing._swelling(above, np.full(6, 0.3), 0.4) == pytest.approx([0, 0, 0.2, 0.2, 0.2, 0.2])


@pytest.mark.parametrize(
    ("ring", "late", "dead", "look"),
    [
        (3.0, 0.4, True, (1.2, 0.624, 1.92, 0.4)), (3.0, 0.4, False, (1.2, 0.624, 1.12, 0.4)),
        (2.0, 0.4, False, (1.1, 0.572, 1.12, 0.4)), (9.0, 0.8, False, (3.6, 1.6, 1.12, 0.4)),
    ],
)  # fmt: skip
def test_a_knots_rings_are_narrower_than_the_boards_and_its_rim_is_broad(ring, late, dead, look, monkeypatch) -> None:
    """0.4 of a ring, or a land and a cut and a tenth; a dead one's rim is a fifth broader than the widest line."""
    one = board(ring_mm=ring, late_wood=late, widest_mm=1.6)
    one.log.knots = (SimpleNamespace(dead=dead),)
    monkeypatch.setattr(growing, "knot_strokes", lambda _, made, __: made)
    [made] = growing._knot_lots(one)
    assert (made.pitch_mm, made.line_mm, made.rim_mm, made.least_mm) == pytest.approx(look)


def test_marks_come_as_often_as_the_saw_shows_them(monkeypatch) -> None:
    """Rays seen from their ends on a flat-sawn face, along on a quarter-sawn one: by the squares of cosine and sine."""
    rates: dict[str, float] = {}
    for name in ("spindles", "end_checks", "silver", "flecks"):

        def noted(_, rate, *__, name=name, **___):
            rates[name] = rate
            return Strokes(np.zeros((1, 2)), np.zeros(1, dtype=np.int64), np.zeros(1))

        monkeypatch.setattr(growing, name, noted)
    monkeypatch.setattr(growing, "in_any", lambda _, xy: np.zeros(len(xy), dtype=bool))
    one = board(plane_deg=60.0, rays=0.5, end_checks=0.4)
    ranks = [rank.tolist() for _, rank in growing._marks(one)]
    assert ranks == [[-4], [45], [50]]
    one.log.knots = (SimpleNamespace(holds=lambda xy: xy[:, 0] > 1),)
    assert growing._bare(one, np.array([[0.0, 0], [2, 0]])).tolist() == [False, True]
    assert rates == pytest.approx({"spindles": 0.01, "end_checks": 0.032, "silver": 0.006375, "flecks": 0.00225})


def test_where_a_place_wants_less_fewer_and_thinner_lines_are_cut() -> None:
    """A quarter: one point in four, half as broad, and no thinner than the smallest cut."""
    xy = np.column_stack([np.tile(np.linspace(0, 400, 400), 20), np.repeat(np.arange(20.0), 400)])
    for half, left in ((1.0, 0.5), (0.3, 0.2)):
        wanted, one = Strokes(xy, np.repeat(np.arange(20), 400), np.full(len(xy), half)), board()
        one.place = Place(area=shapely.box(-1, -1, 401, 21), density=lambda at: np.full(len(at), 0.25))
        cut = growing._by_density(one, wanted)
        assert np.unique(cut) == pytest.approx([0, left])
        assert (cut > 0).mean() == pytest.approx(0.25, abs=0.05)
        runs = np.count_nonzero(np.diff((cut > 0).reshape(20, -1).astype(int), axis=1) == 1)
        assert 60 < runs < 180  # patches of 13 mm
        one.place = Place(area=one.place.area, density=lambda at: np.ones(len(at)))
        assert np.array_equal(growing._by_density(one, wanted), wanted.half)
        one.place = Place(area=one.place.area)
        assert np.array_equal(growing._by_density(one, wanted), wanted.half)


def test_how_vigorous_a_line_is_and_how_broad_it_would_be(monkeypatch) -> None:
    """Waves are 10 where they are broad and 100 where they are small; along the lines 1, and 7 along pores.

    Rings: 1 + 3 + 25, and a rank of 10. Hair lines: more by 0.9 log(breadth of the ring / 5 mm), at the most 0.9.
    Pores: 7 + half of the waves along them, and a rank of -10.
    """
    waves = {(9.0, 60.0): 10.0, (4.0, 22.0): 100.0, (2.5, 14.0): 3.0}
    monkeypatch.setattr(growing, "waves_at", lambda xy, _, patch_mm: np.full(len(xy), waves[patch_mm]))
    monkeypatch.setattr(growing, "own_noise", lambda of, mm, _: np.full(len(of), {26.0: 1.0, 1.6: 7.0}[mm]))
    count = 120
    levels, kind = np.linspace(0.5, 29.5, 3 * count), np.tile(np.arange(3), count)
    monkeypatch.setattr(growing, "_levels", lambda *_: (levels, kind, np.zeros(3 * count)))
    monkeypatch.setattr(growing, "_bare", lambda _, xy: xy[:, 1] > 1)
    seen = list[tuple[np.ndarray, ...]]()
    monkeypatch.setattr(growing, "_swelling", lambda *each: seen.append(each) or np.ones(len(each[0])))
    for broad, more in ((10.0, 0.9 * np.log(2)), (100.0, 0.9), (1.0, 0.0)):
        one = board(hair_lines=0.6, faded=0.25, pores=0.5, late_wood=0.034, widest_mm=1.6)
        one.log = SimpleNamespace(
            radius=lambda xy: xy[:, 0], numbered=lambda radius: radius, radius_of=lambda each: each,
            apparent_mm=lambda xy, *_, broad=broad: np.full(len(xy), broad),
        )  # fmt: skip
        one.window = Window(0.0, 0.0, 30.0, 2.0)
        lines, vigour = growing._grain(one)
        of = kind[np.rint((lines.xy[:, 0] - 0.5) / 29 * (3 * count - 1)).astype(int)]
        assert [np.unique(vigour[of == one].round(9)).tolist() for one in range(3)] == [
            [39.0], [pytest.approx(29 + more)], [-1.5],
        ]  # fmt: skip
        above, full, least = seen.pop()
        assert least == one.rules.cut_mm
        uncut = 1.22 * ndtri([0.25, 0.67, 0.75])
        assert above + np.array([10, 0, -10])[of] == pytest.approx(vigour - uncut[of])
        assert full[of > 0] == pytest.approx(1.3 * 0.4)
        if broad == 10:
            late = np.log(np.unique(full[of == 0]) / 0.34)
            assert late.mean() == pytest.approx(0, abs=0.15)
            assert late.std() == pytest.approx(0.5, rel=0.2)
        assert full.max() <= 1.6
        assert np.array_equal(lines.half == 0, lines.xy[:, 1] > 1)


def strokes(*ys: float, half: float, first: float = 3.0, last: float = 27.0) -> Strokes:
    x = np.arange(first, last + 0.01, 0.25)
    xy = [np.column_stack([x, np.full(len(x), y)]) for y in ys]
    return Strokes(np.concatenate(xy), np.repeat(np.arange(len(ys)), len(x)), np.full(len(x) * len(ys), half))


@pytest.mark.parametrize(("high", "half"), [(1.58, None), (1.62, 0.21), (2.0, 0.4), (2.4, 0.5)])
def test_a_line_in_a_strip_is_as_broad_as_both_lands_leave_or_goes(high: float, half: float | None) -> None:
    done, first, _ = fitted(strokes(high / 2, half=0.5), np.zeros(97), shapely.box(0, 0, 30, high), RULES)
    assert len(first) == (half is not None)
    if half is not None:
        assert done.half.max() == pytest.approx(half)
        assert done.half[[0, -1]] == pytest.approx(0.2)  # the smallest cut at both tips,
        assert done.half[4] == pytest.approx(min(0.2 + 0.05, half))  # a twentieth more for each mm along


@pytest.mark.parametrize(("apart", "lines"), [(1.34, [1]), (1.36, [0, 1])])
def test_of_two_broad_lines_that_are_near_the_better_goes_on_or_both_share_the_room(apart: float, lines) -> None:
    """Near: within a land and three quarters of the breadth that both want."""
    wanted = strokes(10.0, 10.0 + apart, half=0.5)
    done, first, _ = fitted(wanted, np.repeat([0.0, 1.0], 97), shapely.box(0, 0, 30, 20), RULES)
    assert done.line[first].tolist() == lines
    for line in lines:
        assert done.half[done.line == line].max() == pytest.approx(0.5 if lines == [1] else (apart - 0.6) / 2)
    done, first, _ = fitted(wanted, np.zeros(194), shapely.box(0, 0, 30, 20), RULES)
    assert done.line[first].tolist() == ([0] if lines == [1] else [0, 1])  # of two alike the first


def test_a_stroke_may_have_three_points_and_none_has_one() -> None:
    for count in (1, 2, 3):
        xy = np.column_stack([np.linspace(10, 14, count), np.full(count, 10.0)])
        wanted = Strokes(xy, np.zeros(count, dtype=np.int64), np.full(count, 0.3))
        assert len(fitted(wanted, np.zeros(count), shapely.box(0, 0, 30, 20), RULES)[1]) == (count > 1)


@pytest.mark.parametrize(("long", "cut"), [(1.75, 0), (2.0, 1)])
def test_strokes_that_are_too_short_are_none(long: float, cut: int) -> None:
    """Whether they are all of their line or the end of a longer one."""
    wanted = strokes(10.0, half=0.3, last=3 + long)
    assert len(fitted(wanted, np.zeros(len(wanted)), shapely.box(0, 0, 30, 20), RULES)[1]) == cut
    wanted = strokes(10.0, half=0.3)
    half = np.where((wanted.xy[:, 0] > 15) & (wanted.xy[:, 0] < 27 - long), 0.0, 0.3)
    assert len(fitted(wanted.with_half(half), np.zeros(97), shapely.box(0, 0, 30, 20), RULES)[1]) == 1 + cut


@pytest.mark.parametrize(("gap", "left"), [(1.0, 1.8), (1.5, 1.8), (2.0, 2.0)])
def test_strokes_of_one_line_keep_a_break_between_them(gap: float, left: float) -> None:
    """Both draw back, each by half of what is missing, to the next point of the line."""
    wanted = strokes(10.0, half=0.3)
    half = np.where(np.abs(wanted.xy[:, 0] - 15) < gap / 2 - 1e-9, 0.0, 0.3)
    done, first, last = fitted(wanted.with_half(half), np.zeros(97), shapely.box(0, 0, 30, 20), RULES)
    assert left <= done.xy[first[1], 0] - done.xy[last[0], 0] <= left + 0.5


@pytest.mark.parametrize(("degrees", "over"), [(48, False), (52, True), (90, True)])
def test_a_line_runs_out_over_the_edge_only_where_it_meets_it_bluntly(degrees: float, over: bool) -> None:
    along = np.arange(-20, 20.01, 0.25)
    xy = np.column_stack([100 + along * np.cos(np.radians(degrees)), along * np.sin(np.radians(degrees))])
    c, s = np.cos(np.radians(30)), np.sin(np.radians(30))  # all of it lies aslant on the page
    placed = xy @ np.array([[c, s], [-s, c]]) + [7, 11]
    wanted = Strokes(placed, np.zeros(len(xy), dtype=np.int64), np.full(len(xy), 0.3))
    face = shapely.affinity.affine_transform(shapely.box(0, 0, 200, 100), [c, -s, s, c, 7, 11])
    for runs_out in (True, False):
        rules = Rules(**{**vars(RULES), "over_edge": runs_out})
        done, first, _ = fitted(wanted, np.zeros(len(xy)), face, rules)
        assert (xy[first, 1].min() < 0.3) == (over and runs_out)
        flared = done.half[first[0]] - done.half[first[0] + 1]
        assert flared == pytest.approx(0.005 * 0.25 if over and runs_out else -0.05 * 0.25, abs=1e-9)
