"""The keys of a print file: one declaration of each, which the reader, the schema and the starter read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from carvegen.blocks.block import SIDES_MM
from carvegen.facts.profile_reader import Range
from carvegen.facts.profiles.profile_values import KINDS
from carvegen.facts.register import METHODS

__all__ = ["LISTS", "REQUIRED", "ROLES", "TABLES", "Key", "Kind"]

#: What a block is for.
ROLES: Mapping[str, str] = MappingProxyType({
    "key": "the lines and darks that carry the picture",
    "tone": "flat colour",
    "background": "all of the face where nothing stands in front",
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
        _text("method", "how sheet and block are laid in register: crosses by eye, a corner stop and an edge stop cut "
              "into the board, or pins and tabs", among=tuple(METHODS), default="crosses"),
        _number("waste_mm", "strip of board outside the picture, on every side, that carries stops or pins; what the "
                "method needs, by default", 0, 200, None),
        _number("moat_mm", "groove round the picture on blocks that are inked, so that the roller leaves the waste "
                "clean; what a usual roller asks for, by default; 0: none", 0, 50, None),
        _number("paper_margin_mm", "how far the sheet reaches beyond the picture where it lies against the stops", 4,
                150, 8.0),
        _number("pin_mm", "how thick the pins are", 2, 20, 6.0),
        _number("tolerance_mm", "how far each impression may lie from its place; the method's usual, by default", 0, 5,
                None),
        _number("turn_deg", "how far each impression may be turned; what the method's play makes of the long side, "
                "by default", 0, 5, None),
        _text("spread", "how errors are spread: evenly up to the tolerance, or normally, 95 of 100 within it",
              among=("even", "normal"), default="even"),
        _number("paper_stretch_along_percent", "by how much the sheet's size may differ between two impressions, along "
                "the paper's grain", 0, 5, 0.0),
        _number("paper_stretch_across_percent", "the same across the paper's grain, where it is several times as much",
                0, 5, 0.0),
        _number("paper_grain_deg", "direction of the paper's grain; 0 runs along the picture's width", -180, 180, 0.0),
        Key(name="humidity_percent", kind=Kind.SIZE, help="lowest and highest humidity of the air while blocks lie and "
            "are printed; solid wood moves with it", range=Range(5, 95), default=(50.0, 50.0),
            remedy="humidity_percent = [45, 60]"),
        _number("moisture_change_percent", "by how much the moisture content of two blocks may differ when they are "
                "printed; what the humidity makes, by default", 0, 30, None),
        _number("visible_mm", "a gap narrower than this is not counted", 0, 2, 0.1),
        Key(name="prints", kind=Kind.WHOLE, help="how many prints are tried out", range=Range(20, 20_000), default=500),
    ),
    "artwork": (
        _texts("files", "the drawings at true size, page on face: FILE or FILE#LAYER; they give the layers"),
        _texts("in_front", f"what stands in front of what: {_LAYERS}, from the front to the back; by default what is "
               "drawn later stands in front"),
        _text("units", "what a bare number in a drawing means, if it does not say", among=("mm", "cm", "in", "pt"),
              default=""),
    ),
    "files": (
        _text("transfer", "how the guide's drawing comes onto the block",
              among=("carbon", "glued", "face-down", "tracing"), default="carbon"),
        _text("paper", "paper of the guide", among=("A4", "Letter"), default="A4"),
        _flag("pale_guide", "draw the guide pale, to save ink", False),
        _text("dxf", "release of the DXF files", among=("R2000", "R12"), default="R2000"),
        _flag("width_map", "draw how wide the land is, too", False),
        _flag("paths", "write what laser or router follows, too", True),
        _text("lowered", "laser: how areas are lowered", among=("shapes", "lines", "contours"), default="shapes"),
        Key(name="shoulder_steps", kind=Kind.WHOLE, range=Range(0, 6), default=2,
            help="laser: steps beside the land that leave its wall sloped; 0: none"),
        _number("line_spacing_mm", "laser: from one line to the next where an area is lowered", 0.02, 5, 0.1),
        _flag("tabs", "leave small bridges that hold what would fall out of a cut-out", True),
        _number("lead_in_mm", "laser: begin cut-outs this far off, in what falls out", 0, 20, 0.0),
        _flag("cut_edge", "cut the block out of a larger sheet, too", False),
        _number("rest_mm", "laser: next cut at least this far off where the way allows it, for heat", 0, 50, 2.0),
        _text("cleared", "router: how the floor is cleared", among=("rings", "lines"), default="rings"),
        _number("ramp_deg", "router: how steeply a flat cutter goes down along its path", 0.5, 30, 5.0),
        _number("pass_mm", "router: depth of one pass; 0: by the cutter and the material", 0, 50, 0.0),
        _flag("plunge", "router: flat cutters may go straight down where there is no room for a ramp", False),
        _flag("simulated", "reckon what the cutter really leaves: a picture, land lost, cut missed", False),
        _flag("program", "router: write plain RS-274 programs, too, one for each cutter", False),
    ),
})  # fmt: skip

#: Tables that may be there many times.
LISTS: Mapping[str, tuple[Key, ...]] = MappingProxyType({
    "layers": (
        _text("name", "the layer's name", remedy='name = "MOON"'),
        _text("shape", f"its shape: {_WORDS}", remedy='shape = "circle 150 110 12"'),
    ),
    "blocks": (
        _text("name", "the block's name and its folder", form=_PLAIN,
              remedy='small letters and digits, joined by "-": name = "sky"'),
        _text("role", "what it is for", among=tuple(ROLES)),
        Key(name="ink", kind=Kind.COLOUR, help="colour of its ink, covering white paper once", default=""),
        _number("opacity", "0: a glaze that only takes light away; 1: hides all that is under it", 0, 1, 0.3),
        _texts("layers", f'what prints on it: {_LAYERS}; ["*"], all of the face, for the background'),
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
        _text("cut_land", "what stands of a block that is cut: a drawing or a scan in print view, or a lands/NAME.wkb "
              "of an earlier build; by default the one in the folder that is built", default=""),
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
    "motifs": (
        _text("motif", "which motif: carvegen --help lists them"),
        _text("preset", "where its settings start from", default=""),
        Key(name="settings", kind=Kind.SETTINGS, help="what differs from the preset", default=MappingProxyType({})),
        _texts("on", f"what it lies on, grows from or is kept to, where nothing stands in front of it: {_LAYERS}"),
        _text("region", f"where it may grow: {_WORDS}, or the name of a layer; everywhere by default", default=""),
        _texts("keep_clear", f"what it stays away from: {_LAYERS}, or shapes"),
        _number("clearance_mm", "how far it stays from keep_clear", 0, 100, 1.0),
        _texts("blocks", 'from which blocks it is taken: their names, or ["*"] for all', ("*",)),
        _flag("front", "in front of the drawing; otherwise behind all of it", True),
        _texts("behind", f"what hides it all the same, when it is in front: {_LAYERS}"),
    ),
})  # fmt: skip
