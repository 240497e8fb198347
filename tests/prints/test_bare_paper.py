"""The whole print's paper: bare exactly where it must be, ink where the picture asks, after mending too.

The twin asks each dot of a raster by the rules in words, from the numbers that a scene is drawn by.
"""

from __future__ import annotations

import json
import tempfile
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from scipy import ndimage

from carvegen.base.findings import Finding, Severity
from carvegen.delivery import print_build
from carvegen.delivery.side_by_side import side_by_side
from carvegen.prints import bare_paper, separation
from carvegen.prints.bare_paper import _holds, cut_and_mended, paper_findings
from carvegen.prints.cut_blocks import Cut, mended_cut, setups_of
from carvegen.prints.file.print_file import read_print
from carvegen.prints.separation import painted
from tests.cases import SHELF, block, once, setup, shapes
from tests.cli.running import run
from tests.cli.test_build import lowered
from tests.prints.whole_prints import cut_blocks, mended_print
from tests.strategies import MANY, examples, takes_long

WIDTH, HEIGHT = 36, 24
DOT = 0.08
OFF_LINE = 0.0437  #: no dot lies on a line of a scene, whose numbers are hundredths: there neither side would hold it
BLOCKS = {"sky": ("background", "#a9bfcb"), "tone": ("tone", "#6a8799"), "key": ("key", "#1f2b3d")}
ORDER = ("NEAR", "POST", "FAR")  #: from the front to the back


@dataclass(frozen=True)
class Scene:
    """A print in numbers: boxes (x, y, width, height) by layer, bare circles and openings (x, y, radius)."""

    layers: dict[str, tuple[float, float, float, float]]
    lights: tuple[tuple[float, float, float], ...]
    openings: tuple[tuple[float, float, float], ...] = ()
    trap: float = 0.4
    back: float = 0.4
    mend: bool = True
    order: tuple[str, ...] = ("sky", "tone", "key")
    owners: tuple[str, str, str] = ("tone", "key", "tone")  #: the block of each layer of `ORDER`
    more: str = ""
    machine: str = "laser"

    @property
    def blocks(self) -> tuple[str, ...]:
        """The blocks of the print, in printing order: the sky, and those that own a layer."""
        return tuple(name for name in self.order if name in ("sky", *self.owners))

    def text(self) -> str:
        lines = [
            f'[print]\nname = "scene"\nsize_mm = [{WIDTH}, {HEIGHT}]\nseed = 5\ntrap_mm = {self.trap}',
            f"register_error_mm = {self.back}\n[artwork]\nin_front = {json.dumps(ORDER)}",
        ]
        for name, box in self.layers.items():
            lines.append(f'[[layers]]\nname = "{name}"\nshape = "box {" ".join(map(str, box))}"')
        for name in self.blocks:
            role, ink = BLOCKS[name]
            layers = [layer for layer, owner in zip(ORDER, self.owners, strict=True) if owner == name] or ["*"]
            lines.append(f'[[blocks]]\nname = "{name}"\nrole = "{role}"\nink = "{ink}"\nlayers = {json.dumps(layers)}')
            lines.append(f'material = "linoleum"\ncutter = "v-60"\nfor = ["hand", "{self.machine}"]')
            lines.append(f"mend = {str(self.mend).lower()}")
        for key, circles in (("highlights", self.lights), ("openings", self.openings)):
            lines += [f'[[{key}]]\nshape = "circle {x} {y} {r}"' for x, y, r in circles]
        return "\n".join([*lines, self.more])

    def at(self, x, y):
        """Who owns each dot, and how far it lies inside what must stay bare (below 0: outside)."""
        owner = np.full(x.shape, "sky ")
        for name, whose in reversed(list(zip(ORDER, self.owners, strict=True))):
            left, bottom, width, height = self.layers[name]
            owner[(x > left) & (x < left + width) & (y > bottom) & (y < bottom + height)] = whose
        circles = (*self.lights, *self.openings)
        deep = np.max([r - np.hypot(x - cx, y - cy) for cx, cy, r in circles], axis=0)
        return np.char.strip(owner), deep


def taken_apart(scene: Scene, folder):
    path = folder / "print.toml"
    path.write_text(scene.text(), encoding="utf-8")
    print_ = read_print(path, SHELF)
    setups = setups_of(print_, SHELF)
    picture, cuts = cut_blocks(print_, setups, say=lambda _: None)
    return print_, picture, cuts, setups


def mended(scene: Scene, folder):
    print_, picture, cuts, setups = taken_apart(scene, folder)
    done = mended_print(print_, picture, cuts, setups, say=lambda _: None)
    return picture, cuts, done, paper_findings(picture, done)


@cache
def crowd_mended():
    """The crowded print mended: done once in a run of the tests."""
    return once(("the crowd mended", CROWDED), _crowd_mended)


def _crowd_mended():
    with tempfile.TemporaryDirectory() as folder:
        print_, picture, cuts, setups = taken_apart(CROWDED, Path(folder))
        said: list[str] = []
        done = mended_print(print_, picture, cuts, setups, say=said.append)
        return print_, setups, picture, cuts, done, said


def dots():
    x, y = np.arange(OFF_LINE, WIDTH, DOT), np.arange(OFF_LINE, HEIGHT, DOT)
    return np.meshgrid(x, y)


def inside(shape, x, y):
    shapely.prepare(shape)
    return shapely.contains_xy(shape, x, y)


def untold_bare(scene: Scene, inks: dict, expected) -> float:
    """How many mm² of paper are bare that should not be, in places that no finding tells."""
    x, y = dots()
    _, deep = scene.at(x, y)
    bare = (deep < -0.03) & ~np.any([inside(ink, x, y) for ink in inks.values()], axis=0)
    places, count = ndimage.label(bare, structure=np.ones((3, 3)))
    points = [(each.at, each.length_mm / 2 + 2 * DOT) for each in expected]
    lost = 0.0
    for k in range(1, count + 1):
        mine = np.column_stack([x[places == k], y[places == k]])
        near = any(np.hypot(*(mine - at).T).min() < reach for at, reach in points)
        lost += 0.0 if near or len(mine) < 2 else len(mine) * DOT**2
    return lost


def box_of(side):
    return st.tuples(st.floats(-0.5, 30), st.floats(-0.5, 18), st.floats(1.0, side), st.floats(1.0, side)).map(
        lambda each: tuple(round(number, 2) for number in each)
    )


def circle_of(most):
    return st.tuples(st.floats(3, WIDTH - 3), st.floats(3, HEIGHT - 3), st.floats(0.5, most)).map(
        lambda each: tuple(round(number, 2) for number in each)
    )


SCENES = st.builds(
    Scene,
    layers=st.fixed_dictionaries({"NEAR": box_of(6), "POST": box_of(12), "FAR": box_of(20)}),
    lights=st.lists(circle_of(2.5), min_size=3, max_size=7).map(tuple),
    openings=st.lists(circle_of(1.5).filter(lambda each: each[2] > 0.8), max_size=1).map(tuple),
    trap=st.sampled_from([0.0, 0.4, 1.5]),
    back=st.sampled_from([0.0, 0.4]),
    mend=st.booleans(),
    order=st.permutations(["sky", "tone", "key"]).map(tuple),
    owners=st.sampled_from([("tone", "key", "tone"), ("key", "key", "tone"), ("key", "tone", "key"), ("tone",) * 3]),
)


@settings(examples(3), phases=[Phase.explicit, Phase.generate], report_multiple_bugs=False)
@given(SCENES)
def test_bare_exactly_where_it_must_be_and_ink_where_the_picture_asks(tmp_path_factory, scene):
    _, cuts, done, report = mended(scene, tmp_path_factory.mktemp("scene"))
    x, y = dots()
    owner, deep = scene.at(x, y)
    inks = {name: cut.ink for name, cut in done.items()}
    prints = {name: inside(ink, x, y) for name, ink in inks.items()}
    for name, printed in prints.items():
        assert not (printed & (deep > 0.02)).any(), name
    assert not any(one.rule == "ink-on-bare" for result in report.values() for one in result)
    bare = [each for value in report.values() for each in value if each.rule == "bare-paper"]
    assert untold_bare(scene, inks, bare) == 0
    if not scene.mend:  # nothing but crumbs of the picture, which the separation leaves out
        assert all(item.measured * item.length_mm < 0.02 for item in bare)
    # unmended: half of a gap too narrow to be cut; mended: lands made wider, here by no more than two least widths
    reach = 1.5 if scene.mend else 0.4
    for name, printed in prints.items():
        foreign = printed & (owner != name) & ~_given_to(name, done, x, y)
        own = painted(shapely.box(0, 0, WIDTH, HEIGHT), [], _nothing())  # the empty shape, if it owns nothing
        own = cuts[name].picture if not cuts[name].picture.is_empty else own
        away = shapely.distance(shapely.points(x[foreign], y[foreign]), own)
        assert away.max(initial=0) <= scene.trap + reach, name
    kept = [(prints[name] | (owner != name) | (deep > -1.0)).mean() for name in prints]
    assert min(kept) > 0.97  # away from the white, all but what was mended is in its own ink


def _given_to(name: str, done, x, y):
    """The dots near places at which it is told that the block prints in another's stead."""
    near = np.zeros(x.shape, dtype=bool)
    for cut in done.values():
        for note in cut.notes:
            if note.rule == "other-ink" and f"the block {name} prints" in note.why:
                near |= np.hypot(x - note.at[0], y - note.at[1]) < 3.0
    return near


def _nothing():
    from carvegen.prints.separation import Plate

    return Plate(name="none", layers=frozenset(), lightness=50.0, land_mm=0.7, cut_mm=0.4)


#: Snow beside a post, beside a field's rim, and flakes close to one another across the meeting of three inks.
CROWDED = Scene(
    layers={"NEAR": (20, 3, 5, 9), "POST": (9, 0, 7, 18), "FAR": (0, 0, 36, 9)},
    lights=((9.5, 6, 1.3), (16.4, 9.3, 1.5), (22, 9.6, 1.0), (24.3, 9.7, 1.0), (4, 9.3, 1.1), (6.6, 9.4, 1.2),
            (27, 11, 2)),
)  # fmt: skip


def test_what_mending_takes_from_one_block_another_prints():
    _, setups, picture, cuts, done, _ = crowd_mended()
    report = paper_findings(picture, done)
    alone = {name: mended_cut(cut, setups[name], say=lambda _: None) for name, cut in cuts.items()}
    opened = untold_bare(CROWDED, {name: cut.ink for name, cut in alone.items()}, [])
    assert opened > 0.3  # each block mended by itself lays so many mm² of paper bare
    inks = {name: cut.ink for name, cut in done.items()}
    bare = [each for value in report.values() for each in value if each.rule == "bare-paper"]
    assert untold_bare(CROWDED, inks, bare) == 0
    assert untold_bare(CROWDED, inks, []) < 0.8 * opened  # the rest: necks between two flakes, which no block can hold
    assert any(note.rule == "other-ink" for cut in done.values() for note in cut.notes)
    from carvegen.checks import checked

    for name, cut in done.items():
        for setup_ in setups[name]:
            broken = [finding for finding in checked(setup_.on(cut.block)) if finding.severity is Severity.BREAKS]
            assert [one for one in broken if one.rule in ("land-width", "cut-width", "island")] == [], name


def test_mending_names_its_block():
    *_, cuts, _, said = crowd_mended()
    rounds = [each for each in said if "round" in each]
    assert rounds
    assert all(one.partition(":")[0] in cuts for one in rounds)


@takes_long  # blocks mended by processes are compared below
def test_mending_gives_the_same_in_processes_of_its_own(tmp_path):
    print_, picture, cuts, setups = taken_apart(replace(CROWDED, lights=CROWDED.lights[:4]), tmp_path)
    alone = mended_print(print_, picture, cuts, setups, say=lambda _: None)
    beside = mended_print(
        print_, picture, cuts, setups, say=lambda _: None, run=lambda tasks, say: side_by_side(tasks, jobs=2, say=say)
    )
    for name, cut in alone.items():
        assert shapely.to_wkb(cut.block.cuts).tolist() == shapely.to_wkb(beside[name].block.cuts).tolist()
        assert shapely.to_wkb(cut.land) == shapely.to_wkb(beside[name].land)


def test_blocks_mended_as_soon_as_they_are_cut_are_the_same(tmp_path, monkeypatch):
    print_, picture, cuts, setups = taken_apart(replace(CROWDED, lights=CROWDED.lights[:4]), tmp_path)
    alone = mended_print(print_, picture, cuts, setups, say=lambda _: None)
    monkeypatch.setattr(separation, "_WORTH_POINTS", 0)
    asked, lands = [], dict[str, bytes]()

    def apart(tasks, say):
        asked.extend(tasks)
        return side_by_side(tasks, jobs=2, say=say)

    def further(cut):
        lands[cut.block.name] = shapely.to_wkb(cut.land)
        return cut

    found, first = cut_and_mended(print_, picture, setups, further=further, say=lambda _: None, run=apart)
    assert sum(name.startswith(" mended ") for name in asked) == len(cuts)
    assert list(found) == list(cuts)
    assert lands == {name: shapely.to_wkb(cut.land) for name, cut in cuts.items()}
    done = bare_paper.mended_print(print_, picture, found, setups, first, say=lambda _: None)
    for name, cut in alone.items():
        assert shapely.to_wkb(cut.block.cuts).tolist() == shapely.to_wkb(done[name].block.cuts).tolist()
        assert shapely.to_wkb(cut.land) == shapely.to_wkb(done[name].land)


@pytest.mark.parametrize(("angle", "holds"), [(27.3, False), (28.8, False), (30.3, True), (45.0, True)])
def test_a_piece_with_a_tip_is_given_where_the_tip_is_short_with_some_to_spare(angle, holds):
    """A wedge of land is narrower than w over w / (2 tan(a / 2)): 2 w, which break, at 28.1 degrees, 1.9 w at 29.5.

    By plane geometry.
    """
    lean = 10 / np.tan(np.radians(angle))
    white = shapely.Polygon([(20, 0), (35, 0), (35, 10), (20 - lean, 10)])
    piece = shapely.box(14, 0, 20, 2) - white
    now = block(white | piece)
    cut = Cut(block=now, land=now.face - now.cuts[0], white=white)
    assert _holds(cut, shapes(piece), np.array([True]), [setup()]).tolist() == [holds]


def test_bare_paper_and_ink_on_bare_are_told_with_their_place_and_width():
    _, _, picture, cuts, _, _ = crowd_mended()
    assert not [each for paper_finding in paper_findings(picture, cuts).values() for each in paper_finding]
    hole = shapely.box(29.8, 15, 30.1, 17)
    snow = shapely.box(26.6, 10.8, 27.4, 11.2)
    spoilt = cuts | {"sky": replace(cuts["sky"], land=cuts["sky"].land.difference(hole).union(snow))}
    result = paper_findings(picture, spoilt)["sky"]
    report = {one.rule: (one.severity, round(one.measured, 1), shapely.Point(one.at).within(hole)) for one in result}
    assert report == {"bare-paper": (Severity.RISK, 0.3, True), "ink-on-bare": (Severity.BREAKS, 0.4, False)}


def test_a_block_of_which_nothing_is_left_is_told():
    """All of it lay behind what was drawn over it: four boards came out blank, without a word."""
    _, _, picture, cuts, _, _ = crowd_mended()
    blank = replace(cuts["sky"], land=shapely.Polygon(), picture=shapely.Polygon())
    report = paper_findings(picture, cuts | {"sky": blank})["sky"]
    assert [(each.rule, each.severity, each.measured) for each in report] == [("blank-block", Severity.RISK, 0.0)]


def test_a_layer_on_no_block_is_told(tmp_path):
    scene = Scene(layers=CROWDED.layers, lights=CROWDED.lights)
    text = scene.text().replace('["NEAR", "FAR"]', '["FAR"]')
    (tmp_path / "print.toml").write_text(text, encoding="utf-8")
    print_ = read_print(tmp_path / "print.toml", SHELF)
    picture, cuts = cut_blocks(print_, setups_of(print_, SHELF), say=lambda _: None)
    report = [each for paper_finding in paper_findings(picture, cuts).values() for each in paper_finding]
    assert [(one.rule, one.severity) for one in report] == [("blank-layer", Severity.ADVICE)]
    assert "NEAR is on no block" in report[0].why
    free = shapely.box(20, 3, 25, 12).difference(picture.bare).area
    assert report[0].measured == pytest.approx(free, rel=0.02)


@takes_long  # tests/readers/test_small_prints.py reads machine files of any print
@pytest.mark.parametrize("trap", [0.4, 1.5] if MANY else [1.5])
def test_delivered_blocks_leave_paper_bare_where_it_must_be(tmp_path, capsys, monkeypatch, trap):
    """The machine files of a build, read by a path parser that isn't ours; no proof is drawn, no register tried."""
    monkeypatch.setattr(print_build, "proof_files", lambda _: {"print.png": b""})
    monkeypatch.setattr(print_build, "rubbings", lambda _: {})
    monkeypatch.setattr(print_build, "register_trials", lambda _: None)
    monkeypatch.setattr(print_build, "register_files", lambda *_: ({print_build.FIGURES: "{}"}, {}))
    lights = CROWDED.lights if MANY else CROWDED.lights[:5]
    scene = Scene(layers=CROWDED.layers, lights=lights, openings=((30, 18, 1.5),), trap=trap)
    (tmp_path / "print.toml").write_text(scene.text().replace('"hand", "laser"', '"router"'), encoding="utf-8")
    ran = run(capsys, "build", tmp_path / "print.toml", "--out", tmp_path / "built", "--json")
    assert ran.code in (0, 1), ran.err
    inks, face = {}, shapely.box(0, 0, WIDTH, HEIGHT)
    for name in scene.blocks:
        gone = lowered(tmp_path, name).union(lowered(tmp_path, name, "CUT-OUT"))
        block = face.difference(gone)
        inks[name] = shapely.transform(block, lambda xy: np.column_stack([WIDTH - xy[:, 0], xy[:, 1]]))
    x, y = dots()
    _, deep = scene.at(x, y)
    for ink in inks.values():
        assert not (inside(ink, x, y) & (deep > 0.02)).any()
    report = json.loads((tmp_path / "built" / "report.json").read_text())["blocks"]
    points = [each for value in report.values() for each in value if each["rule"] == "bare-paper"]
    assert untold_bare(scene, inks, [Finding.from_dict(point) for point in points]) < 0.05


def test_a_stencil_dabs_no_ink_where_the_paper_stays_bare(tmp_path):
    """By the numbers: a mask with a round hole, over which a highlight and flakes lie."""
    mask = (
        '[[layers]]\nname = "MOON"\nshape = "circle 29 17 4"\n[[blocks]]\nname = "moon"\nrole = "stencil"\n'
        'ink = "#d0b040"\nlayers = ["MOON"]\nmaterial = "birch-plywood"\ncutter = "laser-fine"\nfor = ["laser"]\n'
    )
    flakes = '[[motifs]]\nmotif = "snowfall"\nsettings = { largest_mm = 3, level = 2 }\n'
    scene = Scene(layers=CROWDED.layers, lights=((32, 18, 2.0),), mend=False, more=mask + flakes)
    text = scene.text().replace('"FAR"]\n', '"FAR"]\n', 1)
    (tmp_path / "print.toml").write_text(text.replace('"POST", "FAR"]', '"POST", "MOON", "FAR"]', 1), encoding="utf-8")
    print_ = read_print(tmp_path / "print.toml", SHELF)
    picture, cuts = cut_blocks(print_, setups_of(print_, SHELF), say=lambda _: None)
    x, y = dots()
    dabbed = inside(cuts["moon"].ink, x, y)
    snow = inside(shapely.union_all([white.shapes for white in picture.whites][1]), x, y)
    assert (snow & (np.hypot(x - 29, y - 17) < 4)).any()
    assert not (dabbed & snow).any()
    assert not (dabbed & (np.hypot(x - 32, y - 18) < 1.98)).any()
    assert dabbed.sum() * DOT**2 > 0.6 * np.pi * 16
    kept = (tmp_path / "print.toml").read_text().replace('motif = "snowfall"', 'motif = "snowfall"\nblocks = ["sky"]')
    (tmp_path / "print.toml").write_text(kept, encoding="utf-8")
    print_ = read_print(tmp_path / "print.toml", SHELF)
    _, cuts = cut_blocks(print_, setups_of(print_, SHELF), say=lambda _: None)
    assert inside(cuts["moon"].ink, x, y).sum() > dabbed.sum()  # snow of the sky alone is dabbed over


FIELD = '[[motifs]]\nmotif = "snowload"\npreset = "deep"\non = ["POST"]\nblocks = ["*"]\n'


def test_snow_of_things_that_are_hidden_leaves_what_stands_in_front(tmp_path):
    """A post behind a near box that covers its top: its snow is hidden there, and on its side of the box lies on."""
    layers = {"NEAR": (5, 10, 8, 10), "POST": (9, 0, 14, 16), "FAR": (0, 0, 36, 5)}
    scene = Scene(layers=layers, lights=((33, 20, 1.0),), mend=False, more=FIELD)
    _, picture, cuts, _ = taken_apart(scene, tmp_path)
    snow = shapely.union_all(picture.whites[-1].shapes)
    front = shapely.box(5, 10, 13, 20)
    assert snow.intersection(front).area < 1e-6
    assert snow.intersection(shapely.box(13, 12, 24, 20)).area > 5
    assert front.difference(cuts["tone"].ink).area < 0.01
    over = Scene(layers=layers, lights=scene.lights, mend=False, more=FIELD.replace('["POST"]', '["POST", "NEAR"]'))
    picture = taken_apart(over, tmp_path)[1]
    assert shapely.union_all(picture.whites[-1].shapes).intersection(front).area > 2


def test_what_may_only_be_drawn_on_a_thing_is_told(tmp_path):
    layers = {"NEAR": (12, 2, 3, 14), "POST": (9, 0, 14, 16), "FAR": (0, 0, 36, 5)}
    scene = Scene(layers=layers, lights=((33, 20, 1.0),), mend=False, more=FIELD)
    notes = taken_apart(scene, tmp_path)[1].notes
    assert len(notes) == 1
    assert "NEAR stands in front of POST and hides" in notes[0]
    assert "name it in `on`, too" in notes[0]
