"""How each motif looks on a small face, in figures: any change of what grows is noticed (`tests/recorded.py`)."""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.limits import Limits
from carvegen.base.streams import stream
from carvegen.motifs import frost, motif, snowload
from carvegen.motifs.frost.regrowing import regrown
from carvegen.motifs.grain import cracks_and_rays, knots
from carvegen.motifs.growth import Growth, Place
from carvegen.motifs.shared.points import Window
from carvegen.motifs.shared.strokes import Strokes
from tests.cases import box, disc, grown, limits, shapes
from tests.recorded import Figures, Parts, Scenes, compare, of_shapes, of_values, telling
from tests.strategies import few

SIZE = (36.0, 27.0)  #: as the laws have it: grown once for both
FACE = geometry.box(*SIZE)
#: A post, a twig, a sign that is kept clear, a hole in it.
POST, TWIG = box(9, 0, 4, 20), shapely.LineString([(14, 4), (21, 15), (24, 24)]).buffer(0.5)
SIGN = shapely.difference(box(25, 8, 8, 9), disc(29, 12, 2.2))


def of_growth(growth: Growth) -> Parts:
    parts: dict[str, Any] = {name: of_shapes(getattr(growth, name)) for name in ("cuts", "on_shapes", "free")}
    return parts | {"kept": dict(growth.kept)} if growth.kept else parts


def bare(name: str, preset: str) -> Parts:
    settings = motif(name).Settings(**motif(name).PRESETS[preset])
    return {"cuts": of_shapes(grown(name, settings, limits(0.7, 0.4), 1, size=SIZE).cuts)}


def placed(name: str, preset: str, place: Place, *, by: Limits | None = None, **values: Any) -> Parts:
    kind = motif(name)
    settings = kind.Settings(**{**kind.PRESETS[preset], **values})
    return telling(lambda: of_growth(kind.grow(settings, place, by or limits(0.5, 0.4), stream(3, "sky", name))))


def beside(preset: str, **values: Any) -> Parts:
    """Falls beside a sign, behind a post and before it, and in no masses near a post and a twig."""
    bars = shapely.union(POST, TWIG)
    place = Place(area=shapely.difference(FACE, SIGN), frame=FACE, hides=(bars, POST, shapely.Polygon()), bars=bars)
    return placed("snowfall", preset, place, **values)


def thinned(name: str, preset: str) -> Parts:
    """As much as a mask wants: all on the left, none on the right."""
    place = Place(area=FACE, density=lambda xy: 1 - xy[:, 0] / SIZE[0])
    return placed(name, preset, place)


def fir(x: float, low: float, tall: float = 3.0) -> shapely.Polygon:
    """Five jagged tiers on a trunk."""
    top, inner, side = low + 5 * tall, 0.0, [(0.0, low + 5 * tall)]
    for _ in range(5):
        top, outer = top - tall, inner + tall / 2
        inner = outer / 2
        side += [(outer, top), (inner, top + 0.1 * outer)]
    side[-1] = (0.5, top)
    right = [*side, (0.5, low - 3)]
    return shapely.Polygon([(x + dx, y) for dx, y in right] + [(x - dx, y) for dx, y in right[:0:-1]])


def tree(forks: int = 3) -> shapely.Geometry:
    """Ever thinner forks, down to twigs of half a millimetre."""
    rng, limbs = np.random.default_rng(5), []

    def limb(foot, turn, long, thick, left) -> None:
        tip = foot + long * np.array([np.cos(turn), np.sin(turn)])
        limbs.append(shapely.MultiPoint([foot, tip]).convex_hull.buffer(thick / 2))
        for side in (-1, 0.2, 1) if left else ():
            limb(tip, turn + 0.65 * side + rng.normal(0, 0.15), long * rng.uniform(0.6, 0.85), thick * 0.6, left - 1)

    limb(np.array([15.0, 0.0]), np.pi / 2, 11.0, 2.5, forks)
    return shapely.union_all(limbs)


def hill() -> shapely.Polygon:
    x = np.linspace(0, 30, 40)
    return shapely.Polygon([(0, 0), *np.column_stack([x, 6 + 3 * np.sin(x / 6) + 0.15 * np.sin(3 * x)]), (30, 0)])


def fence() -> shapely.Geometry:
    """Posts and pickets broad and slender, blunt and pointed; rails between them, near and far; a rope, a net."""
    posts = [box(x, 0, wide, tall) for x, wide, tall in ((1, 0.7, 9), (5.5, 1.2, 8), (12, 2.2, 10), (21.5, 3.4, 7))]
    rails = [box(1, 3.5, 20, 0.8), box(5.5, 6, 7, 0.6), box(12, 6.6, 11, 1.0)]
    pickets = [
        shapely.Polygon([(x, 0), (x + wide, 0), (x + wide, 11), (x + wide / 2, 11 + high), (x, 11)])
        for x, wide, high in ((26, 0.9, 0.5), (27.6, 0.9, 1.2), (29.2, 1.6, 0.3))
    ]
    rope = shapely.LineString([(14, 9.5), (17, 7.8), (20, 7.6), (22, 7)]).buffer(0.2)
    net = [shapely.LineString([(2 + k, 0), (4 + k, 3.5)]).buffer(0.15) for k in (0, 1.5, 3, 4.5)]
    net += [shapely.LineString([(4 + k, 0), (2 + k, 3.5)]).buffer(0.15) for k in (0, 1.5, 3, 4.5)]
    return shapely.union_all([*posts, *rails, *pickets, rope, *net, box(0, 0, 30, 0.8)])


def quay() -> shapely.Geometry:
    """Steps, a boat with a thwart, a ball on a pile, eaves over a ledge, a slit and a pocket, a steep bank."""
    steps = [box(0, 0, 9 - wide, 3 + high) for wide, high in ((0, 0), (1.2, 0.8), (2.8, 2.2), (5.2, 5.6))]
    boat = shapely.difference(
        shapely.Polygon([(10, 5), (11.5, 2.5), (17, 2.5), (18.5, 5.6)]),
        shapely.Polygon([(11.2, 5.4), (12, 3.3), (17, 5.4)]),
    )
    house = [box(19, 0, 3.5, 9), shapely.Polygon([(18, 9), (20.6, 12), (23.5, 9), (23.5, 8.6)]), box(22.5, 0, 1.4, 4)]
    bank = shapely.Polygon([(24.6, 0), (24.6, 5), (26.2, 8), (27, 7.6), (28.4, 13), (30, 13.6), (30, 0)])
    return shapely.union_all(
        [*steps, boat, box(13, 4.2, 4.6, 0.5), *house, bank, box(15, 0, 0.9, 9), disc(15.4, 9.6, 1.1)]
    )


#: What snow lies on.
BEARERS: dict[str, geometry.PolygonArray] = {
    "firs": shapes(fir(9, 3), fir(18, 4, 2.2), fir(24, 3, 2.6)),
    "hill": shapes(hill()),
    "twigs": geometry.parts(tree()),
    "roof": geometry.parts(
        shapely.union_all([
            shapely.Polygon([(3, 12), (15, 20), (27, 12), (27, 11), (3, 11)]), box(6, 0, 1.5, 12), box(22, 0, 1.5, 12),
            box(6, 5, 17, 1), box(18, 14, 2.5, 7), shapely.LineString([(0, 14), (15, 12)]).buffer(0.25),
        ])
    ),
}  # fmt: skip


def lying(preset: str, bearer: str, **values: Any) -> Parts:
    on = BEARERS[bearer] if bearer in BEARERS else geometry.parts({"fence": fence, "quay": quay}[bearer]())
    low, right, top = 0, 30, float(shapely.total_bounds(on)[3]) + 8
    settings = snowload.Settings(**{**snowload.PRESETS[preset], **values})
    back = shapes(box(0, 0, 30, 7)) if bearer == "firs" else geometry.empty()
    place = Place(area=shapely.box(0, low, right, top), shapes=on, further_back=back)
    return telling(lambda: of_growth(snowload.grow(settings, place, limits(0.35, 0.4), stream(2, "snowload"))))


def grown_on(mark: shapely.Geometry, preset: str = "ferns") -> Parts:
    """Frost that was cut by a mark and grows on from its stubs."""
    settings, its = frost.Settings(**frost.PRESETS[preset]), limits(0.7, 0.4)
    cuts = grown("frost", settings, its, 1, size=SIZE).cuts
    met = shapely.intersects(cuts, mark)
    done = regrown(
        cuts[met], cuts[~met], mark=mark, zone=mark.buffer(3), settings=settings, place=Place(area=FACE), limits=its,
        rng=stream(2, "sky", "frost"), flake_mm=2.3,
    )  # fmt: skip
    long = float(shapely.length(done.ends).sum())
    return {"stays": of_shapes(done.ice), "new": of_shapes(done.new), "ends": {"count": len(done.ends), "long": long}}


def before_shore(*, drawn: bool = True, in_front: bool = False) -> Parts:
    """A far hill that ends level over water, with a streak, a plank and a post before it."""
    far = shapely.Polygon([(0, 18), (36, 18.3), (36, 23), (27, 28), (14, 22), (7, 26.5), (0, 23)])
    things = shapes(box(7, 11, 11, 0.4), box(7, 5, 11, 0.8), box(25, 0, 2, 15), *([far] if drawn else []))
    place = Place(
        area=geometry.box(36, 34), shapes=things, further_back=shapes(*([] if drawn else [far])),
        fronts=shapes(box(25, 0, 2, 15), box(28, 3, 5, 9)) if in_front else geometry.empty(),
    )  # fmt: skip
    settings = snowload.Settings(patchy=0)
    shore = of_shapes(snowload.before_shore(settings, place))
    snow = telling(lambda: of_growth(snowload.grow(settings, place, limits(0.35, 0.4), stream(2, "snowload"))))
    return {**snow, "shore": shore}


def of_strokes(strokes: Strokes) -> Figures:
    return of_values(x=strokes.xy[:, 0], y=strokes.xy[:, 1], half=strokes.half, line=strokes.line)


def board_marks() -> Parts:
    """Marks of a board by themselves: rays, cracks, knots large and small; each drawn from the same seed."""
    window, each = Window(0.0, 0.0, 60.0, 45.0), partial(stream, 5, "marks")
    look = knots.Look(pitch_mm=0.6, line_mm=0.4, rim_mm=0.7, least_mm=0.3)
    parts: dict[str, Any] = {
        "spindles": of_strokes(cracks_and_rays.spindles(window, 0.02, each(), shortest_mm=2.0, least_mm=0.4)),
        "flecks": of_shapes(cracks_and_rays.flecks(window, 0.05, each(), least_mm=0.4)),
        "silver": of_strokes(cracks_and_rays.silver(window, 0.05, each(), widest_mm=1.5, least_mm=0.4)),
        "cracks": of_strokes(cracks_and_rays.end_checks(window, 0.1, each(), widest_mm=1.5, least_mm=0.4)),
        "rings": of_values(mm=knots.ring_widths(40, 2.0, each()), hard=knots.hard_years(90, each())),
    }
    for name, width, dead, plane in (("small", 1.8, 1.0, 0.0), ("broad", 8.0, 0.0, 60.0)):
        some = knots.random_knots(3.4, (25.0, 20.0), width_mm=width, dead=dead, plane_deg=plane, rng=each())
        drawn = [knots.knot_strokes(one, look, each()) for one in some]
        parts |= {f"{name} knot {k}": of_strokes(strokes) for k, (strokes, _) in enumerate(drawn)}
        parts[f"{name} ranks"] = of_values(rank=np.concatenate([rank for _, rank in drawn]))
        xy, reach = stream(5, "places").uniform(-25, 25, (300, 2)), some[0].reach
        away = reach(xy)
        parts[f"{name} flowed"] = of_values(
            away=away, rings=some[0].rings(xy), flows=knots.flowed(xy[:, 0], 1.0, away), holds=some[0].holds(xy)
        )
    return parts


FALLING: Scenes = {f"falling {preset}": partial(bare, "snowfall", preset) for preset in motif("snowfall").PRESETS}
BESIDE: Scenes = {f"beside {preset}": partial(beside, preset) for preset in motif("snowfall").PRESETS}
LYING: Scenes = {
    f"lying {preset} on {bearer}": partial(lying, preset, bearer) for bearer in BEARERS for preset in snowload.PRESETS
}
BARE: Scenes = {
    f"{name} {preset}": partial(bare, name, preset) for name in ("frost", "grain") for preset in motif(name).PRESETS
}
MORE: Scenes = {
    "snowfall steady thinned": partial(thinned, "snowfall", "steady"),
    "frost ferns thinned": partial(thinned, "frost", "ferns"),
    "grain rift thinned": partial(thinned, "grain", "rift"),
    "frost ferns grown on": partial(grown_on, box(9, 7, 10, 8)),
    "frost needles grown on": partial(grown_on, disc(24, 13, 5), "needles"),
    "frost pane grown on, bridged": partial(grown_on, box(3.5, 5.5, 5, 5), "pane"),
    "marks of a board": board_marks,
    **{
        f"lying {preset} on {name}": partial(lying, preset, name)
        for name, preset in (
            ("fence", "fresh"),
            ("fence", "deep"),
            ("quay", "fresh"),
            ("quay", "wet"),
            ("quay", "windblown"),
        )
    },
    "snowfall far off in a flurry": partial(
        placed, "snowfall", "sparse", Place(area=geometry.box(15, 12)), snow_far=0.03, flurry_mm=9.0, torn=0.6
    ),
    "snowfall kept whole, seen aside": partial(
        beside,
        "flurry",
        cut_at_edge=False,
        hidden=0.2,
        round=0.2,
        wind=0.6,
        wind_towards_deg=-120.0,
        view_x_mm=9.0,
        view_y_mm=4.0,
    ),
    "lying otherwise on firs": partial(
        lying,
        "fresh",
        "firs",
        reaching_down=0.8,
        boughs=0.3,
        bark=0.9,
        wind=0.5,
        wind_towards_deg=-150.0,
        detail_mm=0.5,
    ),
    "frost free and inward": partial(placed, "frost", "rime", Place(area=FACE), free=True, inward=True, stars=0.3),
    "grain aslant, kept whole": partial(
        placed, "grain", "knotty", Place(area=FACE), direction_deg=35.0, cut_at_edge=False, rays=0.5, end_checks=0.5
    ),
    "lying far off on a roof": partial(lying, "fresh", "roof", scale="far"),
    "lying before a shore": before_shore,
    "lying before a shore drawn further back": partial(before_shore, drawn=False),
    "lying before a shore, on fronts, too": partial(before_shore, drawn=False, in_front=True),
}
#: Without the processor's wide instructions numpy's last digits differ, and lying snow by so much: 1.1e-4 of the cuts,
#: 1.1e-3 of what lies on the shapes, 4.5e-3 of the fringe. All else here differs by less than 1e-6.
WIDER = {"cuts": 4e-4, "on_shapes": 3e-3, "free": 1e-2}
SCENES: Scenes = {**FALLING, **BESIDE, **LYING, **BARE, **MORE}


#: On a hill and a roof it costs least.
TRIED = dict.fromkeys([
    *few(FALLING, 2), *few(BESIDE, 2), *few(LYING, 5), *(each for each in LYING if each.endswith(("hill", "roof"))),
    *BARE, *MORE,
])  # fmt: skip


@pytest.mark.parametrize("scene", TRIED)
def test_it_looks_as_it_was_found_good(scene: str) -> None:
    compare("motifs", scene, SCENES[scene](), WIDER if scene.startswith("lying") else {})
