"""A new print of her own drawings: these at true size, and a print file of them that says what to change."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import shapely

from carvegen.base.errors import InputError
from carvegen.motifs import motif
from carvegen.writers.block.clean_artwork import artwork_svg, page_size

if TYPE_CHECKING:
    from carvegen.artwork import Artwork
    from carvegen.geometry import PolygonArray

__all__ = ["face_of", "guess", "print_files"]

_SAME_MM = 0.05  #: two pages that differ by no more are the same
_BACKDROP = 0.6  #: a layer that fills more of the face is what all else stands before, such as a sky: our own choice
_SCENE_MM2 = 200.0 * 150.0  #: the face that flakes are as large for as a weather says: our own choice
_SMALLEST_LARGE_MM = 2.0  #: on the smallest face the largest flakes are still larger than the finest
_KEYS = {
    "blocks": ("name", "role", "ink", "opacity", "layers", "material", "cutter", "for"),
    "motifs": ("motif", "preset", "on", "settings", "far_behind", "middle_behind"),
}
_HEAD = (
    "A print: what its blocks are, what is drawn on them, and what snow falls on it.",
    "Lengths are millimetres. Change a value, build again: only what it touches is made anew.",
    "All that may stand here is in print.schema.json, which editors read; materials, cutters: carvegen profiles list.",
)
_BLOCKS = (
    "The blocks in printing order, light to dark. A guess: change inks and layers, copy a table for one more block.",
    'role: "background" prints all of the face where nothing stands in front (layers = ["*"]), "tone" flat colour,',
    '"key" lines and darks. for: "hand", "laser", "router". mend = true widens what is too thin to stand.',
)
_MOTIFS = (
    "The snow, taken out of every block that would print there. A guess: on names the layers that it lies on;",
    "other weather is another preset (carvegen motifs). Take a table out, and that snow is gone.",
    "settings: largest_mm suits the face; hidden is the share of flakes that go on, cut off, behind what hides them.",
)
_DEPTH = (
    "far_behind and middle_behind: the layers that hide far flakes, and those that hide flakes in the middle distance;",
    "near flakes fall in front of all. A guess by the order of drawing: what is drawn later stands in front.",
)
_NO_DEPTH = (
    "The drawing has no separate layers that say what is near and what is far: flakes fall behind all of it, or in",
    'front. Draw near things on layers of their own, and name those that hide far flakes: far_behind = ["POSTS"].',
)


def guess(layers: Mapping[str, PolygonArray], size_mm: tuple[float, float]) -> dict[str, Any]:
    """What a print of these layers begins as: a lighter ink behind, a dark one that draws, snow on all and in the sky.

    Far flakes fall behind all things, those in the middle distance behind the nearer half, near ones in front of all.
    None of them is cut off by what hides it: one that ends flat at a horizon, or amid one dark of two things, looks
    like a fault.

    Parameters
    ----------
    layers
        Shapes by layer, mm, in the order of drawing: what comes later stands in front.
    size_mm
        The face.

    Returns
    -------
    dict
        `material`, `cutter` and `for`; `blocks` and `motifs` as tables of a print file, the former without these.
    """
    presets = {name: next(iter(motif(name).PRESETS)) for name in ("snowload", "snowfall")}
    most_mm2 = _BACKDROP * size_mm[0] * size_mm[1]
    things = [name for name, shapes in layers.items() if shapely.area(shapes).sum() < most_mm2]
    hides = {"far_behind": things, "middle_behind": things[(len(things) + 1) // 2 :]}
    hides = {key: names for key, names in hides.items() if names}
    return {
        "material": "linoleum", "cutter": "v-60", "for": ["hand"],
        "blocks": [
            {"name": "sky", "role": "background", "ink": "#a9bfcb", "layers": ["*"]},
            {"name": "key", "role": "key", "ink": "#1f2b3d", "layers": list(layers)},
        ],
        "motifs": [
            {"motif": "snowload", "preset": presets["snowload"], "on": list(layers)},
            {"motif": "snowfall", "preset": presets["snowfall"], "settings": {"hidden": 0.0}, **hides},
        ],
    }  # fmt: skip


def face_of(drawings: Sequence[Artwork]) -> tuple[float, float]:
    """The face that drawings are made for, mm: their page, or else as far as their shapes reach from the origin.

    Raises
    ------
    InputError
        If their pages differ, or nothing lies to the right of and above the origin.
    """
    pages = [(its.width_mm, its.height_mm) for its in drawings if its.width_mm and its.height_mm]
    for page in pages[1:]:
        if max(abs(page[0] - pages[0][0]), abs(page[1] - pages[0][1])) > _SAME_MM:
            sizes = " and ".join(f"{width:g} x {height:g} mm" for width, height in (pages[0], page))
            raise InputError(f"the drawings are of different sizes: {sizes}", field="size_mm", hint="say the face's")
    if pages:
        return pages[0]
    sides = [page_size(its.layers, None, None) for its in drawings]
    return max(width for width, _ in sides), max(height for _, height in sides)


def print_files(
    name: str, drawings: Mapping[str, Mapping[str, PolygonArray]], size: tuple[float, float], *,
    blocks: Sequence[Mapping[str, Any]], motifs: Sequence[Mapping[str, Any]],
) -> dict[str, str]:  # fmt: skip
    """A print file and its drawings, each as text by its file's name; the reader says what of it can't be used.

    On a face smaller than 200 x 150 mm the largest flakes are smaller than the weather's, by the root of the area.

    Parameters
    ----------
    drawings
        By file name, layers of polygons in print view, mm.
    blocks, motifs
        Tables as the print file has them; keys that no print begins with are left out.
    """
    import tomlkit

    document = tomlkit.document()
    _say(document, _HEAD)
    document["print"] = {"name": name, "size_mm": list(size), "seed": 1}
    document["artwork"] = {"files": list(drawings)}
    for key, tables, words in (("blocks", blocks, _BLOCKS), ("motifs", motifs, _MOTIFS)):
        rows = tomlkit.aot()
        for its in tables:
            more = {"mend": True} if key == "blocks" else {}
            row = {k: its[k] for k in _KEYS[key] if k in its} | more
            settings = row.get("settings", {}) | (_largest(row, size) if row.get("motif") == "snowfall" else {})
            if settings:
                row["settings"] = tomlkit.inline_table()
                row["settings"].update(settings)
            rows.append(tomlkit.item(row))
        if tables or key == "blocks":
            _say(document, ("", *words, *(_depth(tables, drawings) if key == "motifs" else ())))
            document[key] = rows
    files = {file: artwork_svg(layers, size, name) for file, layers in drawings.items()}
    return {**files, "print.toml": tomlkit.dumps(document)}


def _largest(snowfall: Mapping[str, Any], size: tuple[float, float]) -> dict[str, float]:
    """The largest flake of a weather that suits a small face, as a setting; none on a face for which it is made."""
    small = math.sqrt(max(0.0, size[0] * size[1]) / _SCENE_MM2)
    if small >= 1:
        return {}
    weather = motif("snowfall").Settings(**motif("snowfall").PRESETS.get(str(snowfall.get("preset")), {}))
    return {"largest_mm": max(_SMALLEST_LARGE_MM, round(weather.largest_mm * small, 1))}


def _depth(motifs: Sequence[Mapping[str, Any]], drawings: Mapping[str, Mapping[str, PolygonArray]]) -> tuple[str, ...]:
    """What to say of near and far flakes, if any fall."""
    if not any(table.get("motif") == "snowfall" for table in motifs):
        return ()
    parted = len({name for layers in drawings.values() for name, shapes in layers.items() if len(shapes)}) > 1
    return _DEPTH if parted and any(table.get("far_behind") for table in motifs) else _NO_DEPTH


def _say(document: Any, words: Sequence[str]) -> None:  # noqa: ANN401
    import tomlkit

    for line in words:
        document.add(tomlkit.comment(line) if line else tomlkit.nl())
