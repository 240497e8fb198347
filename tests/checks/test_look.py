"""What the eye calls contrived: it fires on grids, copies, boxes and combs, and not on our own snow (tests/laws)."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import affinity

from carvegen import geometry
from carvegen.base.findings import Report, Severity
from carvegen.blocks.block import Block
from carvegen.checks import look
from carvegen.checks.survey import Survey
from carvegen.geometry import alikeness
from tests.cases import box, disc, setup, shapes

SIZE = (200.0, 150.0)


def found(cuts, **more) -> dict[str, object]:
    cuts = geometry.polygon_array(cuts)
    each = Block(name="sky", width_mm=SIZE[0], height_mm=SIZE[1], cuts=cuts, **more)
    return {one.rule: one for one in look.find(Survey(setup(cutter="laser-fine").on(each)))}


def blob(rng: np.random.Generator, x: float, y: float, size: float, *, longer: float = 1.0) -> shapely.Polygon:
    """A lumpy outline of 24 points, its long axis along x."""
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    reach = size / 2 * (1 + 0.2 * np.sin(2 * angle + rng.uniform(0, 6)) + 0.1 * np.sin(3 * angle + rng.uniform(0, 6)))
    reach *= rng.uniform(0.93, 1.07, 24)
    return shapely.Polygon(np.column_stack([x + longer * reach * np.cos(angle), y + reach * np.sin(angle)]))


def strewn(rng: np.random.Generator, count: int) -> np.ndarray:
    return rng.uniform(0, 1, (count, 2)) * SIZE


def wild(rng: np.random.Generator, places: np.ndarray) -> list[shapely.Polygon]:
    return [blob(rng, x, y, rng.uniform(0.4, 2.5)) for x, y in places]


def lattice(pitch: float, jitter: float = 0.0) -> np.ndarray:
    rng = np.random.default_rng(5)
    x, y = np.meshgrid(np.arange(10, 190, pitch), np.arange(10, 140, pitch))
    return np.column_stack([x.ravel(), y.ravel()]) + rng.normal(0, 1, (x.size, 2)) * jitter


def test_chance_is_left_in_peace() -> None:
    rng = np.random.default_rng(3)
    assert found(wild(rng, strewn(rng, 300))) == {}


@pytest.mark.parametrize("pitch", [8.0, 3.3])
def test_a_grid(pitch) -> None:
    rng = np.random.default_rng(3)
    report = found(wild(rng, lattice(pitch)))
    assert set(report) == {"look-spacing"}
    assert report["look-spacing"].severity is Severity.ADVICE
    assert report["look-spacing"].at is None


def test_of_fewer_shapes_more_is_left_to_chance() -> None:
    """Three standard errors of n points by chance, 0.5227 / sqrt(n) each (source: clark-evans), or 1.15."""
    rng = np.random.default_rng(3)
    few, many = (found(wild(rng, lattice(pitch)))["look-spacing"].limit for pitch in (25.0, 8.0))
    assert few == pytest.approx(1 + 3 * 0.5227 / np.sqrt(48), rel=0.03)
    assert many == 1.15


def test_a_grid_shaken_until_it_is_none() -> None:
    rng = np.random.default_rng(3)
    assert "look-spacing" in found(wild(rng, lattice(8.0, jitter=0.8)))
    assert "look-spacing" not in found(wild(rng, lattice(8.0, jitter=6.0)))


def test_equal_discs() -> None:
    rng = np.random.default_rng(4)
    report = found([disc(x, y, 1.2) for x, y in strewn(rng, 60)])
    assert {"look-sizes", "look-twins"} <= set(report)


@pytest.mark.parametrize(("spread", "expected"), [(0.10, True), (0.14, False)])
def test_sizes_on_both_sides(spread, expected) -> None:
    """Half the shapes (1 - s) and half (1 + s) across: the coefficient of variation is s."""
    rng = np.random.default_rng(4)
    cuts = [disc(x, y, 1 + spread * (-1) ** k) for k, (x, y) in enumerate(strewn(rng, 60))]
    assert alikeness.size_spread(shapes(*cuts)) == pytest.approx(spread)
    assert ("look-sizes" in found(cuts)) == expected


def test_few_shapes_have_no_spacing_and_no_sizes() -> None:
    discs = [disc(x, y, 1.2) for x, y in lattice(8.0)]
    assert {"look-spacing", "look-sizes"} <= set(found(discs[:31]))
    assert not {"look-spacing", "look-sizes"} & set(found(discs[:30]))
    assert found(discs[:11]) == {}
    assert found([]) == {}


@pytest.mark.parametrize(("copies", "expected"), [(9, False), (11, True)])
def test_copies_moved_turned_and_mirrored(copies, expected) -> None:
    """Of 100 shapes so many are copies of one another: more than 10 in 100 are told of."""
    rng = np.random.default_rng(6)
    places = strewn(rng, 100)
    cuts = wild(rng, places[copies:])
    for x, y in places[:copies]:
        copy = affinity.rotate(blob(np.random.default_rng(1), 0, 0, 2.0), rng.uniform(0, 360), origin=(0, 0))
        cuts.append(affinity.translate(affinity.scale(copy, rng.choice([-1, 1]), 1, origin=(0, 0)), x, y))
    snapped = geometry.snapped(geometry.polygon_array(cuts))
    assert alikeness.have_twins(snapped).sum() == copies
    assert ("look-twins" in found(snapped)) == expected


def test_boxes() -> None:
    rng = np.random.default_rng(8)
    boxes = [box(x, y, *rng.uniform(1, 4, 2)) for x, y in strewn(rng, 60)]
    assert "boxed" in found(boxes)["look-straight"].why
    turned = [affinity.rotate(one, rng.uniform(5, 85)) for one in boxes]
    assert "boxed" not in found(turned)["look-straight"].why


@pytest.mark.parametrize(("boxed", "expected"), [(5, False), (7, True)])
def test_boxes_among_others(boxed, expected) -> None:
    """More than one in ten upright boxes, of 60 shapes."""
    rng = np.random.default_rng(8)
    places = strewn(rng, 60)
    cuts = wild(rng, places[boxed:]) + [box(x, y, *rng.uniform(1, 4, 2)) for x, y in places[:boxed]]
    assert ("look-straight" in found(cuts)) == expected


def test_sides_along_what_is_drawn_are_the_drawings_own() -> None:
    """Heaps that end where their post does; away from all posts the same are told."""
    rng = np.random.default_rng(8)
    heaps = [box(x, y, *rng.uniform(1, 4, 2)) for x, y in strewn(rng, 60)]
    posts = geometry.polygon_array(affinity.scale(heap, 1.02, 1.02) for heap in heaps)
    elsewhere = geometry.polygon_array(affinity.translate(post, 500, 0) for post in posts)
    assert "look-straight" in found(heaps, drawn=elsewhere)
    assert "look-straight" not in found(heaps, drawn=posts)
    assert "look-straight" not in found(heaps, kept=posts)


@pytest.mark.parametrize(("off", "expected"), [(0.5, False), (0.7, True)])
def test_sides_up_to_six_tenths_off_what_is_drawn_are_the_drawings_own(off, expected) -> None:
    """Inks run on or stay back from an edge by so much; our own choice."""
    rng = np.random.default_rng(8)
    heaps = [box(x, y, *rng.uniform(1, 4, 2)) for x, y in strewn(rng, 60)]
    posts = geometry.polygon_array(heap.buffer(off, join_style="mitre") for heap in heaps)
    assert ("look-straight" in found(heaps, drawn=posts)) == expected


@pytest.mark.parametrize(("scatter", "expected"), [(8.0, True), (20.0, False)])
def test_a_comb(scatter, expected) -> None:
    """Angles scattered by s have the resultant exp(-2 s²): 0.96 at 8 degrees, 0.78 at 20."""
    rng = np.random.default_rng(9)
    cuts = [
        affinity.rotate(blob(rng, x, y, rng.uniform(1, 3), longer=4.0), rng.normal(30, scatter))
        for x, y in strewn(rng, 80)
    ]
    assert ("look-combed" in found(cuts)) == expected


@pytest.mark.parametrize(("elongated", "expected"), [(22, False), (26, True)])
def test_some_that_point_one_way_among_many_round_ones(elongated, expected) -> None:
    """Three tenths of 80 shapes are 24."""
    rng = np.random.default_rng(9)
    cuts = [
        blob(rng, x, y, rng.uniform(1, 3), longer=4.0) if k < elongated else disc(x, y, rng.uniform(0.5, 1.5))
        for k, (x, y) in enumerate(strewn(rng, 80))
    ]
    assert ("look-combed" in found(cuts)) == expected


def test_teeth_of_a_comb() -> None:
    assert {"look-spacing", "look-sizes", "look-twins", "look-straight", "look-combed"} <= set(
        found(box(x, y, 1, 4) for x, y in lattice(8.0))
    )


def test_advice_is_no_risk_and_no_break() -> None:
    answer = found(box(x, y, 1, 4) for x, y in lattice(8.0))
    report = Report.of(answer.values())
    assert (report.breaks, report.risks, report.to_dict()["advice"]) == (0, 0, len(answer))
    assert {one["severity"] for one in report.to_dict()["findings"]} == {"advice"}


def test_centres_on_a_line_or_in_one_place() -> None:
    assert np.isnan(alikeness.spacing(np.column_stack([np.arange(40.0), np.arange(40.0)]))[0])
    assert np.isnan(alikeness.spacing(np.zeros((40, 2)))[0])
    assert np.isnan(alikeness.distance_spread(alikeness.nearest_distances(np.zeros((40, 2)))))
    report = found(disc(10 + 4 * k, 75, 1.0) for k in range(40))
    assert "look-spacing" in report  # evenly along one line


@pytest.mark.parametrize(
    ("index", "error", "kind"), [(1.14, 0.01, ""), (1.16, 0.01, "even"), (1.28, 0.1, ""), (1.32, 0.1, "even")]
)
def test_shapes_keep_more_even_distances_than_chance_by_fifteen_in_a_hundred_and_three_errors(
    index, error, kind, monkeypatch
) -> None:
    monkeypatch.setattr(alikeness, "spacing", lambda *_, **__: (index, error))
    said = list(look._spacing(shapes(disc(0, 0, 1), disc(9, 0, 1), disc(0, 20, 1)), 0.5))
    assert [each.kind for each in said] == ([kind] if kind else [])


@pytest.mark.parametrize(("spread", "said"), [(0.115, True), (0.125, False)])
def test_distances_or_sizes_alike_within_twelve_in_a_hundred_look_set_out(spread, said, monkeypatch) -> None:
    monkeypatch.setattr(alikeness, "spacing", lambda *_, **__: (1.0, 0.1))
    monkeypatch.setattr(alikeness, "nearest_distances", lambda _: np.array([1 - spread, 1 + spread] * 20))
    monkeypatch.setattr(alikeness, "size_spread", lambda _: spread)
    two = shapes(disc(0, 0, 1), disc(9, 0, 1))
    assert [each.kind for each in look._spacing(two, 0.5)] == ["lattice"] * said
    assert len(list(look._sizes(two))) == said


@pytest.mark.parametrize(("count", "said"), [(10, False), (11, True)])
def test_of_a_hundred_shapes_more_than_ten_are_twins(count, said, monkeypatch) -> None:
    monkeypatch.setattr(alikeness, "have_twins", lambda _: np.arange(100) < count)
    assert len(list(look._twins(shapes()))) == said


@pytest.mark.parametrize(("elongated", "measured", "said"), [(12, 0.901, True), (11, 0.99, False), (12, 0.899, False)])
def test_shapes_are_combed_if_a_dozen_of_few_all_point_one_way(elongated, measured, said, monkeypatch) -> None:
    monkeypatch.setattr(alikeness, "combing", lambda _: (measured, elongated))
    assert len(list(look._combed(shapes(*[disc(9 * k, 0, 1) for k in range(14)])))) == said


@pytest.mark.parametrize(("side", "said"), [(9.9, 0), (0.0, 1)])
def test_straight_sides_are_told_where_a_quarter_has_them_and_boxes_sooner(side, said, monkeypatch) -> None:
    """Runs of 0.6 of a shape's extent and more, of what is no stroke."""
    many = shapes(*[disc(9 * k, 0, 1) for k in range(100)])
    for run, count, degrees, told in (
        (0.61, 26, 45.0, True), (0.61, 25, 45.0, False), (0.59, 90, 45.0, False),
        (0.61, 11, 0.9, True), (0.61, 10, 0.9, False), (0.61, 11, 89.1, True), (0.61, 11, 1.1, False),
    ):  # fmt: skip
        runs = np.where(np.arange(100) < count, run, 0.1)
        monkeypatch.setattr(alikeness, "straight_runs", lambda _, runs=runs, to=degrees: (runs, np.full(100, to)))
        monkeypatch.setattr(alikeness, "elongations", lambda _: (np.full(100, side), None))
        assert len(list(look._straight(many, shapes()))) == (told and said)
