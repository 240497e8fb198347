"""Parts of the measuring of widths, necks and outlines beside plain loops, and on both sides of their limits."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.geometry.edges import Outline
from carvegen.geometry.hairs import gaps_closed, without_hairs
from carvegen.geometry.narrow import NarrowKind, narrow_places
from carvegen.geometry.necks import _closest, _Views
from carvegen.geometry.widths import _beside_other, _cut_up, _disc, _parts_of_each, _Pieces, _Ruler, local_widths
from tests.cases import box, disc, shapes


def rings_of(*values: shapely.Geometry) -> geometry.Rings:
    return geometry.rings(geometry.parts(shapely.union_all(values)))


# ── widths ───────────────────────────────────────────────────────────────────────────────────────────────────────


def test_edges_are_cut_into_equal_pieces_no_longer_than_a_step() -> None:
    edges = Outline(rings_of(box(0, 0, 3, 1), box(10, 0, 3.05, 0.5))).edges
    length = np.hypot(*(edges.b - edges.a).T)
    pieces = _cut_up(edges, np.arange(len(length)), 0.5)
    assert np.bincount(pieces.edge).tolist() == np.ceil(length / 0.5).astype(int).tolist()
    for edge in range(len(length)):
        low, high = pieces.low[pieces.edge == edge], pieces.high[pieces.edge == edge]
        assert (low[0], high[-1]) == (0, 1)
        assert low[1:] == pytest.approx(high[:-1])
        assert high - low == pytest.approx(1 / len(low))


def test_of_a_long_edge_pieces_are_looked_at_within_the_limit_of_another_and_one_more() -> None:
    """Pieces of a third of a millimetre; beside 30 mm lies a box from 10.1 to 11.1, the limit is 1 mm."""
    edges = Outline(rings_of(box(0, 0, 30, 5), box(10.1, 5.3, 1, 1))).edges
    ruler = _Ruler(edges, np.arange(len(edges.a)), 1.0, None, 90.0)
    kept = ruler.in_reach(_cut_up(edges, ruler.chosen, 1 / 3))
    along = [edges.a[kept.edge] + share[:, None] * (edges.b - edges.a)[kept.edge] for share in (kept.low, kept.high)]
    upper = (edges.a[kept.edge, 1] == 5) & (edges.b[kept.edge, 1] == 5)
    x = np.stack([ends[upper, 0] for ends in along])
    x = x[:, (x > 5).all(axis=0) & (x < 25).all(axis=0)]  # not at its own ends
    assert (x.min(), x.max()) == (pytest.approx(26 / 3), pytest.approx(38 / 3))
    assert x.shape[1] == 12


@pytest.mark.parametrize(("count", "parts"), [(0, 32), (6250, 32), (6251, 31), (100_000, 2), (300_000, 1)])
def test_two_hundred_thousand_places_are_measured_closely_at_the_most(count: int, parts: int) -> None:
    assert _parts_of_each(count, 32) == parts


def test_some_pieces_are_split_into_so_many_parts() -> None:
    pieces = _Pieces(np.array([3, 5, 5]), np.array([0, 0, 0.4]), np.array([1, 0.4, 1.0]))
    each = pieces.split(np.array([True, False, True]), 4)
    assert each.edge.tolist() == [3] * 4 + [5] * 4
    assert each.low == pytest.approx([0, 0.25, 0.5, 0.75, 0.4, 0.55, 0.7, 0.85])
    assert each.high == pytest.approx([0.25, 0.5, 0.75, 1, 0.55, 0.7, 0.85, 1])


@pytest.mark.parametrize("seed", range(3))
def test_pieces_beside_another_sort_are_told_along_each_ring(seed: int) -> None:
    edges = Outline(rings_of(box(0, 0, 3, 1), box(10, 0, 2, 1), box(20, 0, 1, 1))).edges
    pieces = _cut_up(edges, np.arange(len(edges.a)), 0.3)
    narrow = np.random.default_rng(seed).random(len(pieces)) < 0.3
    ring, wanted = edges.ring[pieces.edge], np.zeros(len(pieces), dtype=bool)
    for own in (np.flatnonzero(ring == k) for k in range(3)):
        for one, other in zip(own, np.roll(own, -1), strict=True):
            wanted[[one, other]] |= narrow[one] != narrow[other]
    assert _beside_other(pieces, edges, narrow).tolist() == wanted.tolist()


@pytest.mark.parametrize(
    ("a", "b", "radius", "touch"),
    [
        ((5, 4), (-5, 4), 2, (0, 4)),  # a wall across
        ((-3, 0), (-3, 9), 3, (-3, 3)),  # a wall square to it
        ((3, 9), (3, 0), 3, (3, 3)),
        ((1, 2), (1, 9), 1.25, (1, 2)),  # a corner: (1 + 4) / (2 · 2)
        ((9, 2), (1, 2), 1.25, (1, 2)),
        ((-9, 2), (-1, 2), 1.25, (-1, 2)),
        ((5, -1), (-5, -1), np.inf, None),  # behind
        ((1, 0), (4, 0), np.inf, None),  # beside
    ],
)
def test_the_disc_that_touches_a_place_and_an_edge(a, b, radius: float, touch) -> None:
    """At the origin, up from it; and anywhere else."""
    for off in (np.zeros((1, 2)), np.array([[7.0, -3.0]])):
        (each,), (at,) = _disc(off, np.array([[0.0, 1.0]]), off + np.array([a]), off + np.array([b]))
        assert each == pytest.approx(radius)
        if touch is not None:
            assert (at - off[0]).tolist() == pytest.approx(touch)


@pytest.mark.parametrize("longer", [0.025, 0.065, 0.105])
def test_lengths_of_narrow_pieces_are_right_to_half_a_hundredth_of_the_limit(longer: float) -> None:
    """In a wedge of 30° a disc is as wide as the limit at half of that over the tangent of 15° from its point."""
    angle, long = np.radians(30), 4 + longer
    wedge = shapely.Polygon([(0, 0), (long, 0), (long * np.cos(angle), long * np.sin(angle))])
    each = local_widths(rings_of(wedge), 1.0)
    tip = np.hypot(*each.at.T) < 3
    assert each.length[tip].sum() / 2 == pytest.approx(0.5 / np.tan(angle / 2), abs=1 / 192)


@pytest.mark.parametrize(
    ("wide", "long", "kind"),
    [(0.95, 5, NarrowKind.ISLAND), (0.3, 1, NarrowKind.ISLAND), (0.95, 2, NarrowKind.ISLAND)],
)
def test_a_strip_alone_is_an_island(wide: float, long: float, kind: NarrowKind) -> None:
    assert narrow_places(rings_of(box(0, 0, long, wide)), 1.0).kind.tolist() == [kind]


@pytest.mark.parametrize("side", [1.05, 1.4, 1.9])
def test_a_strip_at_a_block_that_is_wide_enough_is_none(side: float) -> None:
    each = narrow_places(rings_of(box(0, 0, side, side), box(side, 0.3, 4, 0.5)), 1.0)
    assert each.kind.tolist() == [NarrowKind.NECK]
    assert each.length == pytest.approx([3.75], abs=0.1)


def test_tips_over_less_than_a_quarter_of_the_limit_are_nicks() -> None:
    """Spikes of 40° on a wall: told are those whose narrow part is longer."""
    lengths = []
    for high in np.linspace(0.1, 1.0, 10):
        half = high * np.tan(np.radians(20))
        spike = shapely.Polygon([(5 - half, 9.999), (5 + half, 9.999), (5, 10 + high)])
        each = narrow_places(rings_of(box(0, 0, 10, 10), spike), 1.0)
        lengths += each.length[each.kind == NarrowKind.TIP].tolist()
    assert 0.25 < min(lengths) < 0.4


# ── necks ────────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("off", "kept"),
    [((0, 0), True), ((5e-7, 0), True), ((0, 5e-7), True), ((1e-3, 0), False), ((0, 1e-3), False), ((5, 5), False)],
)
@pytest.mark.parametrize("turned", [False, True])
def test_edges_that_look_away_from_one_another_are_kept_where_they_touch(off, kept: bool, turned: bool) -> None:
    low, high = np.array([(0, 0), (1, 1)], dtype=float), np.array([(1, 1), (2, 2)], dtype=float)
    low[1] += off
    high[1] += off
    views = _Views(low, high, np.ones(2), np.zeros(2), np.full(2, 0.1))
    one, other = np.array([0]), np.array([1])
    assert views.meet(*((other, one) if turned else (one, other))).tolist() == [kept]


@pytest.mark.parametrize(
    ("between", "kept"), [(180, True), (180 - 19.9, True), (180 - 20.1, False), (180 + 20.1, False), (-160.1, True)]
)
def test_edges_look_at_one_another_within_their_views(between: float, kept: bool) -> None:
    """Each sees 10° to either side."""
    low = np.array([(0, 0), (5, 5)], dtype=float)
    middle = np.radians([0, between])
    views = _Views(low, low + 1, np.ones(2), middle, np.full(2, np.radians(10)))
    assert views.meet(np.array([0]), np.array([1])).tolist() == [kept]


@pytest.mark.parametrize(
    ("other", "at_i", "at_j"),
    [
        (((10, 2), (0, 2)), 0.5, 0.5),  # side by side: the middle of what they share
        (((8, 2), (4, 2)), 0.6, 0.5),
        (((14, 2), (6, 2)), 0.8, 0.75),
        (((3, 5), (3, 2)), 0.3, 1),  # upright
        (((3, 2), (3, 5)), 0.3, 0),
        (((12, 2), (20, 2)), 1, 0),  # beyond its end
        (((-4, 4), (-2, 2)), 0, 1),
    ],
)
def test_the_closest_places_of_two_edges(other, at_i: float, at_j: float) -> None:
    c, d = other
    a = np.array([(0, 0), c], dtype=float)
    b = np.array([(10, 0), d], dtype=float)
    edges = type("Edges", (), {"a": a, "b": b})
    start, end, on_i, on_j = _closest(edges, np.array([0]), np.array([1]))
    assert (on_i[0], on_j[0]) == (pytest.approx(at_i), pytest.approx(at_j))
    assert start[0] == pytest.approx([10 * at_i, 0])
    assert end[0] == pytest.approx(a[1] + at_j * (b[1] - a[1]))


# ── outlines ─────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.fixture(scope="module")
def scattered() -> geometry.Rings:
    rng = np.random.default_rng(4)
    discs = [disc(x, y, r, points=int(n)) for (x, y, r), n in zip(
        rng.random((40, 3)) * (60, 60, 2) + (0, 0, 0.2), rng.integers(3, 90, 40), strict=True)]  # fmt: skip
    return geometry.rings(shapes(*discs))


@pytest.mark.parametrize("limit", [0.3, 1.0, 3.0])
def test_rings_that_come_near_another_are_told(scattered: geometry.Rings, limit: float) -> None:
    rings = np.asarray(
        [shapely.linearrings(scattered.xy[a:b]) for a, b in itertools.pairwise(scattered.start.tolist())]
    )
    away = shapely.distance(rings[:, None], rings[None])
    np.fill_diagonal(away, np.inf)
    assert Outline(scattered).near(limit).tolist() == (away.min(axis=1) <= limit).tolist()


def test_pairs_of_rings_are_those_whose_discs_come_near_the_larger_first(scattered: geometry.Rings) -> None:
    """A ring's disc: about the middle of its bounds, out to its farthest point."""
    one = set(zip(*(each.tolist() for each in Outline(scattered)._discs_near(3.0)), strict=True))
    points = [scattered.xy[a:b] for a, b in itertools.pairwise(scattered.start.tolist())]
    middle = [(xy.min(axis=0) + xy.max(axis=0)) / 2 for xy in points]
    reach = [np.hypot(*(xy - m).T).max() for xy, m in zip(points, middle, strict=True)]
    wanted = set()
    for i, j in itertools.combinations(range(len(points)), 2):
        if np.hypot(*(middle[i] - middle[j])) < reach[i] + reach[j] + 3.0:
            wanted.add((i, j) if len(points[i]) >= len(points[j]) else (j, i))
    assert len(wanted) > 10
    assert one == wanted


def test_how_far_a_stretch_of_a_ring_bends() -> None:
    """A convex outline turns once; a C's inner side turns back: its outer stretch turns by more."""
    c = shapely.difference(box(0, 0, 10, 10), box(2, 2, 9, 6))
    zigzag = shapely.Polygon([(0, 0), (2, 1), (4, 0), (6, 1), (8, 0), (8, 5), (0, 5)])
    outline = Outline(geometry.rings(shapes(box(20, 0, 3, 3), c, zigzag)))
    most = outline._bends(np.arange(3))
    for k, (a, b) in enumerate(itertools.pairwise(outline.rings.start.tolist())):
        xy = outline.rings.xy[a:b]
        along = np.roll(xy, -1, axis=0) - xy
        before = np.roll(along, 1, axis=0)
        turn = np.arctan2(before[:, 0] * along[:, 1] - before[:, 1] * along[:, 0], (before * along).sum(axis=1))
        twice = np.tile(turn, 2)
        best = max(twice[i:j].sum() for i in range(len(twice)) for j in range(i + 1, len(twice) + 1))
        assert most[k] == pytest.approx(best)
        most_left = min(best, turn[turn > 0].sum())  # walked twice, but no stretch turns further than all together
        for than, more in ((most_left - 0.01, True), (most_left + 0.01, False)):
            assert outline.bends_more(than)[k] == more


# ── polygons ─────────────────────────────────────────────────────────────────────────────────────────────────────


def test_far_from_the_origin_the_room_in_a_shape_loses_no_digits() -> None:
    near = shapes(box(0, 0, 2, 1), disc(5, 5, 1, points=7))
    far = geometry.moved(near, (1e6, -1e6))
    for one, other in zip(geometry.star_radii(near), geometry.star_radii(far), strict=True):
        assert one == pytest.approx(other, abs=1e-8)


def test_shapes_without_a_grid_stay_the_same_objects() -> None:
    plain = shapes(box(0, 0, 2, 1), box(5, 0, 2, 1))
    assert geometry.free_of_grid(plain) is plain
    gridded = shapely.set_precision(plain, 0.001)
    assert shapely.get_precision(geometry.free_of_grid(gridded)).tolist() == [0, 0]
    assert shapely.get_precision(geometry.free_of_grid(np.append(plain[:1], gridded[1:]))).tolist() == [0, 0]


def test_a_shape_with_very_many_holes_is_laid_on_the_grid_as_one_with_few(monkeypatch: pytest.MonkeyPatch) -> None:
    """Point by point, and as a whole only where that spoils it; what falls to nothing is left out."""
    sieve = shapely.difference(box(0, 0, 10, 3), shapely.union_all([disc(1 + 2 * k, 1.5, 0.7) for k in range(5)]))
    bow = shapely.Polygon([(0, 5), (4, 5), (4, 5.0004), (2, 5.0001), (0, 6)], [[(0.2, 5.1), (0.4, 5.1), (0.2, 5.3)]])
    values = shapes(sieve, bow, box(20, 0, 1e-4, 1e-4))
    usual = geometry.snapped(values)
    monkeypatch.setattr(geometry, "_MANY_HOLES", 0)
    many = geometry.snapped(values)
    assert len(many) == len(usual)
    assert shapely.equals(many, usual).all()
    assert shapely.is_valid(many).all()


# ── hairs ────────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("gap", "long", "closed"),
    [
        (0.018, 0.6, True), (0.022, 0.6, False), (0.018, 0.49, True), (0.018, 0.47, False),  # all round over 1 mm
        (0.0009, 0.6, True), (0.0008, 0.6, False),  # over 0.0005 mm²
    ],
)  # fmt: skip
def test_a_gap_as_narrow_as_a_hair_is_closed_where_it_is_long_and_not_of_rounding(gap, long, closed: bool) -> None:
    whole = gaps_closed(shapely.union_all([box(0, 0, 5, long), box(5 + gap, 0, 5, long)]))
    assert len(geometry.parts(whole)) == (1 if closed else 2)
    assert whole.area == pytest.approx((10 + gap * closed) * long, abs=0.0025)


@pytest.mark.parametrize(("wide", "stays"), [(0.018, False), (0.022, True)])
def test_pieces_and_gaps_as_narrow_as_a_hair_go(wide: float, stays: bool) -> None:
    """A strip so wide goes; a slit so wide is closed; a corner stays as sharp as it was."""
    blocks = [box(0, 10, 4, 4), box(4 + wide, 10, 4, 4)]
    left = without_hairs(shapely.union_all([box(0, 0, 6, wide), *blocks]))
    assert len(left) == (3 if stays else 1)
    assert shapely.area(left).sum() == pytest.approx(32 + (6 if stays else 4) * wide, abs=1e-6)
