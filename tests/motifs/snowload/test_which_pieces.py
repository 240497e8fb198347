"""Which pieces of snow one would cut, what the wind meets, which tiers bear: both sides of each limit."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
import shapely.affinity

from carvegen.motifs import snowload
from carvegen.motifs.snowload.firs.pads import _every_other
from carvegen.motifs.snowload.growing import _lines, _reads
from carvegen.motifs.snowload.open_sky import clear_upwind
from carvegen.motifs.snowload.settling import borne, slumped
from tests.cases import shapes
from tests.motifs.snowload.test_parts_of_snow import asked, ends, ledge

NONE = shapes()


def slab(wide: float, high: float) -> shapely.Polygon:
    return shapely.box(0, 0, wide, high)


def bar(long: float, rise: float) -> shapely.Polygon:
    """0.4 mm thick, aslant: so many times as tall as broad."""
    to = np.array([1.0, rise]) * long / np.hypot(1, rise)
    return shapely.LineString([(0, 0), to]).buffer(0.2, cap_style="flat")


def egg(wide: float, high: float) -> shapely.Polygon:
    return shapely.affinity.scale(shapely.Point(0, 0).buffer(0.5), wide, high)


@pytest.mark.parametrize(
    ("piece", "fallen", "reads"),
    [
        # large, or long
        (slab(2.0, 1.97), 3.0, False), (slab(2.0, 2.03), 3.0, True),
        (bar(5.0, 1.0), 3.0, False), (bar(5.2, 1.0), 3.0, True),
        # where less than 1.5 mm has fallen, smaller
        (slab(1.0, 0.98), 0.75, False), (slab(1.0, 1.02), 0.75, True), (bar(2.2, 1.0), 0.75, False),
        (bar(2.45, 1.0), 0.75, True), (slab(2.0, 1.97), 1.4, True),
        # upright: larger
        (slab(2.6, 3.3), 3.0, True), (slab(2.5, 3.3), 3.0, False), (slab(2.9, 4.05), 3.0, False),
        (slab(3.0, 4.05), 3.0, True),
        # and a ball among twigs
        (egg(2.5, 2.6), 3.0, True), (egg(2.5, 2.67), 3.0, False), (slab(2.5, 2.7), 3.0, True),
        (egg(3.7, 4.0), 3.0, False), (egg(3.8, 4.1), 3.0, True),
        # lying: smaller
        (slab(2.0, 0.9), 3.0, False), (slab(2.2, 0.9), 3.0, True),
        (slab(2.1, 1.26), 3.0, False), (slab(2.2, 1.1), 3.0, True),
        (slab(3.0, 0.39), 3.0, False), (slab(3.0, 0.41), 3.0, True),
        (bar(3.4, 0.8), 3.0, False), (bar(3.4, 0.65), 3.0, True),
    ],
)  # fmt: skip
def test_a_piece_reads_as_snow_if_it_is_large_or_long_or_lies(piece, fallen: float, reads: bool) -> None:
    assert _reads(shapes(piece), snowload.Settings(fallen_mm=fallen), NONE).tolist() == [reads]


@pytest.mark.parametrize(("side", "over", "reads"), [(1.11, 0.29, True), (1.11, 0.31, False), (1.08, 0.29, False)])
def test_on_the_top_of_a_thing_a_small_piece_is_its_cap(side: float, over: float, reads: bool) -> None:
    top = shapely.box(0, -9, 1, -over)
    assert _reads(shapes(slab(side, side)), snowload.Settings(), shapes(top)).tolist() == [reads]


@pytest.mark.parametrize(
    ("piece", "line"),
    [(slab(1.1, 0.15), False), (slab(1.2, 0.15), True), (slab(1.5, 2.0), False), (egg(2.0, 1.5), False),
     (bar(2.0, 1.45), True), (bar(2.0, 2.2), False), (slab(2.0, 1.0), True)],
)  # fmt: skip
def test_a_line_on_a_twig_is_long_and_slim_and_not_upright(piece, line: bool) -> None:
    twig = shapely.box(-9, -9, 9, 0.01)
    assert _lines(shapes(piece), twig).tolist() == [line]
    assert not _lines(shapes(piece), shapely.box(-9, -9, -5, -5)).any()


@pytest.mark.parametrize("to_right", [True, False])
def test_along_four_low_rays_the_wind_is_free_over_what_stands_lower(to_right: bool) -> None:
    """A wall 60 cells high: from 100 cells behind it rays of 3, 10, 20 and 32 degrees pass it 5, 18, 36, 62 lower."""
    solid = np.zeros((120, 300), dtype=bool)
    solid[:60, 100 if to_right else 199] = True
    clear = clear_upwind(solid, 0.1, to_right=to_right)[:, :, 200 if to_right else 99]
    first = [int(np.argmax(ray > 11)) for ray in clear]
    assert first == pytest.approx([60 - 100 * np.tan(np.radians(of)) for of in (3, 10, 20)] + [0], abs=1)
    assert clear[0, :50] == pytest.approx(10.0, abs=1e-3)
    low = clear_upwind(solid, 0.1, to_right=to_right)[3, :, 180 if to_right else 119]  # 80 cells behind it
    assert int(np.argmax(low > 9)) == pytest.approx(60 - 80 * np.tan(np.radians(32)), abs=1)


def test_every_other_tier_bears_on_each_side_from_the_first_or_the_second_on() -> None:
    rng = np.random.default_rng(1)
    fir, side = np.repeat([0, 1, 2], 10), np.tile([1, -1], 15)
    tip, chance = np.column_stack([np.zeros(30), rng.permutation(30)]), np.array([0.2, 0.8, 0.2])[fir]
    tiers: Any = SimpleNamespace(tip=tip, side=side, number=fir)
    kept = _every_other(tiers, chance)
    for one in range(3):
        for of in (1, -1):
            own = np.flatnonzero((fir == one) & (side == of))
            own = own[np.argsort(tip[own, 1])]
            later = (of > 0) != (chance[own[0]] > 0.5)
            assert kept[own].tolist() == [bool((k + later) % 2 == 0) for k in range(5)]


def test_between_uprights_a_rail_bears_a_little_and_more_at_their_feet() -> None:
    """0.1 mm, 0.12 of its length, and of up to 0.4 what leans; a quarter of the length away a third of it is left."""

    def most(
        wide: float, kind: float = 0.0, tall: float = 4.0, breadth: float = 4.0, fallen: float = 3.5, wind=0.0, **how
    ):
        one = ledge(wide, breadth=breadth)
        about = ends(one, kind=kind, **how)
        about.wall = np.full((2, len(one)), tall)
        return slumped(one, about, asked(fallen_mm=fallen, wind=wind))

    assert most(6.0) == pytest.approx(0.1 + 0.12 * 6)
    assert most(6.0, fallen=14.0) == pytest.approx(2 * (0.1 + 0.12 * 6))
    assert most(6.0, kind=0.25) == pytest.approx(0.82)
    leans = most(6.0, kind=1.0)
    assert leans[0] == pytest.approx(0.82 + 6 * 0.4 * (1 + np.exp(-5.9 / 1.5)))
    assert leans[15] == pytest.approx(0.82 + 6 * 0.4 * (np.exp(-1) + np.exp(-4.4 / 1.5)))
    assert most(6.0, kind=0.5)[0] == pytest.approx(0.82 + 6 * 0.4 * 0.4 * (1 + np.exp(-5.9 / 1.5)))
    blown = most(6.0, kind=1.0, wind=1.0)
    assert blown[[0, -1]] == pytest.approx(0.82 + 6 * 0.4 * np.exp([-0.0, -5.9 / 1.5]))  # in the lee of the left one
    for none in ({"wide": 8.1}, {"wide": 6.0, "tall": 2.9}, {"wide": 6.0, "breadth": 4.6}, {"wide": 6, "free": True}):
        assert np.isinf(most(**none)).all()
    assert np.isfinite(most(7.9, tall=3.1, breadth=4.4)).all()


@pytest.mark.parametrize(("breadth", "as_broad"), [(1.0, 0.3), (2.4, 1.44), (4.0, 4.0), (6.0, 6.0)])
def test_over_air_snow_lies_as_on_something_less_broad_than_what_is_beside(breadth: float, as_broad: float) -> None:
    """0.3 of it in a net of twigs, up to 1.2 mm; ever more, and all of it from 4 mm on."""
    over, on = ledge(breadth=breadth, void=1.0), ledge(breadth=as_broad)
    ground = np.zeros(len(on))
    assert borne(over, asked(), ground) == pytest.approx(borne(on, asked(), ground))
