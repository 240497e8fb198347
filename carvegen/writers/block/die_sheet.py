"""A die's own files: its bevelled wall as rings with their depths, as SVG, DXF and a note."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, TypeAlias

from carvegen import geometry
from carvegen.blocks.embossing.paper_strain import taut
from carvegen.blocks.embossing.pressing import paper_thickness_mm, stop_depth_mm, wall_rings
from carvegen.blocks.layer_names import LAYERS, FileLayer
from carvegen.blocks.views import View, seen
from carvegen.facts.cautions import caution
from carvegen.writers.block.block_drawing import layers_dxf
from carvegen.writers.formats.svg_page import svg_of
from carvegen.writers.sheet import Drawing, DrawnLayer, around

if TYPE_CHECKING:
    from carvegen.blocks.embossing.pressing import Die
    from carvegen.blocks.job import Job, Setup
    from carvegen.geometry import PolygonArray

__all__ = ["DIE_FILES", "Steps", "die_dxf", "die_note", "die_svg", "relief_dxf", "relief_svg"]

#: What the files are for.
DIE_FILES = {
    "note.md": "how the die is made and pressed: read first",
    "wall.svg": "the die's face, and its wall as rings with their depths, as the die lies",
    "wall.dxf": "the same as closed polylines, a layer for each depth",
}
#: Steps of a relief, print view: the name of each one's layer, what it asks, its shapes.
Steps: TypeAlias = "Sequence[tuple[str, str, PolygonArray]]"
STOPS = "STOPS"  #: the layer of what stands in the waste
_NARROWEST_MM = 120.0
_LIGHTEST, _DARKEST = 214, 84  #: greys of the first and the last ring


def die_svg(job: Job, die: Die) -> str:
    """The face's outline, and every ring of the wall filled, on a layer that says how deep; at true size."""
    return relief_svg(job, _layers(job, die), _about_die(die))


def die_dxf(job: Job, die: Die) -> str:
    """The same as closed polylines, release 2000; the origin is the die's lower left corner."""
    return relief_dxf(job, _layers(job, die))


def relief_svg(job: Job, drawn: Steps, about: Sequence[str]) -> str:
    """Steps of a relief in block view, the first as outlines, the others filled; their layers say how deep."""
    shown = seen(job, View.BLOCK)
    layers = _as_layers(job, drawn)
    words = [f"{shown.name}: {shown.view.words}", *about, *(f"{layer.name}: {layer.asks}." for layer, _ in layers)]
    sheet = around(shown, max(shown.width_mm, _NARROWEST_MM), words)
    edges = [(_edge("BLOCK EDGE", "#6b5a4a", "where the die lies"), shown.face)]
    if shown.waste_mm:
        edges.append((_edge("BOARD EDGE", "#9a8f80", "how large the board is"), shown.board))
    return svg_of(
        Drawing(
            title=f"{shown.name}, wall of the die, {shown.view.value} view",
            about=f"{shown.view.words} Millimetres, 1:1.",
            sheet=sheet,
            layers=(
                *(DrawnLayer(layer=layer, what=shapes, filled=k > 0) for k, (layer, shapes) in enumerate(layers)),
                *(DrawnLayer(layer=layer, what=geometry.polygon_array([shape])) for layer, shape in edges),
            ),
        )
    )


def _edge(name: str, colour: str, asks: str) -> FileLayer:
    return FileLayer(name=name, colour=colour, index=LAYERS[name].index, drawn="", asks=asks)


def relief_dxf(job: Job, drawn: Steps) -> str:
    """The same as closed polylines, release 2000; the origin is the die's lower left corner."""
    shown = seen(job, View.BLOCK)
    layers = _as_layers(job, drawn)
    words = f"{shown.view.words} " + "; ".join(f"{layer.name}: {layer.asks}" for layer, _ in layers)
    return layers_dxf(dict(layers), (shown.width_mm, shown.height_mm), words=words)


def die_note(job: Job, die: Die, counter: Setup) -> str:
    """What the die is, what the paper must bear, and how both sheets are laid."""
    how = die.pressing
    rings = wall_rings(die)
    rows = [f"| {_name(k)} | {ring.depth_mm:.2f} | {len(ring.shapes)} |" for k, ring in enumerate(rings)]
    laid = (
        "It presses from the back of the sheet: the die lies face up, the sheet on it face up, the counter-sheet on "
        "top. The shape rises towards you."
        if how.back
        else "The die is pressed into the face of the sheet, the counter-sheet lies under it: the shape sinks."
    )
    parts = [
        f"# {job.block.name}: die for blind embossing",
        "\n".join(f"- {line}" for line in [seen(job, View.BLOCK).view.words, *_about_die(die), laid]),
        "## Wall",
        "Lower each ring to its depth, from the face down; the stair lies on the wall on average. Smooth it with fine "
        "abrasive paper until no step is felt, and round the upper edge: a sharp edge cuts the paper. A conical cutter "
        f"whose sides lean {how.bevel_deg:g} degrees from the vertical (point {2 * how.bevel_deg:g} degrees) makes the "
        "wall in one pass along the foot instead.",
        "\n".join(["| layer | depth, mm | closed shapes |", "| --- | ---: | ---: |", *rows, *_stop_row(job, die)]),
        "## Counter-sheet",
        f"{counter.material.name}, {counter.thickness_mm:g} mm thick, with holes as in the folder `counter`, which has "
        f"files and a note of its own: each is the foot of the die and {how.sheet_mm:.2f} mm, the paper's thickness, "
        "beside it. It is laid the other way round than the die, and its files are made for that.",
        "## Press",
        "Soak and blot the paper; press a test piece of the same paper first. Cover the edges of the plate.",
        caution("printing-press"),
    ]
    return "\n\n".join(parts) + "\n"


def _stop_row(job: Job, die: Die) -> Sequence[str]:
    pads = job.block.register.pads if job.block.register is not None else ()
    return [f"| {STOPS} | {stop_depth_mm(die.pressing):.2f} | {len(pads)} |"] if len(pads) else []


def _about_die(die: Die) -> Sequence[str]:
    how = die.pressing
    most = taut(how)
    by = "" if how.paper_mm else f" (computed from its weight: {paper_thickness_mm(how.paper_g_m2):.2f} mm)"
    return (
        f"Relief {how.relief_mm:g} mm; wall {how.bevel_deg:g} degrees from the vertical, {how.run_mm:.2f} mm wide; "
        f"upper edge rounded to {how.edge_mm:g} mm; corners {how.corner_mm:g} mm or more.",
        f"Paper {how.paper_g_m2:g} g/m2, {how.sheet_mm:.2f} mm thick{by}. Down the wall it is stretched by "
        f"{100 * how.strain:.1f} % at least (bridged: it gives over the wall and its own thickness beside it) and "
        f"{100 * most.down:.1f} % at most (taut: nothing slides in from beside); then along the wall by up to "
        f"{100 * most.outward:.1f} % at the sharpest corner outward and {100 * most.inward:.1f} % inward. Damp cotton "
        "paper bears 10 to 15 % (common practice, no source).",
    )


def _layers(job: Job, die: Die) -> Steps:
    face = ("DIE FACE", "stays standing: the line where the face begins", geometry.parts(die.face))
    steps = [(_name(k), f"lower to {ring.depth_mm:.2f} mm", ring.shapes) for k, ring in enumerate(wall_rings(die))]
    pads = job.block.register.pads if job.block.register is not None else geometry.empty()
    asks = f"lower to {stop_depth_mm(die.pressing):.2f} mm: stops for the sheet, lower than the die's face"
    return [face, *steps, *([(STOPS, asks, pads)] if len(pads) else [])]


def _as_layers(job: Job, drawn: Steps) -> list[tuple[FileLayer, PolygonArray]]:
    """Each step on its layer, darker the later, as the die lies."""
    turned, width = job.block.turned, round(job.block.width_mm, 3)
    return [
        (FileLayer(name=name, colour=_grey(k, len(drawn) - 1), index=250 + k % 5, drawn="", asks=asks),
         geometry.mirrored(shapes, width) if turned else shapes)
        for k, (name, asks, shapes) in enumerate(drawn)
    ]  # fmt: skip


def _name(k: int) -> str:
    return f"WALL STEP {k + 1}"


def _grey(k: int, count: int) -> str:
    return "#" + 3 * f"{round(_LIGHTEST + (_DARKEST - _LIGHTEST) * k / max(count, 1)):02x}"
