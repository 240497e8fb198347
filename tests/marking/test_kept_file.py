"""A kept motif's file: as it was if nobody touched it, as she left it if she did, clear words if it can't be used."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
import resvg_py
import shapely
import svgelements
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from PIL import Image

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.streams import stream
from carvegen.marking.adapting import kept_findings
from carvegen.marking.kept_file import MotifOrigin, Surroundings, kept_text, marks_of, read_kept
from carvegen.motifs import motif, summaries
from carvegen.motifs.growth import Growth, Place, plain
from tests.cases import box, disc, limits, shapes
from tests.strategies import SEEDS, examples

DTD = etree.DTD(str(Path(__file__).parents[1] / "data" / "svg11-dtd" / "svg11.dtd"))
SIZE = (30.0, 24.0)
HOLED = shapely.Polygon(box(12, 2, 8, 8).exterior, [box(14, 4, 2, 2).exterior])
TOUCHING = shapely.Polygon(box(22, 12, 6, 6).exterior, [[(22, 15), (24, 14), (24, 16)]])  # a hole meets the outline
CUTS = shapes(disc(5, 5, 2), HOLED, disc(5, 15, 1.5), TOUCHING)
FREE = shapes(box(6.9, 4, 0.5, 2))
SVG = {"s": "http://www.w3.org/2000/svg"}


def growth(cuts=CUTS, free=FREE) -> Growth:
    return plain(Growth(cuts=cuts, free=free, kept={"level": 1.25}))


def text_of(each: Growth, kind: str = "snowfall", size=SIZE) -> str:
    return kept_text(
        each, MotifOrigin(motif=kind, settings={"seed": 1}, surroundings=Surroundings()), size, title="sky"
    )


def read(folder, text: str | bytes, kind: str = "snowfall", size=SIZE):
    path = folder / "kept.svg"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_kept(path, motif=kind, size=size)


def same(left, right) -> bool:
    """Vertex by vertex, in the same order."""
    return shapely.to_wkb(left).tolist() == shapely.to_wkb(right).tolist()


def edited(text: str, change) -> str:
    root = etree.fromstring(text.encode())
    change(root)
    return etree.tostring(root).decode()


def paths(root) -> list:
    return root.xpath("//s:path", namespaces=SVG)


@pytest.mark.parametrize("size", [SIZE, (30.0005, 24.0005), (1234.567, 1000.123)])
def test_what_nobody_touches_comes_back_as_it_was(tmp_path, size):
    each = growth()
    kept = read(tmp_path, text_of(each, size=size), size=size)
    assert same(kept.growth.cuts, each.cuts)
    assert same(kept.growth.free, each.free)
    assert (kept.growth.kept, kept.memory.settings) == ({"level": 1.25}, {"seed": 1})
    assert len(kept.edited) == 0
    assert kept.notes == ()


@pytest.mark.parametrize("name", sorted(summaries()))
@examples(2)
@given(data=st.data())
def test_law_of_every_motif(tmp_path_factory, name, data):
    """Kept it is the same; one shape deleted or moved changes none of the others."""
    bearer = shapes(box(4, 0, 5, 12), box(15, 0, 8, 7))
    place = Place(area=shapely.box(0, 0, *SIZE), shapes=geometry.empty() if name == "snowfall" else bearer)
    module, seed = motif(name), data.draw(SEEDS)
    settings = module.Settings(**({"level": 1.0} if name == "snowfall" else {}))  # without seeking the level
    each = plain(module.grow(settings, place, limits(0.4, 0.3), stream(seed, "sky", name)))
    folder, text = tmp_path_factory.mktemp("kept"), text_of(each, name)
    kept = read(folder, text, name)
    assert same(kept.growth.cuts, each.cuts)
    assert same(kept.growth.free, each.free)
    if len(each.cuts) == 0:
        return
    k = data.draw(st.integers(0, len(each.cuts) - 1))
    others = np.delete(each.cuts, k)

    def delete(root) -> None:
        paths(root)[k].getparent().remove(paths(root)[k])

    def move(root) -> None:
        paths(root)[k].set("transform", "translate(0.25 -0.125)")

    assert same(read(folder, edited(text, delete), name).growth.cuts, others)
    after = read(folder, edited(text, move), name)
    marks = marks_of(after.growth.cuts)
    near = shapely.dwithin(others, each.cuts[k], 0.3)  # it may have run into these: they are one cut then
    assert set(marks_of(others[~near])) <= set(marks)


def test_other_readers_see_the_same(tmp_path):
    """The DTD of SVG 1.1; areas by svgelements, and by what resvg paints at 10 px a mm."""
    each = growth()
    text = text_of(each)
    assert DTD.validate(etree.fromstring(text.encode())), DTD.error_log.filter_from_errors()
    for path, shape in zip(paths(etree.fromstring(text.encode())), [*each.cuts, *each.free], strict=True):
        subpaths = svgelements.Path(path.get("d")).as_subpaths()
        rings = [[(piece.end.x, piece.end.y) for piece in sub] for sub in subpaths]
        areas = [abs(shapely.Polygon(ring).area) for ring in rings]
        assert 2 * areas[0] - sum(areas) == pytest.approx(shape.area, abs=1e-6)
    png = bytes(resvg_py.svg_to_bytes(svg_string=text, dpi=254, background="#ffffff"))
    (tmp_path / "kept.png").write_bytes(png)
    dark = np.asarray(Image.open(tmp_path / "kept.png").convert("L")) < 200
    assert dark.shape == (240, 300)
    assert dark.sum() / 100 == pytest.approx(shapely.area(each.cuts).sum() + shapely.area(each.free).sum(), rel=0.03)


def _in_inches(root) -> None:
    root.set("width", f"{30 / 25.4!r}in")
    root.set("height", f"{24 / 25.4!r}in")


def _view_box(root) -> None:
    """Ten units a millimetre, the origin elsewhere."""
    root.set("viewBox", "-5 7 300 240")
    for group in root.xpath("s:g", namespaces=SVG):
        group.set("transform", "translate(-5 7) scale(10)")


def _grouped(root) -> None:
    """All in groups of her own, one turned about and back."""
    group = root.xpath("s:g", namespaces=SVG)[0]
    outer = etree.SubElement(root, "{http://www.w3.org/2000/svg}g", transform="rotate(90)")
    inner = etree.SubElement(outer, "{http://www.w3.org/2000/svg}g", transform="rotate(-90)")
    inner.append(group)


def _bare(root) -> None:
    """No ids, no metadata."""
    for node in root.xpath("//s:metadata", namespaces=SVG):
        root.remove(node)
    for path in paths(root):
        del path.attrib["id"]


@pytest.mark.parametrize("change", [_in_inches, _view_box, _grouped, _bare])
def test_what_drawing_programs_do_changes_no_shape(tmp_path, change):
    each = growth()
    kept = read(tmp_path, edited(text_of(each), change))
    assert same(kept.growth.cuts, each.cuts)
    assert same(kept.growth.free, each.free)
    assert (kept.memory is None) == (change is _bare)
    assert bool(kept.notes) == (change is _bare)


def test_shapes_turned_scaled_redrawn_and_added_are_taken(tmp_path):
    def change(root) -> None:
        every = paths(root)
        every[0].set("transform", "translate(5 19) scale(2) translate(-5 -19)")
        every[2].set("d", "M4 6H7V12H4Z")
        group = every[0].getparent()
        etree.SubElement(group, "{http://www.w3.org/2000/svg}circle", cx="25", cy="4", r="1.5")
        etree.SubElement(root, "{http://www.w3.org/2000/svg}rect", x="21", y="20", width="3", height="2")

    kept = read(tmp_path, edited(text_of(growth()), change))
    assert same(kept.growth.cuts[1:2], plain(Growth(cuts=CUTS[1:2])).cuts)
    assert shapely.area(kept.growth.cuts[0]) == pytest.approx(4 * CUTS[0].area, rel=1e-3)
    assert kept.growth.cuts[2].bounds == (4, 12, 7, 18)
    assert kept.growth.cuts[4].bounds == pytest.approx((23.5, 18.5, 26.5, 21.5), abs=0.01)
    assert kept.growth.cuts[5].bounds == (21, 2, 24, 4)
    assert len(kept.edited) == 4


def test_shapes_over_one_another_are_one_and_none_leaves_the_face(tmp_path):
    def change(root) -> None:
        paths(root)[0].set("transform", "translate(9 0)")  # onto the one with the hole
        paths(root)[2].set("transform", "translate(-4.5 0)")

    kept = read(tmp_path, edited(text_of(growth()), change))
    assert len(kept.growth.cuts) == 3
    assert geometry.close_pairs(kept.growth.cuts, 0)[0].tolist() == []
    assert shapely.total_bounds(kept.growth.cuts)[0] == 0
    assert [note for note in kept.notes if "over one another" in note]
    assert [note for note in kept.notes if "over the face's edge" in note]


def test_ids_stay_and_new_shapes_get_new_ones(tmp_path):
    each = growth()
    kept = read(tmp_path, edited(text_of(each), lambda root: paths(root)[0].getparent().remove(paths(root)[0])))
    more = growth(cuts=np.concatenate([kept.growth.cuts, shapes(disc(9, 20, 1))]))
    memory = MotifOrigin(motif="snowfall", settings={}, surroundings=Surroundings())
    again = kept_text(more, memory, SIZE, title="sky", names=kept.names)
    ids = [path.get("id") for path in paths(etree.fromstring(again.encode()))]
    assert ids == ["snowfall-0002", "snowfall-0003", "snowfall-0004", "snowfall-0001", "fringe-0001"]


def test_what_a_hand_breaks_is_told_where_it_is(tmp_path):
    """Land of 0.7 and cuts of 0.4 mm: a disc moved 0.3 mm from its neighbour, a hair, and one on what is kept clear."""

    def change(root) -> None:
        every = paths(root)
        every[0].set("transform", "translate(4.7 0)")  # its right side at 11.7, the next begins at 12
        every[2].set("d", "M2 2H5V2.2H2Z")

    kept = read(tmp_path, edited(text_of(growth()), change))
    report = list(kept_findings("sky", kept.edited, kept.growth.cuts, box(2, 20, 5, 3), limits(0.7, 0.4)))
    land, narrow, over = sorted(report, key=lambda each: each.unit == "mm²" or each.limit == 0.4)
    assert (land.limit, round(land.measured, 2)) == (0.7, 0.3)
    assert land.at == pytest.approx((11.85, 5), abs=0.05)
    assert (narrow.limit, round(narrow.measured, 2)) == (0.4, 0.2)
    assert 2 <= narrow.at[0] <= 5
    assert narrow.at[1] == pytest.approx(21.9, abs=0.1)
    assert over.measured == pytest.approx(0.6, abs=0.01)
    assert list(kept_findings("sky", geometry.empty(), CUTS, box(0, 0, 30, 24), limits(3, 3))) == []


def _told(**changed) -> str:
    """A file whose memory says something else."""

    def change(match: re.Match[str]) -> str:
        return f">{json.dumps(json.loads(match[1]) | changed)}</metadata>"

    return re.sub(r">(\{.*\})</metadata>", change, text_of(growth()))


@pytest.mark.parametrize(
    ("text", "size", "words"),
    [
        ("", SIZE, "is empty"),
        ("G1 X3", SIZE, "is neither an SVG nor"),
        (b"\x89PNG\r\n\x1a\n....", SIZE, "is no SVG but a picture"),
        ("<html/>", SIZE, "is XML, but no SVG drawing"),
        (text_of(growth())[:900], SIZE, "is not whole, well-formed XML"),
        (text_of(growth()), (30.0, 25.0), "is of another size: it must be 30 x 25 mm"),
        (text_of(growth()).replace('width="30mm" height="24mm"', ""), SIZE, "does not say how large it is"),
        (text_of(growth(), "frost"), SIZE, "holds another motif: it must be snowfall"),
        (_told(format=2), SIZE, "was kept by a newer carvegen"),
        (_told(format="0"), SIZE, "was kept by another carvegen"),
        (text_of(growth()).replace("<path", "<text>snow</text><path", 1), SIZE, "is text"),
    ],
)  # fmt: skip
def test_bad_files_are_refused_in_words(tmp_path, text, size, words):
    with pytest.raises(InputError, match=words) as refused:
        read(tmp_path, text, size=size)
    assert str(tmp_path / "kept.svg") in str(refused.value)
    assert refused.value.hint


def test_a_missing_file_says_what_to_do(tmp_path):
    with pytest.raises(InputError, match="is not there") as refused:
        read_kept(tmp_path / "gone.svg", motif="frost", size=SIZE)
    assert "grows again" in refused.value.hint


def test_open_paths_are_closed_and_told_and_a_damaged_memory_loses_no_shape(tmp_path):
    kept = read(tmp_path, text_of(growth()).replace("Z", "", 1))
    assert len(kept.growth.cuts) == 4
    assert any("open outline" in note for note in kept.notes)
    kept = read(tmp_path, _told(bears="POLYGON ((1"))
    assert kept.memory is None
    assert same(kept.growth.cuts, growth().cuts)


@pytest.mark.parametrize("name", ["fronts", "shore"])
def test_what_older_files_do_not_know_is_remembered(tmp_path, name):
    for shape in (box(4, 0, 5, 10), shapely.Polygon(), None):
        around = Surroundings.of(bears=box(0, 0, 20, 20), clear=box(25, 0, 3, 3), **{name: shape})
        text = kept_text(growth(), MotifOrigin(motif="snowload", settings={}, surroundings=around), SIZE, title="sky")
        each = getattr(read(tmp_path, text, "snowload").memory.surroundings, name)
        assert (name in text) == (shape is not None)
        assert (each is None) if shape is None else shapely.equals(each, shape)
    assert read(tmp_path, _told(**{name: "POLYGON ((1"})).memory is None
