"""Far, middle and near snow of one motif: how much of each, and what hides which."""

from __future__ import annotations

import dataclasses
import re
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from carvegen.base.errors import InputError
from carvegen.base.streams import stream
from carvegen.blocks.from_motif import Ground, block_on
from carvegen.blocks.job import setups_for
from carvegen.motifs import snowfall
from carvegen.motifs.growth import Growth, Place, plain
from carvegen.motifs.snowfall import falling
from tests.cases import SHELF, box, limits, shapes
from tests.robustness.snow import limits_broken
from tests.strategies import few, takes_long

FACE = shapely.box(0, 0, 72, 54)
POST = shapely.box(30, -1, 50, 50)
LIMITS = limits(0.5, 0.4)


@cache
def grown(*, hides: bool = False, seed: int = 1, **own) -> Growth:
    place = Place(area=FACE, frame=FACE, hides=(POST, POST, shapely.Polygon()) if hides else ())
    return snowfall.grow(snowfall.Settings(**own), place, LIMITS, stream(seed, "layers"))


@takes_long  # layers are sought by what came of each: below
@pytest.mark.parametrize("seed", few([1, 2], 1))
def test_each_layer_turns_as_much_white_as_is_asked_of_it(monkeypatch, seed) -> None:
    asked = (0.05, 0.02, 0.04)
    seen = []
    plainly = falling._white_by_layer
    monkeypatch.setattr(falling, "_white_by_layer", lambda *each: seen.append(plainly(*each)) or seen[-1])
    growth = grown.__wrapped__(seed=seed, snow_far=asked[0], snow_middle=asked[1], snow_near=asked[2])
    assert np.abs(seen[-1] - asked).max() < 0.01
    assert growth.remark == ""
    assert shapely.area(growth.cuts).sum() / FACE.area == pytest.approx(sum(asked), abs=0.01)
    assert np.abs(seen[0] - asked).max() > 0.01, "parts alone don't give it"


def test_it_is_told_of_a_layer_that_does_not_come() -> None:
    """A third of the face in specks far away leaves no land between them."""
    settings, face = snowfall.Settings(snow_far=0.3, snow_near=0.03, smallest_mm=0.6), shapely.box(0, 0, 15, 10)
    growth = snowfall.grow(settings, Place(area=face, frame=face), LIMITS, stream(3, "layers"))
    (came,) = re.findall(r"of the far snow 30% of the face was asked, (\d+)% came", growth.remark)
    assert 15 <= int(came) <= 22


@takes_long  # what is told of a face that is partly free: below
def test_it_is_told_how_much_of_the_face_is_free() -> None:
    """Half of it is kept clear; before a bar it snows."""
    face, area = shapely.box(0, 0, 40, 30), shapely.box(0, 0, 20, 30)
    place = Place(area=area, frame=face, bars=shapely.box(5, 0, 10, 30))
    growth = snowfall.grow(snowfall.Settings(snow=0.3), place, LIMITS, stream(1, "layers"))
    assert "50% of the face is open to snow, the rest is hidden by what is drawn or kept clear" in growth.remark


@takes_long  # what is asked above, as integers
def test_shares_may_be_whole_numbers() -> None:
    face = shapely.box(0, 0, 20, 15)
    whole, parts = (
        snowfall.grow(snowfall.Settings(**shares), Place(area=face, frame=face), LIMITS, stream(1, "layers"))
        for shares in ({"far": 1, "middle": 1, "near": 0}, {"far": 0.5, "middle": 0.5, "near": 0.0})
    )
    assert shapely.equals(whole.cuts, parts.cuts).all()
    assert len(whole.cuts)


def test_layers_ask_for_no_more_than_snow_may() -> None:
    with pytest.raises(InputError, match=r"0\.6 together"):
        snowfall.Settings(snow_far=0.4, snow_near=0.3)


@takes_long  # prints/test_marked.py solves how much falls once, whatever is marked
def test_snow_asked_by_layer_falls_the_same_by_what_is_kept_of_it() -> None:
    """Level and parts as they were solved: the same flakes, whatever window asks."""
    first = grown(snow_far=0.05, snow_near=0.04)
    settings = dataclasses.replace(snowfall.Settings(snow_far=0.05, snow_near=0.04), **first.kept)
    again = snowfall.grow(settings, Place(area=FACE, frame=FACE), LIMITS, stream(1, "layers"))
    assert [cut.wkb for cut in again.cuts] == [each.wkb for each in first.cuts]


def test_far_flakes_go_behind_what_hides_them_and_near_ones_before_it() -> None:
    own = {"snow": 0.12, "level": 1.457, "flurry_mm": 10.6}  # as it is solved for this face
    free, hidden = grown(**own), grown(hides=True, **own)
    beside = free.cuts[shapely.distance(free.cuts, POST) > 12]
    assert set(shapely.to_wkb(shapely.normalize(beside))) <= set(shapely.to_wkb(shapely.normalize(hidden.cuts))), (
        "what falls elsewhere stays as it is, point by point"
    )
    on_post = [shapely.area(shapely.intersection(each.cuts, POST)) for each in (free, hidden)]
    before = on_post[1][on_post[1] > 1e-3]
    assert 0 < len(before) < 0.5 * (on_post[0] > 1e-3).sum()
    assert np.median(before) > 3 * np.median(on_post[0][on_post[0] > 1e-3]), "those before it are the near ones"
    cut = [float(shapely.intersection(one.boundary, POST.boundary).length) for one in hidden.cuts]
    assert np.count_nonzero(np.array(cut) > 0.3) >= 2, "far ones are cut off by its edge"
    near = shapely.STRtree(hidden.cuts).query(hidden.cuts, predicate="dwithin", distance=LIMITS.land_mm - 0.01)
    assert (near[0] == near[1]).all()


@takes_long  # python -m tests.robustness snow tries many
@pytest.mark.parametrize("preset", few(["heavy", "flurry"], 1))
def test_limits_hold_where_far_flakes_are_cut_and_near_ones_are_not(preset) -> None:
    setup_ = setups_for(SHELF, material="linoleum", cutter="v-60", kinds=["hand"])[0]
    settings = snowfall.Settings(**snowfall.PRESETS[preset])
    for seed in few(range(2 if preset == "flurry" else 1), 1):
        place = Place(area=FACE, frame=FACE, hides=(POST, POST, shapely.Polygon()))
        growth = plain(snowfall.grow(settings, place, setup_.limits, stream(seed, "layers")))
        block = block_on(Ground(name="sky", width_mm=80, height_mm=60), growth.cuts)
        assert list(limits_broken(setup_.on(block), f"{preset} {seed}")) == []


@pytest.mark.parametrize(("land", "remedy"), few([(3.0, "larger flakes"), (1.0, "")], 1))
def test_what_keeps_white_away_is_told_with_what_brings_it(land, remedy) -> None:
    """Where land leaves no room no smaller flake brings more, even if the level could still rise."""
    face = shapely.box(0, 0, 40, 30)
    growth = snowfall.grow(
        snowfall.Settings(snow=0.4), Place(area=face, frame=face), limits(land, land), stream(5, "land")
    )
    came = shapely.area(growth.cuts).sum() / face.area
    assert remedy in growth.remark
    assert (came < 0.3) == bool(remedy) == bool(growth.remark)


def test_a_level_is_sought_by_halves_where_the_white_jumps() -> None:
    """As near as bisection comes with two steps lost, however far the white is off on either side of the jump."""
    tried = [(0.0, -1e-3), (1.0, 5.0)]
    for _ in range(falling._TRIES):
        level = falling._next(tried, 0.7)
        tried.append((level, -1e-3 if level < 0.9 else 5.0))
    below, above = (max(x for x, off in tried if off < 0), min(x for x, off in tried if off > 0))
    assert below < 0.9 <= above < below + 2.0 ** (2 - falling._TRIES) * 1.5


@pytest.mark.parametrize(
    ("came", "expected"),
    [((0.1, 0.2, 0.3), 0), ((0.109, 0.191, 0.3), 0), ((0.111, 0.2, 0.3), 1), ((0.1, 0.189, 0.35), 2)],
)
def test_a_layer_is_told_of_from_a_hundredth_of_the_face_on(came: tuple[float, ...], expected: int) -> None:
    remarks = list(falling._layer_remarks((0.1, 0.2, 0.3), np.array(came)))
    assert len(remarks) == expected
    assert all(name in said for name, said in zip(("middle", "near"), remarks, strict=False) if expected == 2)


ASKED = np.array([0.05, 0.1, 0.15])  #: of the far, middle and near snow


def sought(answers: tuple[float, ...], monkeypatch) -> tuple[list[np.ndarray], np.ndarray, float]:
    """The parts that are tried where each layer turns so many times its share white; what is taken, its level."""
    tried: list[np.ndarray] = []

    def sky(settings: snowfall.Settings, *_: object, bars: object) -> np.ndarray:
        tried.append(np.array([settings.far, settings.middle, settings.near]))
        return tried[-1]

    monkeypatch.setattr(falling, "Sky", sky)
    monkeypatch.setattr(falling, "_solved", lambda own, _: (1.0, own, own))
    monkeypatch.setattr(falling, "_white_by_layer", lambda own, *_: 0.3 * own * answers)
    each = SimpleNamespace(
        settings=snowfall.Settings(snow_far=0.05, snow_middle=0.1, snow_near=0.15), limits=None, bars=None
    )
    taken, level, _, _ = falling._solved_by_layer(each, FRAME, 1)
    return tried, taken, level


@pytest.mark.parametrize(("answers", "parts"), [((1.0, 1.0, 1.0), 1), ((0.5, 1.0, 1.5), 2)])
def test_layers_are_sought_by_what_came_of_each(answers: tuple[float, ...], parts: int, monkeypatch) -> None:
    """Of parts that turn other shares white than theirs; the nearest of all that are tried is taken."""
    tried, taken, level = sought(answers, monkeypatch)
    assert level == 1
    assert tried[0] == pytest.approx(ASKED / 0.3)
    assert len(tried) == parts
    off = [np.abs(0.3 * part * answers - ASKED).max() for part in tried]
    assert np.abs(0.3 * taken * answers - ASKED).max() == min(off)
    assert off[-1] < 0.4 * off[0] + 1e-9
    assert all(part.sum() == pytest.approx(1) for part in tried)


@pytest.mark.parametrize(
    ("answers", "changes"),
    [((0.4, 1.0, 1.0), (2.5, 1, 1)), ((0.2, 1.0, 1.0), (3, 1, 1)), ((0.0, 1.0, 1.0), (3, 1, 1)),
     ((1.0, 2.5, 1.0), (1, 0.4, 1)), ((1.0, 8.0, 1.0), (1, 1 / 3, 1))],
)  # fmt: skip
def test_the_part_of_a_layer_changes_threefold_at_most_from_one_try_to_the_next(answers, changes, monkeypatch) -> None:
    first, second = sought(answers, monkeypatch)[0][:2]
    assert second == pytest.approx(first * changes / (first * changes).sum())


def test_a_shape_lies_in_the_layer_of_the_largest_flake_in_it(monkeypatch) -> None:
    """One that holds no flake's middle in that of the nearest; without flakes all are far."""

    class Flakes(SimpleNamespace):
        def __len__(self) -> int:
            return len(self.reach)

    xy = np.array([(1.0, 1.0), (2.0, 1.0), (20.0, 1.0), (33.0, 1.0)])
    met = Flakes(reach=np.array([2.0, 1.0, 3.0, 0.5]), layer=np.array([1, 0, 2, 0]), xy=xy)
    monkeypatch.setattr(falling, "_met", lambda *_: met)
    drifts = shapes(box(0, 0, 4, 2), box(19, 0, 2, 2), box(30, 0, 1, 2))
    assert falling._depth(SKY, 1.0, drifts).tolist() == [1, 2, 0]
    monkeypatch.setattr(falling, "_met", lambda *_: Flakes(reach=np.empty(0)))
    assert falling._depth(SKY, 1.0, drifts).tolist() == [0, 0, 0]


FRAME = shapely.box(0, 0, 60, 40)
SKY = SimpleNamespace()


@pytest.mark.parametrize(
    ("asked", "came", "level", "free", "said"),
    [
        (0.5, 0.4, 1.0, 100, "flakes and masses of them come whole, and the largest makes 40.0%"),
        (0.5, 0.4, falling._MOST, 100, "leaves no room for more"),
        (0.9, 0.4, 1.0, 100, "leaves no room for more"),  # there would be room for two like the largest
        (0.3, 0.4, falling._MOST, 100, "come whole"),
        (0.5, 0.4, 1.0, 97, "97% of the face is open to snow"),
        (0.4, 0.4, 1.0, 97, ""),
    ],
)
def test_why_more_or_less_is_white_than_was_asked_is_told(asked, came, level, free, said: str) -> None:
    """Of a face of 10 by 10 mm one mass is white."""
    sky = SimpleNamespace(settings=SimpleNamespace(snow=asked), bars=shapely.Polygon())
    place, white = Place(area=box(0, 0, free / 10, 10), frame=box(0, 0, 10, 10)), shapes(box(0, 0, 10 * came, 10))
    remark = falling._remark(sky, level, white, white, place)
    assert said in remark
    assert bool(said) == bool(remark)
