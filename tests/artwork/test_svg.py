"""SVG: sizes, layers, notes, and what is refused with words."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest
import shapely
import svgelements
from hypothesis import given, settings
from hypothesis import strategies as st

from carvegen.artwork import read
from carvegen.artwork.svg import paints, pathdata, transforms
from carvegen.base.colour import rgb
from carvegen.base.errors import InputError
from tests.strategies import few

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" '


def drawn(tmp_path: Path, inside: str, page: str = 'width="100mm" height="50mm" viewBox="0 0 100 50"') -> Path:
    path = tmp_path / "drawn.svg"
    path.write_text(f"{HEAD}{page}>{inside}</svg>")
    return path


BOX = '<rect x="10" y="5" width="20" height="10"/>'


@pytest.mark.parametrize(
    ("page", "size", "bounds"),
    [
        ('width="100mm" height="50mm" viewBox="0 0 100 50"', (100, 50), (10, 35, 30, 45)),
        ('width="10cm" height="5cm" viewBox="0 0 200 100"', (100, 50), (5, 42.5, 15, 47.5)),
        ('width="4in" height="2in"', (101.6, 50.8), (2.645833, 46.83125, 7.9375, 49.477083)),
        ('width="72pt" height="72pt" viewBox="0 0 25.4 25.4"', (25.4, 25.4), (10, 10.4, 30, 20.4)),
        ('width="96" height="96px" viewBox="0 0 25.4 25.4"', (25.4, 25.4), (10, 10.4, 30, 20.4)),
        # 100 x 100 mm frame, 100 x 50 box: letterboxed in the middle (SVG 1.1 section 7.8)
        ('width="100mm" height="100mm" viewBox="0 0 100 50"', (100, 100), (10, 60, 30, 70)),
        ('width="100mm" height="100mm" viewBox="0 0 100 50" preserveAspectRatio="none"', (100, 100), (10, 70, 30, 90)),
        (
            'width="100mm" height="100mm" viewBox="0 0 100 50" preserveAspectRatio="xMinYMax slice"',
            (100, 100), (20, 70, 60, 90),
        ),
        ('width="100mm" viewBox="0 0 50 25"', (100, 50), (20, 20, 60, 40)),
        ('width="100mm" height="50mm" viewBox="-10 -5 100 50"', (100, 50), (20, 30, 40, 40)),
    ],
)  # fmt: skip
def test_size_and_place_follow_the_page(tmp_path, page, size, bounds) -> None:
    artwork = read(drawn(tmp_path, BOX, page))
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx(size)
    assert artwork.true_size
    assert shapely.total_bounds(artwork.shapes) == pytest.approx(bounds, abs=0.0011)


def test_px_are_said(tmp_path) -> None:
    artwork = read(drawn(tmp_path, BOX, 'width="96" height="96" viewBox="0 0 96 96"'))
    assert any("96 px are taken as 1 inch" in note for note in artwork.notes)


def test_units_say_what_a_bare_number_is(tmp_path) -> None:
    artwork = read(drawn(tmp_path, BOX, 'width="100" height="50"'), units="mm")
    assert (artwork.width_mm, artwork.height_mm) == (100, 50)
    assert shapely.total_bounds(artwork.shapes) == pytest.approx((10, 35, 30, 45))
    only_box = read(drawn(tmp_path, BOX, 'viewBox="0 0 100 50"'), units="cm")
    assert (only_box.width_mm, only_box.true_size) == (1000, True)


@pytest.mark.parametrize("page", ['viewBox="0 0 100 50"', 'width="100%" height="100%" viewBox="0 0 100 50"', ""])
def test_without_a_size_there_is_no_true_size(tmp_path, page) -> None:
    artwork = read(drawn(tmp_path, '<rect width="100" height="50"/>', page))
    assert (artwork.width_mm, artwork.height_mm, artwork.true_size) == (None, None, False)
    x0, y0, x1, y1 = shapely.total_bounds(artwork.shapes)
    assert (x1 - x0, y1 - y0) == pytest.approx((1000, 500))


def test_nothing_on_no_page_is_refused(tmp_path) -> None:
    with pytest.raises(InputError, match="no shape with an area"):
        read(drawn(tmp_path, '<path d="M0 0h9"/>', ""))


def test_layers_are_named_by_title_or_id(tmp_path) -> None:
    inside = f'<g id="CUT-AREA"><title>CUT AREA</title>{BOX}</g><g id="sky">{BOX}</g><rect width="3" height="3"/>'
    artwork = read(drawn(tmp_path, inside))
    assert list(artwork.layers) == ["CUT AREA", "sky", ""]
    assert shapely.area(artwork.shapes).sum() == pytest.approx(209)


def test_a_layer_without_a_title_goes_by_its_label(tmp_path) -> None:
    """Drawing programs label layers in a namespace of their own; a number stands in the id, or none."""
    page = 'xmlns:own="https://example.org/own" width="100mm" height="50mm" viewBox="0 0 100 50"'
    other = '<rect x="50" y="5" width="20" height="10"/>'
    inside = f'<g id="layer1" own:label="jetty">{BOX}</g><g own:label="boat">{other}</g>'
    assert list(read(drawn(tmp_path, inside, page)).layers) == ["jetty", "boat"]


def test_what_is_in_no_layer_with_a_name_may_go_by_one(tmp_path) -> None:
    """Beside a layer that has that name already it joins it, nothing twice."""
    drawing = read(drawn(tmp_path, f'<g id="sky">{BOX}</g><g><rect x="20" y="5" width="20" height="10"/></g>'))
    assert {name: len(shapes) for name, shapes in drawing.named("rest").layers.items()} == {"sky": 1, "rest": 1}
    assert shapely.area(drawing.named("sky").layers["sky"]).tolist() == pytest.approx([300])


def test_layer_is_disjoint_and_doubles_are_noted(tmp_path) -> None:
    artwork = read(drawn(tmp_path, BOX + BOX + '<rect x="25" y="5" width="20" height="10"/>'))
    assert len(artwork.layers[""]) == 1
    assert shapely.area(artwork.shapes).sum() == pytest.approx(350)
    assert any("twice" in note for note in artwork.notes)


@pytest.mark.parametrize(
    ("inside", "said"),
    [
        (BOX + '<path d="M40 10h20v20"/>', "straight line closed it"),
        (BOX + '<path d="M40 10l20 20h-20l20 -20z"/>', "crosses itself"),
        (BOX + '<path d="M40 10h20z"/>', "without area"),
        (BOX + '<image href="x.png" width="5" height="5"/>', "made of dots"),
        (BOX + '<rect x="60" width="9" height="9" fill="white"/>', "white shapes"),
        (BOX + '<rect x="60" width="9" height="9" fill="url(#g)"/>', "taken as solid"),
        (BOX + '<rect x="60" width="9" height="9" opacity="0.5"/>', "see-through"),
        (BOX + '<rect x="60" width="0.005" height="0.005"/>', "specks"),
        (BOX + '<use href="#gone"/>', "not in the file"),
        (BOX + '<blob id="b"/>', "not understood"),
        (BOX + "<style>rect:nth-child(2n) {fill: none}</style>", "too elaborate"),
        (BOX + "<style>@media print {rect {fill: none}}</style>", "too elaborate"),
    ],
)
def test_every_change_is_noted(tmp_path, inside, said) -> None:
    notes = read(drawn(tmp_path, inside)).notes
    assert any(said in note for note in notes), notes


def test_a_crossing_is_told_with_its_place(tmp_path) -> None:
    (note,) = read(drawn(tmp_path, '<path d="M40 10l20 20h-20l20 -20z"/>')).notes
    assert "(<path> in line 1) near 50.0, 30.0 mm from the drawing's lower left corner" in note


@pytest.mark.parametrize(
    ("inside", "said", "remedy"),
    [
        (BOX + '<text x="5" y="5">snow</text>', "is text", "convert text to paths first"),
        ('<image href="x.png" width="5" height="5"/>', "only a picture", "trace"),
        ("", "no shape with an area", "fill"),
        ('<path d="M0 0h10" fill="none"/>', "no shape with an area", "fill"),
        ('<path d="M0 0 L 5 X 3"/>', "at character 6, got 'L 5 X 3'", "plain SVG"),
        ('<path d="M0 0 L 5"/>', "at character 6, got 'L 5'", "plain SVG"),
        ('<path d="M0 0 5 5 9 0z foo"/>', "at character 15, got 'foo'", "plain SVG"),
        ('<path d="M0 0A1 1 0 2 0 5 5"/>', "at character 5, got 'A1 1", "plain SVG"),
        ('<path d="M0 0h"/>', "at character 5, got 'h'", "plain SVG"),
        ('<path d="L5 5"/>', "does not begin with M", "plain SVG"),
        ('<path d="M0 0L1e999 5 5 5z"/>', "not numbers", "coordinates"),
        ('<rect width="nan" height="3"/>', "width that can't be read", "mm"),
        ('<rect width="-3" height="3"/>', "negative", "again"),
        ('<g transform="wobble(3)"><path/></g>', "transform", "plain SVG"),
        ('<path d="M0 0h99999v9z"/>', "at most 5000 mm", "unit"),
        ('<rect clip-path="url(#c)" width="3" height="3"/>', "clip path", "intersect"),
        ('<g style="mask:url(#c)"><rect width="3" height="3"/></g>', "mask", "intersect"),
        ('<use href="other.svg#a"/>', "another file", "paste"),
        ('<g id="a"><use href="#a"/></g>', "contains itself", "unlink"),
        ('<use id="a" href="#b"/><use id="b" href="#a"/>', "contains itself", "unlink"),
    ],
)
def test_refusals_name_file_place_and_remedy(tmp_path, inside, said, remedy) -> None:
    path = drawn(tmp_path, inside)
    with pytest.raises(InputError) as caught:
        read(path)
    assert said in str(caught.value)
    assert str(caught.value).startswith(str(path))
    assert remedy in caught.value.hint


def test_a_dot_is_a_line_without_length_and_round_ends(tmp_path) -> None:
    dot = '<path d="M40 20h0" stroke="black" stroke-width="20" stroke-linecap="round"/>'
    (result,) = read(drawn(tmp_path, dot)).shapes
    assert result.area == pytest.approx(math.pi * 100, rel=2e-3)
    assert result.bounds == pytest.approx((30, 20, 50, 40), abs=0.011)


@pytest.mark.parametrize("bar", [(20, 2), (2, 20), (5, 5), (60, 3.1)])
def test_a_bar_with_wholly_round_ends_is_one_plain_shape(tmp_path, bar) -> None:
    """Of which nothing is to be noted: its corners meet in points."""
    width, height = bar
    radius = min(bar) / 2
    lying = f'<rect x="10" y="5.3" width="{width}" height="{height}" rx="{radius}"/>'
    artwork = read(drawn(tmp_path, lying, 'width="100mm" height="50mm" viewBox="0 0 100 50"'))
    exact = math.pi * radius**2 + 2 * radius * (max(bar) - 2 * radius)
    assert (len(artwork.shapes), artwork.notes) == (1, ())
    assert shapely.area(artwork.shapes).sum() == pytest.approx(exact, rel=1e-3)
    ends = (10, 44.7 - height, 10 + width, 44.7)
    assert shapely.total_bounds(artwork.shapes) == pytest.approx(ends, abs=0.005)


def test_a_shape_scaled_to_nothing_is_noted(tmp_path) -> None:
    artwork = read(drawn(tmp_path, BOX + '<g transform="scale(0)"><rect width="9" height="9"/></g>'))
    assert any("scaled down to nothing" in note for note in artwork.notes)


CLIPPED = """<clipPath id="c"><rect x="0" y="0" width="15" height="50"/></clipPath>
<clipPath id="d" clip-path="url(#c)"><path d="M0 0h50v10H0z"/></clipPath>
<clipPath id="loop" clip-path="url(#loop)"><path d="M0 0h50v10H0z"/></clipPath>"""


@pytest.mark.parametrize(
    ("shape", "area"),
    [
        ('<rect x="10" y="5" width="20" height="10" clip-path="url(#c)"/>', 50),
        ('<g clip-path="url(#c)"><g clip-path="url(#d)"><rect x="10" y="5" width="20" height="10"/></g></g>', 25),
        ('<path clip-path="url(#c)" d="M0 5h50" stroke="black" stroke-width="2"/>', 30),
    ],
)
def test_clip_paths_cut_off(tmp_path, shape, area) -> None:
    assert shapely.area(read(drawn(tmp_path, CLIPPED + shape)).shapes).sum() == pytest.approx(area)


@pytest.mark.parametrize("shape", ['<rect clip-path="url(#loop)"', '<rect clip-path="circle(3px)"'])
def test_clip_paths_that_cannot_be_followed_are_refused(tmp_path, shape) -> None:
    with pytest.raises(InputError, match="clip path"):
        read(drawn(tmp_path, f'{CLIPPED}{shape} width="3" height="3"/>'))


def test_only_a_layer_that_is_asked_for_is_read(tmp_path) -> None:
    inside = f'<g id="sky">{BOX}</g><g id="words"><text>snow</text></g>'
    artwork = read(Path(f"{drawn(tmp_path, inside)}#SKY"))
    assert list(artwork.layers) == ["sky"]
    assert artwork.notes == ()


@pytest.mark.parametrize("tolerance", [0.001, 0.01, 0.3])
def test_curves_keep_the_tolerance_that_the_result_tells(tmp_path, tolerance) -> None:
    artwork = read(drawn(tmp_path, '<path d="M10 25A20 20 0 1 1 50 25A20 20 0 1 1 10 25z"/>'), tolerance_mm=tolerance)
    (result,) = artwork.shapes
    assert artwork.tolerance_mm == tolerance
    edge = shapely.get_coordinates(shapely.segmentize(result.exterior, 0.05))
    assert np.abs(np.hypot(*(edge - [30, 25]).T) - 20).max() < tolerance + 0.001


# Path data and transforms against svgelements, an independent reader.

numbers = st.floats(-50, 50).map(lambda value: round(value, 3))


def _command(letter: str, count: int):
    return st.lists(numbers, min_size=count, max_size=count).map(lambda row: letter + " ".join(map(str, row)))


#: Smooth commands only behind their own kind: else the first control point is the current point (SVG 1.1 section
#: 8.3.6), which svgelements 1.9.6 does not follow; resvg does (test_svg_rendered).
KINDS = {"L": [2], "H": [1], "V": [1], "M": [2], "CS": [6, 4], "QT": [4, 2]}
COMMANDS = [
    st.tuples(*(_command(letter if upper else letter.lower(), n) for letter, n in zip(letters, counts, strict=True)))
    .map(" ".join)
    for letters, counts in KINDS.items() for upper in (True, False)
]  # fmt: skip
ARCS = st.builds(
    lambda letter, rx, ry, turn, large, sweep, x, y: f"{letter}{rx} {ry} {turn} {large}{sweep}{x} {y}",
    st.sampled_from("Aa"), st.floats(1, 50), st.floats(1, 50), st.floats(-180, 180),
    st.integers(0, 1), st.integers(0, 1), numbers, numbers,
)  # fmt: skip


@given(st.lists(st.one_of(*COMMANDS, ARCS, st.just("z")), min_size=1, max_size=8))
@settings(deadline=None)
def test_path_data_agrees_with_svgelements(parts) -> None:
    text = "M1 2" + " ".join(parts)
    ours = [line for line in pathdata.parse(text, 0.01) if len(line.xy) > 1 and np.ptp(line.xy, axis=0).any()]
    other = svgelements.Path(text)
    other = [segment for segment in other if segment.length(error=1e-3) > 0]
    spots = np.array(
        [
            [p.x, p.y]
            for segment in other
            if not isinstance(segment, svgelements.Move)
            for p in map(segment.point, (0.0, 0.31, 0.5, 0.77, 1.0))
        ]
    )
    if not ours or not len(spots) or not np.isfinite(spots).all():  # svgelements gives nan for an arc that goes nowhere
        return
    drawn = shapely.union_all([shapely.LineString([*line.xy, line.xy[0]] if line.closed else line.xy) for line in ours])
    assert shapely.distance(shapely.points(spots), drawn).max() < 0.0105


@given(st.lists(st.one_of(
    st.tuples(numbers, numbers).map(lambda v: f"translate({v[0]},{v[1]})"),
    st.floats(0.1, 4).map(lambda v: f"scale({v})"),
    st.tuples(numbers, numbers, numbers).map(lambda v: f"rotate({v[0]} {v[1]} {v[2]})"),
    st.floats(-60, 60).map(lambda v: f"skewX({v})"),
    st.floats(-60, 60).map(lambda v: f"skewY({v})"), st.just("matrix(1 .5 -.5 2 3 4)"),
), min_size=1, max_size=4).map(" ".join))  # fmt: skip
@settings(deadline=None)
def test_transforms_agree_with_svgelements(text) -> None:
    other = svgelements.Matrix(text)
    assert tuple(transforms.parse(text)) == pytest.approx(
        (other.a, other.b, other.c, other.d, other.e, other.f), rel=1e-6, abs=1e-6
    )


@given(
    st.lists(st.floats(0.3, 1), min_size=3, max_size=12),
    st.lists(st.one_of(
        st.tuples(st.just("rotate"), st.floats(-180, 180)), st.tuples(st.just("scale"), st.floats(0.5, 2)),
        st.tuples(st.just("skewX"), st.floats(-40, 40)), st.tuples(st.just("translate"), st.floats(-30, 30)),
    ), max_size=4),
)  # fmt: skip
@settings(deadline=None)
def test_a_polygon_in_nested_groups_comes_back_the_same(tmp_path_factory, radii, calls) -> None:
    angle = 2 * math.pi * np.arange(len(radii)) / len(radii)
    xy = 20 * np.column_stack([np.cos(angle), np.sin(angle)]) * np.array(radii)[:, None]
    inside = f'<polygon points="{" ".join(f"{x!r},{y!r}" for x, y in xy.tolist())}"/>'
    for name, value in calls:
        inside = f'<g transform="{name}({value})">{inside}</g>'
    path = drawn(tmp_path_factory.mktemp("a"), inside, 'width="100mm" height="50mm" viewBox="-50 -25 100 50"')
    moved = np.column_stack([xy, np.ones(len(xy))]).T
    for name, value in calls:
        t = math.radians(value)
        matrix = {
            "rotate": [[math.cos(t), -math.sin(t), 0], [math.sin(t), math.cos(t), 0], [0, 0, 1]],
            "scale": [[value, 0, 0], [0, value, 0], [0, 0, 1]], "skewX": [[1, math.tan(t), 0], [0, 1, 0], [0, 0, 1]],
            "translate": [[1, 0, value], [0, 1, 0], [0, 0, 1]],
        }[name]  # fmt: skip
        moved = np.array(matrix) @ moved
    wanted = shapely.Polygon(np.column_stack([moved[0] + 50, 25 - moved[1]]))
    if wanted.area < 1:
        return
    result = shapely.union_all(read(path).shapes)
    assert result.hausdorff_distance(wanted) < 0.002


@pytest.mark.parametrize(
    "words",
    [
        'transform="rotate(1e400)"', 'transform="skewX(1e400)"', 'transform="skewY(-1e400)"',
        'transform="scale(1e400)"',
        'transform="matrix(1 0 0 1 1e400 0)"', f'transform="rotate({"9" * 5000})"', f'style="opacity:{"9" * 5000}"',
    ],
    ids=lambda words: words[:22],
)  # fmt: skip
def test_numbers_beyond_measure_are_told_with_their_place(tmp_path, words):
    with pytest.raises(InputError, match="can't be read") as raised:
        read(drawn(tmp_path, f"<g {words}>{BOX}</g>"))
    assert "drawn.svg" in str(raised.value)


_PAGE = 'width="40mm" height="30mm" viewBox="0 0 40 30"'


def _squares(count, *, run):
    """Squares in three colours that change after so many, as elements, and what is seen of each: painted one by one."""
    rng = np.random.default_rng(3)
    inks, seen = ("#cc3333", "#111122", "#99aabb"), {}
    drawing = []
    for k, (x, y, r) in enumerate(rng.uniform((4, 4, 1), (36, 26, 3), (count, 3)).round(2)):
        ink = inks[k // run % 3]
        drawing.append(f'<rect x="{x - r:.2f}" y="{y - r:.2f}" width="{2 * r:.2f}" height="{2 * r:.2f}" fill="{ink}"/>')
        shape = shapely.box(x - r, y - r, x + r, y + r)
        seen = {name: one.difference(shape) for name, one in seen.items()}
        seen[ink] = shape.union(seen.get(ink, shapely.Polygon()))
    return "".join(drawing), {ink: each.area for ink, each in seen.items()}


@pytest.mark.parametrize(("count", "run"), few([(90, 2), (400, 1)], 1))
def test_colours_hide_one_another_as_a_painter_lays_them_on(tmp_path, count, run):
    inside, seen = _squares(count, run=run)
    artwork = read(drawn(tmp_path, inside, _PAGE), by_colour=True)
    areas = {ink: shapely.area(artwork.layers[name]).sum() for name, ink in artwork.colours.items()}
    assert areas == pytest.approx(seen, abs=0.05)
    assert artwork.notes == ()


def test_a_layer_of_several_colours_is_noted_by_its_plain_name(tmp_path) -> None:
    specks = "".join(
        f'<path fill="{ink}" d="M{x} 5h9v9zM30 {x}h.005v.005z"/>' for ink, x in (("#5b86a3", 10), ("#234", 40))
    )
    notes = read(drawn(tmp_path, f'<g id="water">{specks}</g>'), by_colour=True).notes
    assert notes == ("1 specks smaller than 0.0001 square mm are left out (2 times), the first in layer 'water'",)


@pytest.mark.parametrize(("count", "parted"), [(24, True), (25, False)])
def test_a_layer_in_very_many_colours_is_a_picture(tmp_path, count, parted):
    inks = ["#" + "".join(channels) for channels in itertools.product("08f", repeat=3)][:count]
    inside = "".join(f'<path d="M{3 * k} 0h2v9h-2z" fill="{ink}"/>' for k, ink in enumerate(inks))
    artwork = read(drawn(tmp_path, inside), by_colour=True)
    assert len(artwork.layers) == (count if parted else 1)
    assert any("more than 24 colours" in note for note in artwork.notes) != parted


def _inks(tmp_path, paint, defs="", more=""):
    """Colours of a dark shape and of one in this paint, and the notes."""
    artwork = read(
        drawn(
            tmp_path, f'<defs>{defs}</defs><path d="M0 0h9v9h-9z" fill="#123"/><path d="M20 0h9v9h-9z" {paint}/>{more}'
        ),
        by_colour=True,
    )
    return list(artwork.colours.values()), artwork.notes


def _gradient(stops, words='id="g"'):
    return f"<linearGradient {words}>{stops}</linearGradient>"


_LIGHT = '<stop offset="20%" stop-color="#ffffff"/><stop offset=".6" style="stop-color:#a0b0c0"/>'


@pytest.mark.parametrize(
    ("defs", "mean"),
    [
        (_gradient(_LIGHT), "#c6d0d9"),  # white over 0.2, the mean of both over 0.4, the other over 0.4
        (_gradient("", 'id="g" href="#h"') + _gradient(_LIGHT, 'id="h" x1="0"'), "#c6d0d9"),
        (_gradient('<stop stop-color="black" stop-opacity=".5"/><stop offset="1" stop-opacity="50%"/>'),
         "#808080"),
        (_gradient('<stop stop-color="black"/><stop offset="1" style="stop-opacity:0"/>'), "#808080"),
        (_gradient('<stop class="dusk"/>') + "<style>.dusk {stop-color: oklch(100% 0 0)}</style>", "#ffffff"),
        (_gradient('<stop offset=".8" stop-color="#fff"/><stop offset=".2" stop-color="#000"/>'), "#cccccc"),
        ('<g color="#c63">' + _gradient('<stop stop-color="currentColor"/>') + "</g>", "#cc6633"),
        (_gradient('<stop stop-color="inherit"/>', 'id="g" stop-color="#c63"'), "#cc6633"),
        (_gradient('<stop offset="NaN" stop-color="#c63"/>'), "#cc6633"),
    ],
    ids=range(9),
)  # fmt: skip
def test_a_gradient_counts_in_its_mean_colour(tmp_path, defs, mean):
    inks, notes = _inks(tmp_path, 'fill="url(#g)"', defs)
    assert inks == ["#112233", mean]
    assert any("in its mean colour" in note for note in notes)


def test_a_gradient_of_nothing_is_not_drawn(tmp_path):
    loop = _gradient("", 'id="g" href="#g"')
    for defs in (loop, _gradient('<stop stop-color="red" stop-opacity="0"/>')):
        inks, notes = _inks(tmp_path, 'fill="url(#g)"', defs)
        assert inks == ["#112233"]
        assert [note.partition(" <")[0] for note in notes] == ["a gradient without colours paints nothing"]


@pytest.mark.parametrize(
    ("paint", "said"),
    [("url(#p)", "patterned"), ("url(#no)", "patterned"), ("color(rec2020 .5 1 1)", "rec2020"), ("color()", "color()"),
     ("var(--ink)", "var(--ink)"), ("oklab(1e400 0 0)", "1e400"), ("lab(1e400% 0 0)", "1e400"),
     ("color(display-p3 1e300 0 0)", "1e300"), ("url(#g)", "1e400")],
)  # fmt: skip
def test_what_tells_no_colour_is_drawn_and_noted_and_is_not_black(tmp_path, paint, said):
    inks, notes = _inks(
        tmp_path, f'fill="{paint}"', '<pattern id="p"/>' + _gradient('<stop stop-color="lab(1e400% 0 0)"/>')
    )
    assert inks == ["#112233", ""]
    assert [said in note for note in notes if "no ink is told" in note] == [True]


@pytest.mark.parametrize(
    ("paint", "ink"),
    [
        ("lab(54.29 80.80 69.89)", "#ff0000"), ("lch(54.29% 106.84 40.86)", "#ff0000"),  # red: CSS Color 4, from memory
        ("oklch(62.8% 0.2577 29.23)", "#ff0000"), ("oklab(0.628 0.2249 0.1258)", "#ff0000"),  # from memory
        ("lab(53.585 none none)", "#808080"), ("oklch(1 none none)", "#ffffff"), ("hsl(none 0% 100%)", "#ffffff"),
        ("color(srgb-linear 1 .2140 0)", "#ff8000"), ("color(display-p3 1 1 none)", "#ffff00"),
        ("url(#gone) #f80", "#ff8800"),
    ],
)  # fmt: skip
def test_colours_of_todays_css_are_inks(tmp_path, paint, ink):
    ((_, got), _) = _inks(tmp_path, f'fill="{paint}"')
    assert np.abs(np.subtract(rgb(got), rgb(ink))).max() <= 6  # of D50 without Bradford's adaptation


def test_display_p3_is_what_its_primaries_make():
    """White of D65 by red, green and blue at (x, y) of SMPTE EG 432-1 (from memory)."""
    xy = np.array([[0.680, 0.320], [0.265, 0.690], [0.150, 0.060], [0.3127, 0.3290]])
    xyz = (np.column_stack([xy, 1 - xy.sum(axis=1)]) / xy[:, 1:]).T
    np.testing.assert_allclose(paints._P3, xyz[:, :3] * np.linalg.solve(xyz[:, :3], xyz[:, 3]), atol=1e-5)


def test_colours_that_hardly_differ_are_one_ink(tmp_path):
    inks, notes = _inks(tmp_path, 'fill="#123"', more='<path d="M20 12h9v9h-9z" fill="#112234"/>')
    assert inks == ["#112233"]
    assert any("hardly differ" in note and "#112234 and #112233" in note for note in notes)
    assert _inks(tmp_path, 'fill="#fffffe"')[0] == ["#112233", "#ffffff"], "paper"
    assert _inks(tmp_path, 'fill="#1f3347"')[0] == ["#112233", "#1f3347"]


@pytest.mark.parametrize(
    ("loose", "name"),
    [
        ('<rect id="sky" width="40" height="30"/>', "sky"),
        ('<rect id="rect12-3" width="40" height="30"/>', "mine"),  # numbered by a program
        ('<rect width="40" height="30"/>', "mine"),
        ('<rect id="sky" width="40" height="30"/><rect id="sea" width="9" height="9"/>', "mine"),  # not alone
    ],
)
def test_what_is_in_no_group_stays_where_it_is_drawn_and_a_lone_shape_goes_by_its_id(tmp_path, loose, name) -> None:
    """A sky drawn first and in no group was put in front of all: every block came out blank."""
    path = tmp_path / "mine.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
        f'{loose}<g id="hill"><rect y="20" width="40" height="10"/></g></svg>'
    )
    assert list(read(path).named("mine").layers) == [name, "hill"]
    if name != "mine":
        assert list(read(Path(f"{path}#{name}")).layers) == [name]
