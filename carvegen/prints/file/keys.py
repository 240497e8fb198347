"""The tables of a print file: each key is a field, which reader, schema, reference and starter read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from carvegen.base.colour import Ink, Rgb, rgb
from carvegen.base.parameters import (
    Parameter,
    angle,
    choice,
    colour,
    entries,
    flag,
    length,
    number,
    parameters,
    same,
    span,
    table,
    text,
    texts,
    whole,
)  # fmt: skip
from carvegen.blocks.block import SIDES_MM
from carvegen.facts.block_settings import Chance, Cutting, Free, Mending
from carvegen.facts.profiles.profile_values import KINDS
from carvegen.facts.register import RegisterPlan
from carvegen.marking.marks import HoleMeaning, Meaning
from carvegen.toolpaths.settings import FileSettings, PathsByName, PathSettings, PathsWanted

__all__ = [
    "INKED", "LISTS", "ROLES", "TABLES", "ArtworkTable", "MarksTable", "PrintBlock", "PrintLayer", "PrintMark",
    "PrintMotif", "PrintTable", "called_by_kind", "filled", "keys_of",
]  # fmt: skip

#: What a block is for.
ROLES: Mapping[str, str] = MappingProxyType({
    "key": "the lines and darks that carry the picture",
    "tone": "flat colour",
    "background": "all of the face where nothing stands in front",
    "ground": "all of the face, under all others, flat or blended; snow comes out of it, too",
    "emboss": "presses the openings into the paper; no ink",
    "stencil": "a mask, cut through where ink is dabbed",
})  # fmt: skip
INKED = ("key", "tone", "background", "ground")  #: roles of blocks that print ink from their lands

#: How a name that becomes a folder is written.
_PLAIN = "[a-z0-9]+(-[a-z0-9]+)*"
_LAYERS = "names of layers, as the drawing calls them"
_WORDS = (
    'words such as "circle 150 110 12" (Y counts up from the bottom), "circle 150 40 12 from top", "FILE", '
    '"FILE#LAYER" or "FILE at X Y width W"'
)


@dataclass(frozen=True, kw_only=True)
class PrintTable:
    """The print as a whole: the table [print]."""

    name: str = text(help="what the print is called", remedy='name = "ferry landing"')
    size_mm: tuple[float, float] = span(
        help="width and height of the picture: the face of every block", at_least=SIDES_MM[0], at_most=SIDES_MM[1],
        remedy="size_mm = [200, 150]",
    )  # fmt: skip
    paper: Rgb = colour("#fbfaf6", help="colour of the paper")
    seed: int = same(Chance, "seed")
    trap_mm: float = length(0.5, help="how far a lighter ink runs on under a darker one", at_least=0, at_most=3)
    register_error_mm: float = length(
        0.5, at_least=0, at_most=3,
        help="how far two blocks may be out of register: so far light inks stay back from the edges of snow that a "
        "darker ink draws, but not round the ends of these, where it stops; and where they lie on purpose under one "
        "that is not the darkest they go up to it",
    )  # fmt: skip
    paper_g_m2: float = number(
        300.0, help="weight of the paper; embossing asks for 250 to 350", at_least=20, at_most=1200
    )
    paper_mm: float | None = length(
        None, help="thickness of the paper; by its weight, by default", at_least=0.02, at_most=3
    )
    paper_profile: str = text(
        "", help="what is known of the paper that is embossed, measured on an embossing strip: carvegen profiles list; "
        "its weight and thickness then hold",
    )  # fmt: skip
    margin_mm: float = same(Free, "margin_mm")
    bleed_mm: float = length(
        0.0, at_least=0, at_most=50,
        help="strip along the edge of every block that is cut off or masked: the picture ends inside",
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class ArtworkTable:
    """The drawings: the table [artwork]."""

    artwork: tuple[str, ...] = texts(
        key="files", help="the drawings at true size, page on face: FILE or FILE#LAYER; they give the layers"
    )
    in_front: tuple[str, ...] = texts(
        help=f"what stands in front of what: {_LAYERS}, from the front to the back; by default what is drawn later "
        "stands in front"
    )
    units: str = choice(
        "", among=("mm", "cm", "in", "pt"), help="what a bare number in a drawing means, if it does not say"
    )


@dataclass(frozen=True, kw_only=True)
class MarksTable:
    """Where marks are read from: the table [marks]."""

    scans: tuple[str, ...] = texts(
        help="photographs or scans of the print's marking sheet, coloured with pencils: carvegen sheet"
    )
    marks: tuple[str, ...] = texts(
        key="files",
        help="drawings of marks: SVGs as large as the print, their groups named by what is to be done there: "
        f"{', '.join(Meaning)}; or by what holes in the drawing are: {', '.join(HoleMeaning)}",
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class PrintLayer:
    """What the print file says of a layer."""

    name: str = text(help="the layer's name", remedy='name = "MOON"')
    shape: str = text(
        "", help=f"its shape: {_WORDS}; by default as the drawing has it", remedy='shape = "circle 150 110 12"'
    )
    gaps: str = choice(
        "", among=("open", "marks", "guess"),
        help="what holes in it are for lying snow: open air, only marks on it, or guessed by the walls round them; by "
        "default as each motif's gaps says",
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class PrintBlock:
    """One block of the print."""

    name: str = text(
        help="the block's name and its folder", form=_PLAIN,
        remedy='small letters and digits, joined by "-": name = "sky"',
    )  # fmt: skip
    role: str = choice(among=tuple(ROLES), help="what it is for")
    ink_colour: Rgb | None = colour("", key="ink", help="colour of its ink, covering white paper once")
    opacity: float = number(
        0.3,
        help="0: a see-through ink, which darkens what is under it; 1: hides all that is under it",
        at_least=0,
        at_most=1,
    )
    layers: tuple[str, ...] = texts(
        help=f'what prints on it: {_LAYERS}; ["*"], all of the face, for background and ground'
    )
    material: str = text(help="what it is made of: carvegen profiles list")
    cutter: str = text(help="what cuts it: carvegen profiles list")
    more_cutters: tuple[str, ...] = same(PathsByName, "also_cutters")
    no_go: tuple[str, ...] = same(PathsByName, "no_go")
    machines: tuple[str, ...] = texts(help="machines to use instead of the usual ones of their kinds")
    kinds: tuple[str, ...] = texts(
        key="for", among=KINDS,
        help="kinds of machine for which files are written; all that the material allows, by default",
    )  # fmt: skip
    thickness_mm: float | None = same(Cutting, "thickness_mm")
    depth_mm: float | None = same(Cutting, "depth_mm")
    grain_deg: float = same(Cutting, "grain_deg")
    declare: str = same(Cutting, "declared")
    state: str = choice(
        "open", among=("open", "cut"),
        help='"cut": it is cut already, and nothing can be put back; its land is given by cut_land',
    )  # fmt: skip
    cut_land: str = text(
        "", help="what stands of a block that is cut: a drawing or a scan in print view, a photograph of the block or "
        "of a print, in all its inks or this one, or a lands/NAME.wkb of an earlier build; by default the one in the "
        "folder that is built",
    )  # fmt: skip
    side: str = choice(
        "back", key="from", among=("back", "front"),
        help="emboss: from which side of the sheet the die presses; back: the shape rises, and the die is not "
        "mirrored; front: it is pressed in",
    )  # fmt: skip
    bevel_deg: float = angle(
        45.0, at_least=5, at_most=75,
        help="emboss: how far the die's wall leans from the vertical; 30 to 45, or the paper tears",
    )  # fmt: skip
    edge_mm: float = length(
        0.2, help="emboss: radius of the rounded edge between the die's face and its wall", at_least=0, at_most=2
    )
    corner_mm: float = length(
        0.5, help="emboss: smallest radius of the die's corners, seen from above", at_least=0.1, at_most=10
    )
    counter_material: str = text(
        "counter-card", help="emboss: what the sheet is made of that lies on the paper against the die"
    )
    counter_thickness_mm: float | None = length(
        None, at_least=0.3, at_most=100,
        help="emboss: its thickness, the die's relief or more; its material's usual one, or what the relief asks for, "
        "by default",
    )  # fmt: skip
    mend: bool = same(Mending, "mend")

    @property
    def ink(self) -> Ink | None:
        """Its ink; None where it prints none."""
        return Ink(colour=self.ink_colour, opacity=self.opacity) if self.ink_colour else None

    @property
    def inked(self) -> bool:
        """Whether its lands print ink."""
        return self.role in INKED


@dataclass(frozen=True, kw_only=True)
class _Opening:
    """A hole through every block: a table [[openings]]."""

    shape: str = text(help=f"cut through every block: {_WORDS}, or the name of a layer")


@dataclass(frozen=True, kw_only=True)
class _Highlight:
    """What stays bare: a table [[highlights]]."""

    shape: str = text(help=f"stays bare paper: {_WORDS}, or the name of a layer")


@dataclass(frozen=True, kw_only=True)
class PrintMark:
    """A mark that is said in the print file, not drawn."""

    meaning: Meaning | HoleMeaning = choice(among=(*Meaning, *HoleMeaning), help="what is to be done there")
    shape: str = text(help=f"where: {_WORDS}, or the name of a layer", remedy='shape = "box 118 128 40 40"')
    motifs: tuple[str, ...] = texts(key="for", help="the motifs that it is for, by name or kind; all by default")
    blocks: tuple[str, ...] = texts(help="the blocks that it is for; all by default")
    strength: float = number(1.0, help="more, less: how strong, 0 to 1", at_least=0, at_most=1)
    attempt: int = whole(1, key="try", help="grow again: another try, other shapes", at_least=1, at_most=10**6)


#: What motifs are called in words that are told.
_CALLED = {"snowload": "lying snow", "snowfall": "falling snow"}


def called_by_kind(motif: str, nth: int) -> str:
    """What the reader is told of a motif by that has no name of its own: what it is, and its number."""
    return f"{_CALLED.get(motif, motif)} {nth + 1}"


@dataclass(frozen=True, kw_only=True)
class PrintMotif:
    """A motif, where it grows, and from which blocks it is taken."""

    motif: str = text(help="which motif: carvegen motifs lists them")
    name: str = text("", help="what it is called, such as near flakes; by default its kind and number: falling snow 1")
    nth: int = 0  #: 0 for the first of its kind: with it, its stream
    kept: str = text(
        "", help="the file in which it is kept: an SVG that is taken as it is instead of growing the motif; carvegen "
        "keep writes it",
    )  # fmt: skip
    marks_grew_by: tuple[Any, ...] = entries(  #: pairs of names and values; or lines, as they were written once
        help="while it is kept: the limits that marks were done by before others came to cut it, each with the mark's "
        "key and try; the page writes it"
    )
    grows: bool = flag(True, help="false: none of it grows until this goes; what is kept in a file stays")
    preset: str = text("", help="where its settings start from")
    settings: Any = table(help="what differs from the preset")  #: once read: the motif's own `Settings`
    on: tuple[str, ...] = texts(
        help=f"what it lies on, grows from or is kept to, where nothing stands in front of it: {_LAYERS}; lying "
        "snow: not on three or more thin level lines drawn on water, taken for ripples, of which a note tells; but it "
        "lies on wires: lines tied to posts on both sides, or to one post and the picture's side, and over twice as "
        "long as loose lines there. Such a post is 1 to 5 mm broad and goes on above and below the line's end"
    )
    region: str = text("", help=f"where it may grow: {_WORDS}, or the name of a layer; everywhere by default")
    keep_clear: tuple[str, ...] = texts(help=f"what it stays away from: {_LAYERS}, or shapes")
    clearance_mm: float = same(Free, "clearance_mm")
    blocks: tuple[str, ...] = texts(("*",), help='from which blocks it is taken: their names, or ["*"] for all')
    front: bool = flag(True, help="in front of the drawing; otherwise behind all of it")
    behind: tuple[str, ...] = texts(help=f"what hides it all the same, when it is in front: {_LAYERS}")
    far_behind: tuple[str, ...] = texts(
        help=f'falling snow: what hides its far flakes only: {_LAYERS}; ["*"], all of them'
    )
    middle_behind: tuple[str, ...] = texts(
        help="falling snow: the same of those in the middle distance; near ones fall before it"
    )

    @property
    def called(self) -> str:
        """What the reader is told of it by: its name, or what it is and its number."""
        return called_by_kind(self.motif, self.nth) if self.name == f"{self.motif} {self.nth + 1}" else self.name

    @property
    def is_new(self) -> bool:
        """Whether it grows, from nothing."""
        return self.grows and not self.kept

    def leaves(self, block: str) -> bool:
        """Whether it is taken out of the block."""
        return "*" in self.blocks or block in self.blocks


#: Tables that are there once, by name; the first must be there.
TABLES: Mapping[str, tuple[Any, ...]] = MappingProxyType({
    "print": (PrintTable,),
    "register": (RegisterPlan,),
    "artwork": (ArtworkTable,),
    "marks": (MarksTable,),
    "files": (FileSettings, PathsWanted, PathSettings),
})  # fmt: skip

#: Tables that may be there many times.
LISTS: Mapping[str, tuple[Any, ...]] = MappingProxyType({
    "layers": (PrintLayer,),
    "blocks": (PrintBlock,),
    "openings": (_Opening,),
    "highlights": (_Highlight,),
    "marked": (PrintMark,),
    "motifs": (PrintMotif,),
})  # fmt: skip


def keys_of(name: str) -> tuple[Parameter, ...]:
    """The keys of a table, in order; none if there is no such table."""
    return tuple(setting for kind in (*TABLES.get(name, ()), *LISTS.get(name, ())) for setting in parameters(kind))


def filled(kind: Any, values: Mapping[str, Any], **more: Any) -> Any:  # noqa: ANN401
    """A table's class with the values of its keys, which have been checked."""
    return kind(**{setting.name: _value(setting, values[setting.key]) for setting in parameters(kind)} | more)


def _value(setting: Parameter, value: Any) -> Any:  # noqa: ANN401
    if setting.unit == "colour":
        return rgb(value) if value else None
    return next((word for word in setting.among if word == value), value) if setting.unit == "choice" else value
