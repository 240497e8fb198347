"""Layers: their names, colours, and what each asks of the operator."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from carvegen.base.errors import InputError

__all__ = [
    "BLOCK_EDGE", "BOARD_EDGE", "CUT_AREA", "CUT_OUT", "FINDING", "FREE_FRINGE", "KEEP_CLEAR", "LAYERS",
    "MACHINE_LAYERS", "NOTES", "PLAN_WORDS", "REGISTER", "REGISTER_STOP", "FileLayer", "coloured", "machine_layers",
    "palette",
]  # fmt: skip

CUT_AREA = "CUT AREA"
CUT_OUT = "CUT-OUT"
REGISTER = "REGISTER"
BLOCK_EDGE = "BLOCK EDGE"
FINDING = "FINDING"
NOTES = "NOTES"
REGISTER_STOP = "REGISTER STOP"
BOARD_EDGE = "BOARD EDGE"
KEEP_CLEAR = "KEEP CLEAR"
FREE_FRINGE = "FREE FRINGE"


@dataclass(frozen=True, kw_only=True)
class FileLayer:
    """One layer of a written file."""

    name: str
    colour: str  #: for SVG, such as "#5f7f86"
    index: int  #: DXF colour index, 1…255
    drawn: str  #: how a machine file draws it
    asks: str  #: what it asks of the operator

    @property
    def xml_name(self) -> str:
        """The name as an XML id."""
        return self.name.replace(" ", "-")

    @property
    def r12_name(self) -> str:
        """The name in a DXF of release 12, which allows letters, digits and ``$ - _``."""
        return self.name.replace(" ", "_")


#: Muted colours of our own; a layer is told by its name and its words, never by its colour.
LAYERS: Mapping[str, FileLayer] = {
    layer.name: layer
    for layer in (
        FileLayer(
            name=CUT_AREA,
            colour="#5f7f86",
            index=135,
            drawn="filled shapes without an outline",
            asks="lower this area to the depth in the note; its edge is the edge of the printing land",
        ),
        FileLayer(
            name=CUT_OUT,
            colour="#a8742a",
            index=33,
            drawn="thin closed outlines",
            asks="cut through the whole thickness",
        ),
        FileLayer(
            name=REGISTER,
            colour="#7a5a74",
            index=225,
            drawn="crosses outside the picture, an arrow and the block's name",
            asks="for lining up the block; not to be cut",
        ),
        FileLayer(
            name=BLOCK_EDGE,
            colour="#6b5a4a",
            index=35,
            drawn="a thin closed outline",
            asks="where the block lies; not to be cut unless the note says so",
        ),
        FileLayer(
            name=REGISTER_STOP,
            colour="#8a6f4d",
            index=45,
            drawn="thin closed outlines",
            asks="stops for the sheet, or pin holes, in the waste: as the note says, walls upright, to the line",
        ),
        FileLayer(
            name=BOARD_EDGE,
            colour="#9a8f80",
            index=251,
            drawn="a thin closed outline",
            asks="how large the board must be, with the waste that carries the register; the waste stays on",
        ),
        FileLayer(
            name=FINDING,
            colour="#b0563a",
            index=13,
            drawn="numbered rings",
            asks="a place to look at; only in proofs, never to be cut",
        ),
        FileLayer(
            name=NOTES,
            colour="#77776e",
            index=253,
            drawn="words and a check bar, outside the block",
            asks="to be read and measured; not to be cut",
        ),
        FileLayer(
            name=FREE_FRINGE,
            colour="#8fa3a0",
            index=131,
            drawn="thin closed outlines",
            asks="land that the carver may take or leave, gouge in hand; never for a machine",
        ),
        FileLayer(
            name=KEEP_CLEAR,
            colour="#c9c2b0",
            index=254,
            drawn="a faint tone",
            asks="artwork that stays standing; only in proofs",
        ),
    )
}

#: The layers of a machine file, in the order in which they are worked.
MACHINE_LAYERS = (CUT_AREA, CUT_OUT, REGISTER, BLOCK_EDGE, NOTES)


#: How the names of layers that hold toolpaths begin.
PLAN_WORDS = ("SCORE ", "LOWER ", "SHOULDER ", "CUT-OUT", "CLEAR ", "WALL ", "CENTRE LINE")


def machine_layers(*, free: bool, stops: bool = False, waste: bool = False) -> tuple[str, ...]:
    """`MACHINE_LAYERS`, with those for free fringe, stops and the board's edge, where they are."""
    more = [FREE_FRINGE] * free + [REGISTER_STOP] * stops
    return (*MACHINE_LAYERS[:2], *more, *MACHINE_LAYERS[2:4], *[BOARD_EDGE] * waste, *MACHINE_LAYERS[4:])


def palette(layer_colours: Mapping[str, int]) -> dict[str, FileLayer]:
    """Every layer by its name, with the shop's own colours where it has given some.

    Parameters
    ----------
    layer_colours
        DXF colour indices 1…255 by layer name, from the machine's profile; may be empty. They hold in SVG
        too, as the colour that the index stands for.

    Raises
    ------
    InputError
        If a layer is unknown or an index is out of range.
    """
    unknown = sorted(name for name in layer_colours if name not in LAYERS and not name.startswith(PLAN_WORDS))
    if unknown:
        raise InputError(
            "has an unknown layer",
            value=unknown[0],
            where="layer_colours",
            hint=f"known layers: {', '.join(sorted(LAYERS))}",
        )
    return {name: coloured(layer, layer_colours.get(name)) for name, layer in LAYERS.items()}


def coloured(layer: FileLayer, index: int | None) -> FileLayer:
    """The layer in the colour that a DXF colour index stands for; as it is without one."""
    if index is None:
        return layer
    if not 1 <= index <= 255:
        raise InputError("must be a DXF colour index, 1…255", value=index, where=f"layer_colours: {layer.name}")
    from ezdxf.colors import aci2rgb

    return replace(layer, index=index, colour=aci2rgb(index).to_hex())
