"""Small prints taken apart, mended and tried out of register, in figures (`tests/recorded.py`)."""

from __future__ import annotations

import tempfile
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.colour import Ink, lightness
from carvegen.blocks.block import Block
from carvegen.facts.register import RegisterPlan
from carvegen.marking.marks import Mark, Meaning
from carvegen.prints.bare_paper import paper_findings
from carvegen.prints.cut_blocks import Cut, setups_of
from carvegen.prints.file.print_file import read_print
from carvegen.prints.marked.mark_findings import mark_findings
from carvegen.prints.misregister.block_placement import Inked
from carvegen.prints.misregister.figures import figures, findings
from carvegen.prints.misregister.trials import outcome
from carvegen.prints.recut import cut_further
from carvegen.prints.separation import Layer, Plate, Trapping, separated
from tests.cases import SHELF, box, disc, layer, small_print
from tests.prints.whole_prints import cut_blocks, mended_print
from tests.recorded import Parts, Scenes, compare, of_findings, of_shapes, of_values, telling
from tests.strategies import few

INKS = {"sky": (169, 191, 203), "tone": (106, 135, 153), "key": (31, 43, 61)}
FACE = box(0, 0, 40, 30)
BLOCKS = {"sky": ["*"], "tone": ["HILL", "RAIL"], "key": ["POST", "TWIGS"]}
LAYERS = (
    layer("POST", "box 22 0 5 24"),
    layer("RAIL", "box 4 9 30 1.2"),
    layer("HILL", "box 0 0 40 7"),
    layer("TWIGS", "twigs.svg at 6.8 7 width 11.2"),
)
#: A forked twig, half a millimetre thick at its ends.
TWIGS = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="11.2mm" height="17.4mm" viewBox="0 0 11.2 17.4">'
    '<path d="M1.2 17.4H2.2L5.2 6.4 11.2 .4 10.6 0 4.8 5.8.2 2.4 0 3 4.2 7.4Z"/></svg>'
)
LIGHTS = "".join(f'[[highlights]]\nshape = "circle {x} {y} {r}"\n' for x, y, r in (
    (27.6, 12, 1.4), (21.5, 9.5, 0.9), (23.4, 10.2, 0.5), (5, 9.2, 1.0), (33.8, 7.2, 1.6), (12.3, 17, 0.8), (35, 24, 2),
))  # fmt: skip
SNOW = (
    '[[motifs]]\nmotif = "snowload"\non = ["HILL", "POST", "TWIGS"]\n'
    '[[motifs]]\nmotif = "snowfall"\nsettings = { snow = 0.12, largest_mm = 2.5 }\n'
)
MARKS = "".join(
    f'[[marked]]\nmeaning = "{meaning}"\nshape = "box {where}"\n'
    for meaning, where in {
        "stays": "20 18 9 8", "comes out": "4 3 8 4", "carver decides": "30 14 9 9", "less": "12 24 8 6",
    }.items()
)  # fmt: skip
GROWS = "".join(
    f'[[marked]]\nmeaning = "{meaning}"\nshape = "box {where}"\n'
    for meaning, where in {"more": "0 22 9 8", "grow again": "29 2 10 8"}.items()
)


def of_print(after: str, **values: object) -> Parts:
    """The white, each block cut and mended, and what is told of paper and marks."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "print.toml"
        (Path(folder) / "twigs.svg").write_text(TWIGS, encoding="utf-8")
        values = {"seed": 3, "trap_mm": 0.4, "register_error_mm": 0.4} | values
        path.write_text(small_print(*LAYERS, blocks=BLOCKS, after=after, size=(40, 30), **values), encoding="utf-8")
        print_ = read_print(path, SHELF)
        setups = setups_of(print_, SHELF)
        picture, cuts = cut_blocks(print_, setups, say=lambda _: None)
        mended = mended_print(print_, picture, cuts, setups, say=lambda _: None)
        said = paper_findings(picture, mended)
        parts: dict[str, Any] = {"notes": {"count": len(picture.notes)}}
        for white in picture.whites:
            parts[white.name] = of_shapes(white.shapes)
            parts[f"{white.name}, free"] = of_shapes(np.concatenate([white.free, white.to_decide]))
        for when, each in (("cut", cuts), ("mended", mended)):
            for name, one in each.items():
                parts[f"{name} {when}"] = of_shapes(one.land)
                parts[f"{name} {when}, ink"] = of_shapes(one.picture)
                parts[f"{name} {when}, given up"] = of_shapes(one.given_up)
                parts[f"{name} {when}, open"] = of_shapes([one.fringe, one.to_decide])
                parts[f"{name} {when}, dropped"] = of_values(mm=[item.width_mm for item in one.dropped],
                                                             at=[item.at for item in one.dropped])  # fmt: skip
                parts |= {f"{name} {when}: {rule}": part for rule, part in of_findings(one.notes).items()}
        for name, report in said.items():
            parts |= {f"{name} paper: {rule}": part for rule, part in of_findings(report).items()}
        for name, one in mended.items():
            marked = mark_findings(one.block, picture.marks, setups[name], white=one.white, back_mm=0.2)
            parts |= {f"{name} marks: {rule}": part for rule, part in of_findings(marked).items()}
    return {name: part for name, part in parts.items() if any(part.values())}


def plate(name: str, *layers: str, opacity: float = 1.0, **more: Any) -> Plate:
    return Plate(
        name=name, layers=frozenset(layers), lightness=lightness(INKS[name]), land_mm=0.7, cut_mm=0.4,
        ink=Ink(colour=INKS[name], opacity=opacity), **more,
    )  # fmt: skip


def taken(trap: float, back: float, *, under: bool = False, opacity: float = 1.0) -> Parts:
    """Boxes, discs and slivers that meet, with white across where they meet."""
    layers = [
        Layer("LIT", shapely.union_all([disc(25, 12, 4), box(8, 3, 0.5, 14), box(30, 20, 6, 0.3)])),
        Layer("POST", shapely.union_all([box(20, 0, 10, 26), shapely.LineString([(3, 20), (20, 23)]).buffer(0.35)])),
        Layer("SHORE", box(0, 0, 40, 9)),
    ]
    white = shapely.union_all([
        disc(20, 22, 2.5), disc(26, 16.3, 1.2), disc(25, 8.6, 0.9), disc(8, 9, 1.5), disc(35, 9.5, 1.1),
        disc(12, 21.6, 1.0), disc(36.6, 27, 1.0), disc(30.7, 5, 0.4), box(10, 8.2, 6, 0.5),
    ])  # fmt: skip
    plates = [
        plate("sky", ground=True, under_all=under), plate("tone", "LIT", "SHORE", opacity=opacity),
        plate("key", "POST", opacity=opacity),
    ]  # fmt: skip
    done = separated(FACE, layers, plates, white=lambda _: white, spread=Trapping(trap_mm=trap, cut_back_mm=back))
    parts: dict[str, Any] = {}
    for name, each in done.items():
        parts |= {name: of_shapes(each.land), f"{name}, ink": of_shapes(each.picture)}
        parts[f"{name}, dropped"] = of_values(mm=[one.width_mm for one in each.dropped])
    return parts


def cut_on(tolerance: float) -> Parts:
    """A block that stands less and more than is planned, and asked for by marks, beside what was lost."""
    wanted = shapely.difference(box(8, 0, 14, 26), disc(15, 24, 3))
    stands = shapely.difference(box(8.05, 0, 16, 22), shapely.union(disc(12, 8, 1.5), box(18, 12, 1, 1)))
    block = Block(name="key", width_mm=40, height_mm=30, cuts=geometry.parts(shapely.difference(FACE, wanted)))
    white = shapely.union_all([disc(15, 24, 3), box(22, 0, 18, 9)])
    marks = [
        Mark(meaning=Meaning.STAYS, shape=box(10, 6, 3, 4), key="a"),
        Mark(meaning=Meaning.COMES_OUT, shape=disc(20, 4, 1), key="b"),
    ]
    done = cut_further(
        Cut(block=block, land=wanted, white=white, picture=box(8, 0, 14, 30)), stands, tolerance, marks=marks
    )
    return {
        "land": of_shapes(done.land), "white": of_shapes(done.white), "to cut": of_shapes(done.block.to_cut),
        "cut before": of_shapes(done.block.cut_before), "cuts": of_shapes(done.block.cuts), **of_findings(done.notes),
    }  # fmt: skip


def off_register(**plan: Any) -> Parts:
    """A light ink beside a dark one over it by the trap, and back from the snow."""
    snow, window = disc(30, 24, 5), box(30, 5, 6, 6)
    dark = shapely.difference(box(20, 0, 20, 30), shapely.union(snow, window))
    light = shapely.union_all([box(0, 0, 20.4, 30), window.buffer(0.4), disc(30, 24, 6)]).difference(snow.buffer(0.3))
    blocks = [Inked(name="light", land=light, lightness=80), Inked(name="dark", land=dark, lightness=20)]
    register = RegisterPlan(**{"method": "stops", "tolerance_mm": 0.4, "turn_deg": 0.1, "prints": 200} | plan)
    result = outcome(blocks, register, (40.0, 30.0), seed=4, reach_mm=0.67, full_mm=(0.36, 0.27))
    report = figures(result, blocks, register, 60.0, (0.4, 0.3))
    return {
        "failed": of_values(prints=result.failed, worst=np.concatenate([np.ravel(each) for each in result.worst_mm])),
        "lines": of_values(mm=result.line_mm, opened=result.opened_mm2),
        **{f"figures {name}": values for name, values in _numbers(report).items()},
        **of_findings(finding for _, finding in findings(report)),
    }


def _numbers(record: Any, name: str = "all") -> dict[str, dict[str, float]]:
    """All numbers of a record, by where they stand."""
    items = list(record.items() if isinstance(record, dict) else enumerate(record))
    plain = {f"_{key}": float(value) for key, value in items if isinstance(value, int | float)}
    parts = {name: plain} if plain else {}
    for key, value in items:
        if isinstance(value, dict | list | tuple):
            parts |= _numbers(value, f"{name}.{key}")
    return parts


SHORT: Scenes = {
    "taken apart, through inks": partial(taken, 0.5, 0.4, opacity=0.6),
    "taken apart, by a hair": partial(taken, 0.1, 0.05, opacity=0.3),
    "off register, pins": partial(
        telling, partial(off_register, method="pins", tolerance_mm=0.7, turn_deg=0.05, visible_mm=0.05)
    ),
    "taken apart, trapped": partial(taken, 0.5, 0.4),
    "taken apart, wide": partial(taken, 1.2, 0.8, under=True),
    "taken apart, exact": partial(taken, 0.0, 0.0),
    "off register": partial(telling, off_register),
    "off register, damp": partial(
        telling, partial(off_register, spread="normal", turn_deg=0.3, visible_mm=0.1, prints=100)
    ),
    "cut on": partial(cut_on, 0.02),
    "cut on, by a scan": partial(cut_on, 0.3),
    "print with marks": partial(of_print, LIGHTS + SNOW + MARKS),
}
LONG: Scenes = {
    "print with lights": partial(of_print, LIGHTS),
    "print with snow": partial(of_print, LIGHTS + SNOW),
    "print with marks that grow": partial(of_print, LIGHTS + SNOW + GROWS),
}
SCENES: Scenes = {**SHORT, **LONG}


@pytest.mark.parametrize("scene", [*SHORT, *few(LONG, 0)])
def test_it_is_taken_apart_and_mended_as_before(scene: str) -> None:
    compare("prints", scene, SCENES[scene]())
