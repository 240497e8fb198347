"""Laws of every motif: what holds whatever the settings, the limits and the seed.

A motif that is added to `carvegen/motifs` and grows on a bare face is held to them without a line here.
"""

from __future__ import annotations

import dataclasses
import subprocess
import sys

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from carvegen import geometry
from carvegen.base.errors import InputError, RefusedError
from carvegen.blocks.block import Block
from carvegen.blocks.job import USUAL_MACHINES, Setup
from carvegen.checks import checked, look
from carvegen.checks.survey import Survey
from carvegen.facts.profiles import Verdict
from carvegen.geometry.necks import necks
from carvegen.motifs import motif, summaries
from tests import cases as made
from tests.cases import SHELF, disc, grown, grown_afresh, limits, shapes
from tests.laws.twins import narrow_places, nearest, widest_disc
from tests.strategies import MANY, Case, cases, examples, few

GRID = geometry.GRID_MM
WIDTH_SLACK_MM = 0.002  # an outline on a grid of 1 µm
SMOOTHED = 0.99  # GEOS smooths an outline by up to 1 % of the offset before it shrinks it
FEW = 80  # shapes: up to so many are measured pair by pair

#: Those that grow on a bare face. A motif that lies on shapes has its laws beside it, in tests/motifs.
MOTIFS = [name for name in sorted(summaries()) if hasattr(motif(name).Settings(), "cut_at_edge")]
PRESETS = [(name, preset) for name in MOTIFS for preset in motif(name).PRESETS]
WITH_SHARE = [(name, preset) for name, preset in PRESETS if hasattr(motif(name).Settings(), "snow")]
FIRST = [(name, next(iter(motif(name).PRESETS))) for name in MOTIFS]
each_motif = pytest.mark.parametrize("name", MOTIFS)
each_preset = pytest.mark.parametrize(("name", "preset"), PRESETS)


def test_motifs_are_told_in_the_same_words_by_python_without_docstrings() -> None:
    """`-OO` strips them (Python's manual, "Command line"): the first word that a module holds was told instead."""
    words = "from carvegen.motifs import summaries; print(summaries())"
    said = subprocess.run([sys.executable, "-OO", "-c", words], capture_output=True, check=True, text=True)
    assert said.stdout.strip() == str(summaries())


def preset_settings(name: str, preset: str):
    return motif(name).Settings(**motif(name).PRESETS[preset])


def grow(case: Case, **ground) -> geometry.PolygonArray:
    """The cuts; none where nothing of the block is left, which is refused in words."""
    try:
        return grown_afresh(case.motif, case.settings, case.limits, case.seed, size=case.size, **ground).cuts
    except InputError as refused:
        assert "nothing of the block is left" in refused.message
        return geometry.empty()


def assert_sound(cuts, area) -> None:
    """Valid polygons with an area, on the grid, in the area but for the grid."""
    assert all(shape.geom_type == "Polygon" and shape.is_valid and shape.area > 0 for shape in cuts)
    assert shapely.covers(shapely.buffer(area, GRID), cuts).all()
    xy = shapely.get_coordinates(cuts)
    np.testing.assert_allclose(xy, np.round(xy / GRID) * GRID, atol=1e-9)


def assert_as_wide_as_asked(cuts, least: float) -> None:
    """A disc of the smallest cut fits, and what its middle can reach hangs together."""
    middles = shapely.point_on_surface(shapely.buffer(cuts, -(least - WIDTH_SLACK_MM) / 2, quad_segs=16))
    fits = shapely.distance(middles, shapely.boundary(cuts)) >= (least - WIDTH_SLACK_MM) / 2  # there is the disc
    for shape, seen in zip(cuts, fits, strict=True):
        assert seen or widest_disc(shape) >= least - WIDTH_SLACK_MM, shape.wkt
        left = shape.buffer(-(SMOOTHED * least - WIDTH_SLACK_MM) / 2, quad_segs=16)
        pieces = [piece for piece in geometry.parts(left) if piece.area > 1e-3 * least**2]
        assert len(pieces) <= 1, shape.wkt


def assert_apart(cuts, land: float) -> None:
    """No two nearer than the land, none bending back on itself nearer than the land."""
    i, j = shapely.STRtree(cuts).query(cuts, predicate="dwithin", distance=land)
    other = i != j
    assert (shapely.distance(cuts[i[other]], cuts[j[other]]) >= land - 1e-9).all()
    if len(cuts) <= FEW:
        assert nearest(cuts) >= land - 1e-9
    assert len(necks(geometry.reversed_rings(geometry.rings(cuts)), land - WIDTH_SLACK_MM)) == 0


@each_motif
@examples(1)
@given(data=st.data())
def test_sound_apart_wide_enough_and_the_same_again(name, data) -> None:
    case = data.draw(cases(name))
    cuts = grow(case)
    assert [each.wkb for each in grow(case)] == [cut.wkb for cut in cuts]
    assert_sound(cuts, shapely.box(0, 0, *case.size))
    assert_as_wide_as_asked(cuts, case.limits.cut_mm)
    assert_apart(cuts, case.limits.land_mm)


@each_motif
@examples(2)
@given(data=st.data(), x=st.floats(0.1, 0.9), y=st.floats(0.1, 0.9), radius=st.floats(0.05, 0.4))
def test_cut_off_by_the_edge_and_a_silhouette(name, data, x, y, radius) -> None:
    case = data.draw(cases(name, cut_at_edge=True))
    width, height = case.size
    kept = disc(x * width, y * height, radius * min(width, height), phase=x)
    cuts = grow(case, keep_clear=shapes(kept))
    # The package grows by a disc drawn as a polygon; snow goes on behind what is kept clear.
    beside = 0.0 if hasattr(case.settings, "hidden") else 0.995 * case.limits.land_mm / 2
    assert_sound(cuts, shapely.box(0, 0, width, height).difference(kept.buffer(beside)))
    assert_as_wide_as_asked(cuts, case.limits.cut_mm)
    assert_apart(cuts, case.limits.land_mm)


@each_motif
@examples(2)
@given(data=st.data())
def test_no_bay_is_narrower_than_the_land_by_a_plain_search(name, data) -> None:
    """The twin of the package's necks looks at the shape with the most corners, up to `most`, chord by chord."""
    most = 120 if MANY else 70
    case = data.draw(cases(name, torn=1.0))
    corners = {each: len(each.exterior.coords) for each in grow(case) if len(each.exterior.coords) <= most}
    for shape in sorted(corners, key=corners.__getitem__)[-1:]:
        room = shape.envelope.buffer(2 * case.limits.land_mm).difference(shape)
        near = [chord for width, chord in narrow_places(room, case.limits.land_mm - WIDTH_SLACK_MM, step=3)]
        assert not near, shape.wkt


@each_motif
@examples(2)
@given(data=st.data())
def test_whole_shapes_keep_clear_of_edge_and_silhouette(name, data) -> None:
    case = data.draw(cases(name, cut_at_edge=False))
    width, height = case.size
    kept = disc(0.4 * width, 0.6 * height, 0.2 * min(width, height), phase=0.3)
    cuts = grow(case, keep_clear=shapes(kept))
    if not getattr(case.settings, "cut_at_edge", True):
        assert (shapely.distance(cuts, shapely.box(0, 0, width, height).exterior) >= case.limits.land_mm - GRID).all()
    assert (shapely.distance(cuts, kept) >= case.limits.land_mm / 2 * 0.995 - GRID).all()  # a disc drawn as a polygon


def whole(name: str) -> tuple[float, float]:
    """The size of a whole block: room for snow's flurries, less for what lies alike everywhere."""
    if MANY:
        return (120.0, 90.0) if name == "snowfall" else (72.0, 54.0)
    return (48.0, 36.0) if name == "snowfall" else (36.0, 27.0)


SEEDS = (1, 2) if MANY else (1,)


def whole_block(name: str, preset: str, seed: int) -> geometry.PolygonArray:
    """A block that several laws look at: one of each preset is grown, two where there is time for many."""
    return grown(name, preset_settings(name, preset), limits(0.7, 0.4), seed, size=whole(name)).cuts


@pytest.mark.parametrize(("name", "preset"), PRESETS if MANY else FIRST)
def test_other_seed_other_shapes(name, preset) -> None:
    settings, each = preset_settings(name, preset), limits(0.7, 0.4)
    size = (20, 15) if MANY else (12, 9)
    one, other = (grown(name, settings, each, seed, size=size).cuts for seed in (1, 2))
    assert len(one) and len(other)
    assert {entry.wkb for entry in one}.isdisjoint(item.wkb for item in other)


@pytest.mark.parametrize(("name", "preset"), few(WITH_SHARE, 3))
def test_cover_is_what_was_asked(name, preset) -> None:
    settings = preset_settings(name, preset)
    width, height = whole(name)
    free = (width - 2 * 0.7) * (height - 2 * 0.7)
    for seed in SEEDS:
        cuts = whole_block(name, preset, seed)
        assert shapely.area(cuts).sum() / free == pytest.approx(settings.snow, rel=0.1, abs=0.004)


@pytest.mark.parametrize("preset", sorted(motif("snowfall").PRESETS))
@pytest.mark.parametrize("seed", SEEDS)
def test_no_eye_finds_our_own_snow_contrived(preset, seed) -> None:
    width, height = whole("snowfall")
    block = Block(name="sky", width_mm=width, height_mm=height, cuts=whole_block("snowfall", preset, seed))
    assert list(look.find(Survey(made.setup(cutter="laser-fine").on(block)))) == []


@each_motif
def test_no_snow_no_shapes(name) -> None:
    kind = motif(name).Settings
    if "snow" not in {field.name for field in dataclasses.fields(kind)}:
        pytest.skip("no share is asked of this motif")
    assert len(grown(name, kind(snow=0), limits(), 1, size=(60, 50)).cuts) == 0


@each_motif
def test_block_smaller_than_any_shape_is_left_whole_or_refused(name) -> None:
    settings = motif(name).Settings()
    with pytest.raises(InputError, match="nothing of the block is left"):
        grown(name, settings, limits(land=3.0), 1, size=(5.9, 5.9), margin_mm=3.0)
    assert len(grown(name, settings, limits(land=3.0, cut=2.0), 1, size=(6.2, 6.2), margin_mm=3.0).cuts) == 0


@pytest.mark.parametrize(("name", "preset"), dict.fromkeys([("snowfall", "heavy"), *few(PRESETS, 4)]))
def test_land_cut_and_edge_hold_on_a_whole_block(name, preset) -> None:
    each, cuts = limits(0.7, 0.4), whole_block(name, preset, 1)
    assert_sound(cuts, shapely.box(0, 0, *whole(name)))
    assert_as_wide_as_asked(cuts, each.cut_mm)
    assert_apart(cuts, each.land_mm)


def permitted() -> list[tuple[str, str]]:
    """Each shipped material with a cutter for every kind of machine that it may meet; the cutters take turns."""
    result = []
    for k, key in enumerate(SHELF.keys("materials")):
        for kind, permit in SHELF.material(key).permits.items():
            fits = [each for each in SHELF.keys("cutters") if kind in SHELF.cutter(each).machines]
            if permit.verdict is not Verdict.NEVER:
                result.append((key, fits[k % len(fits)]))
    return result


#: Where slenderness asks for more than lasts, of those that do not take their turn above.
SLENDER = [("linoleum", "laser-fine"), ("cherry", "flat-1"), ("cherry", "laser-wide"), ("vinyl-soft", "u-1")]


#: Motifs take turns, too; every motif under every setup where there is time for many.
_SETUPS = list(dict.fromkeys([*SLENDER, *permitted()]))
UNDER = [
    (name, *each)
    for k, each in enumerate(_SETUPS if MANY else [*SLENDER, *few(_SETUPS[len(SLENDER) :], 1)])
    for m, name in enumerate(MOTIFS)
    if MANY or m == k % len(MOTIFS)
]


@pytest.mark.parametrize(("name", "material", "cutter"), UNDER)
def test_checks_find_nothing_that_breaks(name, material, cutter) -> None:
    """What grows within a setup's limits holds by its checks; only the wall and the depth are the setup's own."""
    stuff, tool = SHELF.material(material), SHELF.cutter(cutter)
    kind = next(machine for machine in tool.machines if stuff.permits[machine].verdict is not Verdict.NEVER)
    try:
        setup = Setup(
            material=stuff,
            cutter=tool,
            machine=SHELF.machine(USUAL_MACHINES[kind]),
            thickness_mm=stuff.thickness_mm,
            depth_mm=stuff.depth_usual_mm,
            grain_deg=25.0,
            declared="" if kind != "laser" else stuff.composition,
        )
    except RefusedError as refused:
        pytest.fail(f"permitted, but refused: {refused}")
    settings = preset_settings(name, sorted(motif(name).PRESETS)[0])
    block = grown(name, settings, setup.limits, 5, size=(45, 36) if MANY else (22, 17))
    report = checked(setup.on(block))
    result = [each for each in report if each.severity.label == "breaks" or each.rule in ("land-width", "slenderness")]
    assert {one.rule for one in result} <= {"wall-angle", "depth"}, result[:3]
