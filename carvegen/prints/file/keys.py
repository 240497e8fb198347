"""The keys of a print file: one declaration of each, which the reader, the schema and the starter read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from carvegen.base.parameters import parameters
from carvegen.blocks.block import SIDES_MM
from carvegen.facts.profile_reader import Range
from carvegen.facts.profiles.profile_values import KINDS
from carvegen.facts.register import Plan
from carvegen.marking.marks import HoleMeaning, Meaning
from carvegen.toolpaths.settings import FileSettings, PathSettings

__all__ = ["LISTS", "REQUIRED", "ROLES", "TABLES", "Key", "Kind"]

#: What a block is for.
ROLES: Mapping[str, str] = MappingProxyType({
    "key": "the lines and darks that carry the picture",
    "tone": "flat colour",
    "background": "all of the face where nothing stands in front",
    "ground": "all of the face, under all others, flat or blended; snow comes out of it, too",
    "emboss": "presses the openings into the paper; no ink",
    "stencil": "a mask, cut through where ink is dabbed",
})  # fmt: skip

REQUIRED: Any = object()  #: the default of a key that must be there


class Kind:
    """The kinds of value that a key may have."""

    TEXT = "text"
    TEXTS = "texts"
    NUMBER = "number"
    WHOLE = "whole number"
    FLAG = "flag"
    COLOUR = "colour"
    SIZE = "size"
    SETTINGS = "settings"


@dataclass(frozen=True, kw_only=True)
class Key:
    """What is known about one key of a table."""

    name: str
    kind: str
    help: str
    default: Any = REQUIRED
    range: Range | None = None
    among: tuple[str, ...] = ()
    form: str = ""  #: regular expression of a text, the whole of it
    remedy: str = ""  #: how to write it

    @property
    def required(self) -> bool:
        """Whether there is no default."""
        return self.default is REQUIRED


def _text(name: str, help_: str, **more: Any) -> Key:  # noqa: ANN401
    return Key(name=name, kind=Kind.TEXT, help=help_, **more)


def _texts(name: str, help_: str, default: Any = (), **more: Any) -> Key:  # noqa: ANN401
    return Key(name=name, kind=Kind.TEXTS, help=help_, default=default, **more)


def _number(name: str, help_: str, low: float, high: float, default: Any = REQUIRED) -> Key:  # noqa: ANN401
    return Key(name=name, kind=Kind.NUMBER, help=help_, range=Range(low, high), default=default)


def _flag(name: str, help_: str, default: bool) -> Key:
    return Key(name=name, kind=Kind.FLAG, help=help_, default=default)


_KINDS = {"choice": Kind.TEXT, "flag": Kind.FLAG, "whole": Kind.WHOLE, "span": Kind.SIZE}


def _declared(settings: Any, **remedies: str) -> tuple[Key, ...]:  # noqa: ANN401
    """A key for every setting that a class declares."""
    return tuple(
        Key(
            name=its.name, kind=_KINDS.get(its.unit, Kind.NUMBER), help=its.help, default=its.default, among=its.among,
            range=None if its.unit in {"choice", "flag"} else Range(its.at_least, its.at_most),
            remedy=remedies.get(its.name, ""),
        )
        for its in parameters(settings)
    )  # fmt: skip


#: How a name that becomes a folder is written.
_PLAIN = "[a-z0-9]+(-[a-z0-9]+)*"
_LAYERS = "names of layers, as the drawing calls them"
_WORDS = (
    'words such as "circle 150 110 12" (Y counts up from the bottom), "circle 150 40 12 from top", "FILE", '
    '"FILE#LAYER" or "FILE at X Y width W"'
)

#: Tables that are there once, by name; the first must be there.
TABLES: Mapping[str, tuple[Key, ...]] = MappingProxyType({
    "print": (
        _text("name", "what the print is called", remedy='name = "ferry landing"'),
        Key(name="size_mm", kind=Kind.SIZE, help="width and height of the picture: the face of every block",
            range=Range(*SIDES_MM), remedy="size_mm = [200, 150]"),
        Key(name="paper", kind=Kind.COLOUR, help="colour of the paper", default="#fbfaf6"),
        Key(name="seed", kind=Kind.WHOLE, help="another seed, other snow", range=Range(0, 2**63 - 1), default=1),
        _number("trap_mm", "how far a lighter ink runs on under a darker one", 0, 3, 0.5),
        _number("register_error_mm", "how far two blocks may be out of register: so far light inks stay back from "
                "snow that a darker ink outlines", 0, 3, 0.5),
        _number("paper_g_m2", "weight of the paper; embossing asks for 250 to 350", 20, 1200, 300.0),
        _number("paper_mm", "thickness of the paper; by its weight, by default", 0.02, 3, None),
        _text("paper_profile", "what is known of the paper that is embossed, measured on an embossing strip: carvegen "
              "profiles list; its weight and thickness then hold", default=""),
        _number("margin_mm", "strip along the edge that motifs leave free", 0, 200, 0.0),
        _number("bleed_mm", "strip along the edge of every block that is cut off or masked: the picture ends inside", 0,
                50, 0.0),
    ),
    "register": (
        *_declared(Plan, humidity_percent="humidity_percent = [45, 60]"),
    ),
    "artwork": (
        _texts("files", "the drawings at true size, page on face: FILE or FILE#LAYER; they give the layers"),
        _texts("in_front", f"what stands in front of what: {_LAYERS}, from the front to the back; by default what is "
               "drawn later stands in front"),
        _text("units", "what a bare number in a drawing means, if it does not say", among=("mm", "cm", "in", "pt"),
              default=""),
    ),
    "marks": (
        _texts("scans", "photographs or scans of the print's marking sheet, coloured with pencils: carvegen sheet"),
        _texts("files", "drawings of marks: SVGs as large as the print, their groups named by what is to be done "
               f"there: {', '.join(Meaning)}; or by what holes in the drawing are: {', '.join(HoleMeaning)}"),
    ),
    "files": (
        *_declared(FileSettings),
        _flag("paths", "write what laser or router follows, too", True),
        *_declared(PathSettings),
    ),
})  # fmt: skip

#: Tables that may be there many times.
LISTS: Mapping[str, tuple[Key, ...]] = MappingProxyType({
    "layers": (
        _text("name", "the layer's name", remedy='name = "MOON"'),
        _text("shape", f"its shape: {_WORDS}; by default as the drawing has it", default="",
              remedy='shape = "circle 150 110 12"'),
        _text("gaps", "what holes in it are for lying snow: open air, only marks on it, or guessed by the walls round "
              "them; by default as each motif's gaps says", among=("open", "marks", "guess"), default=""),
    ),
    "blocks": (
        _text("name", "the block's name and its folder", form=_PLAIN,
              remedy='small letters and digits, joined by "-": name = "sky"'),
        _text("role", "what it is for", among=tuple(ROLES)),
        Key(name="ink", kind=Kind.COLOUR, help="colour of its ink, covering white paper once", default=""),
        _number("opacity", "0: a glaze that only takes light away; 1: hides all that is under it", 0, 1, 0.3),
        _texts("layers", f'what prints on it: {_LAYERS}; ["*"], all of the face, for background and ground'),
        _text("material", "what it is made of: carvegen profiles list"),
        _text("cutter", "what cuts it: carvegen profiles list"),
        _texts("more_cutters", "router: further cutters besides it, such as a wide one that clears first"),
        _texts("no_go", f"where clamps lie and nothing may go, seen as in the print: {_WORDS}"),
        _texts("machines", "machines to use instead of the usual ones of their kinds"),
        _texts("for", "kinds of machine for which files are written; all that the material allows, by default",
               among=KINDS),
        _number("thickness_mm", "its thickness; the material's usual one by default", 0.5, 100, None),
        _number("depth_mm", "depth of the cut; the material's usual one by default", 0.1, 50, None),
        _number("grain_deg", "direction of its grain; 0 runs to the right, 90 up", -180, 180, 0.0),
        _text("declare", "what it is made of, for the shop", default=""),
        _text("state", '"cut": it is cut already, and nothing can be put back; its land is given by cut_land',
              among=("open", "cut"), default="open"),
        _text("cut_land", "what stands of a block that is cut: a drawing or a scan in print view, a photograph of the "
              "block or of a print, in all its inks or this one, or a lands/NAME.wkb of an earlier build; by default "
              "the one in the folder that is built", default=""),
        _text("from", "emboss: from which side of the sheet the die presses; back: the shape rises, and the die is not "
              "mirrored; front: it is pressed in", among=("back", "front"), default="back"),
        _number("bevel_deg", "emboss: how far the die's wall leans from the vertical; 30 to 45, or the paper tears", 5,
                75, 45.0),
        _number("edge_mm", "emboss: radius of the rounded edge between the die's face and its wall", 0, 2, 0.2),
        _number("corner_mm", "emboss: smallest radius of the die's corners, seen from above", 0.1, 10, 0.5),
        _text("counter_material", "emboss: what the sheet is made of that lies on the paper against the die",
              default="counter-card"),
        _number("counter_thickness_mm", "emboss: its thickness, the die's relief or more; its material's usual one, or "
                "what the relief asks for, by default", 0.3, 100, None),
        _flag("mend", "mend the cuts where a limit breaks, as far as the snow allows it", False),
    ),
    "openings": (
        _text("shape", f"cut through every block: {_WORDS}, or the name of a layer"),
    ),
    "highlights": (
        _text("shape", f"stays bare paper: {_WORDS}, or the name of a layer"),
    ),
    "marked": (
        _text("meaning", "what is to be done there", among=(*Meaning, *HoleMeaning)),
        _text("shape", f"where: {_WORDS}, or the name of a layer", remedy='shape = "box 118 128 40 40"'),
        _texts("for", "the motifs that it is for, by name or kind; all by default"),
        _texts("blocks", "the blocks that it is for; all by default"),
        _number("strength", "more, less: how strong, 0 to 1", 0, 1, 1.0),
        Key(name="try", kind=Kind.WHOLE, help="grow again: another try, other shapes", range=Range(1, 10**6),
            default=1),
    ),
    "motifs": (
        _text("motif", "which motif: carvegen motifs lists them"),
        _text("name", "what it is called, such as near flakes; by default its kind and number: snowfall 1", default=""),
        _text("kept", "the file in which it is kept: an SVG that is taken as it is instead of growing the motif; "
              "carvegen keep writes it", default=""),
        _text("preset", "where its settings start from", default=""),
        Key(name="settings", kind=Kind.SETTINGS, help="what differs from the preset", default=MappingProxyType({})),
        _texts("on", f"what it lies on, grows from or is kept to, where nothing stands in front of it: {_LAYERS}"),
        _text("region", f"where it may grow: {_WORDS}, or the name of a layer; everywhere by default", default=""),
        _texts("keep_clear", f"what it stays away from: {_LAYERS}, or shapes"),
        _number("clearance_mm", "how far it stays from keep_clear", 0, 100, 1.0),
        _texts("blocks", 'from which blocks it is taken: their names, or ["*"] for all', ("*",)),
        _flag("front", "in front of the drawing; otherwise behind all of it", True),
        _texts("behind", f"what hides it all the same, when it is in front: {_LAYERS}"),
        _texts("far_behind", f'falling snow: what hides its far flakes only: {_LAYERS}; ["*"], all of them'),
        _texts("middle_behind", 'falling snow: the same of those in the middle distance; near ones fall before it'),
    ),
})  # fmt: skip
