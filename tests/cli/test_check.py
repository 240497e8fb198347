"""``carvegen check``: our own files come back as they were; other drawings are read as their layers say."""

from __future__ import annotations

import dataclasses
import io
import json
import re

import ezdxf
import numpy as np
import pytest
import shapely
from PIL import Image

from carvegen import geometry
from carvegen.artwork import bounds
from carvegen.base.errors import InputError
from carvegen.base.findings import Report
from carvegen.blocks.from_drawing import drawn_block
from carvegen.blocks.views import View
from carvegen.writers.block.block_drawing import machine_dxf, machine_svg, proof_svg
from carvegen.writers.block.findings_png import findings_png
from tests import cases
from tests.cli.running import run

SETUP = ("--material", "cherry", "--cutter", "laser-fine")
ASYMMETRIC = (
    cases.box(2, 3, 9, 4),
    shapely.Polygon([(20, 20), (36, 22), (30, 28)]),
    cases.disc(30, 8, 5).difference(cases.disc(30, 8, 3)),
    cases.disc(30, 8, 1.5),
)


@pytest.fixture
def job():
    """Cuts that no mirroring maps on themselves, one of them a ring with an island, and a cut-out with a hole."""
    out = cases.disc(10, 20, 6).difference(cases.disc(10, 20, 2))
    block = cases.block(*ASYMMETRIC, cut_outs=(out,))
    on_grid = dataclasses.replace(block, cuts=geometry.snapped(block.cuts), cut_outs=geometry.snapped(block.cut_outs))
    return cases.setup("cherry", "laser-fine").on(on_grid)


def assert_same(expected: geometry.PolygonArray, meant: geometry.PolygonArray) -> None:
    """Same number of shapes, areas to 0.1 %, and everything in place to that share of the whole."""
    assert len(expected) == len(meant)
    assert np.sort(shapely.area(expected)) == pytest.approx(np.sort(shapely.area(meant)), rel=1e-3)
    both = shapely.union_all(expected).symmetric_difference(shapely.union_all(meant)).area
    assert both < 1e-3 * shapely.area(meant).sum()


@pytest.mark.parametrize("form", ["svg", "R2000", "R12"])
def test_a_machine_file_comes_back(own_folder, job, form):
    path = own_folder / f"block.{'svg' if form == 'svg' else 'dxf'}"
    path.write_text(machine_svg(job) if form == "svg" else machine_dxf(job, form))
    drawn = drawn_block(path, view=View.BLOCK)
    assert (drawn.block.width_mm, drawn.block.height_mm) == (40, 30)
    assert_same(drawn.block.cuts, job.block.cuts)
    assert_same(drawn.block.cut_outs, job.block.cut_outs)
    assert any("REGISTER" in note for note in drawn.notes)
    assert any("NOTES" in note for note in drawn.notes)
    mirrored = drawn_block(path, view=View.PRINT).block
    assert_same(geometry.mirrored(mirrored.cuts, 40), job.block.cuts)


def test_a_proof_comes_back(own_folder, job):
    from carvegen.checks import checked

    (own_folder / "proof.svg").write_text(proof_svg(job.block, checked(job)))
    drawn = drawn_block(own_folder / "proof.svg")
    assert_same(drawn.block.cuts, job.block.cuts)
    assert (drawn.block.width_mm, drawn.block.height_mm) == (40, 30)


def test_the_command_finds_in_the_file_what_the_block_has(own_folder, capsys, job):
    from carvegen.checks import checked

    (own_folder / "block.dxf").write_text(machine_dxf(job))
    ran = run(capsys, "check", "block.dxf", "--view", "block", *SETUP, "--json")
    report = json.loads(ran.out)["report"]
    meant = checked(job).to_dict()
    assert ran.code == int(meant["breaks"] > 0)
    assert (report["breaks"], report["risks"]) == (meant["breaks"], meant["risks"])


def svg(*elements: str, page: str = 'width="40mm" height="30mm" viewBox="0 0 40 30"') -> str:
    return f'<svg xmlns="http://www.w3.org/2000/svg" {page}>{"".join(elements)}</svg>'


def group(layer: str, *elements: str) -> str:
    return f'<g id="{layer.replace(" ", "-")}"><title>{layer}</title>{"".join(elements)}</g>'


FLAKE = '<rect x="10" y="10" width="5" height="5"/>'
THIN = 'fill="none" stroke="black" stroke-width="0.1"'


def drawn_from(folder, text, **how):
    (folder / "a.svg").write_text(text)
    return drawn_block(folder / "a.svg", **how)


@pytest.mark.parametrize("name", ["BLOCK EDGE", "BLOCK_EDGE", "BLOCK-EDGE", "Block edge", "blockedge"])
def test_the_block_edge_gives_the_face(own_folder, name):
    edge = group(name, f'<rect x="5" y="5" width="20" height="15" {THIN}/>')
    block = drawn_from(own_folder, svg(edge, FLAKE)).block
    assert (block.width_mm, block.height_mm) == (20, 15)
    assert block.cuts[0].bounds == (5, 5, 10, 10)  # by hand: 10 - 5 and, y up, (5 + 15) - (10 + 5)


def test_then_the_size_does_and_then_the_page(own_folder):
    sized = drawn_from(own_folder, svg(FLAKE), size_mm=(35.0, 28.0))
    assert (sized.block.width_mm, sized.block.height_mm) == (35, 28)
    page = drawn_from(own_folder, svg(FLAKE))
    assert (page.block.width_mm, page.block.height_mm) == (40, 30)
    assert page.block.cuts[0].bounds == sized.block.cuts[0].bounds == (10, 15, 15, 20)
    assert any("page" in note for note in page.notes)


def filled(high: float, *, left: float = 0.0, fill: str = "#444", wide: float = 20.0) -> str:
    return f'<rect x="{left}" y="{30 - high}" width="{wide}" height="{high}" fill="{fill}"/>'


ALL, LEFT = filled(30, wide=40), filled(30)
OF_BLOCKS = ("CUT AREA", "CUT-OUT", "FIXED", "FREE FRINGE", "SUN")  # and one that is not


@pytest.mark.parametrize(
    ("drawing", "said"),
    [
        ((group("SEA", LEFT), group("SKY", filled(30, left=20))), True),
        ((LEFT, filled(30, left=20, fill="#a33")), True),  # in one layer
        ((LEFT, filled(26, left=20, fill="#a33")), True),  # by hand 93 %
        ((LEFT, filled(20, left=20, fill="#a33")), False),  # and 83 %
        ((group("LINES", ALL),), False),  # lines that stand, all else is cut away
        ((ALL,), False),
        ((LEFT, filled(30, left=20, fill="white")), False),  # half of it is paper
        ((ALL, filled(1, fill="white")), False),
        *(
            ((group(name, shape), group("SEA", LEFT), group("SKY", filled(30, left=20))), name == "SUN")
            for names, shape in ((("BLOCK EDGE", "LAND"), ALL), (OF_BLOCKS, filled(1)))
            for name in names
        ),
    ],
)
def test_a_drawing_of_inks_that_is_taken_for_cuts_is_told(own_folder, capsys, drawing, said):
    (own_folder / "a.svg").write_text(svg(*drawing))
    ran = run(capsys, "check", "a.svg", *SETUP)
    assert ("carvegen new FOLDER --drawing FILE" in ran.out + ran.err) == said
    assert any("if these are inks" in note for note in json.loads(
        run(capsys, "check", "a.svg", "--json", *SETUP).out)["notes"]) == said  # fmt: skip


FEW = filled(3, wide=40)  # of the face 10 %


@pytest.mark.parametrize(
    ("drawing", "said"),
    [
        ((group("KEY", FEW), group("SKY", filled(30, left=20))), True),
        ((group("KEY", FEW, filled(2, fill="#a33")),), True),
        ((group("KEY", FEW),), False),
        ((group("KEY", FEW), group("CUT AREA", filled(30, left=20))), False),
        ((group("KEY", FEW), group("BLOCK EDGE", ALL)), False),
    ],
)
def test_one_layer_of_several_may_be_an_ink_however_little_it_fills(own_folder, capsys, drawing, said):
    """Lines of a key are as few as cuts are: only the whole file tells. Silent where a layer is a block's."""
    (own_folder / "a.svg").write_text(svg(*drawing))
    ran = run(capsys, "check", "a.svg#KEY", *SETUP)
    assert ran.code < 2
    assert ("if these are inks" in ran.err) == said
    assert ("carvegen new FOLDER --drawing a.svg makes its blocks" in ran.err) == said


def test_colours_that_are_too_many_to_tell_apart_keep_no_drawing_from_its_check(own_folder, capsys, monkeypatch):
    (own_folder / "a.svg").write_text(svg(ALL, filled(20, fill="#a33")))
    assert "if these are inks" in run(capsys, "check", "a.svg", *SETUP).err
    monkeypatch.setitem(bounds._WORK, "hiding", (1e9, "hides too often", ""))
    ran = run(capsys, "check", "a.svg", *SETUP)
    assert ran.code < 2
    assert "if these are inks" not in ran.err


@pytest.mark.parametrize("write", [machine_svg, lambda job: proof_svg(job.block, Report([]))])
def test_our_own_files_of_a_block_of_lines_are_not_taken_for_inks(own_folder, capsys, write):
    """All is cut but a line across, 2 of 40 mm; and a hole."""
    block = cases.block(cases.box(0, 0, 20, 30), cases.box(22, 0, 18, 28), cut_outs=(cases.box(22, 28, 18, 2),))
    (own_folder / "block.svg").write_text(write(cases.setup("cherry", "laser-fine").on(block)))
    ran = run(capsys, "check", "block.svg", *SETUP)
    assert "mm" in ran.out
    assert "if these are inks" not in ran.out + ran.err


def test_a_dxf_without_a_face_needs_a_size(own_folder, capsys):
    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 5  # centimetres, by the published DXF reference
    document.modelspace().add_circle((1, 1), 0.5)
    document.saveas(own_folder / "a.dxf")
    ran = run(capsys, "check", "a.dxf", *SETUP)
    assert ran.code == 2
    assert "--size 200x150" in ran.err
    block = drawn_block(own_folder / "a.dxf", size_mm=(40.0, 30.0)).block
    assert shapely.area(block.cuts)[0] == pytest.approx(np.pi * 25, rel=1e-3)


def test_a_size_that_the_edge_contradicts_is_said(own_folder):
    text = svg(group("BLOCK EDGE", '<rect width="40" height="30"/>'), FLAKE)
    assert not any("size given" in note for note in drawn_from(own_folder, text, size_mm=(40.0, 30.0)).notes)
    assert any(
        "the size given is not followed" in note for note in drawn_from(own_folder, text, size_mm=(50.0, 30.0)).notes
    )


def test_hairlines_enclose_and_broad_lines_are_grooves(own_folder):
    """A closed 0.1 mm line without fill stands for its square; one of 2 mm is a groove, by hand 7² - 3² mm²."""
    thin = drawn_from(own_folder, svg(f'<path d="M5 5h5v5h-5z" {THIN}/>')).block
    assert shapely.area(thin.cuts) == pytest.approx([25])
    closed_by_its_end = drawn_from(own_folder, svg(f'<path d="M5 5h5v5h-5v-5" {THIN}/>')).block
    assert shapely.area(closed_by_its_end.cuts) == pytest.approx([25])
    broad = drawn_from(own_folder, svg('<path d="M5 5h5v5h-5z" fill="none" stroke="#000" stroke-width="2"/>')).block
    assert shapely.area(broad.cuts) == pytest.approx([49 - 9])


def test_overlapping_cuts_are_joined_and_said(own_folder):
    text = svg(FLAKE, group("more", '<rect x="12" y="10" width="5" height="5"/>'))
    drawn = drawn_from(own_folder, text)
    assert shapely.area(drawn.block.cuts) == pytest.approx([35])
    assert "cuts that overlap are joined" in drawn.notes


def test_cuts_past_the_edge_are_cut_off_and_said(own_folder):
    drawn = drawn_from(own_folder, svg('<rect x="35" y="5" width="10" height="5"/>'))
    assert shapely.area(drawn.block.cuts) == pytest.approx([25])
    assert any("50.0% of the cuts" in note for note in drawn.notes)


def test_cuts_on_cut_outs_are_cut_out(own_folder):
    drawn = drawn_from(own_folder, svg(FLAKE, group("CUT-OUT", '<rect x="12" y="8" width="9" height="9"/>')))
    assert shapely.area(drawn.block.cuts) == pytest.approx([10])
    assert shapely.area(drawn.block.cut_outs) == pytest.approx([81])
    assert any("cut-outs" in note for note in drawn.notes)


def test_nothing_on_the_face_is_an_error(own_folder):
    with pytest.raises(InputError, match="nothing on the block"):
        drawn_from(own_folder, svg('<rect x="50" y="5" width="5" height="5"/>'))
    with pytest.raises(InputError, match="nothing to cut"):
        drawn_from(own_folder, svg(group("BLOCK EDGE", '<rect width="40" height="30"/>')))


def test_a_face_of_no_sensible_size_is_an_error(own_folder):
    with pytest.raises(InputError, match="sides of 5…2000 mm"):
        drawn_from(own_folder, svg(FLAKE), size_mm=(3.0, 3000.0))


def test_text_and_crosses_on_layers_left_out_are_not_read(own_folder):
    left = [group(layer, '<text x="1" y="9">ferry</text>') for layer in ("REGISTER", "NOTES", "FINDING", "KEEP CLEAR")]
    drawn = drawn_from(own_folder, svg(*left, FLAKE))
    assert len(drawn.block.cuts) == 1
    for layer in ("REGISTER", "NOTES", "FINDING", "KEEP CLEAR"):
        assert f"the layer {layer!r} is left out" in drawn.notes


def test_what_the_terminal_shows(own_folder, capsys):
    (own_folder / "a.svg").write_text(svg(FLAKE, '<rect x="15.3" y="10" width="5" height="5"/>'))
    ran = run(capsys, "check", "a.svg", "--material", "linoleum", "--cutter", "laser-fine")
    assert ran.code == 1
    assert "2 shapes on 40 × 30 mm" in ran.out
    assert "Land too narrow at x 15.0, y 20.0 mm: 0.3 mm wide, at least 0.7 mm needed" in " ".join(ran.out.split())
    assert "ASK FIRST: laser" in ran.out
    assert "note: the page" in ran.err


def test_a_picture_shows_the_findings(own_folder, capsys):
    """The same block without and with rings: they differ where the neck is, and not far from it."""
    (own_folder / "a.svg").write_text(svg(FLAKE, '<rect x="15.3" y="10" width="5" height="5"/>'))
    assert run(capsys, "check", "a.svg", *SETUP, "-o", "a.png").code == 1
    assert run(capsys, "check", "a.svg", *SETUP, "--picture", "b.svg").code == 1
    block = drawn_block(own_folder / "a.svg").block
    plain = np.asarray(Image.open(io.BytesIO(findings_png(block, Report(())))), dtype=int)
    ringed = np.asarray(Image.open(own_folder / "a.png"), dtype=int)
    changed = np.argwhere((plain != ringed).any(axis=2)) / 10
    assert len(changed) > 100
    assert np.abs(changed - (12.5, 15.15)).max() < 12
    assert 'id="FINDING"' in (own_folder / "b.svg").read_text()


def test_a_machine_may_be_named(own_folder, capsys):
    """A V-tool goes into the hand and into the router; the machine says which, and its verdict holds."""
    (own_folder / "a.svg").write_text(svg(FLAKE))
    words = ("check", "a.svg", "--cutter", "v-60", "--material")
    assert run(capsys, *words, "rubber-soft").code in (0, 1)
    assert run(capsys, *words, "rubber-soft", "--machine", "router-bed").code == 3


def test_what_has_no_room_is_said_to_be_where_a_check_lists_it(own_folder, capsys):
    """A check writes no report: neither file may be named."""
    (own_folder / "bad.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="80mm" viewBox="0 0 100 80"><path d="'
        "M5 5h30v30h-30zM35.2 5h20v.1h-20zM60 5l10 0l0 .05l-10 0zM5 40h60v35h-60z"
        'M66 40h30v35h-30zM70 3h.2v30h-.2z"/></svg>'
    )
    ran = run(capsys, "check", "bad.svg", "--material", "linoleum", "--cutter", "laser-fine")
    assert re.search(r"and \d+ more kinds \(.*\d.*\): see carvegen check --verbose, or --json", ran.out)
    assert "proof.html" not in ran.out
    assert ran.code == 1
