"""Clean artwork: layers of closed shapes at true size in print view, as SVG or DXF, and a picture of them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from PIL import Image

from carvegen import geometry
from carvegen.artwork.drawing import known_words
from carvegen.artwork.scan.planes import UNSURE
from carvegen.base.colour import overprinted, screen
from carvegen.base.errors import InputError
from carvegen.blocks.layer_names import FileLayer
from carvegen.geometry.coverage import coverage
from carvegen.writers.formats.png_bytes import SMALL, png_bytes
from carvegen.writers.formats.svg_page import SvgPage

if TYPE_CHECKING:
    from carvegen.base.colour import Ink
    from carvegen.geometry import Floats, PolygonArray

__all__ = ["artwork_dxf", "artwork_png", "artwork_svg", "page_size"]

#: Muted colours, dark to light, with their DXF indices; a layer is told by its name.
_COLOURS = (("#2b3a4e", 250), ("#5f7f86", 135), ("#a8742a", 33), ("#7a5a74", 225), ("#6b5a4a", 35), ("#77776e", 253))
_NO_NAME = "SHAPES"
_VIEW = "Artwork, PRINT VIEW: as the paper will show it. UNITS=MM, true size."
_MOST_SIDE_PX = 2400
_PX_PER_MM = 10.0
_PAPER = (251, 250, 246)
_UNSURE, _HATCH_MM = "#c2571a", 1.2  #: of the hatching over what is not sure


def artwork_svg(
    layers: Mapping[str, PolygonArray], size: tuple[float, float], about: str = "", *, known_mm: float = 0.0
) -> str:
    """A page of `size` mm: a group for each layer, its name as the title, filled closed paths.

    Parameters
    ----------
    about
        Its description; how near outlines are known (`Artwork.known_mm`) stands behind it.
    """
    about = "; ".join(filter(None, (about, known_words(known_mm))))
    page = SvgPage((0, 0, *size), title="Artwork, print view", about=about)
    made = _layers(layers)
    for layer, name, shapes in zip(made, _ids(made), layers.values(), strict=True):
        look: dict[str, Any] = {"fill": layer.colour, "stroke": "none", "fill_rule": "evenodd"}
        page.group(layer.name, layer.asks, name=name, shapes=shapes, **look)
    return page.to_text()


def artwork_dxf(layers: Mapping[str, PolygonArray], size: tuple[float, float], *, known_mm: float = 0.0) -> str:
    """Closed polylines in millimetres on layers of the same names, DXF release 2000."""
    from carvegen.writers.block.block_drawing import layers_dxf

    words = " ".join(filter(None, (_VIEW, known_words(known_mm))))
    return layers_dxf(dict(zip(_layers(layers), layers.values(), strict=True)), size, words=words)


def artwork_png(
    layers: Mapping[str, PolygonArray], size: tuple[float, float], *, coats: Mapping[str, Ink] | None = None
) -> bytes:
    """The layers over one another on paper, the darkest on top; at most some 2400 pixels along a side.

    What is not sure lies hatched over all.

    Parameters
    ----------
    coats
        Inks by layer, in printing order: then these layers look as they print over one another; others lie over them.
    """
    px = min(_PX_PER_MM, _MOST_SIDE_PX / max(size))
    pixels = (max(round(size[0] * px), 1), max(round(size[1] * px), 1))
    covers = {name: coverage(geometry.moved(shapes, (0, 0), scale=px), pixels) for name, shapes in layers.items()}
    unsure = covers.pop(UNSURE, None)
    coats = coats or {}
    light = overprinted(_PAPER, [(ink, covers[name]) for name, ink in coats.items() if name in covers])
    picture = Image.fromarray(np.round(screen(np.broadcast_to(light, (*pixels[::-1], 3)))).astype(np.uint8))
    for layer, (name, cover) in reversed(list(zip(_layers(covers), covers.items(), strict=True))):
        if name not in coats:
            picture.paste(layer.colour, mask=_mask(cover))
    if unsure is not None:
        rows, columns = np.indices(unsure.shape)
        picture.paste(_UNSURE, mask=_mask(unsure * ((rows + columns) / px % _HATCH_MM < _HATCH_MM / 2)))
    return png_bytes(picture, px_per_mm=px, level=SMALL)


def _mask(cover: Floats) -> Image.Image:
    return Image.fromarray(np.round(cover * 255).astype(np.uint8))


def page_size(layers: Mapping[str, PolygonArray], width: float | None, height: float | None) -> tuple[float, float]:
    """The page, or else as far as the shapes reach from the origin, in mm."""
    if width is not None and height is not None:
        return width, height
    right, top = shapely.total_bounds(geometry.stack(layers.values()))[2:]
    if right <= 0 or top <= 0:
        raise InputError("lies below or left of the origin", hint="move the drawing to the right of and above it")
    return round(float(right), 3), round(float(top), 3)


def _layers(names: Iterable[str]) -> list[FileLayer]:
    """A layer for each name, spelt as DXF allows; no two are alike."""
    dxf_layers: list[FileLayer] = []
    for k, name in enumerate(names):
        colour, index = _COLOURS[min(k, len(_COLOURS) - 1)]
        shown = re.sub(r'[<>/\\":;?*|=`%\x00-\x1f]', "-", name.strip()) or _NO_NAME
        same = sum(layer.name.upper() == shown.upper() for layer in dxf_layers)
        dxf_layers.append(
            FileLayer(
                name=f"{shown} {k + 1}" if same else shown,
                colour=colour,
                index=index,
                drawn="filled shapes without an outline",
                asks="closed shapes at true size, in print view",
            )
        )
    return dxf_layers


def _ids(layers: list[FileLayer]) -> list[str]:
    """Ids that XML allows, one a layer: the name where it can be."""
    plain = [re.sub(r"[^A-Za-z0-9_.-]", "-", layer.xml_name) for layer in layers]
    named = [name if name[0].isalpha() else f"L{name}" for name in plain]
    return [name if named.index(name) == k else f"{name}-{k + 1}" for k, name in enumerate(named)]
